"""What a checklist is worth: which of its choices to list, and what their answers save together.

Choices about the same fact form a bundle: one of them is picked, or none (then `else_sets` holds, as heard). Bundles are
added one by one, the one that saves most together with those already listed first, as long as it is worth its effort or tells
enough about the faults to matter together with others later. Then the list is filled up with those that tell enough alone.

Assumptions: bundles are answered independently given the fault set, except those that a common finding reads (such as
the results of several disc classes): their answers are read together, exactly. What answers change in the success chances
of steps is left out of the joint value, which is then a lower bound; no list counts for less than its best bundle alone.
Pairs with other questions are not tried.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
import numpy.typing as npt

from intakebot.definitions.checklists import MOST_LISTED, UNPICKED_CERTAINTY, bundles, listable, meaning
from intakebot.definitions.facts import Answer
from intakebot.definitions.model import Choice, Question
from intakebot.triage.asked import Asked, Case
from intakebot.triage.value import evsi

Floats = npt.NDArray[np.float64]

ITEM_BURDEN = 0.1
"""Effort of reading one more choice, in units of one easy question (common practice, no source)."""
BASE = 8
"""Bundles that are tried together: the best ones by themselves."""
MOST_JOINT = 6
"""Choices whose answers are worth out together; the list is then filled up with the next best ones by themselves."""
MOST_EXACT = 36
"""Combinations of answers up to which bundles with a common finding are read together."""
LEAST_TOLD = 0.01
"""A bundle that tells less than this about the fault set (nats) and saves nothing is not listed."""


def listed(case: Case, question: Question) -> Asked:
    """The checklist as one question, with the choices that are worth listing."""
    offered = listable(question, case.answers)
    found = []
    for bundle in bundles(offered):
        asked = Asked(case, question.id, _options(case, bundle))
        if asked.matters and len(bundle) <= MOST_LISTED:
            found.append((bundle, asked))
    found.sort(key=lambda pair: (-_worth(case, pair[1]), -pair[1].told, pair[0][0].id))
    chosen, chance = _choose(case, found[:BASE])
    return _together(case, question, chosen, _filled_up(case, chosen, found), chance)


def _filled_up(case: Case, chosen: Sequence[Bundle], found: Sequence[Bundle]) -> list[str]:
    """Ids of the choices to list, best first: the chosen ones, then others that tell enough by themselves, while there is room."""
    ids = [choice.id for bundle, _ in chosen for choice in bundle]
    for bundle, asked in found:
        fits = bundle[0].id not in ids and len(ids) + len(bundle) <= MOST_LISTED
        if fits and asked.told >= LEAST_TOLD:
            ids += [choice.id for choice in bundle]
    return ids


def _options(case: Case, bundle: Sequence[Choice]) -> list[tuple[str, Mapping[str, Answer]]]:
    options: list[tuple[str, Mapping[str, Answer]]] = [
        (choice.id, _facts(case, bundle, (choice.id,))) for choice in bundle
    ]
    return [*options, ("", _facts(case, bundle, ()))]


def _facts(case: Case, bundle: Sequence[Choice], picked: Sequence[str]) -> dict[str, Answer]:
    read = meaning(case.family.facts, bundle, picked)
    said, left = (read.said, read.left) if picked else ({}, read.said)
    facts = {fact: Answer(value) for fact, value in said.items() if value is not None}
    return facts | {
        fact: Answer(value, "heard", UNPICKED_CERTAINTY)
        for fact, value in left.items()
        if value is not None and fact not in case.answers
    }


def _worth(case: Case, asked: Asked) -> float:
    return asked.evsi + case.card.narrowing_weight * max(asked.sd_drop, 0.0)


def list_burden(items: int) -> float:
    """Effort of reading a list of so many choices beyond the first, in units of one easy question."""
    return ITEM_BURDEN * max(items - 1, 0)


Bundle = tuple[tuple[Choice, ...], Asked]


def _choose(case: Case, found: Sequence[Bundle]) -> tuple[list[Bundle], Floats]:
    """Greedy: the bundles to list, and P(answers to all of them | set)."""
    effort = float(case.card.question_burden_money) * ITEM_BURDEN
    chosen: list[Bundle] = []
    chance: Floats = np.ones((1, len(case.weights)))
    worth = 0.0
    left = list(found)
    kept: Together = {}
    while left:
        room = MOST_JOINT - sum(len(bundle) for bundle, _ in chosen)
        left = [pair for pair in left if len(pair[0]) <= room]
        trials = []
        for place, pair in enumerate(left):
            joint = _joined(case, chosen, chance, pair, kept)
            saving = _saving(case, joint)
            gain = saving - worth - effort * len(pair[0])
            trials.append((-gain, -pair[1].told, place, joint, saving))
        if not trials:
            break
        loss, told, place, joint, saving = min(trials, key=lambda trial: trial[:3])
        if loss >= 0.0 and -told < LEAST_TOLD:
            break
        chosen.append(left.pop(place))
        chance, worth = joint, saving
    return chosen, chance


def _saving(case: Case, chance: Floats) -> float:
    joint = chance * case.weights
    by_plan = case.cost @ joint.T
    drop = case.sd - case.sd_after(joint, by_plan.argmin(axis=0))
    return evsi(by_plan) + case.card.narrowing_weight * max(drop, 0.0)


Together = dict[tuple[Asked, ...], Floats]


def _joined(case: Case, chosen: Sequence[Bundle], chance: Floats, added: Bundle, kept: Together) -> Floats:
    """P(answers | set) of the chosen bundles and one more. kept: answers read together before."""
    sharing = [pair for pair in chosen if pair[1].touched & added[1].touched]
    others = [pair for pair in chosen if pair not in sharing]
    combinations = added[1].chance.shape[0]
    for _, asked in sharing:
        combinations *= asked.chance.shape[0]
    if not sharing or combinations > MOST_EXACT:
        return _times(chance, added[1].chance)
    members = tuple(asked for _, asked in (*sharing, added))
    if members not in kept:
        kept[members] = _exactly(case, members)
    joint = kept[members]
    for _, asked in others:
        joint = _times(joint, asked.chance)
    return joint


def _times(one: Floats, other: Floats) -> Floats:
    return (one[:, None, :] * other[None, :, :]).reshape(-1, one.shape[1])


def _exactly(case: Case, members: Sequence[Asked]) -> Floats:
    """Answers to bundles that a common finding reads, read together; each combination by its own likelihood."""
    rows = []
    for combination in product(*(range(len(asked.labels)) for asked in members)):
        known = {
            fact: answer
            for asked, place in zip(members, combination, strict=True)
            for fact, answer in asked.options[place][1].items()
        }
        ratio, _, _ = case.ratio(*case.after(known))
        rate = float(np.prod([asked.rates[place] for asked, place in zip(members, combination, strict=True)]))
        rows.append(ratio * rate)
    joint = np.array(rows)
    total: Floats = joint / joint.sum(axis=0)
    return total


def _together(
    case: Case, question: Question, chosen: Sequence[Bundle], items: Sequence[str], chance: Floats
) -> Asked:
    asked = Asked(case, question.id, ())
    asked.items = tuple(items)
    if len(asked.items) < 2:
        return asked
    asked.matters = bool(chosen)
    if not chosen:
        return asked
    asked.chance = chance
    asked.labels = [str(number) for number in range(chance.shape[0])]
    asked.changed = [frozenset()] * chance.shape[0]
    asked.weigh()
    best = max((each for _, each in chosen), key=lambda each: each.evsi)
    asked.evsi, asked.sd_drop = max(asked.evsi, best.evsi), max(asked.sd_drop, best.sd_drop)
    return asked
