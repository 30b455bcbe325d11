"""Many simulated talks through the real engine, and what they show.

Every talk: a hidden truth, a persona, a channel; the talk runs until an estimate, a hand-over or 40 messages. Measured are
completion, messages, questions against a fixed-order form with the same skip rules, facts right at the end, facts asked though
known, corrections applied in the same turn, and the regret of the final plan and price against full information.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from intakebot.assess import Assessments
from intakebot.conversation import (
    Conversation,
    HandOff,
    MakeEstimate,
    MessageReceived,
    Reply,
    Turn,
    advance,
    open_conversation,
    sms_parts,
    sms_text,
)
from intakebot.definitions.checklists import listable
from intakebot.definitions.facts import Answer, Answers, holds
from intakebot.definitions.model import Definitions, Family, Question
from intakebot.errors import BadInputError
from intakebot.simulation.customer import Customer
from intakebot.simulation.personas import PERSONAS, Persona
from intakebot.simulation.truth import VAGUE, Truth, fits_truth, sample_truth, true_choice
from intakebot.triage import expected_cost, with_implied

MOST_MESSAGES = 40
CHANNELS = ("web", "sms", "web")
EQUAL_DECISION = 0.02
"""A decision counts as equal when its regret is at most this share of the quote."""


@dataclass
class Talk:
    """What one talk showed. regret, price_gap: shares of the full-information price; None without an estimate."""

    seed: int
    persona: str
    cooperative: bool
    channel: str
    faults: tuple[str, ...]
    opener_facts: int
    ending: str = "unfinished"
    messages: int = 0
    questions: int = 0
    form_questions: int = 0
    re_asked: int = 0
    corrections: int = 0
    corrections_applied: int = 0
    corrections_asked: int = 0
    facts_held: int = 0
    facts_right: int = 0
    wrong_before_recap: list[str] = field(default_factory=list)
    wrong_facts: list[str] = field(default_factory=list)
    two_questions: int = 0
    sms_parts: list[int] = field(default_factory=list)
    regret: float | None = None
    price_gap: float | None = None
    transcript: list[str] = field(default_factory=list)

    @property
    def success(self) -> bool:
        return self.ending in ("estimate", "proper hand-over")


def simulate(
    definitions: Definitions,
    customers: int,
    seed: int,
    progress: Callable[[int, int], None] | None = None,
    *,
    personas: Sequence[Persona] = PERSONAS,
    assessor: Assessments | None = None,
    now: datetime,
) -> list[Talk]:
    """Talks with `customers` simulated customers, personas in turn; the same seed gives the same talks."""
    chosen = assessor or Assessments(definitions)
    talks = []
    for number in range(customers):
        persona = personas[number % len(personas)]
        talks.append(one_talk(definitions, chosen, persona, seed * 1_000_003 + number, now))
        if progress is not None:
            progress(number + 1, customers)
    return talks


def one_talk(
    definitions: Definitions, assessor: Assessments, persona: Persona, seed: int, now: datetime
) -> Talk:
    """One talk, from the opener to its end."""
    rng = random.Random(seed)
    family = definitions.families[min(definitions.families)]
    truth = sample_truth(family, rng)
    channel = rng.choice(CHANNELS)
    customer = Customer(definitions, family, persona, truth, rng, channel)
    opener = customer.opener()
    talk = Talk(seed, persona.id, persona.cooperative, channel, truth.faults, len(customer.told))
    turn = open_conversation(
        definitions,
        conversation_id=f"sim-{seed}",
        channel=channel,
        locale="en",
        now=now,
        assessor=assessor,
        text=opener,
    )
    talk.messages = 1
    _observe(talk, turn, f"> {opener}", channel)
    ticks = customer.start_ticks(_last_question(turn), turn.conversation)
    if ticks is not None:
        turn = advance(definitions, turn.conversation, ticks, now, assessor=assessor)
        _observe(talk, turn, f"> (with it) [{ticks.value}]", channel)
    talk.ending = _ending(turn, persona, truth, family)
    while talk.ending == "unfinished" and talk.messages < MOST_MESSAGES:
        before = turn.conversation
        question = _last_question(turn)
        _note_recap(talk, before, truth)
        event = customer.answer(question, before)
        now += timedelta(days=2) if persona.pauses and talk.messages == 2 else timedelta(minutes=1)
        turn = advance(definitions, before, event, now, assessor=assessor)
        talk.messages += 1
        said = event.text if isinstance(event, MessageReceived) else f"[{event.value}]"
        _observe(talk, turn, f"> {said}", customer.channel)
        _check_turn(talk, before, turn, customer, truth, family)
        talk.ending = _ending(turn, persona, truth, family)
        if talk.ending == "estimate":
            _note_wrong(talk, turn.conversation, truth)
            _judge(talk, assessor, turn.conversation, truth, family, now)
            if customer.objects(turn):
                talk.ending = "unfinished"
    talk.form_questions = fixed_form_questions(family, truth)
    _count_facts(talk, turn.conversation, truth)
    return talk


def _last_question(turn: Turn) -> Reply:
    return turn.replies[-1] if turn.replies else Reply("")


def _observe(talk: Talk, turn: Turn, said: str, channel: str) -> None:
    talk.transcript.append(said)
    for reply in turn.replies:
        talk.transcript.append(
            f"< {reply.text}" + (f"  [{', '.join(c.label for c in reply.choices)}]" if reply.choices else "")
        )
        talk.two_questions += reply.text.count("?") > 1 and reply.kind != "recap"
        if channel == "sms":
            talk.sms_parts.append(sms_parts(sms_text(reply)))
    talk.questions += sum(entry.kind == "asked" and not entry.data.get("tries") for entry in turn.log)


def _check_turn(
    talk: Talk, before: Conversation, turn: Turn, customer: Customer, truth: Truth, family: Family
) -> None:
    """Known facts asked again, and whether a correction was applied and said in the same turn."""
    for entry in turn.log:
        question = family.questions.get(str(entry.data.get("question")))
        if entry.kind == "asked" and question is not None and entry.data["because"]["reason"] != "asked_back":
            kept = {f: e for f, e in before.facts.items() if f in turn.conversation.facts}
            if question.several:
                listed = [c for c in question.choices if c.id in entry.data["items"]]
                talk.re_asked += any(fact in kept for choice in listed for fact in choice.sets)
                continue
            known = [
                f
                for f in question.fills
                if f in kept and kept[f].status != "declined" and kept[f].value != VAGUE
            ]
            talk.re_asked += len(known) == len(question.fills)
    fact = customer.correcting
    if fact is not None:
        talk.corrections += 1
        entry_now = turn.conversation.facts.get(fact)
        if entry_now is not None and entry_now.value == truth.facts.get(fact):
            talk.corrections_applied += 1
        else:
            asked = turn.conversation.pending
            led = asked is not None and (
                asked.fact == fact or asked.kind == "recap" or _fills(family, asked.question, fact)
            )
            talk.corrections_asked += led
            talk.transcript.append(f"! correction of {fact} not applied" + (", asked about" if led else ""))


def _fills(family: Family, question_id: str | None, fact: str) -> bool:
    question = family.questions.get(question_id or "")
    return question is not None and not question.several and fact in question.fills


def _ending(turn: Turn, persona: Persona, truth: Truth, family: Family) -> str:
    for effect in turn.effects:
        if isinstance(effect, MakeEstimate):
            return "estimate"
        if isinstance(effect, HandOff):
            hazard = any(family.facts[f].role == "hazard" and v == "yes" for f, v in truth.facts.items())
            proper = (effect.reason == "safety" and hazard) or (
                effect.reason in ("asked", "anger", "not_understood") and not persona.cooperative
            )
            return "proper hand-over" if proper else f"hand-over: {effect.reason}"
    pending = turn.conversation.pending
    return "estimate" if pending is not None and pending.kind == "decision" else "unfinished"


def _note_recap(talk: Talk, conversation: Conversation, truth: Truth) -> None:
    if conversation.pending is not None and conversation.pending.kind == "recap":
        _note_wrong(talk, conversation, truth)


def _note_wrong(talk: Talk, conversation: Conversation, truth: Truth) -> None:
    """What was wrong when the list was shown, be it with the estimate."""
    for fact in _comparable(conversation, truth):
        said = f"{fact}={conversation.facts[fact].value} (is {truth.facts[fact]})"
        if not _right(conversation, truth, fact) and said not in talk.wrong_before_recap:
            talk.wrong_before_recap.append(said)


def _comparable(conversation: Conversation, truth: Truth) -> list[str]:
    return [
        fact
        for fact, entry in conversation.facts.items()
        if entry.value is not None and entry.source != "derived" and fact in truth.facts
    ]


def _right(conversation: Conversation, truth: Truth, fact: str) -> bool:
    value = conversation.facts[fact].value
    return value is not None and fits_truth(truth.facts[fact], value)


def _count_facts(talk: Talk, conversation: Conversation, truth: Truth) -> None:
    held = _comparable(conversation, truth)
    wrong = [fact for fact in held if not _right(conversation, truth, fact)]
    talk.facts_held, talk.facts_right = len(held), len(held) - len(wrong)
    talk.wrong_facts = [f"{fact}={conversation.facts[fact].value} (is {truth.facts[fact]})" for fact in wrong]


def _judge(
    talk: Talk, assessor: Assessments, conversation: Conversation, truth: Truth, family: Family, now: datetime
) -> None:
    """Cost of the talk's plan under full information, against the best plan then; and the price's gap.

    Both plans come from the same planner, and both costs are exact ones in the problem under full information.
    """
    day = now.date()
    full = assessor.assess(family.id, full_information(family, truth, conversation.answers), day)
    held = assessor.assess(family.id, conversation.answers, day)
    quote = max(full.quick.mean, 1.0)
    talk.price_gap = abs(held.quick.mean - full.quick.mean) / quote
    steps = {step.id for step in full.bench.problem.steps}
    groups = [[s.id for s in group if s.id in steps] for group in held.bench.groups]
    groups = [group for group in groups if group]
    try:
        cost = expected_cost(full.bench.problem, groups).expected_cost
    except BadInputError:
        return
    talk.regret = max(0.0, cost - full.bench.plan.expected_cost) / quote


def full_information(family: Family, truth: Truth, held: Answers) -> dict[str, Answer]:
    """All that this customer could have told: what the talk holds ("not sure" included), what the fixed-order form learns,
    and the answers to every question that these allow."""
    answers = with_implied(family, {**form_answers(family, truth), **held})
    for _ in range(len(family.questions)):
        before = len(answers)
        for question in family.questions.values():
            if question.tier != "logistics" and holds(question.ask_when, answers) is True:
                fresh = {
                    f: a for f, a in told_by(family, question, truth, answers).items() if f not in answers
                }
                answers = with_implied(family, {**answers, **fresh})
        if len(answers) == before:
            break
    return answers


def told_by(
    family: Family, question: Question, truth: Truth, answers: Answers | None = None
) -> dict[str, Answer]:
    """What a truthful answer to one question tells: the facts of the first choice that is true, no more; of a checklist, the
    facts of every choice that could be listed with these answers."""
    if question.several:
        listed = listable(question, answers or {})
        facts = dict.fromkeys(fact for choice in listed for fact in choice.sets)
        return {fact: Answer(truth.facts[fact]) for fact in facts if fact in truth.facts}
    known = dict.fromkeys(question.fills, Answer(None, "not_known"))
    if not question.choices:
        return known | {fact: Answer(truth.facts[fact]) for fact in question.fills if fact in truth.facts}
    choice = true_choice(question, truth)
    sets = choice.sets if choice is not None else {}
    return known | {fact: Answer(value) for fact, value in sets.items() if value is not None}


def form_answers(family: Family, truth: Truth) -> dict[str, Answer]:
    """What a form in the order of the definitions learns from this customer, its skip rules applied to the answers so far."""
    return _form(family, truth)[1]


def fixed_form_questions(family: Family, truth: Truth) -> int:
    """How many questions that form puts (the safety list counts as one; other checklists it does not have)."""
    return _form(family, truth)[0]


def _form(family: Family, truth: Truth) -> tuple[int, dict[str, Answer]]:
    answers: dict[str, Answer] = {}
    asked = 0
    for question in family.questions.values():
        if question.tier == "logistics" or holds(question.ask_when, answers) is not True:
            continue
        if question.several and question.tier != "safety":
            continue  # the form has a question of its own for each of its facts
        fresh = {f: a for f, a in told_by(family, question, truth, answers).items() if f not in answers}
        if fresh:
            asked += 1
            answers = with_implied(family, {**answers, **fresh})
    return asked, answers
