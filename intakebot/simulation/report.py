"""The report over simulated talks: measured shares next to the goals, nothing hidden behind an average."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import mean, median

from intakebot.simulation.run import EQUAL_DECISION, Talk

BARE_FACTS = 1
RICH_FACTS = 4


@dataclass(frozen=True)
class Line:
    """One measure. goal: as text, None where there is none. met: None without a goal."""

    name: str
    value: str
    goal: str | None = None
    met: bool | None = None


def report_lines(talks: Sequence[Talk]) -> list[Line]:
    """All measures of a run."""
    done = [talk for talk in talks if talk.ending == "estimate"]
    cooperative = [talk for talk in talks if talk.cooperative]
    hostile = [talk for talk in talks if not talk.cooperative]
    bare = [talk.messages for talk in done if talk.opener_facts <= BARE_FACTS and talk.cooperative]
    rich = [talk.messages for talk in done if talk.opener_facts >= RICH_FACTS and talk.cooperative]
    judged = [talk for talk in done if talk.regret is not None]
    equal = [talk for talk in judged if (talk.regret or 0.0) <= EQUAL_DECISION]
    saved = 1 - _ratio(equal, lambda talk: talk.questions, lambda talk: talk.form_questions)
    regret = mean([talk.regret or 0.0 for talk in judged]) if judged else 0.0
    corrections = sum(talk.corrections for talk in talks)
    led = _share(sum(talk.corrections_applied + talk.corrections_asked for talk in talks), corrections)
    applied = _share(sum(talk.corrections_applied for talk in talks), corrections)
    lines = [
        _goal("completion, cooperative", _share_of(cooperative, lambda talk: talk.success), 0.98),
        _goal(
            "completion, hostile (estimate or proper hand-over)",
            _share_of(hostile, lambda talk: talk.success),
            0.90,
        ),
        _most("messages to the estimate, bare opener, median", median(bare) if bare else 0, 6),
        _most("messages to the estimate, bare opener, 90 %", _at(bare, 0.9), 9),
        _most("messages to the estimate, rich opener, median", median(rich) if rich else 0, 3),
        Line(
            "messages to the estimate, all, median / 90 %",
            f"{_middle(done)} / {_at([t.messages for t in done], 0.9)}",
        ),
        _goal("fewer questions than the fixed-order form, at equal decision", saved, 0.40),
        Line(
            "fewer questions than the fixed-order form, all talks",
            _percent(1 - _ratio(done, lambda t: t.questions, lambda t: t.form_questions)),
        ),
        Line("talks with an equal decision", _percent(_share(len(equal), len(judged)))),
        _most("known facts asked again", sum(talk.re_asked for talk in talks), 0),
        _goal(f"corrections applied in the same turn ({corrections} made)", applied, 1.0),
        Line("corrections applied or asked about in the same turn", _percent(led)),
        _goal(
            "joint goal accuracy after the recap", _share_of(done, lambda talk: not talk.wrong_facts), 0.98
        ),
        _goal(
            "joint goal accuracy before the recap",
            _share_of(done, lambda talk: not talk.wrong_before_recap),
            0.90,
        ),
        Line(
            "fact accuracy at the end",
            _percent(_share(sum(t.facts_right for t in done), sum(t.facts_held for t in done))),
        ),
        _most("regret of the plan, share of the quote, mean", round(regret, 4), 0.02),
        Line(
            "regret of the plan, median / 90 %",
            f"{_quantile(judged, 0.5):.3f} / {_quantile(judged, 0.9):.3f}",
        ),
        Line(
            "gap of the expected price to full information, median",
            f"{median([t.price_gap or 0.0 for t in judged]) if judged else 0:.3f}",
        ),
        _most("messages with two questions", sum(talk.two_questions for talk in talks), 0),
        Line("SMS of one part", _percent(_one_part(talks))),
    ]
    return lines


def by_persona(talks: Sequence[Talk]) -> list[tuple[str, int, str, float, float]]:
    """(persona, talks, completion, median messages, mean questions)."""
    rows = []
    for persona in dict.fromkeys(talk.persona for talk in talks):
        own = [talk for talk in talks if talk.persona == persona]
        share = _percent(_share_of(own, lambda talk: talk.success))
        rows.append(
            (
                persona,
                len(own),
                share,
                median(t.messages for t in own),
                round(mean(t.questions for t in own), 1),
            )
        )
    return rows


def text_report(talks: Sequence[Talk]) -> str:
    """The report as plain text."""
    out = []
    for line in report_lines(talks):
        goal = "" if line.goal is None else f"   goal {line.goal}: {'met' if line.met else 'NOT met'}"
        out.append(f"{line.name:<62}{line.value:>16}{goal}")
    out.append("")
    out.append(f"{'persona':<12}{'talks':>6}{'complete':>10}{'messages':>10}{'questions':>11}")
    for persona, count, share, messages, questions in by_persona(talks):
        out.append(f"{persona:<12}{count:>6}{share:>10}{messages:>10}{questions:>11}")
    endings = sorted({talk.ending for talk in talks})
    out.append("")
    out.append("endings: " + ", ".join(f"{e} {sum(t.ending == e for t in talks)}" for e in endings))
    return "\n".join(out)


def _goal(name: str, value: float, least: float) -> Line:
    return Line(name, _percent(value), f"at least {_percent(least)}", value >= least)


def _most(name: str, value: float, most: float) -> Line:
    return Line(name, f"{value:g}", f"at most {most:g}", value <= most)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _share(part: float, whole: float) -> float:
    return part / whole if whole else 1.0


def _share_of(talks: Sequence[Talk], test: Callable[[Talk], bool]) -> float:
    return _share(sum(test(talk) for talk in talks), len(talks))


def _ratio(talks: Sequence[Talk], above: Callable[[Talk], float], below: Callable[[Talk], float]) -> float:
    return _share(sum(above(talk) for talk in talks), sum(below(talk) for talk in talks))


def _middle(talks: Sequence[Talk]) -> float:
    return median(talk.messages for talk in talks) if talks else 0


def _at(values: Sequence[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0


def _quantile(talks: Sequence[Talk], share: float) -> float:
    return _at([talk.regret or 0.0 for talk in talks], share)


def _one_part(talks: Sequence[Talk]) -> float:
    parts = [count for talk in talks for count in talk.sms_parts]
    return _share(sum(count <= 1 for count in parts), len(parts))
