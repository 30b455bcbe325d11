"""A planning problem: what may be wrong, what can be done, what it costs to reach and to test.

Theory (the exact meaning that every solver here shares)
--------------------------------------------------------
*Hypotheses* are mutually exclusive sets of faults. A device is repaired once every fault of the true set is cured.
Probabilities may sum to less than 1; the rest is a cause that no listed step repairs.

*Steps* cure fault f with probability `fixes[f]`, independently of one another. Each is done at most once, and only
after the steps named in `after` (earlier in the plan or earlier in the same group). After the set V of steps the device
is still broken with probability

    R(V) = rest + sum_h P(h) * (1 - prod_{f in h} (1 - prod_{i in V} (1 - fixes_i[f])))        R({}) = 1

*Levels* form a forest. A step can be done while its level and all levels above it are open; a step without a level
needs nothing opened. At the start only `open_levels` are open (normally none). Opening a level costs `open`, closing it
`close`. A level with `test_possible` false must be closed, and so everything below it, before a test.

A *plan* is a sequence of groups B_1..B_k, each followed by a test; a device that passes is finished. V_j is what has
been done after j groups, O_j the levels open after test j. The expected cost is

    E = sum_j R(V_{j-1}) * (cost of B_j + newly opened levels + levels the test forces to be closed + test_cost)
      + sum_j (R(V_{j-1}) - R(V_j)) * close(O_j)  +  R(V_k) * (close(O_k) + give_up_cost)

`close_at_end` false: nothing is paid for closing at the end, close(O) = 0 (closing forced by a test is still paid).
`give_up_cost` None: giving up is not allowed until every step is done, whether it can help or not; a device that is then
still broken ends with no further cost than closing. A plan ends early when R(V) is 0.

A level once open is left open until a test or the end forces it shut. Closing earlier is never cheaper: it costs the
same for everybody who would close later, and may have to be undone. So what is open after a test follows from V alone,
which is what lets the exact solver work on subsets of steps only.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from intakebot.errors import PlanningProblemError

SUM_TOLERANCE = 1e-9
"""Hypotheses may sum to 1 plus this much (rounding of the caller); more is refused."""


@dataclass(frozen=True)
class Hypothesis:
    """One set of faults that may all be present, and nothing else; `probability` in [0, 1]."""

    faults: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class PlanStep:
    """One thing that can be done once.

    cost: in the problem's unit (money, minutes), access and test not included; at least 0.
    level: id of the access level, None when nothing needs opening.
    fixes: fault -> probability that the step cures it.
    after: ids of steps that must come first.
    apart: steps with the same tag are never in one group: a test comes between them (look-alike boards are tried one
        by one, since only one can be fitted).
    """

    id: str
    cost: float
    level: str | None = None
    fixes: Mapping[str, float] = field(default_factory=dict)
    after: tuple[str, ...] = ()
    apart: str | None = None


@dataclass(frozen=True)
class AccessLevel:
    """`open` and `close` are the costs from and to the parent (or the closed device, without a parent)."""

    id: str
    parent: str | None = None
    open: float = 0.0
    close: float = 0.0
    test_possible: bool = True


@dataclass(frozen=True)
class PlanningProblem:
    """A well-formed problem; build it with `from_mapping`, or directly and then call `checked()`.

    The order of hypotheses, steps and levels carries no meaning. Ties between plans are broken by step id.
    """

    hypotheses: tuple[Hypothesis, ...]
    steps: tuple[PlanStep, ...]
    levels: tuple[AccessLevel, ...] = ()
    test_cost: float = 0.0
    give_up_cost: float | None = None
    close_at_end: bool = True
    open_levels: tuple[str, ...] = ()

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, Any]) -> PlanningProblem:
        """Read the public JSON shape.

        `{"hypotheses": [{"faults": ["a", "b"], "probability": 0.2}],
        "steps": [{"id", "cost", "level", "fixes": {"a": 0.9}, "after": ["id"]}],
        "levels": [{"id", "parent", "open", "close", "test_possible"}],
        "test_cost", "give_up_cost", "close_at_end"}`

        May be left out: `levels`, a step's `level` (null: nothing to open), `fixes`, `after` and `apart`, a level's `parent`
        (null: from the closed device), `open` and `close` (0), `test_possible` (true), `test_cost` (0), `give_up_cost`
        (null), `close_at_end` (true), `open_levels` (ids of levels open at the start). Keys that are not known are
        ignored, unless one looks like a misspelt known key.

        Raises:
            PlanningProblemError: with `where` such as `steps[2].cost`; the first problem found, in reading order.
        """
        problem = _read_problem(mapping)
        return problem.checked()

    def checked(self) -> PlanningProblem:
        """Self, when the ids, relations and numbers are sound.

        Raises: PlanningProblemError.
        """
        _check(self)
        return self


# ---- reading -------------------------------------------------------------------------------------------------------

_PROBLEM_KEYS = (
    "hypotheses",
    "steps",
    "levels",
    "test_cost",
    "give_up_cost",
    "close_at_end",
    "open_levels",
)
_HYPOTHESIS_KEYS = ("faults", "probability")
_STEP_KEYS = ("id", "cost", "level", "fixes", "after", "apart")
_LEVEL_KEYS = ("id", "parent", "open", "close", "test_possible")


def _read_problem(mapping: Any) -> PlanningProblem:
    record = _record(mapping, "problem", _PROBLEM_KEYS)
    give_up = record.get("give_up_cost")
    return PlanningProblem(
        hypotheses=tuple(
            Hypothesis(
                faults=tuple(_texts(_needed(item, "faults", where), f"{where}.faults")),
                probability=_number(_needed(item, "probability", where), f"{where}.probability"),
            )
            for where, item in _records(record, "hypotheses", _HYPOTHESIS_KEYS)
        ),
        steps=tuple(
            PlanStep(
                id=_text(_needed(item, "id", where), f"{where}.id"),
                cost=_number(_needed(item, "cost", where), f"{where}.cost"),
                level=_text_or_none(item.get("level"), f"{where}.level"),
                fixes={
                    fault: _number(chance, f"{where}.fixes.{fault}")
                    for fault, chance in _mapping(item.get("fixes"), f"{where}.fixes").items()
                },
                after=tuple(_texts(item.get("after") or [], f"{where}.after")),
                apart=_text_or_none(item.get("apart"), f"{where}.apart"),
            )
            for where, item in _records(record, "steps", _STEP_KEYS)
        ),
        levels=tuple(
            AccessLevel(
                id=_text(_needed(item, "id", where), f"{where}.id"),
                parent=_text_or_none(item.get("parent"), f"{where}.parent"),
                open=_number(item.get("open", 0.0), f"{where}.open"),
                close=_number(item.get("close", 0.0), f"{where}.close"),
                test_possible=_flag(item.get("test_possible", True), f"{where}.test_possible"),
            )
            for where, item in _records({"levels": [], **record}, "levels", _LEVEL_KEYS)
        ),
        test_cost=_number(record.get("test_cost", 0.0), "test_cost"),
        give_up_cost=None if give_up is None else _number(give_up, "give_up_cost"),
        close_at_end=_flag(record.get("close_at_end", True), "close_at_end"),
        open_levels=tuple(_texts(record.get("open_levels") or [], "open_levels")),
    )


def _record(value: Any, where: str, keys: Sequence[str]) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise PlanningProblemError(where, value, "a mapping")
    for key in value:
        if key in keys:
            continue
        near = difflib.get_close_matches(str(key), keys, n=1, cutoff=0.75)
        if near:
            raise PlanningProblemError(f"{where}.{key}", key, f"a known key; did you mean {near[0]!r}?")
    return value


def _records(
    record: Mapping[str, Any], key: str, keys: Sequence[str]
) -> Iterator[tuple[str, Mapping[str, Any]]]:
    items = _needed(record, key, "problem")
    if not isinstance(items, list | tuple):
        raise PlanningProblemError(key, items, "a list")
    for index, item in enumerate(items):
        yield f"{key}[{index}]", _record(item, f"{key}[{index}]", keys)


def _needed(record: Mapping[str, Any], key: str, where: str) -> Any:
    if key not in record:
        raise PlanningProblemError(key if where == "problem" else f"{where}.{key}", "nothing", "a value")
    return record[key]


def _mapping(value: Any, where: str) -> Mapping[str, Any]:
    if value is None:
        return {}
    if not isinstance(value, Mapping) or not all(isinstance(key, str) for key in value):
        raise PlanningProblemError(where, value, "a mapping from fault to probability")
    return value


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PlanningProblemError(where, value, "a number")
    try:
        number = float(value)
    except OverflowError:
        raise PlanningProblemError(where, value, "a finite number") from None
    if not math.isfinite(number):
        raise PlanningProblemError(where, value, "a finite number")
    return number


def _flag(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise PlanningProblemError(where, value, "true or false")
    return value


def _text(value: Any, where: str) -> str:
    if not isinstance(value, str) or not value:
        raise PlanningProblemError(where, value, "a non-empty text")
    return value


def _text_or_none(value: Any, where: str) -> str | None:
    return None if value is None else _text(value, where)


def _texts(value: Any, where: str) -> list[str]:
    if not isinstance(value, list | tuple):
        raise PlanningProblemError(where, value, "a list of ids")
    return [_text(item, f"{where}[{index}]") for index, item in enumerate(value)]


# ---- checking ------------------------------------------------------------------------------------------------------


def _check(problem: PlanningProblem) -> None:
    _check_hypotheses(problem.hypotheses)
    level_ids = _unique([level.id for level in problem.levels], "levels")
    step_ids = _unique([step.id for step in problem.steps], "steps")
    for index, step in enumerate(problem.steps):
        where = f"steps[{index}]"
        _at_least_zero(step.cost, f"{where}.cost")
        if step.level is not None:
            _known(step.level, level_ids, f"{where}.level")
        for fault, chance in step.fixes.items():
            _probability(chance, f"{where}.fixes.{fault}")
        for place, other in enumerate(step.after):
            _known(other, step_ids, f"{where}.after[{place}]")
    for index, level in enumerate(problem.levels):
        where = f"levels[{index}]"
        _at_least_zero(level.open, f"{where}.open")
        _at_least_zero(level.close, f"{where}.close")
        if level.parent is not None:
            _known(level.parent, level_ids, f"{where}.parent")
    _at_least_zero(problem.test_cost, "test_cost")
    if problem.give_up_cost is not None:
        _at_least_zero(problem.give_up_cost, "give_up_cost")
    for index, level_id in enumerate(problem.open_levels):
        _known(level_id, level_ids, f"open_levels[{index}]")
    _acyclic({step.id: step.after for step in problem.steps}, "steps", "after")
    _acyclic(
        {level.id: (level.parent,) if level.parent else () for level in problem.levels}, "levels", "parent"
    )


def _check_hypotheses(hypotheses: Sequence[Hypothesis]) -> None:
    for index, hypothesis in enumerate(hypotheses):
        where = f"hypotheses[{index}]"
        _probability(hypothesis.probability, f"{where}.probability")
        if not hypothesis.faults:
            raise PlanningProblemError(f"{where}.faults", [], "at least one fault")
        _unique(hypothesis.faults, f"{where}.faults")
    total = math.fsum(hypothesis.probability for hypothesis in hypotheses)
    if total > 1 + SUM_TOLERANCE:
        raise PlanningProblemError("hypotheses", total, "probabilities that sum to at most 1")


def _unique(ids: Sequence[str], where: str) -> frozenset[str]:
    seen: set[str] = set()
    for index, each in enumerate(ids):
        if each in seen:
            raise PlanningProblemError(f"{where}[{index}]", each, "an id that is not used twice")
        seen.add(each)
    return frozenset(seen)


def _known(each: str, ids: frozenset[str], where: str) -> None:
    if each not in ids:
        near = difflib.get_close_matches(each, sorted(ids), n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise PlanningProblemError(where, each, f"a known id{hint}")


def _at_least_zero(value: float, where: str) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise PlanningProblemError(where, value, "a finite number, at least 0")


def _probability(value: float, where: str) -> None:
    if not 0 <= value <= 1:  # also false for NaN
        raise PlanningProblemError(where, value, "a probability between 0 and 1")


def _acyclic(before: Mapping[str, Sequence[str]], what: str, relation: str) -> None:
    """Refuse a cycle: take away what waits for nothing until nothing is left."""
    waiting = {each: set(others) for each, others in before.items()}
    while waiting:
        free = [each for each, others in waiting.items() if not others & waiting.keys()]
        if not free:
            index, each = next((i, each) for i, each in enumerate(before) if each in waiting)
            raise PlanningProblemError(
                f"{what}[{index}].{relation}", sorted(before[each]), "no cycle among " + what
            )
        for each in free:
            del waiting[each]
