"""A job from the accepted estimate to the returned box, at the workshop's seam with turns."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from itertools import pairwise

import pytest

from intakebot.conversation import Conversation, FactsEntered, PhaseMoved
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError, ConflictError, OverCapError, QuoteStateError, StaleVersionError
from intakebot.turns import change_case, decide, take_turn
from intakebot.workshop import Job

START = datetime(2026, 1, 1, tzinfo=UTC)


class Bench:
    """A technician at work on one case."""

    def __init__(self, shop, case_id: str) -> None:
        self.shop, self.id = shop, case_id

    @property
    def case(self):
        with self.shop.store.reading() as work:
            return work.cases.get(self.id)

    @property
    def definitions(self):
        return self.shop.turns.editions.current

    @property
    def texts(self) -> Texts:
        return Texts(self.definitions, self.case.family, "en")

    @property
    def workshop(self):
        return self.shop.turns.workshop

    def change(self, action, if_version=None, **arguments):
        return change_case(
            self.shop.turns, self.id, lambda d, c, now: action(d, c, now, by="staff:ada", **arguments), actor="staff:ada",
            if_version=if_version,
        )  # fmt: skip

    def arrive(self, **different):
        form = self.workshop.arrival_form(self.definitions, self.case, self.shop.turns.now(), self.texts)
        found = {line.id: "here" for line in form.lines} | different.pop("found", {})
        told = {
            "screws": 12, "seals": "intact", "earlier_repair": (), "weight_kg": Decimal("3.4"), "disc": None,
            "board_matches": None, "notes": "",
        }  # fmt: skip
        return self.change(self.workshop.record_arrival, found=found, **{**told, **different})

    def view(self):
        return self.workshop.bench(self.definitions, self.case, self.shop.turns.now(), self.texts)

    def do(self, result: str, **more):
        told = {"seen": {}, "minutes": Decimal(10), **more}
        return self.change(self.workshop.record_result, step=self.view().next.id, result=result, **told)


@pytest.fixture
def bench_with(shop_with) -> Callable[[str], Bench]:
    """A bench at which the box of a story is expected."""

    def make(name: str) -> Bench:
        shop, played = shop_with(name)
        return Bench(shop, played.case_id)

    return make


@pytest.fixture
def bench(bench_with) -> Bench:
    return bench_with("blue_laser")


def test_box_that_matches_its_packing_sheet_goes_to_the_bench(bench):
    bench.arrive()

    assert bench.case.index.waits_for == "bench"
    assert Conversation.from_mapping(bench.case.conversation).phase == "arrived"


def test_arrival_check_needs_an_answer_for_every_line(bench):
    with pytest.raises(BadInputError, match="whether it is here"):
        bench.change(bench.workshop.record_arrival, found={}, screws=None, seals=None, earlier_repair=(), weight_kg=None,
                     disc=None, board_matches=None, notes="")  # fmt: skip

    assert Job.of(bench.case).arrival is None


def test_missing_paired_part_holds_the_job_and_tells_the_customer(bench_with):
    bench = bench_with("board_in_a_drawer")
    form = bench.workshop.arrival_form(bench.definitions, bench.case, bench.shop.turns.now(), bench.texts)
    original = next(line.id for line in form.lines if line.original_part)

    answer = bench.arrive(found={original: "missing"})

    assert bench.case.index.waits_for == "box"
    assert "One thing is missing" in answer.mapping["replies"][-1]["text"]
    assert bench.view().blocked == "hold"
    with pytest.raises(ConflictError):
        bench.change(bench.workshop.start_step, step="clean_lens")


def test_held_job_goes_on_when_the_part_arrives(bench_with):
    bench = bench_with("board_in_a_drawer")
    form = bench.workshop.arrival_form(bench.definitions, bench.case, bench.shop.turns.now(), bench.texts)
    bench.arrive(found={next(line.id for line in form.lines if line.original_part): "missing"})

    bench.arrive()

    assert Job.of(bench.case).hold == ""
    assert bench.case.index.waits_for in ("bench", "customer_consent")


def test_signs_of_earlier_work_change_facts_and_the_chances(bench):
    before = bench.view().diagnosis.marginals["flex_cable"]

    bench.arrive(earlier_repair=("flux_residue", "mixed_screws"))

    facts = Conversation.from_mapping(bench.case.conversation).facts
    assert (facts["opened"].value, facts["opened"].verified) == ("someone", True)
    assert bench.view().diagnosis.marginals["flex_cable"] > before


def test_failed_test_moves_the_plan_on_and_lowers_what_was_tried(bench):
    bench.arrive()
    first = bench.view()

    bench.do("test_failed")

    after = bench.view()
    assert after.next is None or after.next.id != first.next.id
    assert [entry.step for entry in after.done] == [first.next.id]


def test_passed_test_ends_the_plan(bench):
    bench.arrive()

    bench.do("test_passed")

    assert bench.view().finished
    assert bench.view().next is None


def test_undo_takes_the_last_result_back_and_the_log_keeps_both(bench):
    bench.arrive()
    first = bench.view().next.id
    bench.do("test_failed")

    bench.change(bench.workshop.undo_result)

    assert bench.view().next.id == first
    with bench.shop.store.reading() as work:
        kinds = [event.kind for event in work.events.since(bench.id)]
    assert kinds.count("step_result") == 1
    assert kinds.count("step_undone") == 1


def test_what_is_seen_re_plans_without_ending_the_step(bench_with):
    bench = bench_with("sleepy_tray")
    bench.arrive()
    while not bench.view().seen_options:
        bench.do("test_failed")
    before = bench.view()
    fact = before.seen_options[0][0]

    bench.change(
        bench.workshop.record_result, step=before.next.id, result="saw", seen={fact: "yes"}, minutes=None
    )

    after = bench.view()
    assert Conversation.from_mapping(bench.case.conversation).facts[fact].value == "yes"
    assert after.diagnosis.marginals != before.diagnosis.marginals
    assert len(after.done) == len(before.done)


def test_clock_of_a_started_step_gives_its_minutes(bench, clock):
    bench.arrive()
    step = bench.view().next.id
    bench.change(bench.workshop.start_step, step=step)
    clock.pass_time(minutes=7)

    bench.change(bench.workshop.record_result, step=step, result="test_failed", seen={}, minutes=None)

    assert Job.of(bench.case).entries[-1].minutes == 7


def until_maximum(bench) -> None:
    for _ in range(30):
        view = bench.view()
        if view.blocked == "maximum" or view.next is None:
            return
        bench.do("test_failed", minutes=Decimal(50))


def test_authorised_maximum_is_a_hard_stop_with_a_request_ready(bench):
    bench.arrive()

    until_maximum(bench)

    view = bench.view()
    assert view.blocked == "maximum"
    assert view.over_by.amount > 0
    with pytest.raises(OverCapError):
        bench.do("done")


def test_revised_quote_needs_a_new_yes_before_the_bench_goes_on(bench):
    bench.arrive()
    until_maximum(bench)

    bench.change(bench.workshop.ask_for_more)

    assert bench.case.index.waits_for == "customer_consent"
    assert bench.view().blocked == "consent"
    decide(bench.shop.turns, bench.id, "accept", by="customer", channel="web", quote_number=2)
    assert Conversation.from_mapping(bench.case.conversation).phase in ("arrived", "on_bench")
    assert bench.view().blocked in ("", "maximum")


def test_superseded_quote_cannot_be_accepted(bench):
    bench.arrive()
    until_maximum(bench)
    bench.change(bench.workshop.ask_for_more)

    with pytest.raises(QuoteStateError):
        decide(bench.shop.turns, bench.id, "accept", by="customer", channel="web", quote_number=1)


def finish(bench, ending="fixed", causes=("lens_dirty",)):
    tests = bench.workshop.acceptance(bench.definitions, bench.case, bench.texts)
    bench.change(bench.workshop.record_acceptance, results={test.id: "passed" for test in tests})
    bench.change(bench.workshop.record_outcome, ending=ending, causes=causes, total=None)


def test_fixed_device_needs_every_acceptance_test(bench):
    bench.arrive()
    bench.do("test_passed")

    with pytest.raises(BadInputError, match="acceptance"):
        bench.change(bench.workshop.record_outcome, ending="fixed", causes=("lens_dirty",), total=None)


def test_acceptance_begins_with_the_class_that_failed(bench):
    tests = bench.workshop.acceptance(bench.definitions, bench.case, bench.texts)

    assert tests[0].id == "disc:bluray"
    assert tests[-1].id == "cycles"


def test_stuck_disc_is_tested_after_our_own_discs(bench_with):
    bench = bench_with("moving_day")

    ids = [test.id for test in bench.workshop.acceptance(bench.definitions, bench.case, bench.texts)]

    assert ids[0] == "disc:dvd"
    assert ids.index("stuck_disc") > max(index for index, test in enumerate(ids) if test.startswith("disc:"))


def test_outcome_is_invoiced_once_and_never_above_what_was_agreed(bench):
    bench.arrive()
    bench.change(
        bench.workshop.record_result,
        step=bench.view().next.id,
        result="test_passed",
        seen={},
        minutes=Decimal(500),
    )

    finish(bench)

    job = Job.of(bench.case)
    assert Decimal(job.outcome["worked"]) > Decimal(job.outcome["total"])
    assert job.consent.invoiced == job.consent.authorised
    with pytest.raises(ConflictError):
        bench.change(bench.workshop.record_outcome, ending="fixed", causes=("lens_dirty",), total=None)


def test_total_above_the_authorised_maximum_is_refused(bench):
    bench.arrive()
    bench.do("test_passed")
    tests = bench.workshop.acceptance(bench.definitions, bench.case, bench.texts)
    bench.change(bench.workshop.record_acceptance, results={test.id: "passed" for test in tests})

    with pytest.raises(OverCapError):
        bench.change(
            bench.workshop.record_outcome, ending="fixed", causes=("lens_dirty",), total=Decimal("5000")
        )


def test_customers_disc_must_go_back_with_the_box(bench_with):
    bench = bench_with("moving_day")
    bench.arrive(disc="here")
    bench.do("test_passed")
    finish(bench, causes=("jammed_disc",))

    with pytest.raises(BadInputError, match="disc"):
        bench.change(bench.workshop.record_return, contents=("player",), disc_returned=False, tracking="EX-1")

    bench.change(
        bench.workshop.record_return, contents=("player", "disc"), disc_returned=True, tracking="EX-1"
    )
    bench.change(bench.workshop.hand_over)
    assert bench.case.index.waits_for == "nothing"
    assert [entry["holder"] for entry in Job.of(bench.case).custody] == ["shop", "carrier", "customer"]


def test_finished_job_teaches_without_personal_data(bench):
    bench.arrive()
    bench.do("test_passed")
    finish(bench)

    with bench.shop.store.reading() as work:
        (lesson,) = work.outcomes.since(START)
    text = str(lesson)
    assert "lens_dirty" in text
    for secret in ("Nora", "fennwick", "EX4"):
        assert secret not in text


def test_all_papers_can_be_made_at_the_end(bench):
    bench.arrive(earlier_repair=("tool_marks",))
    bench.do("test_passed")
    finish(bench)
    arguments = (bench.definitions, bench.case, bench.texts)

    titles = [make(*arguments).title for make in (
        bench.workshop.estimate_sheet, bench.workshop.packing_document, bench.workshop.inside_slip_sheet, bench.workshop.intake_form_sheet,
        bench.workshop.pretriage_sheet, bench.workshop.bench_record_sheet, bench.workshop.return_note_sheet)]  # fmt: skip

    assert len(set(titles)) == 7


def test_staff_edit_on_an_old_version_is_a_conflict_and_changes_nothing(bench):
    version = bench.case.version
    bench.arrive()

    with pytest.raises(StaleVersionError):
        bench.change(bench.workshop.hold, if_version=version, reason="late")

    assert Job.of(bench.case).hold == ""


def test_hold_release_and_kind_refusal_tell_the_customer(bench):
    held = bench.change(bench.workshop.hold, reason="a part is on its way").mapping["replies"][-1]["text"]
    released = bench.change(bench.workshop.release).mapping["replies"][-1]["text"]
    declined = bench.change(bench.workshop.decline_kindly, reason="we do not repair this kind").mapping[
        "replies"
    ][-1]["text"]

    assert "a part is on its way" in held
    assert "goes on" in released
    assert "we do not repair this kind" in declined
    assert bench.case.index.waits_for == "nothing"


def test_facts_changed_on_the_bench_do_not_reopen_the_decision(bench):
    bench.arrive()
    take_turn(bench.shop.turns, bench.id, PhaseMoved("m1", "on_bench"), actor="staff:ada")

    take_turn(
        bench.shop.turns,
        bench.id,
        FactsEntered("m2", {"age_years": 9}, by="staff", verified=True),
        actor="staff:ada",
    )

    assert Conversation.from_mapping(bench.case.conversation).phase == "on_bench"
    assert Job.of(bench.case).quote_number == 1


def test_box_much_lighter_than_expected_is_noted_on_the_record(bench):
    form = bench.workshop.arrival_form(bench.definitions, bench.case, bench.shop.turns.now(), bench.texts)

    bench.arrive(weight_kg=form.expected_kg / 2)

    record = bench.workshop.bench_record_sheet(bench.definitions, bench.case, bench.texts)
    assert "lighter" in record.section("differences").items[0]


def test_the_bench_record_names_people_and_never_an_id(bench):
    bench.arrive()
    bench.do("done")
    say = bench.workshop.bench_record_sheet

    named = (
        say(bench.definitions, bench.case, bench.texts, {"staff:ada": "Ada Example"})
        .section("steps")
        .tables[0]
    )
    unnamed = say(bench.definitions, bench.case, bench.texts).section("steps").tables[0]

    assert [named.rows[0][-1], unnamed.rows[0][-1]] == ["Ada Example", "the shop"]


def test_closing_is_counted_once_when_a_quote_is_revised(bench):
    """Work that stops here is put together again; work that goes on is closed by the rest of the plan."""
    from intakebot.workshop.bench import done_so_far

    bench.arrive()
    while bench.view().next.step != "clean_lens":
        bench.do("done")
    bench.do("test_failed")
    family, entries = bench.definitions.families["disc_drive"], Job.of(bench.case).entries

    stopped, going_on = done_so_far(family, entries, closed=True), done_so_far(family, entries)

    # the drive itself was closed for the test; the drive lies beside the device (6 to put back) and the lid is off (7)
    assert stopped.access_minutes - going_on.access_minutes == pytest.approx(6 + 7)


def test_ladder_shows_the_bill_that_the_bench_would_write(bench):
    """Money on the ladder is the customer's: the first planned rung costs what the bench page says the next step brings it to."""
    bench.arrive()
    view = bench.view()

    rungs = bench.workshop.pretriage(
        bench.definitions, bench.case, bench.shop.turns.now(), bench.texts
    ).notes.rungs

    assert rungs[0].money == view.after_next.amount
    # the bill grows from rung to rung; only after a new part it may fall, because a part that did not help is not charged
    with_parts = {
        bench.texts.say(f"step.{step.id}.name")
        for step in bench.definitions.families["disc_drive"].steps.values()
        if step.parts
    }
    assert all(lower.money <= upper.money or lower.name in with_parts for lower, upper in pairwise(rungs))
    assert all(rung.allowed == (rung.money <= view.authorised.amount) for rung in rungs)
