"""The shop's side of a case: estimate, consent, arrival check, bench, outcome, and the papers.

Pure decisions over a stored case: every method that changes something returns a `CaseChange`, which `turns.change_case`
puts on disk in one commit. It sits above the pure packages and the records' plain values; nothing below imports it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from intakebot.assess import Assessments
from intakebot.conversation import Conversation
from intakebot.definitions.model import Definitions
from intakebot.definitions.texts import Texts
from intakebot.documents.label import Label
from intakebot.documents.ladder import Rung
from intakebot.documents.pictures import Picture
from intakebot.packing.bench_queue import Queue
from intakebot.quoting.consent import Actor
from intakebot.quoting.estimate_json import public_estimate
from intakebot.records.case import Case, IndexLine
from intakebot.sheets import Sheet
from intakebot.turn_draft import CaseChange, Decided
from intakebot.workshop import arrival, bench, closing, estimating, shop
from intakebot.workshop.arrival import ArrivalForm
from intakebot.workshop.bench import BenchView
from intakebot.workshop.closing import AcceptanceTest
from intakebot.workshop.job import Job
from intakebot.workshop.papers import Papers
from intakebot.workshop.pretriage import Pretriage, pretriage, pretriage_mapping, rungs

__all__ = ["AcceptanceTest", "ArrivalForm", "BenchView", "Job", "Pretriage", "Workshop"]


class Workshop:
    """The protocol of turns, and everything the staff pages call.

    Args:
        assessor_of: the assessor over a version of the definitions.
        now: the clock, for papers that show what holds today.
        queue_of: how busy the bench is now, for dates; None promises none.
    """

    def __init__(
        self,
        assessor_of: Callable[[Definitions], Assessments],
        now: Callable[[], datetime],
        queue_of: Callable[[Definitions], Queue | None] = lambda definitions: None,
    ) -> None:
        self._of, self._now, self._queue_of = assessor_of, now, queue_of

    # ---- what turns call

    def make_estimate(
        self, definitions: Definitions, case: Case, conversation: Conversation, now: datetime
    ) -> CaseChange:
        return estimating.issue_estimate(
            self._of(definitions),
            case,
            conversation,
            now,
            actor=Actor("intakebot", case.channel),
            queue=self._queue_of(definitions),
        )[0]

    def decide(
        self, definitions: Definitions, case: Case, conversation: Conversation, decision: str, limit: str | None, by: str,
        channel: str, now: datetime,
    ) -> Decided:  # fmt: skip
        return estimating.decide(definitions, case, decision, limit, by, channel, now)

    def index(self, definitions: Definitions, case: Case, conversation: Conversation) -> IndexLine:
        return shop.index_line(definitions, case, conversation)

    # ---- views for the API: codes and numbers

    def estimate_view(self, definitions: Definitions, case: Case) -> Mapping[str, Any]:
        """What a customer may see of the estimate; empty before there is one."""
        estimate = estimating.current_estimate(case)
        return {} if estimate is None else public_estimate(estimate)

    def packing_view(self, definitions: Definitions, case: Case) -> Mapping[str, Any]:
        return self._papers(definitions, case).packing().to_mapping()

    def pretriage_view(self, definitions: Definitions, case: Case) -> Mapping[str, Any]:
        return pretriage_mapping(
            self.pretriage(definitions, case, self._now(), Texts(definitions, case.family, "en"))
        )

    # ---- papers

    def _papers(self, definitions: Definitions, case: Case, texts: Texts | None = None) -> Papers:
        spoken = texts or Texts(definitions, case.family, case.locale)
        return Papers(self._of(definitions), case, self._now(), spoken, self._queue_of(definitions))

    def estimate_sheet(self, definitions: Definitions, case: Case, texts: Texts) -> Sheet:
        return self._papers(definitions, case, texts).estimate()

    def packing_document(self, definitions: Definitions, case: Case, texts: Texts) -> Sheet:
        return self._papers(definitions, case, texts).packing_document()

    def inside_slip_sheet(self, definitions: Definitions, case: Case, texts: Texts) -> Sheet:
        return self._papers(definitions, case, texts).inside_slip()

    def intake_form_sheet(self, definitions: Definitions, case: Case, texts: Texts) -> Sheet:
        return self._papers(definitions, case, texts).intake_form()

    def pretriage_sheet(self, definitions: Definitions, case: Case, texts: Texts) -> Sheet:
        return self._papers(definitions, case, texts).pretriage()

    def bench_record_sheet(
        self, definitions: Definitions, case: Case, texts: Texts, names: Mapping[str, str] | None = None
    ) -> Sheet:
        return self._papers(definitions, case, texts).bench_record(names or {})

    def return_note_sheet(self, definitions: Definitions, case: Case, texts: Texts) -> Sheet:
        return self._papers(definitions, case, texts).return_note()

    def label(self, definitions: Definitions, case: Case, url: str) -> Label | None:
        return self._papers(definitions, case).label(url)

    def ship_by(self, definitions: Definitions, case: Case, today: date) -> date | None:
        return self._papers(definitions, case).ship_by()

    def price_picture(self, definitions: Definitions, case: Case, texts: Texts) -> Picture:
        return self._papers(definitions, case, texts).price_picture()

    def ladder_picture(self, definitions: Definitions, case: Case, texts: Texts) -> Picture:
        return self._papers(definitions, case, texts).ladder_picture()

    def chances_picture(self, definitions: Definitions, case: Case, texts: Texts) -> Picture:
        return self._papers(definitions, case, texts).chances_picture()

    def box_picture(self, definitions: Definitions, case: Case, texts: Texts) -> Picture | None:
        return self._papers(definitions, case, texts).box_picture()

    # ---- front desk

    def revise_quote(
        self, definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str
    ) -> CaseChange:
        job = Job.of(case)
        done = bench.done_so_far(definitions.families[case.family], job.entries) if job.entries else None
        return estimating.revise(
            self._of(definitions),
            case,
            now,
            reason=reason,
            by=by,
            done=done,
            queue=self._queue_of(definitions),
        )

    def hold(
        self, definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str
    ) -> CaseChange:
        return shop.hold(definitions, case, now, reason=reason, by=by)

    def release(self, definitions: Definitions, case: Case, now: datetime, *, by: str) -> CaseChange:
        return shop.release(definitions, case, now, by=by)

    def decline_kindly(
        self, definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str
    ) -> CaseChange:
        return shop.decline_kindly(definitions, case, now, reason=reason, by=by)

    def clear_stop(self, definitions: Definitions, case: Case, now: datetime, *, by: str) -> CaseChange:
        return shop.clear_stop(case, now, by=by)

    # ---- arrival and bench

    def pretriage(self, definitions: Definitions, case: Case, now: datetime, texts: Texts) -> Pretriage:
        return pretriage(self._of(definitions), case, now, texts)

    def arrival_form(self, definitions: Definitions, case: Case, now: datetime, texts: Texts) -> ArrivalForm:
        return arrival.arrival_form(self._of(definitions), case, now, texts)

    def record_arrival(self, definitions: Definitions, case: Case, now: datetime, **found: Any) -> CaseChange:
        return arrival.record_arrival(self._of(definitions), case, now, **found)

    def bench(self, definitions: Definitions, case: Case, now: datetime, texts: Texts) -> BenchView:
        return bench.bench_view(self._of(definitions), case, now, texts)

    def ladder(
        self, definitions: Definitions, case: Case, view: BenchView, now: datetime, texts: Texts
    ) -> tuple[Rung, ...]:
        """The ladder of the plan a bench view was made from."""
        return rungs(self._of(definitions), case, view.plan, now, texts)

    def start_step(
        self, definitions: Definitions, case: Case, now: datetime, *, step: str, by: str
    ) -> CaseChange:
        return bench.start_step(self._of(definitions), case, now, step=step, by=by)

    def record_result(
        self, definitions: Definitions, case: Case, now: datetime, *, step: str, result: str, seen: Mapping[str, Any],
        minutes: Decimal | None, by: str,
    ) -> CaseChange:  # fmt: skip
        return bench.record_result(
            self._of(definitions), case, now, step=step, result=result, seen=seen, minutes=minutes, by=by
        )

    def undo_result(self, definitions: Definitions, case: Case, now: datetime, *, by: str) -> CaseChange:
        return bench.undo_result(case, now, by=by)

    def ask_for_more(
        self, definitions: Definitions, case: Case, now: datetime, *, by: str, reason: str = ""
    ) -> CaseChange:
        return bench.ask_for_more(
            self._of(definitions), case, now, by=by, reason=reason, queue=self._queue_of(definitions)
        )

    def acceptance(self, definitions: Definitions, case: Case, texts: Texts) -> tuple[AcceptanceTest, ...]:
        return closing.acceptance(self._of(definitions), case, texts)

    def record_acceptance(
        self, definitions: Definitions, case: Case, now: datetime, *, results: Mapping[str, str], by: str
    ) -> CaseChange:
        return closing.record_acceptance(self._of(definitions), case, now, results=results, by=by)

    def record_outcome(
        self, definitions: Definitions, case: Case, now: datetime, *, ending: str, causes: tuple[str, ...],
        total: Decimal | None, by: str, note: str = "",
    ) -> CaseChange:  # fmt: skip
        return closing.record_outcome(
            self._of(definitions), case, now, ending=ending, causes=causes, total=total, note=note, by=by
        )

    def record_return(
        self, definitions: Definitions, case: Case, now: datetime, *, contents: tuple[str, ...], disc_returned: bool | None,
        tracking: str, by: str,
    ) -> CaseChange:  # fmt: skip
        return closing.record_return(
            case, now, contents=contents, disc_returned=disc_returned, tracking=tracking, by=by
        )

    def hand_over(self, definitions: Definitions, case: Case, now: datetime, *, by: str) -> CaseChange:
        return closing.hand_over(case, now, by=by)
