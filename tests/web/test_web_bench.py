"""The bench by plain forms: arrival check, one step at a time, the maximum as a hard stop, the end of a job."""

from __future__ import annotations

import io
import re
from decimal import Decimal

import pytest

from intakebot.conversation import Conversation
from intakebot.workshop import Job
from tests.web.shop import Browser, Page, Shop
from tests.web.test_web_safety import png
from tests.web.ways import accept, check_in, send, shop_with_box_here, talk_to_estimate, wanted_items


def job_of(shop: Shop, case: str) -> Job:
    with shop.store.reading() as work:
        return Job.of(work.cases.get(case))


def talk_of(shop: Shop, case: str) -> Conversation:
    with shop.store.reading() as work:
        return Conversation.from_mapping(work.cases.get(case).conversation)


def waits_for(shop: Shop, case: str) -> str:
    with shop.store.reading() as work:
        return work.cases.get(case).index.waits_for


def next_step(page: Page) -> str:
    found = re.search(r'<h2 id="next-step">([^<]+)</h2>', page.html)
    assert found is not None, page.text[:400]
    return found.group(1)


def tap(browser: Browser, case: str, result: str, **more: str) -> Page:
    browser.get(f"/bench/{case}")
    return browser.submit("/result", result=result, **more)


# ---- arrival


def test_before_arrival_the_bench_shows_the_plan_but_lets_nobody_work(shop: Shop) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = talk_to_estimate(customer)
    accept(customer, case)

    page = technician.get(f"/bench/{case}")

    assert "The box has not been checked in" in page.text
    assert "Ladder" in page.text
    assert not [form for form in page.forms if str(form["action"]).endswith("/result")]


def test_every_item_needs_an_answer_and_what_was_typed_stays(shop: Shop) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = talk_to_estimate(customer)
    accept(customer, case)
    technician.get(f"/bench/{case}/arrival")

    page = technician.submit("/arrival", weight_kg="4.2", notes="wet corner")

    assert page.status == 422
    assert "for every item whether it is here" in page.text
    assert page.form("/arrival")["data"]["notes"] == ["wet corner"]
    assert page.form("/arrival")["data"]["weight_kg"] == ["4.2"]
    assert job_of(shop, case).arrival is None


@pytest.mark.parametrize(
    ("name", "value"), [("weight_kg", "heavy"), ("weight_kg", "-1"), ("screws", "2.5"), ("screws", "1e9")]
)
def test_numbers_that_are_none_are_refused_with_a_sentence(shop: Shop, name: str, value: str) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = talk_to_estimate(customer)
    accept(customer, case)

    check_in(technician, case, **{name: value})

    assert technician.page is not None
    assert (technician.page.status, "must be a" in technician.page.text) == (422, True)


def test_a_complete_arrival_moves_the_job_to_the_bench(shop: Shop) -> None:
    case, customer, _ = shop_with_box_here(shop)

    arrival = job_of(shop, case).arrival

    assert arrival is not None
    assert (arrival["weight_kg"], arrival["screws"], arrival["seals"], arrival["disc"]) == (
        "4.4",
        6,
        "intact",
        "here",
    )
    assert talk_of(shop, case).phase == "arrived"
    assert waits_for(shop, case) == "bench"
    assert "Your box has arrived" in customer.get(f"/talk/{case}/status").text


def test_signs_of_an_earlier_repair_change_facts_and_the_plan(shop: Shop) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = talk_to_estimate(customer)
    accept(customer, case)
    send(customer, case)
    before = technician.get(f"/bench/{case}/pretriage").text

    check_in(technician, case, earlier_repair=["mixed_screws", "flux_residue"], seals="broken")

    facts = talk_of(shop, case).facts
    assert (facts["opened"].value, facts["soldered"].value) == ("someone", "someone")
    assert facts["opened"].verified
    assert technician.get(f"/bench/{case}/pretriage").text != before


def test_a_missing_original_part_holds_the_job_and_tells_the_customer(shop: Shop) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = talk_to_estimate(
        customer,
        "My slot-loading console reads no discs. A friend swapped the drive board, I keep the old board loose in a drawer.",
        original_board="loose_in_box",
    )
    accept(customer, case)
    send(customer, case)
    page = technician.get(f"/bench/{case}/arrival")
    items = wanted_items(page.html)
    originals = re.findall(
        r"<legend>[^<]*\(original part\)</legend>.*?name=\"(found\.[^\"]+)\"", page.html, re.S
    )
    assert originals, page.text

    technician.submit("/arrival", **{**{name: ["here"] for name in items}, originals[0]: ["missing"]})

    told = customer.get(f"/talk/{case}").text
    assert job_of(shop, case).hold == "part_missing"
    assert "This job is on hold" in technician.get(f"/bench/{case}").text
    assert "not in the box" in told or "missing" in told


def test_the_shops_photo_stands_beside_the_customers(shop: Shop) -> None:
    customer, technician = shop.browser(), shop.browser("technician")
    case = talk_to_estimate(customer)
    accept(customer, case)
    customer.get(f"/talk/{case}")
    customer.submit("/photos", photo=(io.BytesIO(png()), "a.jpg"), label="board, theirs")
    technician.get(f"/bench/{case}/arrival")

    page = technician.submit(f"/desk/{case}/photos", photo=(io.BytesIO(png()), "b.jpg"), label="board, ours")

    theirs, ours = page.html.index("board, theirs"), page.html.index("board, ours")
    headings = [page.html.index("The customer&#39;s photos"), page.html.index("Our photos")]
    assert headings[0] < theirs < headings[1] < ours
    assert "photos" not in talk_of(shop, case).facts or len(talk_of(shop, case).facts["photos"].value) == 1  # type: ignore[arg-type]


# ---- one step at a time


def test_one_tap_keeps_the_result_and_the_next_step_is_planned_anew(shop: Shop) -> None:
    case, customer, technician = shop_with_box_here(shop)
    first = next_step(technician.get(f"/bench/{case}"))

    page = tap(technician, case, "done")

    assert next_step(page) != first
    assert [entry.result for entry in job_of(shop, case).entries] == ["done"]
    assert "Your device is on the bench" in customer.get(f"/talk/{case}/status").text


def test_undo_takes_the_last_result_back_and_the_step_is_next_again(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)
    first = next_step(technician.get(f"/bench/{case}"))
    tap(technician, case, "done")
    technician.get(f"/bench/{case}")

    page = technician.submit("/undo")

    assert next_step(page) == first
    assert job_of(shop, case).entries == ()
    assert not [form for form in page.forms if str(form["action"]).endswith("/undo")]


def test_the_clock_counts_when_no_minutes_are_typed(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)
    technician.get(f"/bench/{case}")
    technician.submit("/start")
    shop.clock.pass_(minutes=7)

    tap(technician, case, "done")
    tap(technician, case, "done", minutes="3,5")

    assert [entry.minutes for entry in job_of(shop, case).entries] == [Decimal(7), Decimal("3.5")]


def test_something_seen_is_a_verified_fact_and_the_step_stays(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)
    for _ in range(6):
        page = technician.get(f"/bench/{case}")
        seen = re.findall(r'name="(seen\.[^"]+)" value="yes"', page.html)
        if seen:
            break
        tap(technician, case, "done")
    step = next_step(technician.get(f"/bench/{case}"))

    page = technician.submit("/result", result="saw", **{seen[0]: "yes"})

    entry = talk_of(shop, case).facts[seen[0].removeprefix("seen.")]
    assert (entry.value, entry.verified) == ("yes", True)
    assert page.status == 200
    assert step in page.text


def test_the_page_names_cautions_where_and_why(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)

    pages = [technician.get(f"/bench/{case}")]
    for _ in range(3):
        pages.append(tap(technician, case, "done"))

    assert all(
        "Why this now" in page.text
        for page in pages
        if 'class="one-step"' in page.html and "result-buttons" in page.html
    )
    assert any('class="warning"' in page.html or 'class="notice"' in page.html for page in pages)


def test_a_result_for_a_step_that_is_not_planned_is_refused(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)
    technician.get(f"/bench/{case}")

    page = technician.submit("/result", result="done", step="replace_everything")
    wrong = tap(technician, case, "perhaps")

    assert (page.status, wrong.status) == (409, 422)
    assert job_of(shop, case).entries == ()


def test_a_tap_from_an_old_page_is_a_conflict_not_a_second_result(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)
    other = shop.browser("owner")
    technician.get(f"/bench/{case}")
    other.get(f"/bench/{case}")

    technician.submit("/result", result="done")
    late = other.submit("/result", result="done")

    assert late.status == 409
    assert len(job_of(shop, case).entries) == 1


# ---- the authorised maximum


def work_to_the_limit(shop: Shop, technician: Browser, case: str) -> Page:
    for _ in range(12):
        page = technician.get(f"/bench/{case}")
        if "Stop at the authorised maximum" in page.text:
            return page
        results = {value for form in page.forms for name, value in form["buttons"] if name == "result"}
        assert results, page.text[:500]
        tap(technician, case, "test_failed", minutes="25")
    raise AssertionError("the maximum was never reached")


def test_the_maximum_is_a_hard_stop_with_a_request_ready_to_send(shop: Shop) -> None:
    case, customer, technician = shop_with_box_here(shop, limit="60")

    page = work_to_the_limit(shop, technician, case)
    done = len(job_of(shop, case).entries)
    forced = technician.client.post(
        f"/bench/{case}/result",
        data={**page.form("/ask")["data"], "step": "replace_pickup", "result": "done"},
    )
    asked = technician.submit("/ask")
    told = customer.get(f"/talk/{case}")

    assert "£60.00" in page.text
    assert "The next sensible step is" in page.form("/ask")["data"]["reason"][0]
    assert forced.status_code == 409
    assert len(job_of(shop, case).entries) == done
    assert "The customer has not agreed yet" in asked.text
    assert waits_for(shop, case) == "customer_consent"
    assert "The next sensible step is" in told.text


def test_work_goes_on_when_the_customer_agrees_to_the_new_maximum(shop: Shop) -> None:
    case, customer, technician = shop_with_box_here(shop, limit="60")
    work_to_the_limit(shop, technician, case)
    technician.submit("/ask")

    estimate = customer.get(f"/talk/{case}/estimate")
    customer.get(f"/talk/{case}/decision/accept")
    agreed = customer.submit("/decision/accept")
    page = technician.get(f"/bench/{case}")

    assert "You decide" in estimate.text
    assert "The bench goes on" in agreed.text
    assert "Stop at the authorised maximum" not in page.text
    assert waits_for(shop, case) == "bench"


def test_an_invoice_above_the_maximum_cannot_be_written(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop, limit="60")
    tap(technician, case, "test_failed")
    technician.get(f"/bench/{case}/outcome")

    over = technician.submit("/outcome", ending="repairable", causes=["lens_dirty"], total="60.01")
    job = job_of(shop, case)

    assert over.status == 409
    assert "Above the authorised maximum" in over.text
    assert job.outcome is None


# ---- the end


def test_a_repaired_job_from_the_play_test_to_the_door(shop: Shop) -> None:
    case, customer, technician = shop_with_box_here(shop)
    tap(technician, case, "done")
    played = tap(technician, case, "test_passed")
    page = technician.get(f"/bench/{case}/acceptance")
    tests = sorted(set(re.findall(r'name="(test\.[^"]+)"', page.html)))

    technician.get(f"/bench/{case}/outcome")
    too_early = technician.submit("/outcome", ending="fixed", causes=["jammed_disc"])
    technician.get(f"/bench/{case}/acceptance")
    technician.submit("/acceptance", **dict.fromkeys(tests, "passed"))
    written = technician.submit("/outcome", ending="fixed", causes=["jammed_disc"])
    without_disc = technician.submit("/return", contents=["device"], disc_returned="no")
    packed = technician.submit("/return", contents=["device"], disc_returned="yes", tracking="EX123")
    technician.submit("/handed-over")

    job = job_of(shop, case)
    assert "It plays" in played.text
    assert (too_early.status, "every acceptance test" in too_early.text) == (422, True)
    assert written.response.request.path == f"/bench/{case}/return"
    assert (without_disc.status, "has to go back in the box" in without_disc.text) == (422, True)
    assert "It has been packed" in packed.text
    assert (job.outcome["ending"], job.collected) == ("fixed", True)  # type: ignore[index]
    assert waits_for(shop, case) == "nothing"
    assert "The work is finished" in customer.get(f"/talk/{case}/status").text
    assert customer.client.get(f"/talk/{case}/papers/return_note.pdf").data.startswith(b"%PDF-")


def test_acceptance_begins_with_the_class_of_the_customers_own_disc(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)

    page = technician.get(f"/bench/{case}/acceptance")

    tests = list(dict.fromkeys(re.findall(r'name="test\.([^"]+)"', page.html)))
    disc_class = talk_of(shop, case).facts["stuck_disc_class"].value
    assert tests[0] == f"disc:{disc_class}"
    assert tests[-2:] == ["stuck_disc", "cycles"]


def test_the_cause_is_needed_for_an_outcome(shop: Shop) -> None:
    case, _, technician = shop_with_box_here(shop)
    technician.get(f"/bench/{case}/outcome")

    page = technician.submit("/outcome", ending="end_of_life")

    assert (page.status, "what it really was" in page.text) == (422, True)
    assert job_of(shop, case).outcome is None


def test_the_desk_can_look_at_the_bench_but_not_tap(shop: Shop) -> None:
    case, _, _ = shop_with_box_here(shop)

    page = shop.browser("desk").get(f"/bench/{case}")

    assert page.status == 200
    assert not [form for form in page.forms if str(form["action"]).endswith(("/result", "/undo", "/start"))]
