"""The customer's way by plain forms: every test here runs without JavaScript."""

from __future__ import annotations

import json
import re

import icalendar
import jsonschema
import pytest

from intakebot.conversation import Conversation
from intakebot.definitions import Texts, intake_form_schema
from tests.web.shop import Shop
from tests.web.ways import accept, choices, send, talk_to_estimate


def stored(shop: Shop, talk: str) -> Conversation:
    with shop.store.reading() as work:
        return Conversation.from_mapping(work.cases.get(talk).conversation)


def test_first_words_fill_the_form_and_the_line_says_where_from(shop: Shop) -> None:
    browser = shop.browser()

    browser.talk("My dvd player does not turn on.")

    page = browser.page
    assert page is not None
    assert re.search(r'class="held heard">\s*DVD player', page.html)
    assert "From your message on 25 Nov" in page.text
    assert "Safety first." in page.text


def test_nothing_written_asks_for_words_and_opens_no_talk(shop: Shop) -> None:
    browser = shop.browser()
    browser.get("/")

    page = browser.submit("/talk", text="   ")

    assert (page.status, "a few words" in page.text) == (422, True)
    with shop.store.reading() as work:
        assert work.cases.page().lines == ()


def test_the_first_words_sent_twice_open_one_talk(shop: Shop) -> None:
    browser = shop.browser()
    form = browser.get("/").form("/talk")

    places = [
        browser.client.post("/talk", data={**form["data"], "text": "it skips"}).headers["Location"]
        for _ in range(2)
    ]

    assert places[0] == places[1]
    with shop.store.reading() as work:
        assert len(work.cases.page().lines) == 1


@pytest.mark.parametrize(
    ("ticks", "smoke", "opened"),
    [
        (["hazards:none"], "no", "nobody"),
        (["hazards:opened"], "no", "someone"),
        (["hazards:opened", "hazards:none"], "no", "someone"),
        ([], None, None),
    ],
)
def test_the_safety_list_is_answered_with_the_first_words(
    shop: Shop, ticks: list[str], smoke: str | None, opened: str | None
) -> None:
    browser = shop.browser()
    browser.get("/")

    page = browser.submit("/talk", text="my dvd player keeps skipping", pick=ticks)

    talk = stored(shop, page.response.request.path.split("/")[2])
    held = {
        fact: talk.facts[fact].value if fact in talk.facts else None for fact in ("smoke_or_smell", "opened")
    }
    assert held == {"smoke_or_smell": smoke, "opened": opened}
    assert (talk.pending is not None and talk.pending.question == "hazards") == (not ticks)


def test_a_hazard_ticked_with_the_first_words_stops_everything(shop: Shop) -> None:
    browser = shop.browser()
    browser.get("/")

    page = browser.submit("/talk", text="my dvd player keeps skipping", pick=["hazards:liquid"])

    assert "Do not switch it on" in page.text
    talk = stored(shop, page.response.request.path.split("/")[2])
    assert (talk.floor, talk.holds) == ("person", ("safety",))


def test_ticks_are_kept_when_the_words_are_missing(shop: Shop) -> None:
    browser = shop.browser()
    browser.get("/")

    page = browser.submit("/talk", text="", pick=["hazards:opened"])

    assert page.status == 422
    assert re.search(r'value="hazards:opened" checked', page.html)


def test_from_first_word_to_a_box_on_its_way(shop: Shop) -> None:
    browser = shop.browser()

    talk = talk_to_estimate(browser)
    estimate = browser.get(f"/talk/{talk}/estimate")
    accept(browser, talk)
    packing = browser.get(f"/talk/{talk}/packing")
    send(browser, talk)
    status = browser.page

    assert "Never more than" in estimate.text
    assert "Put these in" in packing.text
    assert "These dates hold if you post it on" in packing.text
    assert status is not None
    assert "Your box is on its way" in status.text
    assert stored(shop, talk).phase == "shipped"


def test_the_same_form_sent_twice_is_one_message(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk()
    page = browser.get(f"/talk/{talk}")
    form = page.form("/messages")
    data = {**form["data"], "choice": [choices(browser)[0]]}

    for _ in range(3):
        browser.client.post(form["action"], data=data)

    with shop.store.reading() as work:
        messages = work.messages.last(talk, 100)
    assert sum(1 for message in messages if message.direction == "in") == 2  # the first words and one choice


def test_a_form_changed_after_going_back_is_a_new_message(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk()
    page = browser.get(f"/talk/{talk}")
    form = page.form("/messages")
    text_form = next(item for item in page.forms if "text" in item["data"])

    for text in ("it is ten years old", "it is twelve years old"):
        browser.client.post(form["action"], data={**text_form["data"], "text": text})

    with shop.store.reading() as work:
        said = [message.text for message in work.messages.last(talk, 100) if message.direction == "in"]
    assert said[1:] == ["it is ten years old", "it is twelve years old"]


def test_one_line_is_changed_on_its_own_page_and_is_confirmed_by_that(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk("My dvd player does not turn on.")
    browser.get(f"/talk/{talk}/facts/device_kind")

    page = browser.submit("/facts/device_kind", fact__device_kind="cd_player")

    entry = stored(shop, talk).facts["device_kind"]
    assert (entry.value, entry.status) == ("cd_player", "confirmed")
    assert re.search(r'class="held confirmed">\s*CD player', page.html)


def test_the_same_value_saved_again_is_a_confirmation(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk("My dvd player does not turn on.")
    browser.get(f"/talk/{talk}/facts/device_kind")

    browser.submit("/facts/device_kind")

    assert stored(shop, talk).facts["device_kind"].status == "confirmed"


@pytest.mark.parametrize(
    ("value", "status"),
    [("unknown", "not_known"), ("declined", "declined")],
    ids=["not-sure", "rather-not-say"],
)
def test_not_sure_and_rather_not_say_are_answers(shop: Shop, value: str, status: str) -> None:
    browser = shop.browser()
    talk = browser.talk("My dvd player does not turn on.")
    browser.get(f"/talk/{talk}/facts/rattles")

    browser.submit("/facts/rattles", fact__rattles=value)

    entry = stored(shop, talk).facts["rattles"]
    assert (entry.value, entry.status) == (None, status)


def test_the_one_page_form_saves_what_changed_and_names_what_cannot_be_used(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk("My dvd player does not turn on.")
    browser.get(f"/talk/{talk}/form")

    page = browser.submit(
        "/form", fact__age_years="old", fact__model_name="Example 5", fact__spending_limit="-3"
    )

    facts = stored(shop, talk).facts
    assert page.status == 422
    assert {"problem-age_years", "problem-spending_limit"} <= page.ids
    assert facts["model_name"].value == "Example 5"
    assert {"age_years", "spending_limit"} & set(facts) == set()


def test_saving_the_form_untouched_changes_nothing(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk()
    before = stored(shop, talk)
    browser.get(f"/talk/{talk}/form")

    browser.submit("/form")

    assert stored(shop, talk) == before


def test_the_form_can_be_used_from_the_start_instead_of_the_talk(shop: Shop) -> None:
    browser = shop.browser()
    browser.get("/")

    page = browser.submit("/talk", text="", way="form")
    talk = page.response.request.path.split("/")[2]
    browser.submit("/form", fact__device_kind="dvd_player", fact__no_power="yes")

    assert stored(shop, talk).facts["device_kind"].value == "dvd_player"


def test_a_bench_fact_cannot_be_set_by_a_customer(shop: Shop, definitions) -> None:  # type: ignore[no-untyped-def]
    browser = shop.browser()
    talk = browser.talk()
    bench = [
        fact.id
        for fact in definitions.families["disc_drive"].facts.values()
        if set(fact.purposes) == {"bench"}
    ]
    browser.get(f"/talk/{talk}/form")

    answers = [browser.get(f"/talk/{talk}/facts/{fact}").status for fact in bench[:3]]
    browser.get(f"/talk/{talk}/form")
    browser.submit("/form", **{f"fact__{fact}": "yes" for fact in bench})

    assert bench
    assert set(answers) == {404}
    assert set(bench) & set(stored(shop, talk).facts) == set()


def test_a_limit_below_the_fee_is_refused_with_a_sentence_and_nothing_is_agreed(shop: Shop) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    browser.get(f"/talk/{talk}/decision/accept")

    page = browser.submit("/decision/accept", limit="0.50")

    assert (page.status, "problem-limit" in page.ids) == (422, True)
    assert stored(shop, talk).phase == "estimated"


def test_an_own_limit_is_kept_with_the_words_that_were_shown(shop: Shop) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    browser.get(f"/talk/{talk}/decision/accept")

    browser.submit("/decision/accept", limit="100")

    with shop.store.reading() as work:
        (entry,) = work.authorisations.all(talk)
    assert (entry.decision, entry.limit, entry.channel) == ("accept", "100", "web") or entry.limit == "100.00"
    assert len(entry.text_shown) > 500


def test_declining_owes_nothing_and_says_so(shop: Shop) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    browser.get(f"/talk/{talk}/decision/decline")

    page = browser.submit("/decision/decline")

    assert "Nothing is owed for this estimate" in page.text
    assert stored(shop, talk).phase == "declined"


def test_deciding_an_estimate_twice_is_refused(shop: Shop) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    browser.get(f"/talk/{talk}/decision/accept")
    form = browser.page.form("/decision/accept")  # type: ignore[union-attr]

    answers = [
        browser.client.post(form["action"], data={**form["data"], "message_id": name}).status_code
        for name in ("one", "two")
    ]

    assert answers == [302, 409]


def test_an_agreed_repair_can_be_called_off_and_the_page_says_what_is_owed(shop: Shop) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    accept(browser, talk)

    page = browser.get(f"/talk/{talk}/decision/decline")
    browser.submit("/decision/decline")

    assert "If the box has not been sent, you owe nothing" in page.text
    assert stored(shop, talk).phase == "declined"


def test_a_stop_sign_gives_no_label_and_no_estimate_pages(shop: Shop) -> None:
    browser = shop.browser()

    talk = browser.talk("Smoke came out of my dvd player and it smells burnt.")

    assert "stop-sign" in browser.page.html  # type: ignore[union-attr]
    assert browser.get(f"/talk/{talk}/papers/label.pdf").status == 404
    assert "Please do not send anything yet" in browser.get(f"/talk/{talk}/packing").text


@pytest.mark.parametrize("decided", [False, True])
def test_no_label_and_no_date_before_a_yes_and_none_after_a_no(shop: Shop, decided: bool) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    if decided:
        browser.get(f"/talk/{talk}/decision/decline")
        browser.submit("/decision/decline")

    answers = [browser.get(f"/talk/{talk}/papers/{name}").status for name in ("label.pdf", "dates.ics")]

    assert answers == [404, 404]
    assert "label.pdf" not in browser.get(f"/talk/{talk}/packing").html


def test_papers_come_with_the_phase(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk("My dvd player does not turn on.")
    before = browser.get(f"/talk/{talk}/papers/estimate.pdf").status
    second = shop.browser()
    agreed = talk_to_estimate(second)
    accept(second, agreed)

    names = ["form.pdf", "estimate.pdf", "packing.pdf", "slip.pdf", "label.pdf", "estimate.pdf?paper=letter"]
    files = [second.client.get(f"/talk/{agreed}/papers/{name}") for name in names]

    assert before == 404
    assert [(file.status_code, file.data[:5]) for file in files] == [(200, b"%PDF-")] * len(names)
    assert second.client.get(f"/talk/{agreed}/papers/pretriage.pdf").status_code == 404


def test_calendar_file_holds_the_ship_by_day(shop: Shop) -> None:
    browser = shop.browser()
    talk = talk_to_estimate(browser)
    accept(browser, talk)

    file = icalendar.Calendar.from_ical(browser.client.get(f"/talk/{talk}/papers/dates.ics").data)

    (event,) = file.walk("VEVENT")
    assert event.decoded("DTSTART").year == 2026


def test_the_form_as_data_fits_its_schema(shop: Shop, definitions) -> None:  # type: ignore[no-untyped-def]
    browser = shop.browser()
    talk = browser.talk()
    family = definitions.families["disc_drive"]

    form = json.loads(browser.client.get(f"/talk/{talk}/papers/form.json").data)

    jsonschema.validate(form, intake_form_schema(family, Texts(definitions, family.id, "en")))
    assert form["facts"]["device_kind"]["value"] == "console_slot"


def test_erasing_removes_the_case_and_the_cookie(shop: Shop) -> None:
    browser, owner = shop.browser(), shop.browser("owner")
    talk = browser.talk()
    browser.get(f"/talk/{talk}/erase")

    page = browser.submit("/erase")

    assert "is erased" in page.text
    assert browser.get(f"/talk/{talk}").status == 404
    assert owner.get(f"/desk/{talk}").status == 404


def test_a_one_time_link_opens_the_talk_on_another_device_once(shop: Shop) -> None:
    browser, phone, thief = shop.browser(), shop.browser(), shop.browser()
    talk = browser.talk()
    browser.get(f"/talk/{talk}/status")
    page = browser.submit("/link")
    link = re.search(r"http://localhost(/resume/[\w-]+)", page.html).group(1)  # type: ignore[union-attr]

    phone.get(link)
    phone.get(link)  # a preview by a mail program uses nothing up
    opened = phone.submit("")
    thief.get(link)
    refused = thief.submit("")

    assert opened.response.request.path == f"/talk/{talk}"
    assert refused.status == 404
    assert thief.get(f"/talk/{talk}").status == 404


def test_pages_speak_german_when_asked_and_the_talk_keeps_its_language(shop: Shop) -> None:
    browser = shop.browser()
    browser.get("/")

    page = browser.submit("/language", language="de")
    browser.submit("/talk", text="Mein CD-Spieler springt.")

    assert page.html.startswith('<!doctype html>\n<html lang="de">')
    assert "Was fehlt Ihrem Player" in page.text
    assert 'lang="de"' in browser.page.html  # type: ignore[union-attr]
    assert "Ihre Antwort" in browser.page.text  # type: ignore[union-attr]


def test_two_devices_are_two_talks_of_one_browser(shop: Shop) -> None:
    browser = shop.browser()
    first, second = browser.talk("my cd player skips"), browser.talk("my dvd player does not turn on")

    assert [browser.get(f"/talk/{talk}").status for talk in (first, second)] == [200, 200]
    assert browser.get("/").html.count("/talk/c_") == 2
