"""The bench plan as a ladder: the same rungs on screen, on paper and in plain text.

Each rung is a step: its name, minutes, access level as indentation, and how far chance solved and money have grown by
then. A play test is a short bar below its rung. The authorised maximum cuts across: rungs below it are not allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from intakebot.documents.pictures import Box, Line, Picture, Role, Shape, Words, wrapped
from intakebot.errors import BadInputError

_INDENT, _LINE = 9.0, 16.0


@dataclass(frozen=True)
class _Layout:
    """Where things stand: on a narrow screen the minutes go below the name, on paper beside it."""

    width: float
    name_end: float
    minutes_x: float | None
    chance_x: float
    money_x: float
    column: float


_SCREEN = _Layout(360, 222, None, 228, 296, 60)
_PAPER = _Layout(720, 460, 470, 526, 618, 84)


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
    screen = _draw(rungs, labels, money, maximum, _SCREEN)
    return replace(screen, on_paper=_draw(rungs, labels, money, maximum, _PAPER))


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


def _draw(
    rungs: Sequence[Rung],
    labels: LadderLabels,
    money: Callable[[Decimal], str],
    maximum: Decimal | None,
    layout: _Layout,
) -> Picture:
    if not rungs:
        return Picture(
            layout.width, 30, labels.title, labels.nothing, (Words(0, 20, labels.nothing, "muted"),)
        )
    most_money = max(*(rung.money for rung in rungs), maximum or Decimal(0), Decimal(1))
    shapes: list[Shape] = [
        Words(layout.chance_x, 12, labels.chance, "muted", 11),
        Words(layout.money_x, 12, labels.money, "muted", 11),
    ]
    y = 22.0
    said_beyond = False
    for number, rung in enumerate(rungs, start=1):
        if not rung.allowed and not said_beyond and maximum is not None:
            shapes += _beyond(y, labels.beyond.format(maximum=money(maximum)), layout.width)
            y += 30
            said_beyond = True
        height = _height(number, rung, layout)
        shapes += _name(number, rung, y, height, labels, layout)
        shapes += _bars(rung, y, float(rung.money / most_money), money, layout)
        y += height
        if rung.test_after:
            shapes += _test_bar(rung, y, labels)
            y += 14
        y += 4 if layout.minutes_x is None else 2
    return Picture(layout.width, y + 4, labels.title, _description(rungs, labels, money), tuple(shapes))


def _left(rung: Rung) -> float:
    return 4 + rung.depth * _INDENT


def _name_lines(number: int, rung: Rung, layout: _Layout) -> tuple[str, ...]:
    return wrapped(f"{number}. {rung.name}", 13, layout.name_end - _left(rung) - 6)


def _height(number: int, rung: Rung, layout: _Layout) -> float:
    lines = _LINE * len(_name_lines(number, rung, layout))
    return lines + 16 if layout.minutes_x is None else max(lines + 2, 18)


def _name(
    number: int, rung: Rung, y: float, height: float, labels: LadderLabels, layout: _Layout
) -> list[Shape]:
    left, role = _left(rung), _role(rung)
    shapes: list[Shape] = [Line(left, y, left, y + height - 2, role, 2, dashed=not rung.allowed)]
    for index, text in enumerate(_name_lines(number, rung, layout)):
        shapes.append(Words(left + 6, y + 13 + index * _LINE, text, role, 13, bold=rung.state == "next"))
    x, baseline = (left + 6, y + height - 4) if layout.minutes_x is None else (layout.minutes_x, y + 13)
    return [*shapes, Words(x, baseline, _minutes(rung, labels), "muted", 11)]


def _bars(
    rung: Rung, y: float, share: float, money: Callable[[Decimal], str], layout: _Layout
) -> list[Shape]:
    """Chance and money so far; their figures below the bars on a screen, beside them on paper."""
    shapes: list[Shape] = []
    beside = layout.minutes_x is not None
    bar = layout.column * (0.5 if beside else 1)
    columns: tuple[tuple[float, float, str, Role], ...] = (
        (layout.chance_x, rung.chance_solved, _percent(rung.chance_solved), "accent"),
        (layout.money_x, share, money(rung.money), _role(rung)),
    )
    for x, part, said, role in columns:
        at = (x + bar + 4, y + 13) if beside else (x, y + 23)
        shapes += [
            Box(x, y + (6 if beside else 3), bar, 7, "muted"),
            Box(x, y + (6 if beside else 3), max(bar * part, 0.5), 7, role, solid=True),
            Words(*at, said, _role(rung), 11),
        ]
    return shapes


def _test_bar(rung: Rung, y: float, labels: LadderLabels) -> list[Shape]:
    left = _left(rung)
    return [
        Line(left, y + 3, left + 46, y + 3, "accent", 4),
        Words(left + 52, y + 7, labels.test, "accent", 11),
    ]


def _beyond(y: float, text: str, width: float) -> list[Shape]:
    return [Line(0, y + 4, width, y + 4, "warn", 3), Words(0, y + 20, text, "warn", 12, bold=True)]


def _role(rung: Rung) -> Role:
    return "ink" if rung.allowed else "muted"


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
