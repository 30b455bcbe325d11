"""One simulated customer: sees what was asked and the choices, answers from the hidden truth in their own way."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass, field
from string import ascii_uppercase

from intakebot.conversation import ChoiceTaken, Conversation, MessageReceived, Reply, ReplyChoice, Turn
from intakebot.definitions.model import Choice, Definitions, Family, Question
from intakebot.definitions.texts import Texts
from intakebot.simulation.personas import Persona
from intakebot.simulation.truth import Truth, fits_truth, is_true, true_choice
from intakebot.simulation.wording_en import (
    AGE,
    BARE,
    CLAUSES,
    CORRECTIONS,
    DEVICES,
    EMPTY_AND_SHUT,
    HOSTILE,
    LEAD_INS,
    NO,
    NONE,
    NOT_SURE,
    RAMBLES,
    YES,
)

OVERLOOKED = 0.03
"""Share of fitting choices of a checklist that anybody overlooks (an assumption)."""
NOTICED = 0.6
"""Share of customers who put a wrong line right when it is only read back to them: about 60 % recovered from a wrong implicit
confirmation (Weegels 2000 and others, as collected on the acixd.org wiki)."""
SALIENT = 3
"""How much likelier a customer mentions a plain symptom than a circumstance."""
UNTOLD = ("no", "nobody", "none", "not_tried", "nothing", "in_device")
"""Values nobody volunteers; when it fails and where a board is are told when asked."""
CIRCUMSTANCES = (
    "bought_used", "dropped", "moved_house", "smoky_or_dusty_home", "child_at_home", "long_unused", "opened",
    "cleaning_disc_used", "software_reset", "age_years", "lens_cleaned",
)  # fmt: skip


@dataclass
class Customer:
    """wrong: facts told wrongly and not corrected yet (fact -> the wrong value). told: facts said so far. objecting: about to say that the
    list that came with the estimate is not right.
    """

    definitions: Definitions
    family: Family
    persona: Persona
    truth: Truth
    rng: random.Random
    channel: str
    told: set[str] = field(default_factory=set)
    wrong: dict[str, str] = field(default_factory=dict)
    correcting: str | None = None
    objecting: bool = False
    messages: int = 0

    def opener(self) -> str:
        """The first message."""
        self.messages += 1
        low, high = self.persona.opener
        device = self.rng.choice(DEVICES[str(self.truth.facts["device_kind"])])
        tellable = self._tellable()
        count = min(self.rng.randint(low, high), len(tellable))
        if count == 0:
            return self._typed(self.rng.choice(BARE).format(device=device))
        self.told.add("device_kind")
        clauses = [self._clause(fact) for fact in tellable[:count]]
        parts = [f"{self.rng.choice(LEAD_INS)}it is about {device}.", *(f"{clause}." for clause in clauses)]
        if self.persona.rambles:
            parts.insert(1, self.rng.choice(RAMBLES))
            parts.append(self.rng.choice(RAMBLES))
        return self._typed(" ".join(parts))

    def start_ticks(self, reply: Reply, conversation: Conversation) -> ChoiceTaken | None:
        """On the web the safety list stands below the box for the first words, and is sent with them."""
        pending = conversation.pending
        question = self.family.questions.get(pending.question or "") if pending is not None else None
        if self.channel != "web" or question is None or question.tier != "safety" or not question.several:
            return None
        picked = [choice.id for choice in question.choices if is_true(choice, self.truth)]
        self.told.update(fact for choice in question.choices for fact in choice.sets)
        return ChoiceTaken("start", f"{question.id}:{'+'.join(picked) or 'none'}", self.channel)

    def answer(self, reply: Reply, conversation: Conversation) -> MessageReceived | ChoiceTaken:
        """The answer to the last message."""
        self.messages += 1
        message_id = f"m{self.messages}"
        if self.persona.hops and self.messages == 3:
            self.channel = "web" if self.channel == "sms" else "sms"
        if self.objecting:
            self.objecting = False
            return ChoiceTaken(message_id, "show_recap", self.channel)
        free = self._free_turn()
        said = self._to_question(reply, conversation) if free is None else free
        if isinstance(said, ReplyChoice):
            return ChoiceTaken(message_id, said.value, self.channel)
        return MessageReceived(message_id, self._typed(said), self.channel)

    def _free_turn(self) -> str | None:
        """Things said whatever was asked: a correction that is due, an insult, a call for a person, another language."""
        self.correcting = None
        if self.wrong:
            fact = next(iter(self.wrong))
            del self.wrong[fact]
            self.correcting = fact
            return self.rng.choice(CORRECTIONS).format(clause=self._true_clause(fact))
        if self.persona.switches and self.messages == 2:
            return "auf Deutsch bitte"
        if self.rng.random() < self.persona.insult:
            return self.rng.choice(HOSTILE)
        if self.rng.random() < self.persona.wants_person:
            return "let me talk to a person"
        return None

    def _to_question(self, reply: Reply, conversation: Conversation) -> str | ReplyChoice:
        pending = conversation.pending
        if pending is None:
            return "hello?"
        if pending.kind == "story":
            fact = next(iter(self._tellable()), None)
            return f"{self.rng.choice(DEVICES[str(self.truth.facts['device_kind'])])}, " + (
                self._clause(fact) if fact else "it does not work"
            )
        if pending.kind == "confirm":
            return self._yes_no(reply, self.truth.facts.get(pending.fact or "") == pending.value)
        if pending.kind == "recap":
            return self._recap(reply, conversation)
        if pending.kind == "change":
            return self._changed(reply, pending.fact or "", pending.tries)
        question = self.family.questions.get(pending.question or "")
        if question is None:
            return self._yes_no(reply, True)
        if question.several:
            return self._list(reply, question, pending.tries)
        return self._question(reply, question, pending.tries)

    def _changed(self, reply: Reply, fact: str, tries: int) -> str:
        """The right value: in own words or by its label, and by its number when words did not get through."""
        wanted = f"set:{fact}:{self.truth.facts.get(fact)}"
        place = next((n for n, choice in enumerate(reply.choices, start=1) if choice.value == wanted), None)
        if place is not None and (tries or not self._true_clause_known(fact)):
            return str(place) if tries else reply.choices[place - 1].label
        return self._true_clause(fact)

    def _recap(self, reply: Reply, conversation: Conversation) -> ReplyChoice:
        for choice in reply.choices:
            head, _, rest = choice.value.partition(":")
            if head == "change" and self._is_wrong(conversation, rest):
                return choice
            if head == "unpicked" and self._misses_one(self._named(choice, conversation)):
                return choice
        return reply.choices[0]

    def objects(self, turn: Turn) -> bool:
        """Whether a correction is still due, or a wrong line of the list that came with the estimate is noticed."""
        if self.wrong:
            return True
        self.objecting = self._objects_to_list(turn)
        return self.objecting

    def _objects_to_list(self, turn: Turn) -> bool:
        shown = next((entry.data for entry in turn.log if entry.kind == "recap_shown"), None)
        if shown is None or turn.conversation.pending is None or turn.conversation.pending.kind == "recap":
            return False
        wrong = any(self._is_wrong(turn.conversation, fact) for fact in shown["facts"]) or any(
            self._misses_one(c for c in self.family.questions[question].choices if c.id in ids)
            for question, ids in shown["unpicked"].items()
        )
        return wrong and self.rng.random() < NOTICED

    def _is_wrong(self, conversation: Conversation, fact: str) -> bool:
        held = conversation.facts.get(fact)
        if held is None or held.value is None or fact not in self.truth.facts:
            return False
        return not fits_truth(self.truth.facts[fact], held.value)

    def _misses_one(self, not_picked: Iterable[Choice]) -> bool:
        """Whether something true is seen among what was not picked; now and then it is overlooked again."""
        return any(
            is_true(choice, self.truth) and self.rng.random() >= self._overlooks() for choice in not_picked
        )

    def _named(self, line: ReplyChoice, conversation: Conversation) -> list[Choice]:
        """The choices that a line of the list names as not picked."""
        question = self.family.questions[line.value.partition(":")[2]]
        texts = Texts(self.definitions, self.family.id, conversation.locale)
        return [
            each for each in question.choices if texts.say(f"choice.{question.id}.{each.id}") in line.label
        ]

    def _overlooks(self) -> float:
        return OVERLOOKED + self.persona.not_sure / 2

    def _question(self, reply: Reply, question: Question, tries: int) -> str | ReplyChoice:
        chance = self.rng.random()
        if chance < self.persona.skips:
            return "skip"
        unsure = next((c for c in reply.choices if c.value.endswith(":not_sure")), None)
        if self.rng.random() < self.persona.not_sure and question.tier != "safety":
            return unsure if unsure and self.rng.random() < 0.5 else self.rng.choice(NOT_SURE)
        if self.rng.random() < self.persona.wrong_slot:
            other = next((fact for fact in self._tellable() if fact not in question.fills), None)
            if other is not None:
                return self._clause(other)
        choice = self._true_choice(reply, question)
        if choice is None:
            more = next((c for c in reply.choices if ":more" in c.value), None)
            return more or unsure or self.rng.choice(NOT_SURE)
        self.told.update(question.fills)
        if question.tier != "safety" and self.rng.random() < self.persona.told_wrong:
            lie = self._lie(reply, question, choice)
            if lie is not None:
                return lie
        if tries:
            return str(reply.choices.index(choice) + 1)  # words did not get through: the number will
        return self._say(reply, question, choice)

    def _list(self, reply: Reply, question: Question, tries: int) -> str | ReplyChoice:
        """Pick what fits from a checklist; now and then something is overlooked, and now and then something else is said."""
        if self.rng.random() < self.persona.skips:
            return "skip"
        if self.rng.random() < self.persona.not_sure and question.tier != "safety":
            return self.rng.choice(NOT_SURE)
        if self.rng.random() < self.persona.wrong_slot:
            other = next((fact for fact in self._tellable() if fact not in question.fills), None)
            if other is not None:
                return self._clause(other)
        choices = {choice.id: choice for choice in question.choices}
        listed = [
            (c, choices[c.value.partition(":")[2]])
            for c in reply.choices
            if c.value.partition(":")[2] in choices
        ]
        picked = [
            (shown, choice)
            for shown, choice in listed
            if is_true(choice, self.truth)
            and (question.tier == "safety" or self.rng.random() >= self._overlooks())
        ]
        self.told.update(fact for _, choice in listed for fact in choice.sets)
        if question.tier != "safety" and self.rng.random() < self.persona.told_wrong:
            others = [pair for pair in listed if pair not in picked and self._can_correct(pair[1])]
            if others:
                lie = self.rng.choice(others)
                fact = next(iter(lie[1].sets))
                self.wrong[fact] = lie[0].value
                picked = [
                    pair for pair in listed if pair == lie or (pair in picked and fact not in pair[1].sets)
                ]
        return self._say_picks(reply, question, picked, tries)

    def _can_correct(self, choice: Choice) -> bool:
        return len(choice.sets) == 1 and self._true_clause_known(next(iter(choice.sets)))

    def _say_picks(
        self, reply: Reply, question: Question, picked: list[tuple[ReplyChoice, Choice]], tries: int
    ) -> str | ReplyChoice:
        none = next(c for c in reply.choices if c.value.endswith(":none"))
        how = self.rng.random()
        if how < self.persona.taps and self.channel == "web":
            value = f"{question.id}:{'+'.join(choice.id for _, choice in picked)}" if picked else none.value
            return ReplyChoice("", value)
        if not picked:
            return self.rng.choice(NONE)
        if tries or how < self.persona.taps + self.persona.numbers:
            numbers = [reply.choices.index(shown) for shown, _ in picked]
            if self.rng.random() < 0.3:
                return " ".join(ascii_uppercase[number] for number in numbers)
            return self.rng.choice((" ", ", ", " and ")).join(str(number + 1) for number in numbers)
        said = []
        for shown, choice in picked:
            fact, true = next(iter(choice.sets.items()))
            own = (
                CLAUSES.get((fact, str(true)))
                if len(choice.sets) == 1 and not self.persona.switches
                else None
            )
            said.append(self.rng.choice(own) if own and self.rng.random() < 0.5 else shown.label.lower())
        return self.rng.choice((", ", " and ", ". ")).join(said)

    def _say(self, reply: Reply, question: Question, choice: ReplyChoice) -> str | ReplyChoice:
        how = self.rng.random()
        if how < self.persona.taps and self.channel == "web":
            return choice
        if how < self.persona.taps + self.persona.numbers:
            return str(reply.choices.index(choice) + 1)
        said = self._in_words(question, choice)
        if self.rng.random() < self.persona.extra:
            more = next((fact for fact in self._tellable() if fact not in question.fills), None)
            if more is not None:
                said = f"{said}. {self._clause(more)}"
        return said

    def _in_words(self, question: Question, choice: ReplyChoice) -> str:
        """The choice in the customer's words: yes or no, a clause of their own, or the label."""
        label = choice.label
        if len(question.fills) == 1:
            fact = question.fills[0]
            value = self.truth.facts.get(fact)
            if self.family.facts[fact].type == "yes_no" and self.rng.random() < 0.7:
                return self.rng.choice(YES if value == "yes" else NO)
            if fact == "age_years" and isinstance(value, int):
                return self.rng.choice(AGE).format(n=value)
            if (fact, str(value)) in CLAUSES and not self.persona.switches:
                return self.rng.choice(CLAUSES[fact, str(value)])
        return label.lower()

    def _true_choice(self, reply: Reply, question: Question) -> ReplyChoice | None:
        """The listed choice that is true, if there is one."""
        if question.choices:
            choice = true_choice(question, self.truth)
            return None if choice is None else _listed(reply, f"{question.id}:{choice.id}")
        return _listed(reply, f"{question.id}:{self.truth.facts.get(question.fills[0])}")

    def _lie(self, reply: Reply, question: Question, right: ReplyChoice) -> str | ReplyChoice | None:
        """A wrong answer to a single-fact question; it is put right in the next message."""
        if len(question.fills) != 1 or not self._true_clause_known(question.fills[0]):
            return None
        wrong = [
            c
            for c in reply.choices
            if c != right and not c.value.endswith(("not_sure",)) and ":more" not in c.value
        ]
        if not wrong:
            return None
        choice = self.rng.choice(wrong)
        self.wrong[question.fills[0]] = choice.value
        return choice

    def _clause(self, fact: str) -> str:
        """Tell a fact, now and then wrongly at first."""
        self.told.add(fact)
        if self.rng.random() < self.persona.told_wrong and self._true_clause_known(fact):
            others = [v for (f, v) in CLAUSES if f == fact and v != str(self.truth.facts[fact])]
            if others:
                value = self.rng.choice(others)
                self.wrong[fact] = value
                return self.rng.choice(CLAUSES[fact, value])
        return self._true_clause(fact)

    def _true_clause(self, fact: str) -> str:
        value = self.truth.facts.get(fact)
        if fact == "age_years":
            return self.rng.choice(AGE).format(n=value)
        if (fact, value) == ("wont_eject", "yes") and self.truth.facts.get("disc_stuck") == "no":
            return self.rng.choice(EMPTY_AND_SHUT)
        if (fact, str(value)) in CLAUSES:
            return self.rng.choice(CLAUSES[fact, str(value)])
        return str(value).replace("_", " ")

    def _true_clause_known(self, fact: str) -> bool:
        return (fact, str(self.truth.facts.get(fact))) in CLAUSES

    def _tellable(self) -> list[str]:
        """Facts worth telling that were not told yet, likeliest first."""
        weighted = []
        for (fact, value), _ in CLAUSES.items():
            if fact in self.told or str(self.truth.facts.get(fact)) != value or fact == "device_kind":
                continue
            if value in UNTOLD or fact in ("original_board_place", "when_fails"):
                continue
            weight = 1 if fact in CIRCUMSTANCES else SALIENT
            weighted.append((self.rng.random() ** (1 / weight), fact))
        if "age_years" not in self.told:
            weighted.append((self.rng.random() ** 2, "age_years"))
        return list(dict.fromkeys(fact for _, fact in sorted(weighted, reverse=True)))

    def _yes_no(self, reply: Reply, right: bool) -> str | ReplyChoice:
        choice = next((c for c in reply.choices if c.value.endswith(":yes" if right else ":no")), None)
        if choice is not None and self.rng.random() < self.persona.taps:
            return choice
        return self.rng.choice(YES if right else NO[:2])

    def _typed(self, text: str) -> str:
        """With the persona's share of typing errors: a letter left out, doubled, swapped or hit beside."""
        if not self.persona.typos:
            return text
        out: list[str] = []
        for position, letter in enumerate(text):
            if letter.isalpha() and self.rng.random() < self.persona.typos:
                kind = self.rng.randrange(3)
                if kind == 1:
                    out.append(letter * 2)
                elif kind == 2 and position + 1 < len(text):
                    out.append(chr(ord("a") + self.rng.randrange(26)))
                continue
            out.append(letter)
        return "".join(out)


def _listed(reply: Reply, value: str) -> ReplyChoice | None:
    return next((choice for choice in reply.choices if choice.value == value), None)
