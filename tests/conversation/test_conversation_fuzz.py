"""Random talks against the real understanding: what must hold after every turn (Hypothesis, stateful)."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from intakebot.conversation import (
    ChoiceTaken,
    Conversation,
    EstimateDecided,
    FactsEntered,
    GivenBack,
    MessageReceived,
    PhaseMoved,
    PhotoAdded,
    StaffReplied,
    TakenOver,
    advance,
    plain_text,
)
from intakebot.conversation.state import PHASES
from intakebot.errors import BadInputError
from tests.conversation.doubles import NOW, SetAssessor, Talk

WORDS = (
    "my console", "dvd player", "skips", "it grinds", "no discs are read", "CDs play", "a shop opened it", "actually", "not",
    "10 years", "yes", "no", "2", "not sure", "stop", "help", "back", "skip", "person", "go on", "auf deutsch bitte", "english please",
    "erase", "start again", "price", "smoke came out", "the disc is stuck", "I think", "accept", "später", "that's wrong", "", "💿",
)  # fmt: skip
MESSAGES = st.lists(st.sampled_from(WORDS), min_size=1, max_size=4).map(" ".join) | st.text(max_size=40)


class RandomTalk(RuleBasedStateMachine):
    """Any event may come at any time; time only moves forward."""

    definitions = None

    @initialize(channel=st.sampled_from(["web", "sms"]), locale=st.sampled_from(["en", "de"]))
    def start(self, channel, locale):
        assessor = SetAssessor(asks=("noise", "age_years", "error_message"), prices={"opened=shop": 220})
        self.talk = Talk(self.definitions, assessor, channel=channel, locale=locale)
        self.before, self.wrote = self.talk.conversation, False

    def send(self, event):
        self.before, self.wrote = self.talk.conversation, False
        self.talk.send(event)

    @rule(text=MESSAGES, hours=st.sampled_from([0, 0, 0, 30]))
    def write(self, text, hours):
        self.before, self.wrote = self.talk.conversation, True
        self.talk.say(text, after=timedelta(hours=hours, minutes=1))

    @rule(data=st.data())
    def tap_something(self, data):
        choices = [
            choice.value
            for turn in self.talk.turns[-3:]
            for reply in turn.replies
            for choice in reply.choices
        ]
        value = data.draw(st.sampled_from(choices) if choices else st.just("nothing"))
        self.send(ChoiceTaken(self.talk.id(), value))

    @rule(facts=st.dictionaries(st.sampled_from(["opened", "skips", "bought_used", "age_years", "noise"]), st.sampled_from(["yes", "no", "shop", "grinding", 5, None]), max_size=3), by=st.sampled_from(["customer", "staff"]))  # fmt: skip
    def edit(self, facts, by):
        self.before, self.wrote = self.talk.conversation, False
        try:
            self.talk.send(FactsEntered(self.talk.id(), facts, by=by))
        except BadInputError:
            assert self.talk.conversation == self.before

    @rule(event=st.sampled_from([TakenOver("s"), StaffReplied("s", "Hello from the bench."), GivenBack("s"), PhotoAdded("s", "p1"), EstimateDecided("s", "accepted"), EstimateDecided("s", "expired")]))  # fmt: skip
    def shop(self, event):
        self.send(event)

    @rule(phase=st.sampled_from(PHASES))
    def move(self, phase):
        if phase in ("shipped", "arrived", "finished"):
            self.send(PhaseMoved("s", phase))

    @invariant()
    def snapshot_survives_json(self):
        mapping = self.talk.conversation.to_mapping()
        assert Conversation.from_mapping(json.loads(json.dumps(mapping))) == self.talk.conversation
        assert len(json.dumps(mapping)) < 24_000

    @invariant()
    def no_message_asks_two_questions(self):
        for reply in self.talk.turn.replies:
            if reply.kind not in ("recap", "staff"):
                assert reply.text.count("?") <= 1, reply.text
                assert len(reply.choices) <= 9
            assert plain_text(reply).strip()

    @invariant()
    def at_most_one_reply_waits_for_an_answer(self):
        asking = [
            reply for reply in self.talk.turn.replies if reply.kind in ("question", "confirm", "contact")
        ]
        assert len(asking) <= 1

    @invariant()
    def no_known_fact_is_asked(self):
        for entry in self.talk.turn.log:
            because = entry.data.get("because") or {}
            question = self.definitions.families["disc_drive"].questions.get(str(entry.data.get("question")))
            if (
                entry.kind != "asked"
                or question is None
                or because.get("reason") in ("asked_back", "blocking")
            ):
                continue
            if entry.data.get("tries"):
                continue
            assert any(fact not in self.talk.conversation.facts for fact in question.fills), entry

    @invariant()
    def nothing_is_sent_after_an_opt_out_where_we_write_first(self):
        before, now = self.before, self.talk.conversation
        if (
            self.wrote
            and before.consent == now.consent == "opted_out"
            and before.channel == now.channel == "sms"
        ):
            assert self.talk.turn.replies == ()

    @invariant()
    def every_fact_held_has_a_valid_value(self):
        facts = self.definitions.families["disc_drive"].facts
        for fact, entry in self.talk.conversation.facts.items():
            assert fact in facts
            assert (entry.value is None) == (entry.status in ("not_known", "declined"))

    @invariant()
    def replay_gives_the_same_turn(self):
        if len(self.talk.turns) == 2:
            event = MessageReceived("again", "it skips")
            one = advance(
                self.definitions,
                self.talk.conversation,
                event,
                NOW + timedelta(days=9),
                assessor=self.talk.assessor,
            )
            two = advance(
                self.definitions,
                self.talk.conversation,
                event,
                NOW + timedelta(days=9),
                assessor=self.talk.assessor,
            )
            assert one == two


def _run(definitions, examples, steps):
    RandomTalk.definitions = definitions
    machine = RandomTalk.TestCase
    machine.settings = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    machine().runTest()


def test_random_talks_keep_the_rules(definitions):
    _run(definitions, examples=60, steps=20)


@pytest.mark.soak
def test_many_long_random_talks_keep_the_rules(definitions):
    _run(definitions, examples=1500, steps=40)
