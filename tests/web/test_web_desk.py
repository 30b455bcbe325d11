"""The front desk: the list, one intake, replies, edits, conflicts, holds, revised estimates, exports."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from intakebot.conversation import Conversation
from tests.web.shop import Browser, Shop
from tests.web.ways import accept, talk_to_estimate


def references(browser: Browser) -> list[str]:
    assert browser.page is not None
    return re.findall(r"<h3><a href=\"/desk/[^\"]+\">([A-Z0-9-]+)</a>", browser.page.html)


def reference_of(shop: Shop, case: str) -> str:
    with shop.store.reading() as work:
        return work.cases.get(case).reference


def version_of(shop: Shop, case: str) -> int:
    with shop.store.reading() as work:
        return work.cases.get(case).version


def test_intakes_are_listed_by_what_they_wait_for_longest_waiting_first(shop: Shop) -> None:
    desk = shop.browser("desk")
    asking = []
    for words in ("I want to talk to a person", "please a human being"):
        customer = shop.browser()
        asking.append(customer.talk("my cd player skips"))
        customer.submit("/messages", text="person")
        shop.clock.pass_(minutes=5)
        assert words
    deciding = talk_to_estimate(shop.browser())

    desk.get("/desk")
    ours = references(desk)
    counts = re.findall(r'class="count">(\d+\+?)</span>\s*([^<]+)</a>', desk.page.html)  # type: ignore[union-attr]
    desk.get("/desk?waits_for=customer_consent")
    theirs = references(desk)

    assert ours == [reference_of(shop, case) for case in asking]
    assert theirs == [reference_of(shop, deciding)]
    assert {name.strip(): count for count, name in counts}["an answer from us"] == "2"


def test_search_finds_by_name_and_by_reference(shop: Shop) -> None:
    customer, desk = shop.browser(), shop.browser("desk")
    case = talk_to_estimate(customer)
    accept(customer, case)
    shop.browser().talk("my cd player skips")

    desk.get("/desk?q=ada")
    by_name = references(desk)
    desk.get(f"/desk?q={reference_of(shop, case).lower()}")

    assert by_name == references(desk) == [reference_of(shop, case)]


def test_the_list_goes_on_page_by_page_and_shows_each_intake_once(shop: Shop) -> None:
    desk = shop.browser("desk")
    for _ in range(33):
        shop.browser().talk("my cd player skips")
        shop.clock.pass_(seconds=1)

    desk.get("/desk?waits_for=all")
    first = references(desk)
    more = next(link for link in desk.page.links if "after=" in link)  # type: ignore[union-attr]
    desk.get(more)
    second = references(desk)

    assert (len(first), len(second), len(set(first + second))) == (30, 3, 33)
    assert desk.get("/desk?waits_for=all&after=made-up").status == 422


def test_one_intake_shows_source_and_certainty_of_each_fact(shop: Shop) -> None:
    customer, desk = shop.browser(), shop.browser("desk")
    case = customer.talk("My dvd player does not turn on.")

    page = desk.get(f"/desk/{case}")

    assert re.search(
        r'class="held heard">\s*DVD player.*?heard, not yet confirmed.*?<q>dvd player</q>', page.html, re.S
    )
    assert "<blockquote" in page.html
    assert "My dvd player does not turn on." in page.text


def test_a_reply_reaches_the_customer_and_the_assistant_is_silent(shop: Shop) -> None:
    customer, desk = shop.browser(), shop.browser("desk")
    case = customer.talk("my cd player skips")
    desk.get(f"/desk/{case}")

    desk.submit("/reply", text="Good morning, this is Dee from the desk.")
    seen = customer.get(f"/talk/{case}")
    customer.submit("/messages", text="the disc is clean")
    with shop.store.reading() as work:
        after = work.messages.last(case, 1)[0]
    desk.get(f"/desk/{case}")
    desk.submit("/give-back")

    assert "Good morning, this is Dee from the desk." in seen.text
    assert "A person at the shop has your talk now" in seen.text
    assert after.direction == "in"
    assert "A person at the shop has your talk now" not in customer.get(f"/talk/{case}").text


def test_an_edit_by_staff_wins_and_when_verified_the_customer_cannot_talk_it_away(shop: Shop) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = customer.talk("My dvd player does not turn on.")
    technician.get(f"/desk/{case}/facts/device_kind")

    technician.submit("/facts/device_kind", fact__device_kind="bd_player", verified="yes")
    customer.get(f"/talk/{case}")
    customer.submit("/messages", text="it is a cd player")

    with shop.store.reading() as work:
        entry = Conversation.from_mapping(work.cases.get(case).conversation).facts["device_kind"]
    assert (entry.value, entry.source, entry.verified) == ("bd_player", "staff", True)


def test_two_people_at_once_the_second_sees_both_sides_and_loses_nothing(shop: Shop) -> None:
    case = shop.browser().talk("My dvd player does not turn on.")
    first, second = shop.browser("desk"), shop.browser("owner")
    first.get(f"/desk/{case}/facts/rattles")
    second.get(f"/desk/{case}")

    first.submit("/facts/rattles", fact__rattles="yes")
    conflict = second.submit("/reply", text="A long answer that took ten minutes to write.")
    with shop.store.reading() as work:
        said = [message.text for message in work.messages.last(case, 50)]
    applied = second.submit("/reply")

    assert conflict.status == 409
    assert "A long answer that took ten minutes to write." in conflict.text
    assert "Something rattles inside" in conflict.text  # what the other one changed
    assert "A long answer that took ten minutes to write." not in said
    assert applied.response.request.path == f"/desk/{case}"
    with shop.store.reading() as work:
        stored = Conversation.from_mapping(work.cases.get(case).conversation)
        said = [message.text for message in work.messages.last(case, 50)]
    assert stored.facts["rattles"].value == "yes"
    assert "A long answer that took ten minutes to write." in said


def test_two_edits_of_one_fact_conflict_and_the_page_names_the_fact_and_the_value(shop: Shop) -> None:
    case = shop.browser().talk("My dvd player does not turn on.")
    first, second = shop.browser("desk"), shop.browser("owner")
    for browser in (first, second):
        browser.get(f"/desk/{case}/facts/device_kind")

    first.submit("/facts/device_kind", fact__device_kind="bd_player")
    conflict = second.submit("/facts/device_kind", fact__device_kind="cd_player")

    assert conflict.status == 409
    assert re.search(r"<dt>Device</dt><dd><bdi>CD player</bdi></dd>", conflict.html)


def test_the_same_staff_form_sent_twice_acts_once(shop: Shop) -> None:
    case = shop.browser().talk("my cd player skips")
    desk = shop.browser("desk")
    form = desk.get(f"/desk/{case}").form("/reply")

    answers = [
        desk.client.post(form["action"], data={**form["data"], "text": "Hello."}).status_code
        for _ in range(2)
    ]

    with shop.store.reading() as work:
        said = [message.text for message in work.messages.last(case, 50)]
    assert answers == [302, 302]
    assert said.count("Hello.") == 1


def test_hold_tells_the_customer_why_and_release_lets_it_go_on(shop: Shop) -> None:
    customer, desk = shop.browser(), shop.browser("desk")
    case = talk_to_estimate(customer)
    accept(customer, case)
    desk.get(f"/desk/{case}")

    held = desk.submit("/hold", reason="We wait for a part until Friday.")
    told = customer.get(f"/talk/{case}").text
    released = desk.submit("/release")

    assert "On hold" in held.text
    assert "We wait for a part until Friday." in told
    assert "On hold" not in released.text


def test_declining_kindly_closes_the_case_with_the_shops_words(shop: Shop) -> None:
    customer, desk = shop.browser(), shop.browser("desk")
    case = customer.talk("my cd player skips")
    desk.get(f"/desk/{case}")

    desk.submit("/decline", reason="We have no parts for players of this age.")

    assert "We have no parts for players of this age." in customer.get(f"/talk/{case}").text
    assert "This repair was closed" in customer.get(f"/talk/{case}/status").text


@pytest.mark.parametrize("action", ["/hold", "/decline", "/reply"])
def test_words_are_needed_where_the_customer_reads_them(shop: Shop, action: str) -> None:
    case = shop.browser().talk("my cd player skips")
    desk = shop.browser("desk")
    desk.get(f"/desk/{case}")
    before = version_of(shop, case)

    page = desk.submit(action, reason="  ", text="  ")

    assert (page.status, version_of(shop, case)) == (422, before)


def test_a_revised_estimate_supersedes_and_the_history_keeps_both(shop: Shop) -> None:
    customer, desk = shop.browser(), shop.browser("desk")
    case = talk_to_estimate(customer)
    desk.get(f"/desk/{case}")

    page = desk.submit("/quote", reason="The customer sends two discs as well.")

    with shop.store.reading() as work:
        states = {quote.number: quote.state for quote in work.quotes.all(case)}
    assert states == {1: "superseded", 2: "current"}
    assert "No. 1," in page.text
    assert "No. 2," in page.text


def test_a_stop_sign_is_cleared_by_a_person_only(shop: Shop) -> None:
    case = shop.browser().talk("Smoke came out of my dvd player and it smells burnt.")
    technician, desk = shop.browser("technician"), shop.browser("desk")

    seen = technician.get(f"/desk/{case}")
    desk.get(f"/desk/{case}")
    cleared = desk.submit("/clear-stop")

    assert "No label is given out" in seen.text
    assert not [form for form in seen.forms if str(form["action"]).endswith("/clear-stop")]
    assert "A person has dealt with it" in cleared.text


def test_the_qr_address_leads_to_the_intake_for_signed_in_people_only(shop: Shop) -> None:
    case = shop.browser().talk("my cd player skips")
    reference = reference_of(shop, case)
    stranger, desk = shop.browser(), shop.browser("desk")

    asked = stranger.get(f"/i/{reference}")
    found = desk.get(f"/i/{reference.lower()}")

    assert asked.response.request.path == "/sign-in"
    assert case not in asked.html
    assert found.response.request.path == f"/desk/{case}"


def test_signing_in_goes_on_to_where_the_qr_code_led(shop: Shop) -> None:
    case = shop.browser().talk("my cd player skips")
    shop.hire("desk")
    browser = shop.browser()
    browser.get(f"/i/{reference_of(shop, case)}")

    page = browser.submit("/sign-in", login="desk", password="blue chalk under the ladder")

    assert page.response.request.path == f"/desk/{case}"


FORMULAS = ["=1+1", "+44 1632 960961", "-2", "@sum", "\t=1", " =1", "\uff1d1"]


def test_no_cell_of_an_export_is_a_formula(shop: Shop) -> None:
    """ASVS 5.0, 1.2.10: a leading = + - @ (also full-width, after blanks) is text."""
    customer, desk = shop.browser(), shop.browser("desk")
    cases = []
    for formula in FORMULAS:
        case = customer.talk("my cd player skips")
        customer.get(f"/talk/{case}/form")
        customer.submit("/form", fact__name=formula + " Example")
        cases.append(case)

    tables = [desk.client.get("/export.csv", buffered=True).data]
    tables += [desk.client.get(f"/desk/{case}/papers/form.csv").data for case in cases]

    cells = [
        cell for table in tables for row in csv.reader(io.StringIO(table.decode("utf-8-sig"))) for cell in row
    ]
    assert len(cells) > 100
    assert [
        cell
        for cell in cells
        if cell.strip().startswith(("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20"))
    ] == []


def test_the_export_holds_every_intake_once(shop: Shop) -> None:
    desk = shop.browser("desk")
    for _ in range(3):
        shop.browser().talk("my cd player skips")

    rows = list(
        csv.DictReader(io.StringIO(desk.client.get("/export.csv", buffered=True).data.decode("utf-8-sig")))
    )

    assert len({row["reference"] for row in rows}) == 3
    assert {row["phase"] for row in rows} == {"open"}


def test_form_as_data_is_the_form(shop: Shop) -> None:
    case = shop.browser().talk("My dvd player does not turn on.")

    form = json.loads(shop.browser("desk").client.get(f"/desk/{case}/papers/form.json").data)

    assert form["facts"]["device_kind"] == {
        "status": "heard",
        "value": "dvd_player",
        "certainty": pytest.approx(0.9, abs=0.11),
    }


@pytest.mark.parametrize("name", ["form", "estimate", "packing", "slip", "pretriage", "bench_record"])
def test_each_paper_is_a_page_and_a_pdf(shop: Shop, name: str) -> None:
    customer, owner = shop.browser(), shop.browser("owner")
    case = talk_to_estimate(customer)
    accept(customer, case)

    page = owner.get(f"/desk/{case}/papers/{name}")
    pdf = owner.client.get(f"/desk/{case}/papers/{name}.pdf")

    assert page.status == 200
    assert reference_of(shop, case) in page.text
    assert pdf.data.startswith(b"%PDF-")


def test_prices_and_days_are_shown_with_problems_of_the_files_explained(shop: Shop, tmp_path, root) -> None:  # type: ignore[no-untyped-def]
    import shutil
    from dataclasses import replace

    edited = tmp_path / "edited"
    shutil.copytree(root / "flows", edited / "flows")
    shutil.copytree(root / "pricing", edited / "pricing")
    cards = edited / "pricing" / "rate_cards.yaml"
    cards.write_text(cards.read_text().replace("hourly_rate:", "hourly_rat:", 1))
    desk = shop.browser("desk")

    clean = desk.get("/rates")
    shop.app.extensions["intakebot"] = replace(shop.services, definitions_root=edited)
    broken = desk.get("/rates")
    days = desk.get("/calendar")

    assert "Hourly rate" in clean.text
    assert "hourly_rat" in broken.text
    assert "pricing/rate_cards.yaml:" in broken.text
    assert "Christmas" in days.text
