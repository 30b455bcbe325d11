"""Going on: the next question, the recap, the estimate, what comes after it; and asking the open question again."""

from __future__ import annotations

from dataclasses import replace

from intakebot.conversation.asking import (
    MOST_CHARACTERS,
    RECAP_LINES,
    acknowledgement,
    ask,
    check,
    flush,
    note_recap,
    put_question,
    show_recap,
    unpicked_line,
)
from intakebot.conversation.checklist import shown_items
from intakebot.conversation.choosing import (
    Ask,
    Check,
    ShowRecap,
    decide,
    recap_facts,
    recap_unpicked,
)
from intakebot.conversation.contact import after_acceptance, ask_contact, check_contact
from intakebot.conversation.handing import hand_off
from intakebot.conversation.labels import fact_label, things, value_label
from intakebot.conversation.reading import question_of
from intakebot.conversation.state import Because, Pending, Proposal
from intakebot.conversation.turn import MakeEstimate, Reply, ReplyChoice
from intakebot.conversation.work import Work
from intakebot.definitions.facts import holds
from intakebot.definitions.model import Question
from intakebot.quoting.money import Money, format_money

MOST_MESSAGES = 30
"""A customer who has written so often without getting an estimate gets a person."""
CLOSED = ("shipped", "arrived", "on_bench", "finished", "declined", "withdrawn")


def go_on(work: Work) -> None:
    """Whatever comes next in the case's phase; the turn's acknowledgements are said with it."""
    phase = work.conversation.phase
    if phase in CLOSED:
        work.acks.append(work.say(f"status_{phase}"))
        work.change(pending=None)
        flush(work)
        return
    if (
        phase == "open"
        and work.conversation.messages_in >= MOST_MESSAGES
        and work.conversation.floor == "self"
    ):
        hand_off(work, "too_long", text_key="handover_not_understood")
        return
    decision = decide(work)
    if isinstance(decision, Ask):
        ask(work, decision.question, decision.because, items=decision.items)
    elif isinstance(decision, Check):
        check(work, decision.proposal, decision.because)
    elif phase == "open" and isinstance(decision, ShowRecap):
        show_recap(work)
    elif phase == "open":
        estimate(work, revises=False)
    elif changed_since_estimate(work):
        work.acks.append(work.say("estimate_revised"))
        estimate(work, revises=True)
    elif phase == "accepted":
        after_acceptance(work)
    else:
        ask_decision(work)


def changed_since_estimate(work: Work) -> bool:
    """Whether the plan or the maximum is no longer what was last shown."""
    if work.conversation.estimated is None:
        return True
    outlook = work.outlook()
    return (outlook.plan, str(outlook.maximum)) != work.conversation.estimated


def estimate(work: Work, *, revises: bool) -> None:
    """Show the estimate and ask for a decision; the caller makes the written one."""
    outlook = work.outlook()
    holds = tuple(hold for hold in work.conversation.holds if hold != "part_missing")
    if outlook.gate in ("hold", "cannot"):
        holds = (*holds, "part_missing")
    work.change(phase="estimated", estimated=(outlook.plan, str(outlook.maximum)), holds=holds)
    work.effects.append(MakeEstimate(revises))
    work.note("estimate_ready", plan=outlook.plan, maximum=str(outlook.maximum), revises=revises)
    conversation, lead = work.conversation, acknowledgement(work)
    if not conversation.recap_agreed and not revises:
        lead = _read_back(work, lead)
    family, locale = conversation.family, conversation.locale
    for line in work.assessor.estimate_text(family, work.answers, work.today, locale):
        joined = f"{lead} {line}".strip()
        if lead and len(joined) > MOST_CHARACTERS:
            work.reply(Reply(lead))
            joined = line
        lead = ""
        work.reply(Reply(joined, kind="estimate"))
    if outlook.gate != "go":
        part_key = f"paired.{outlook.gate_part}"
        part = work.texts.say(part_key) if work.texts.has(part_key) else ""
        work.reply(Reply(work.say(f"gate_{outlook.gate}", part=part), kind="notice"))
    if work.links.get("estimate"):
        work.reply(Reply(work.links["estimate"], kind="notice"))
    ask_decision(work)


def _read_back(work: Work, lead: str) -> str:
    """Nothing is in doubt: the list goes out with the estimate instead of waiting for an answer."""
    pairs = [(fact, work.facts[fact].value) for fact in recap_facts(work)]
    left = recap_unpicked(work)
    work.change(recap_agreed=True)
    parts = [lead] if lead else []
    if pairs:
        shown = things(work.texts, work.family, pairs, most=RECAP_LINES)
        parts.append(work.say("read_back", things=shown))
    parts += [f"{unpicked_line(work, question, choices)}." for question, choices in left]
    if not pairs and not left:
        return lead
    *earlier, last = _filled(parts)
    for text in earlier:
        work.reply(Reply(text, kind="recap"))
    work.reply(Reply(last, (ReplyChoice(work.say("choice.not_right"), "show_recap"),), "recap"))
    note_recap(work, [fact for fact, _ in pairs], left)
    return ""


def _filled(parts: list[str]) -> list[str]:
    """The parts as few messages as they fit into, each part whole."""
    messages = parts[:1]
    for part in parts[1:]:
        joined = f"{messages[-1]} {part}"
        if len(joined) > MOST_CHARACTERS:
            messages.append(part)
        else:
            messages[-1] = joined
    return messages


def ask_decision(work: Work) -> None:
    choices = [
        ("decision:accept", work.say("choice.accept")),
        ("decision:decline", work.say("choice.decline")),
        ("decision:person", work.say("choice.person")),
        ("show_recap", work.say("choice.change")),
    ]
    put_question(work, work.say("estimate_ask"), choices, Pending("decision"), "estimate")
    work.note("decision_asked")


def yes_no(work: Work, kind: str, text: str) -> None:
    """An explicit yes/no: `kind` is the pending kind, and the prefix of the choices' values."""
    choices = [(f"{kind}:yes", work.say("choice.yes")), (f"{kind}:no", work.say("choice.no"))]
    put_question(work, text, choices, Pending(kind), "confirm")  # type: ignore[arg-type]


def ask_accept(work: Work) -> None:
    outlook = work.outlook()
    maximum = format_money(Money(outlook.maximum, outlook.currency), work.conversation.locale)
    yes_no(work, "confirm_accept", work.say("accept_check", maximum=maximum))


def ask_decline(work: Work) -> None:
    yes_no(work, "confirm_decline", work.say("decline_check"))


def ask_change(work: Work, fact_id: str) -> None:
    """Ask for a new value of one fact: by a question that fills it, else in free words."""
    question = _question_for(work, fact_id)
    if question is not None:
        entry = work.facts.get(fact_id)
        lead = ""
        if entry is not None and entry.is_known:
            lead = work.say("back_value", value=value_label(work.texts, work.fact(fact_id), entry.value))
        ask(work, question, Because("asked_back"), lead=lead)
        return
    fact, entry = work.fact(fact_id), work.facts.get(fact_id)
    value = value_label(
        work.texts, fact, entry.value if entry else None, entry.status if entry else "not_known"
    )
    text = work.say("change_value", label=fact_label(work.texts, fact), value=value)
    put_question(work, text, options_of_change(work, fact_id), Pending("change", fact=fact_id), "question")


def _question_for(work: Work, fact_id: str) -> Question | None:
    """The question to change a fact by: one that may be asked of this device once the value is gone, first of all one that fills
    nothing else; a fact with a yes and a no never shares its question with others.
    """
    kept = {
        fact: entry.answer
        for fact, entry in work.facts.items()
        if fact != fact_id and fact_id not in entry.because_of
    }
    single = [q for q in work.family.questions.values() if fact_id in q.fills and not q.several]
    filling = [q for q in single if q.tier != "logistics"]
    alone = [q for q in single if q.fills == (fact_id,)]
    shared = filling if work.fact(fact_id).type == "choice" else []
    fitting = [q for q in (*alone, *shared) if holds(q.ask_when, kept) is True]
    return next(iter(fitting or alone), None)


def options_of_change(work: Work, fact_id: str) -> list[tuple[str, str]]:
    """The options of a choice or yes/no fact as choices `set:<fact>:<value>`."""
    fact = work.fact(fact_id)
    codes = ("yes", "no") if fact.type == "yes_no" else fact.options if fact.type == "choice" else ()
    return [(f"set:{fact_id}:{code}", work.texts.option(fact, code)) for code in codes]


def reask(work: Work, lead: str = "", *, tries: int | None = None) -> None:
    """Ask the open question again (or go on when none is open); `tries` counts answers that were not understood."""
    pending = work.conversation.pending
    if lead:
        work.acks.append(lead)
    if pending is None:
        go_on(work)
        return
    count = pending.tries if tries is None else tries
    because = pending.because or Because("always")
    question = question_of(work, pending)
    if question is not None:
        ask_again(work, question, count, because)
    elif pending.kind == "confirm" and pending.fact is not None and pending.value is not None:
        check(work, Proposal(pending.fact, pending.value, 1.0), because, tries=count)
    elif pending.kind == "recap":
        show_recap(work, "recap_again")
    elif pending.kind == "change" and pending.fact is not None:
        ask_change(work, pending.fact)
    elif pending.kind == "contact":
        ask_contact(work)
    elif pending.kind == "confirm_contact":
        check_contact(work)
    elif pending.kind == "story":
        ask_story(work, 1)
    elif pending.kind == "decision":
        ask_decision(work)
    else:
        work.change(pending=None)
        go_on(work)
    settled = work.conversation.pending
    if settled is not None:
        work.change(pending=replace(settled, tries=count))


def ask_again(work: Work, question: Question, tries: int, because: Because) -> None:
    """The same question in its second wording; it does not count as asked once more."""
    asked, pending = work.conversation.asked, work.conversation.pending
    items = tuple(choice.id for choice in shown_items(pending, question)) if question.several else ()
    ask(work, question, because, tries=max(tries, 1), items=items)
    work.change(asked=asked)


def ask_story(work: Work, wording: int = 0) -> None:
    put_question(work, work.say("opener_ask", wording), [], Pending("story"), "question")


def show_change_list(work: Work) -> None:
    """Everything that can be changed, when the customer says that something is wrong."""
    show_recap(work, "recap_again")
