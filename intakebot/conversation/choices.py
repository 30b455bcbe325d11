"""Tapped choices. Each value names what it answers, so a tap on an older message still reaches the right question."""

from __future__ import annotations

import re
from dataclasses import replace

from intakebot.conversation.asking import Sets, ask, flush, show_recap
from intakebot.conversation.checklist import JOIN, enter_late, enter_list, list_again, picks_in
from intakebot.conversation.choosing import recap_facts, recap_unpicked
from intakebot.conversation.contact import after_acceptance, ask_contact, contact_confirmed, forget_contact
from intakebot.conversation.entering import confirm, derive, drop_proposal, enter
from intakebot.conversation.flow import ask_accept, ask_change, ask_decline, ask_story, go_on, reask
from intakebot.conversation.guard import key, sign_of
from intakebot.conversation.handing import hand_off
from intakebot.conversation.reading import deny, offered_choices, question_of
from intakebot.conversation.safety import preempt, review, unsure
from intakebot.conversation.state import Because, Pending
from intakebot.conversation.stopping import stop_writing
from intakebot.conversation.turn import DecideEstimate, EraseEverything, Reply
from intakebot.conversation.work import Work
from intakebot.definitions.model import Question

SEEN = 0.99
"""How certain a value is that stood on the list when another line of it was put right (common practice, no source)."""


def take_choice(work: Work, value: str) -> None:
    """Do what a choice stands for; an unknown or outdated one leads back to the open question."""
    head, _, rest = value.partition(":")
    if head in work.family.questions:
        if work.family.questions[head].several:
            _pick(work, work.family.questions[head], rest)
        else:
            _answer(work, head, rest)
    elif head == "check":
        _check(work, rest)
    elif head in ("recap", "change", "set", "show_recap", "unpicked"):
        _recap(work, head, rest)
    elif head == "decision" and work.conversation.phase in ("estimated", "accepted"):
        _decision(work, rest)
    elif head.startswith("confirm_") and work.conversation.pending and work.conversation.pending.kind == head:
        _confirmed(work, head, rest)
    else:
        reask(work, work.say("outdated"))


def picked(pending: Pending | None, text: str, fillers: frozenset[str] = frozenset()) -> str | None:
    """The value of the listed choice that a whole message names by its number (`2`, `2.`, `(2)`), letter or label.

    fillers: words that may stand before it (`it is a DVD`).
    """
    if pending is None or not pending.offered or len(text) > 60:
        return None
    sign = sign_of(text)
    if sign is not None:
        wanted = (f":{sign}", ":all_right") if sign == "yes" else (f":{sign}",)
        return next((value for value, _ in pending.offered if value.endswith(wanted)), None)
    said = key(text)
    words = said.split()
    while len(words) > 1 and words[0] in fillers:
        words.pop(0)
    bare = " ".join(words)
    for number, (value, label) in enumerate(pending.offered, start=1):
        if said and (said in (str(number), key(label)) or bare in (str(number), key(label))):
            return value
    if len(said) == 1 and said.isascii() and said.isalpha():
        index = ord(said) - ord("a")
        return pending.offered[index][0] if index < len(pending.offered) else None
    return None


def picked_with_rest(work: Work, pending: Pending | None, text: str) -> tuple[str | None, str]:
    """The choice named by the whole message, or by its first sentence alone, and what is said after it.

    A first sentence counts only as a label of five letters or more (`none of these. it rattles`), never as a number.
    Of a checklist several choices may be named anywhere in the message.
    """
    fillers = work.words.fillers
    question = question_of(work, pending)
    if question is not None and question.several:
        picks, more = picks_in(pending, text, work.words)
        return (f"{question.id}:{JOIN.join(picks)}" if picks else None), more
    whole = picked(pending, text, fillers)
    if whole is not None or pending is None or pending.kind != "question":
        return whole, ""
    first, mark, rest = _first_sentence(text)
    if not mark or not rest.strip() or len(key(first)) < 5:
        return None, ""
    return picked(pending, first, fillers), rest


def _first_sentence(text: str) -> tuple[str, str, str]:
    found = re.search(r"[.!?;\n]\s*", text)
    return (text[: found.start()], found.group(), text[found.end() :]) if found else (text, "", "")


def enter_choice(work: Work, value: str) -> bool:
    """Enter the facts of a choice of the open question without going on; False when it is none."""
    head, _, choice = value.partition(":")
    pending = work.conversation.pending
    if pending is not None and head in work.family.questions and work.family.questions[head].several:
        return enter_list(work, work.family.questions[head], pending, tuple(choice.split(JOIN)))
    if head not in work.family.questions or pending is None or choice.startswith("more"):
        return False
    sets = {v: s for v, _, s in offered_choices(work, pending, work.family.questions[head])}.get(value)
    if sets is None:
        return False
    _enter_sets(work, sets, pending)
    return True


def _enter_sets(work: Work, sets: Sets, pending: Pending) -> None:
    for fact, value in sets.items():
        if value is not None:
            enter(work, fact, value, status="confirmed", source="tap")
            drop_proposal(work, fact)
        elif fact not in work.facts or (pending.because and pending.because.reason == "asked_back"):
            enter(work, fact, None, status="not_known", source="tap")


def settle(work: Work) -> None:
    """After facts were entered by a tap: derive, look for hazards, go on."""
    derive(work)
    if not preempt(work):
        review(work)
        go_on(work)


def _answer(work: Work, question_id: str, choice: str) -> None:
    question = work.family.questions[question_id]
    pending = work.conversation.pending
    current = pending is not None and pending.question == question_id
    if choice.startswith("more"):
        page = choice.removeprefix("more")
        if current and pending is not None and page.isdecimal() and len(page) < 3:
            asked = work.conversation.asked
            ask(work, question, pending.because or Because("always"), tries=1, page=int(page))
            work.change(asked=asked)
        else:
            reask(work, work.say("outdated"))
        return
    opened = (
        pending if current and pending is not None else Pending("question", because=Because("asked_back"))
    )
    found = {value: sets for value, _, sets in offered_choices(work, opened, question)}
    sets = found.get(f"{question_id}:{choice}")
    if sets is None:
        reask(work, work.say("outdated"))
        return
    _enter_sets(work, sets, opened)
    if current:
        work.change(pending=None)
    settle(work)


def _pick(work: Work, question: Question, choice: str) -> None:
    """The answer to a checklist: ids joined by `+`, or `none`, or `not_sure`."""
    pending = work.conversation.pending
    picks = tuple(dict.fromkeys(choice.split(JOIN)))
    if pending is not None and pending.question == question.id:
        taken = enter_list(work, question, pending, picks)
    else:
        taken = enter_late(work, question, picks)
    if not taken:
        reask(work, work.say("outdated"))
        return
    if pending is not None and pending.question == question.id:
        work.change(pending=None)
    settle(work)


def _check(work: Work, rest: str) -> None:
    fact, _, answer = rest.rpartition(":")
    pending = work.conversation.pending
    if pending is None or pending.kind != "confirm" or pending.fact != fact or pending.value is None:
        reask(work, work.say("outdated"))
        return
    if answer == "yes":
        confirm(work, fact, pending.value)
    elif answer == "no":
        deny(work, fact, pending.value)
    elif fact not in work.facts:
        enter(work, fact, None, status="not_known", source="tap")
    if unsure(work, pending):
        return
    work.change(pending=None)
    settle(work)


def _recap(work: Work, head: str, rest: str) -> None:
    if head == "recap":
        agree(work)
    elif head == "show_recap":
        show_recap(work, "recap_again")
    elif head == "change" and rest in work.family.facts:
        _note_seen(work, rest)
        ask_change(work, rest)
    elif head == "unpicked" and rest in work.family.questions and work.family.questions[rest].several:
        _note_seen(work)
        question = work.family.questions[rest]
        items = list_again(work, question)
        if items:
            ask(work, question, Because("asked_back"), items=items)
        else:
            reask(work, work.say("outdated"))
    elif head == "set":
        fact_id, _, code = rest.rpartition(":")
        fact = work.family.facts.get(fact_id)
        codes = () if fact is None else ("yes", "no") if fact.type == "yes_no" else fact.options
        if code not in codes:
            reask(work, work.say("outdated"))
            return
        enter(work, fact_id, code, status="confirmed", source="tap")
        drop_proposal(work, fact_id)
        work.change(pending=None)
        settle(work)
    else:
        reask(work, work.say("outdated"))


def _note_seen(work: Work, wrong: str = "") -> None:
    """One line of the list is wrong; the others were seen on it and not objected to."""
    for fact_id in recap_facts(work):
        entry = work.facts[fact_id]
        if fact_id != wrong and entry.status == "heard":
            work.put(fact_id, replace(entry, certainty=max(entry.certainty, SEEN)))


def agree(work: Work) -> None:
    """The recap is right: every fact in it counts as confirmed, and what was not picked is not so."""
    left = {fact for _, choices in recap_unpicked(work) for choice in choices for fact in choice.sets}
    for fact_id in (*recap_facts(work), *sorted(left)):
        entry = work.facts[fact_id]
        if entry.status == "heard":
            work.put(fact_id, replace(entry, status="confirmed", certainty=1.0))
    work.change(recap_agreed=True, pending=None)
    work.note("recap_agreed")
    work.acks.append(work.say("agreed"))
    derive(work)
    go_on(work)


def _decision(work: Work, answer: str) -> None:
    if answer == "accept" and work.conversation.phase == "estimated":
        ask_accept(work)
    elif answer == "decline":
        ask_decline(work)
    elif answer == "person":
        hand_off(work, "asked")
    else:
        reask(work, work.say("outdated"))


def _confirmed(work: Work, kind: str, answer: str) -> None:
    work.change(pending=None)
    if kind == "confirm_contact":
        _contact(work, answer)
        return
    if answer != "yes":
        work.note("decision", of=kind, answer="no")
        work.acks.append(work.say("kept"))
        reask_held(work)
        return
    if kind == "confirm_accept":
        work.effects.append(DecideEstimate("accept"))
    elif kind == "confirm_decline":
        work.effects.append(DecideEstimate("decline"))
    elif kind == "confirm_erase":
        work.change(facts={}, proposals=(), held=None, phase="withdrawn", asked=(), skipped=(), lists=())
        work.effects.append(EraseEverything())
        work.note("erased")
        work.reply(Reply(work.say("erased"), kind="control"))
    elif kind == "confirm_start_again":
        start_again(work)
    elif kind == "confirm_stop":
        stop_writing(work)
    elif kind == "confirm_person":
        hand_off(work, "asked")
    elif kind == "confirm_language" and work.conversation.foreign is not None:
        switch_language(work, work.conversation.foreign[0])
    work.note("decision", of=kind, answer="yes")


def reask_held(work: Work) -> None:
    """Back to the question that a control had put aside (nothing is asked while a person has the floor)."""
    if work.conversation.floor == "person":
        flush(work)
        return
    held = work.conversation.held
    if held is not None and held.kind != "confirm_language":
        work.change(pending=held, held=None)
        reask(work)
    else:
        go_on(work)


def _contact(work: Work, answer: str) -> None:
    if answer == "yes":
        contact_confirmed(work)
        after_acceptance(work)
    else:
        forget_contact(work)
        ask_contact(work)


def start_again(work: Work) -> None:
    """Forget all answers (bench-verified ones excepted) and ask for the story anew."""
    kept = {fact: entry for fact, entry in work.facts.items() if entry.verified}
    work.change(
        facts=kept,
        proposals=(),
        held=None,
        asked=(),
        skipped=(),
        lists=(),
        misses=0,
        recap_agreed=False,
        phase="open",
        estimated=None,
    )
    work.note("started_again")
    work.acks.append(work.say("started_again"))
    ask_story(work)


def switch_language(work: Work, locale: str) -> None:
    """From here on in another shipped language; facts are codes, so nothing is lost."""
    work.change(locale=locale, foreign=None)
    work.note("language", locale=locale)
    work.acks.append(work.say("language"))
    reask_held(work)
