"""Composing what is asked: one message with a short acknowledgement, one question and at most five choices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from intakebot.conversation.checklist import note_shown, to_list
from intakebot.conversation.choosing import fitting_choices, implied, recap_facts, recap_unpicked
from intakebot.conversation.labels import thing, things
from intakebot.conversation.rendering import sms_parts, sms_text
from intakebot.conversation.state import Because, Pending, Proposal
from intakebot.conversation.turn import Facts, Reply, ReplyChoice, ReplyKind
from intakebot.conversation.values import value_to_mapping
from intakebot.conversation.work import Work
from intakebot.definitions.checklists import NONE, NOT_SURE
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Choice, Question
from intakebot.definitions.values import options_of

MOST_CHOICES = 5
MOST_CHARACTERS = 320
RECAP_LINES = 12
HINTS = {"web": "pick_all", "api": "pick_all", "form": "pick_all", "sms": "pick_numbers_sms"}
"""How to answer a list: ticked on some channels, elsewhere written in numbers."""

Sets = Mapping[str, Value | None]


def answer_choices(work: Work, question: Question, held: Facts | None = None) -> list[tuple[str, str, Sets]]:
    """Every choice of a question as (value, label, facts it sets), "not sure" last.

    Choices that contradict `held` (by default what the conversation holds) are left out.
    """
    texts, facts = work.texts, work.facts if held is None else held
    if question.several:
        return list_choices(work, question, to_list(work, question))
    found: list[tuple[str, str, Sets]] = []
    if question.choices:
        for choice in fitting_choices(facts, question):
            found.append(
                (f"{question.id}:{choice.id}", texts.say(f"choice.{question.id}.{choice.id}"), choice.sets)
            )
        unsure = len(question.choices) >= MOST_CHOICES or any(
            choice.id == "not_sure" or all(value is None for value in choice.sets.values())
            for choice in question.choices
        )
    else:
        unsure = False
        if len(question.fills) == 1:
            fact = work.fact(question.fills[0])
            for option in options_of(fact):
                value: Value = (option,) if fact.type == "choices" else option
                found.append((f"{question.id}:{option}", texts.option(fact, option), {fact.id: value}))
    if not unsure:
        sets = dict.fromkeys([fact for fact in question.fills if fact not in facts] or question.fills)
        found.append((f"{question.id}:not_sure", work.say("choice.not_sure"), sets))
    return found


def list_choices(work: Work, question: Question, items: Sequence[Choice]) -> list[tuple[str, str, Sets]]:
    """A checklist's choices: the listed ones, none of them, and (where there is room for it) not sure."""
    found: list[tuple[str, str, Sets]] = [
        (f"{question.id}:{choice.id}", work.texts.say(f"choice.{question.id}.{choice.id}"), choice.sets)
        for choice in items
    ]
    added = (NONE, NOT_SURE) if work.conversation.channel != "sms" else (NONE,)
    return [*found, *((f"{question.id}:{code}", work.say(f"choice.{code}"), {}) for code in added)]


def page_of(
    choices: list[tuple[str, str, Sets]], question_id: str, more_label: str, page: int
) -> list[tuple[str, str]]:
    """(value, label) of at most five choices: long lists are shown four at a time with "show more", "not sure" kept last."""
    if len(choices) <= MOST_CHOICES:
        return [(value, label) for value, label, _ in choices]
    size = MOST_CHOICES - 1
    pages = [choices[start : start + size] for start in range(0, len(choices), size)]
    index = page % len(pages)
    shown = [(value, label) for value, label, _ in pages[index]]
    return [*shown, (f"{question_id}:more{(index + 1) % len(pages)}", more_label)]


def ask(
    work: Work, question: Question, because: Because, *, tries: int = 0, page: int = 0, lead: str = "",
    items: Sequence[str] = (),
) -> None:  # fmt: skip
    """Ask a question; its wording shortens with each try. items: of a checklist, the choices to list."""
    again = min(work.conversation.asked.count(question.id), 1)
    wording = min(max(tries, again), 1)
    held: Facts | None = {} if because.reason == "asked_back" else None
    text = work.texts.say(f"question.{question.id}", wording)
    if question.several:
        hint = HINTS.get(work.conversation.channel, "pick_numbers")
        text = f"{text} {work.say(hint)}"
        listed = _that_fit(work, question, text, to_list(work, question, items), items)
        note_shown(work, question, listed)
        choices = [(value, label) for value, label, _ in list_choices(work, question, listed)]
    else:
        choices = page_of(answer_choices(work, question, held), question.id, work.say("choice.more"), page)
    if because.reason == "blocking":
        text = f"{work.say('blocking')} {text}"
    if lead:
        text = f"{lead} {text}"
    pending = Pending("question", question=question.id, offered=tuple(choices), tries=tries, because=because)
    put_question(work, text, choices, pending, "question")
    if tries == 0 and page == 0:
        work.change(asked=(*work.conversation.asked, question.id))
    more = {"items": [value.partition(":")[2] for value, _ in choices]} if question.several else {}
    work.note("asked", question=question.id, tries=tries, because=because.to_mapping(), **more)


def _that_fit(
    work: Work, question: Question, text: str, listed: tuple[Choice, ...], ranked: Sequence[str]
) -> tuple[Choice, ...]:
    """By SMS as many choices as fit into one part, at least two; the last of `ranked` go first, with others about the same fact."""
    if work.conversation.channel != "sms" or question.tier == "safety":
        return listed
    order = {item: place for place, item in enumerate(ranked)}
    while len(listed) > 2:
        offered = tuple(ReplyChoice(label, value) for value, label, _ in list_choices(work, question, listed))
        if sms_parts(sms_text(Reply(text, offered, "question", True))) <= 1:
            break
        last = max(reversed(listed), key=lambda choice: order.get(choice.id, len(order)))
        fewer = tuple(choice for choice in listed if not choice.sets.keys() & last.sets.keys())
        if len(fewer) < 2:
            break
        listed = fewer
    return listed


def check(work: Work, proposal: Proposal, because: Because, *, tries: int = 0) -> None:
    """Ask whether a fact really has the value heard or guessed, as yes or no."""
    fact = work.fact(proposal.fact)
    text = work.say("check", thing=thing(work.texts, work.family, fact.id, proposal.value))
    if fact.role == "hazard":
        text = f"{work.say('safety_first')} {text}"
    choices = [
        (f"check:{fact.id}:yes", work.say("choice.yes")),
        (f"check:{fact.id}:no", work.say("choice.no")),
        (f"check:{fact.id}:not_sure", work.say("choice.not_sure")),
    ]
    pending = Pending(
        "confirm", fact=fact.id, value=proposal.value, offered=tuple(choices), tries=tries, because=because
    )
    left = tuple(other for other in work.conversation.proposals if other.fact != fact.id)
    work.change(proposals=left)
    put_question(work, text, choices, pending, "confirm")
    work.note("asked", check=fact.id, value=value_to_mapping(proposal.value), because=because.to_mapping())


def show_recap(work: Work, text_key: str = "recap") -> None:
    """The one list of what was understood; each line can be picked and changed. text_key: recap, recap_again, recap_wrong."""
    lines = recap_facts(work)[:RECAP_LINES]
    choices = [("recap:all_right", work.say("choice.all_right"))]
    for fact_id in lines:
        entry = work.facts[fact_id]
        choices.append(
            (f"change:{fact_id}", thing(work.texts, work.family, fact_id, entry.value, entry.status))
        )
    unpicked = recap_unpicked(work)
    for question, left in unpicked:
        choices.append((f"unpicked:{question.id}", unpicked_line(work, question, left)))
    put_question(work, work.say(text_key), choices, Pending("recap", offered=tuple(choices)), "recap")
    note_recap(work, lines, unpicked)


def note_recap(
    work: Work, facts: Sequence[str], unpicked: Sequence[tuple[Question, Sequence[Choice]]]
) -> None:
    ids = {question.id: [choice.id for choice in left] for question, left in unpicked}
    work.note("recap_shown", facts=list(facts), unpicked=ids)


def unpicked_line(work: Work, question: Question, left: Sequence[Choice]) -> str:
    """What was listed and not picked, in one line."""
    labels = [work.texts.say(f"choice.{question.id}.{choice.id}") for choice in left]
    return work.say("unpicked", things="; ".join(labels))


def put_question(
    work: Work, text: str, choices: list[tuple[str, str]], pending: Pending, kind: ReplyKind
) -> None:
    """Send a question with the acknowledgements before it.

    What does not fit: by SMS an echo that the recap repeats anyway is left out; a long acknowledgement goes as its own message.
    """
    must, may = acknowledgements(work)
    offered = tuple(ReplyChoice(label, value) for value, label in choices)
    asked = work.family.questions.get(pending.question or "")
    several = asked is not None and asked.several
    lead = f"{must} {may}".strip()
    reply = Reply(f"{lead} {text}".strip(), offered, kind, several)
    if may and work.conversation.channel == "sms" and sms_parts(sms_text(reply)) > 1:
        lead, reply = must, Reply(f"{must} {text}".strip(), offered, kind, several)
    if lead and len(reply.text) > MOST_CHARACTERS:
        work.reply(Reply(lead))
        reply = Reply(text, offered, kind, several)
    work.reply(reply)
    work.change(pending=replace(pending, offered=tuple(choices)))


def acknowledgements(work: Work) -> tuple[str, str]:
    """What was heard, changed and taken back in this turn, and what may be left out of a short message; empties the lists."""
    texts, family = work.texts, work.family
    parts = list(work.acks)
    changed = _latest(work.corrected)
    if changed:
        parts.append(work.say("changed", things=things(texts, family, changed, most=4)))
    gone = [(fact, value) for fact, value in _latest(work.dropped) if work.fact(fact).stake != "low"]
    if gone and changed:
        parts.append(work.say("dropped", things=things(texts, family, gone, most=2)))
    known = {fact for fact, _ in changed}
    echoed = [
        (fact, value)
        for fact, value in _latest(work.echoed)
        if fact not in known and fact in work.facts and not implied(family, work.facts, fact)
    ]
    echo = work.say("echo", things=things(texts, family, echoed)) if echoed else ""
    weighty = any(work.fact(fact).stake == "high" for fact, _ in echoed)
    work.acks, work.corrected, work.dropped, work.echoed = [], [], [], []
    if weighty and work.conversation.channel == "sms":
        weighty = False  # the recap lists it and waits; a text message has no room for it twice
    if weighty:
        parts.append(echo)
    return " ".join(part for part in parts if part), "" if weighty else echo


def acknowledgement(work: Work) -> str:
    """All of it in one line."""
    return " ".join(part for part in acknowledgements(work) if part)


def _latest(pairs: list[tuple[str, Value | None]]) -> list[tuple[str, Value | None]]:
    """Each fact once, with its last value, in order of first mention."""
    return list(dict(pairs).items())


def flush(work: Work) -> None:
    """Say what is to be acknowledged when no question follows."""
    lead = acknowledgement(work)
    if lead:
        work.reply(Reply(lead))
