"""The bench plan as a ladder: the same rungs on screen, on paper and in plain text.

Each rung is a step: its name, minutes, access level as indentation, and how far chance solved and money have grown by
then. A play test is a short bar below its rung. The authorised maximum cuts across: rungs below it are not allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from intakebot.documents.pictures import Box, Line, Picture, Role, Shape, Words, wrapped
from intakebot.errors import BadInputError

WIDTH = 360.0
_INDENT, _NAME_END = 9.0, 222.0
_CHANCE_X, _MONEY_X, _COLUMN = 228.0, 296.0, 60.0
_LINE = 16.0


@dataclass(frozen=True)
class Rung:
    """A step of the plan.

    depth: access levels below the outside. chance_solved: P(repaired) once this rung is tested. money: expected so far.
    test_after: a play test follows. state: `next`, `done`, or `planned`. allowed: within the authorised maximum.
    """

    name: str
    minutes: float
    depth: int
    chance_solved: float
    money: Decimal
    test_after: bool
    allowed: bool = True
    state: str = "planned"


@dataclass(frozen=True)
class LadderLabels:
    """minutes: with `{minutes}`; beyond: with `{maximum}`."""

    title: str
    chance: str
    money: str
    minutes: str
    test: str
    beyond: str
    nothing: str


def ladder_picture(
    rungs: Sequence[Rung],
    labels: LadderLabels,
    money: Callable[[Decimal], str],
    maximum: Decimal | None = None,
) -> Picture:
    """Rungs from the top, two thin bars at the side, the maximum as a line across.

    Raises: BadInputError for a chance outside [0, 1] or negative money.
    """
    _check(rungs)
    if not rungs:
        shapes: list[Shape] = [Words(0, 20, labels.nothing, "muted")]
        return Picture(WIDTH, 30, labels.title, labels.nothing, tuple(shapes))
    top = max((rung.money for rung in rungs), default=Decimal(0))
    most_money = max(top, maximum or Decimal(0), Decimal(1))
    shapes = [
        Words(_CHANCE_X, 12, labels.chance, "muted", 11),
        Words(_MONEY_X, 12, labels.money, "muted", 11),
    ]
    y = 22.0
    said_beyond = False
    for number, rung in enumerate(rungs, start=1):
        if not rung.allowed and not said_beyond and maximum is not None:
            shapes += _beyond(y, labels.beyond.format(maximum=money(maximum)))
            y += 30
            said_beyond = True
        block, height = _rung(number, rung, y, labels, money, most_money)
        shapes += block
        y += height
    return Picture(WIDTH, y + 4, labels.title, _description(rungs, labels, money), tuple(shapes))


def ladder_text(
    rungs: Sequence[Rung],
    labels: LadderLabels,
    money: Callable[[Decimal], str],
    maximum: Decimal | None = None,
) -> str:
    """The ladder in plain text: one line a rung, `==` for a play test, a line of dashes at the maximum."""
    _check(rungs)
    if not rungs:
        return labels.nothing
    width = max(len(rung.name) + 2 * rung.depth for rung in rungs)
    lines: list[str] = []
    said_beyond = False
    for number, rung in enumerate(rungs, start=1):
        if not rung.allowed and not said_beyond and maximum is not None:
            lines.append(f"---- {labels.beyond.format(maximum=money(maximum))} ----")
            said_beyond = True
        name = f"{'  ' * rung.depth}{rung.name}".ljust(width)
        bar = ("#" * round(rung.chance_solved * 10)).ljust(10, ".")
        lines.append(
            f"{number:>2}  {name}  {_minutes(rung, labels):>8}  {bar} {_percent(rung.chance_solved):>5}  {money(rung.money)}"
        )
        if rung.test_after:
            lines.append(f"    {'  ' * rung.depth}== {labels.test}")
    return "\n".join(lines)


def _rung(
    number: int,
    rung: Rung,
    y: float,
    labels: LadderLabels,
    money: Callable[[Decimal], str],
    most_money: Decimal,
) -> tuple[list[Shape], float]:
    left = 4 + rung.depth * _INDENT
    role: Role = "ink" if rung.allowed else "muted"
    name_lines = wrapped(f"{number}. {rung.name}", 13, _NAME_END - left - 6)
    height = _LINE * len(name_lines) + 16
    shapes: list[Shape] = [Line(left, y, left, y + height - 2, role, 2, dashed=not rung.allowed)]
    for index, text in enumerate(name_lines):
        baseline = y + 13 + index * _LINE
        shapes.append(Words(left + 6, baseline, text, role, 13, bold=rung.state == "next"))
    shapes.append(Words(left + 6, y + height - 4, _minutes(rung, labels), "muted", 11))
    share = float(rung.money / most_money)
    for x, part, said in (
        (_CHANCE_X, rung.chance_solved, _percent(rung.chance_solved)),
        (_MONEY_X, share, money(rung.money)),
    ):
        shapes += [
            Box(x, y + 3, _COLUMN, 7, "muted"),
            Box(x, y + 3, max(_COLUMN * part, 0.5), 7, "accent" if x == _CHANCE_X else role, solid=True),
            Words(x, y + 23, said, role, 11),
        ]
    if rung.test_after:
        shapes.append(Line(left, y + height + 3, left + 46, y + height + 3, "accent", 4))
        shapes.append(Words(left + 52, y + height + 7, labels.test, "accent", 11))
        height += 14
    return shapes, height + 4


def _beyond(y: float, text: str) -> list[Shape]:
    return [Line(0, y + 4, WIDTH, y + 4, "warn", 3), Words(0, y + 20, text, "warn", 12, bold=True)]


def _description(rungs: Sequence[Rung], labels: LadderLabels, money: Callable[[Decimal], str]) -> str:
    return " ".join(
        f"{number}. {rung.name}: {_minutes(rung, labels)}, {labels.chance} {_percent(rung.chance_solved)}, "
        f"{labels.money} {money(rung.money)}."
        for number, rung in enumerate(rungs, start=1)
    )


def _minutes(rung: Rung, labels: LadderLabels) -> str:
    return labels.minutes.format(minutes=round(rung.minutes))


def _percent(chance: float) -> str:
    return f"{round(chance * 100)} %"


def _check(rungs: Sequence[Rung]) -> None:
    for number, rung in enumerate(rungs):
        if not 0 <= rung.chance_solved <= 1:
            raise BadInputError(f"rungs[{number}].chance_solved", rung.chance_solved, "a chance from 0 to 1")
        if rung.money < 0:
            raise BadInputError(f"rungs[{number}].money", rung.money, "an amount from 0")
