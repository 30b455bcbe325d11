"""Checklists in the talk: what is listed, what a pick says, and taking an answer back.

A pick is an answer like a tap. A listed choice that was not picked is held as `unpicked`: heard, with less certainty, in a
line of its own on the recap, and replaced by whatever is said. When it is a hazard the recap waits for an answer.
"None of these" is surer, and for hazards it is a plain no; people overlook lines all the same.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from intakebot.conversation.controls import ControlWords
from intakebot.conversation.entering import VAGUE, derive, drop_proposal, enter, withdraw
from intakebot.conversation.guard import key, sign_of
from intakebot.conversation.state import ListShown, Pending
from intakebot.conversation.work import Work
from intakebot.definitions.checklists import (
    MOST_LISTED,
    NONE,
    NOT_SURE,
    UNPICKED_CERTAINTY,
    listable,
    meaning,
)
from intakebot.definitions.facts import Value
from intakebot.definitions.model import STAKES, Choice, Question

NONE_CERTAINTY = 0.95
"""How sure a no is after "none of these"; surer than one line left out of several (common practice, no source)."""
MOST_LISTS = 4
"""A checklist is shown at most so often, each time with other choices."""
MOST_LISTS_SMS = 6
"""The same by text message, where a list holds half as much."""
JOIN = "+"
_MARKS = re.compile(r"[,;/&+.\n]+")
_NUMBER = re.compile(r"\(?([0-9]{1,2}|[a-z])[.):]?", re.IGNORECASE)


def may_list(work: Work, question: Question) -> tuple[Choice, ...]:
    """The choices that may be listed now: nothing known about them, and (hazards apart) not listed and answered before."""
    if question.tier == "safety":
        return listable(question, work.answers)
    answered = {
        item
        for shown in work.conversation.lists
        if shown.question == question.id and shown.message_id is not None
        for item in shown.items
    }
    return tuple(choice for choice in listable(question, work.answers) if choice.id not in answered)


def to_list(work: Work, question: Question, items: Sequence[str] = ()) -> tuple[Choice, ...]:
    """The choices to list: those named in `items`, else the first ones; never more than a list holds."""
    allowed = may_list(work, question)
    named = [choice for choice in allowed if choice.id in items]
    return tuple(named or allowed)[:MOST_LISTED]


def unpicked_choices(work: Work, question: Question) -> tuple[Choice, ...]:
    """Choices of a checklist that were listed and not picked, and of which nothing else is known.

    At most as many as a list holds: those that would be listed if it were asked again, then the weightiest.
    """
    facts = work.facts
    left = [
        choice
        for choice in question.choices
        if all(fact in facts and facts[fact].is_unpicked for fact in choice.sets)
    ]
    if len(left) > MOST_LISTED:
        worth = _worth_listing(work, question)
        left.sort(key=lambda choice: (choice.id not in worth, _stake(work, choice)))
    return tuple(left[:MOST_LISTED])


def _worth_listing(work: Work, question: Question) -> tuple[str, ...]:
    """What would be listed if nothing of this checklist had been left unpicked."""
    answers = {
        fact: entry.answer
        for fact, entry in work.facts.items()
        if not (entry.is_unpicked and fact in question.fills)
    }
    asked = len(work.conversation.asked)
    worths = work.assessor.worths(work.conversation.family, answers, (question.id,), work.today, asked)
    return worths.questions[0].items if worths.questions else ()


def _stake(work: Work, choice: Choice) -> int:
    return min(STAKES.index(work.fact(fact).stake) for fact in choice.sets)


def list_again(work: Work, question: Question) -> tuple[str, ...]:
    """Take back that these choices were not picked, so that they can be listed again; their ids."""
    again = unpicked_choices(work, question)
    ids = tuple(choice.id for choice in again)
    for fact in dict.fromkeys(fact for choice in again for fact in choice.sets):
        withdraw(work, fact)
    work.change(
        lists=tuple(
            replace(each, items=tuple(item for item in each.items if item not in ids))
            if each.question == question.id
            else each
            for each in work.conversation.lists
        )
    )
    derive(work)
    return ids


def shown_items(pending: Pending | None, question: Question | None) -> tuple[Choice, ...]:
    """The choices of the list that is open; none when no list is."""
    if question is None or not question.several:
        return ()
    offered = {value for value, _ in pending.offered} if pending is not None else set()
    return tuple(choice for choice in question.choices if f"{question.id}:{choice.id}" in offered)


def listed_facts(pending: Pending | None, question: Question) -> tuple[str, ...]:
    """The facts that an open question is about now: of a checklist only those of the choices listed."""
    if not question.several:
        return question.fills
    return facts_set(shown_items(pending, question))


def facts_set(choices: Iterable[Choice]) -> tuple[str, ...]:
    """The facts that some choices are about, each once."""
    return tuple(dict.fromkeys(fact for choice in choices for fact in choice.sets))


def note_shown(work: Work, question: Question, items: Sequence[Choice]) -> None:
    """Keep what was listed; an unanswered listing of the same question before it is forgotten."""
    kept = tuple(
        each
        for each in work.conversation.lists
        if each.message_id is not None or each.question != question.id
    )
    listed = ListShown(question.id, tuple(choice.id for choice in items))
    work.change(lists=(*kept, listed))


def note_answered(work: Work, question: Question) -> None:
    """The open listing has its answer: its choices are not listed again, and nothing heard of them is asked apart."""
    for shown in work.conversation.lists:
        if shown.question == question.id and shown.message_id is None:
            for fact in facts_set(choice for choice in question.choices if choice.id in shown.items):
                drop_proposal(work, fact)
    work.change(
        lists=tuple(
            replace(each, message_id=work.message_id)
            if each.question == question.id and each.message_id is None
            else each
            for each in work.conversation.lists
        )
    )


def enter_list(work: Work, question: Question, pending: Pending, picks: Sequence[str]) -> bool:
    """Enter the answer to an open list; False when it names something that the question does not have.

    A choice that is no longer listed, as something said with the pick was about it, counts as far as it says more.
    """
    listed = shown_items(pending, question)
    ids = [choice.id for choice in listed]
    if tuple(picks) == (NOT_SURE,):
        for fact in listed_facts(pending, question):
            if fact not in work.facts:
                enter(work, fact, None, status="not_known", source="tap")
        note_answered(work, question)
        return True
    chosen = () if tuple(picks) == (NONE,) else tuple(picks)
    unlisted = [choice for choice in question.choices if choice.id in chosen and choice.id not in ids]
    if not listed or any(pick not in (*ids, *(choice.id for choice in unlisted)) for pick in chosen):
        return False
    for choice in unlisted:
        _enter_more(work, choice)
    read = meaning(work.family.facts, listed, chosen)
    if not chosen and question.tier != "safety":
        _enter_left(work, read.said, NONE_CERTAINTY)
    elif unlisted and not read.left:
        _enter_left(work, read.said)
    else:
        for fact, value in read.said.items():
            if value is not None:
                enter(work, fact, value, status="confirmed", source="tap")
            elif fact not in work.facts:
                enter(work, fact, None, status="not_known", source="tap")
        _enter_left(work, read.left)
    note_answered(work, question)
    return True


def _enter_more(work: Work, choice: Choice) -> None:
    """A pick about facts that are held already: the newer value stands, but "someone" says no more than a name."""
    for fact, value in choice.sets.items():
        held = work.facts.get(fact)
        named = held is not None and held.value not in (None, "nobody")
        if value is not None and not (value == VAGUE and named):
            enter(work, fact, value, status="confirmed", source="tap")


def enter_unpicked(work: Work, question: Question, pending: Pending, said: Sequence[str]) -> bool:
    """What was not named when an answer in own words named some of the listed choices."""
    _enter_left(work, meaning(work.family.facts, shown_items(pending, question), said).left)
    note_answered(work, question)
    return True


def _enter_left(work: Work, left: Mapping[str, Value | None], certainty: float = UNPICKED_CERTAINTY) -> None:
    for fact, value in left.items():
        if fact in work.facts:
            continue
        if value is None:
            enter(work, fact, None, status="not_known", source="unpicked")
        else:
            enter(work, fact, value, status="heard", source="unpicked", certainty=certainty)


def enter_late(work: Work, question: Question, picks: Sequence[str]) -> bool:
    """A tap on an older list, or on one that was shown beside the talk: what was picked counts, what was not picked says
    nothing; none of the choices last listed (or, if it never was, of all that may be) says no to those that nothing is
    known about."""
    if tuple(picks) == (NONE,):
        last = next(
            (each for each in reversed(work.conversation.lists) if each.question == question.id), None
        )
        listed = [choice for choice in question.choices if last is not None and choice.id in last.items]
        listed = listed if last is not None else list(may_list(work, question))
        said = {f: v for f, v in meaning(work.family.facts, listed, ()).said.items() if f not in work.facts}
    else:
        listed = [choice for choice in question.choices if choice.id in picks]
        if not picks or len(listed) != len(picks):
            return False
        said = dict(meaning(work.family.facts, listed, picks).said)
    for fact, value in said.items():
        if value is not None:
            enter(work, fact, value, status="confirmed", source="tap")
    note_answered(work, question)
    return bool(listed)


def take_back(work: Work, question: Question) -> tuple[str, ...]:
    """Withdraw what the last answer to a checklist entered; the choices it had listed."""
    mine = [each for each in work.conversation.lists if each.question == question.id and each.message_id]
    if not mine:
        return ()
    last = mine[-1]
    for fact in question.fills:
        entry = work.facts.get(fact)
        if entry is not None and entry.message_id == last.message_id and entry.source != "derived":
            withdraw(work, fact)
    kept = (each for each in work.conversation.lists if each.question != question.id or each in mine[:-1])
    work.change(lists=tuple(kept))
    derive(work)
    return last.items


# ---- reading a typed answer ----------------------------------------------------------------------------------------


def picks_in(pending: Pending | None, text: str, words: ControlWords) -> tuple[tuple[str, ...], str]:
    """What a typed answer to an open list picks, by numbers, letters or labels; and what else it says.

    Only a message that is nothing but picks is one by numbers; labels may stand beside other sentences.
    """
    if pending is None or not pending.offered or len(text) > 300:
        return (), ""
    codes = {value: value.partition(":")[2] for value, _ in pending.offered}
    labels = {key(label): codes[value] for value, label in pending.offered}
    items = [code for code in codes.values() if code not in (NONE, NOT_SURE)]
    if sign_of(text) == "no" or key(text) in words.nones:
        return (NONE,), ""
    if key(text) in words.alls:
        return tuple(items), ""
    picks: list[str] = []
    rest: list[str] = []
    by_number = False
    for part in _parts(text, labels, words):
        found = _named(part, list(codes.values()), labels, words)
        by_number = by_number or (bool(found) and key(part) not in labels)
        picks += [each for each in found if each not in picks]
        if not found:
            rest.append(part)
    if (rest and by_number) or (len(picks) > 1 and {NONE, NOT_SURE} & set(picks)):
        return (), ""
    return tuple(picks), ". ".join(rest)


def _parts(text: str, labels: dict[str, str], words: ControlWords) -> list[str]:
    """The pieces between marks and joining words; a label that holds such a word stays whole."""
    parts: list[str] = []
    for piece in _MARKS.split(text):
        if not key(piece):
            continue
        if key(piece) in labels:
            parts.append(piece)
            continue
        current: list[str] = []
        for word in piece.split():
            if key(word) in words.joiners:
                parts.append(" ".join(current))
                current = []
            else:
                current.append(word)
        parts.append(" ".join(current))
    return [part for part in parts if key(part)]


def _named(part: str, codes: list[str], labels: dict[str, str], words: ControlWords) -> list[str]:
    """The choices one piece names: a label, or nothing but numbers or letters."""
    said = key(part).split()
    while len(said) > 1 and said[0] in words.fillers:
        said.pop(0)
    whole = " ".join(said)
    if key(part) in labels or whole in labels:
        return [labels.get(key(part)) or labels[whole]]
    found = []
    for word in part.split():
        matched = _NUMBER.fullmatch(word)
        if matched is None and key(word) in words.fillers:
            continue
        if matched is None:
            return []
        mark = matched.group(1).lower()
        place = int(mark) - 1 if mark.isdigit() else ord(mark) - ord("a")
        if not 0 <= place < len(codes):
            return []
        found.append(codes[place])
    return found
