"""The bench page as finished strings. Pure: from the workshop's view and ladder, in the technician's language."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Literal

from babel.numbers import format_percent

from intakebot.definitions.model import Fact, Family
from intakebot.definitions.texts import Texts
from intakebot.definitions.values import DECLINED, NOT_KNOWN
from intakebot.documents.ladder import Rung
from intakebot.quoting.money import Money, format_money
from intakebot.web.form_lines import FactField, field_for
from intakebot.workshop import BenchView
from intakebot.workshop.pretriage import plan_name

MAIN_RESULT = {
    True: ("test_passed", "test_failed", "done", "could_not"),
    False: ("done", "test_passed", "test_failed", "could_not"),
}
TEST_ONLY = ("test_passed", "test_failed")


@dataclass(frozen=True)
class CautionLine:
    severity: Literal["stop", "warning", "note"]
    text: str


@dataclass(frozen=True)
class NextStep:
    """The one step to do now. results: the buttons in order, the likeliest first."""

    id: str
    name: str
    how: str
    level: str
    minutes: str
    parts: tuple[str, ...]
    why: tuple[str, ...]
    cautions: tuple[CautionLine, ...]
    test_after: bool
    results: tuple[str, ...]


@dataclass(frozen=True)
class RungLine:
    """A rung of the ladder. limit_before: the authorised maximum cuts across above this rung."""

    name: str
    depth: int
    minutes: str
    solved: str
    money: str
    state: str
    test_after: bool
    limit_before: bool


@dataclass(frozen=True)
class BenchPage:
    """Everything on the bench page. blocked: why nothing may be done now, or "" (see the workshop's BenchView)."""

    next: NextStep | None
    blocked: str
    finished: bool
    spent: str
    authorised: str
    after_next: str
    over_by: str
    running_since: datetime | None
    can_undo: bool
    rungs: tuple[RungLine, ...]
    parts_used: tuple[str, ...]
    seen: tuple[FactField, ...]
    request: str


def bench_page(
    view: BenchView, rungs: Sequence[Rung], family: Family, texts: Texts, customer: Texts
) -> BenchPage:
    """Build the page. customer: texts in the customer's language, for the ready-made request."""

    def money(value: Money) -> str:
        return format_money(value, texts.locale)

    step = _next_step(view, family, texts)
    asked = ""
    if step is not None and view.next is not None:
        asked = customer.say(
            "web.bench.request_reason",
            step=customer.say(f"step.{view.next.step}.customer"),
            after=format_money(view.after_next, customer.locale),
        )
    return BenchPage(
        next=step,
        blocked=view.blocked,
        finished=view.finished,
        spent=money(view.spent),
        authorised=money(view.authorised),
        after_next=money(view.after_next),
        over_by=money(view.over_by),
        running_since=view.running_since,
        can_undo=bool(view.done),
        rungs=_rungs(rungs, view, texts),
        parts_used=tuple(texts.say(f"spare.{part}") for part in view.parts_used),
        seen=tuple(_seen(family.facts[fact], texts) for fact, _ in view.seen_options),
        request=asked,
    )


def _next_step(view: BenchView, family: Family, texts: Texts) -> NextStep | None:
    step = view.next
    if step is None:
        return None
    return NextStep(
        id=step.id,
        name=texts.say("web.bench.test_now") if view.only_test else plan_name(texts, step.id),
        how=texts.say("web.bench.test_now_how", step=plan_name(texts, step.id))
        if view.only_test
        else view.how,
        level=texts.say(f"level.{step.level}"),
        minutes=texts.say(
            "web.bench.minutes_of", minutes=round(step.minutes), access=round(step.access_minutes)
        ),
        parts=tuple(texts.say(f"spare.{part}") for part in step.parts),
        why=view.why,
        cautions=tuple(
            CautionLine(family.cautions[caution].severity, text) for caution, text in view.cautions
        ),
        test_after=view.test_after,
        results=TEST_ONLY if view.only_test else MAIN_RESULT[view.test_after],
    )


def _seen(fact: Fact, texts: Texts) -> FactField:
    """The control for something seen at this step; left alone, it says nothing."""
    control = field_for(texts, fact, None)
    offered = tuple(option for option in control.options if option.value not in (NOT_KNOWN, DECLINED))
    return replace(control, name=f"seen.{fact.id}", options=offered)


def _rungs(rungs: Sequence[Rung], view: BenchView, texts: Texts) -> tuple[RungLine, ...]:
    """The ladder; the maximum cuts it above the first rung that may not be begun without asking."""
    lines, cut = [], False
    first = next((index for index, rung in enumerate(rungs) if rung.state != "done"), None)
    for index, rung in enumerate(rungs):
        stops_here = index == first and view.blocked == "maximum"
        beyond = not rung.allowed or stops_here or rung.money > view.authorised.amount
        limit_before = beyond and not cut and rung.state != "done" and view.authorised.amount > 0
        cut = cut or limit_before
        amount = Money(rung.money.quantize(Decimal("0.01")), view.authorised.currency)
        lines.append(
            RungLine(
                name=rung.name,
                depth=min(rung.depth, 5),
                minutes=texts.say("web.bench.rung_minutes", minutes=round(rung.minutes)),
                solved=""
                if rung.state == "done"
                else format_percent(rung.chance_solved, locale=texts.locale),
                money=format_money(amount, texts.locale),
                state="next" if index == first else rung.state,
                test_after=rung.test_after,
                limit_before=limit_before,
            )
        )
    return tuple(lines)
