"""Invented customers, played through the real engine: the stories of `intakebot demo`, and the demo shop's first cases.

A story holds an opener and what its customer knows. The player answers whatever is asked from that knowledge, as a
customer would: with the label of the fitting choice, with words, or with "not sure".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from intakebot.conversation import Conversation, FactsEntered, MessageReceived
from intakebot.definitions.model import Family, Question
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError
from intakebot.turns import Services, TurnAnswer, Via, decide, open_case, take_turn

STORIES = Path(__file__).with_name("stories.yaml")
MOST_TURNS = 40
VIA = Via("terminal", voice="terminal")
CONTACT = ("name", "email", "phone", "address", "postcode", "country")


@dataclass(frozen=True)
class Story:
    """One invented customer. says: question or fact id -> words; truth: fact -> value."""

    id: str
    about: str
    opener: str
    truth: Mapping[str, Any]
    says: Mapping[str, str] = field(default_factory=dict)
    decision: str = "accept"


@dataclass
class Played:
    """A story as it went. talk: (who, text) in order; who is `customer` or `shop`."""

    story: Story
    case_id: str
    token: str
    talk: list[tuple[str, str]]
    last: Mapping[str, Any]


def stories() -> dict[str, Story]:
    """The shipped stories by id."""
    with STORIES.open(encoding="utf-8") as file:
        return {raw["id"]: Story(**raw) for raw in yaml.safe_load(file)["stories"]}


def story_named(name: str) -> Story:
    """Raises: BadInputError naming the stories there are."""
    found = stories()
    if name not in found:
        raise BadInputError("story", name, "one of " + ", ".join(found))
    return found[name]


def play(services: Services, story: Story, locale: str = "en") -> Played:
    """Play a story to its estimate (or hand-over) and its decision."""
    opened = open_case(services, via=VIA, locale=locale, text=story.opener)
    played = Played(story, opened.conversation_id, opened.token, [("customer", story.opener)], {})
    _take_in(played, opened.answer)
    for turn in range(MOST_TURNS):
        said = next_words(services, played)
        if said is None:
            break
        if isinstance(said, FactsEntered):
            played.talk.append(("customer", "(fills in the contact form)"))
            event: MessageReceived | FactsEntered = said
        else:
            played.talk.append(("customer", said))
            event = MessageReceived(f"story-{turn}", said)
        _take_in(played, take_turn(services, played.case_id, event, via=VIA))
    if story.decision != "none" and played.last["state"]["phase"] == "estimated":
        played.talk.append(("customer", f"({story.decision}s the estimate)"))
        _take_in(played, decide(services, played.case_id, story.decision, by="customer", channel="terminal"))
        contact = _contact(story)
        if story.decision == "accept" and contact.facts:
            _take_in(played, take_turn(services, played.case_id, contact, via=VIA))
    return played


def _take_in(played: Played, answer: TurnAnswer) -> None:
    played.last = answer.mapping
    played.talk.extend(("shop", _plain(reply)) for reply in played.last["replies"])


def _plain(reply: Mapping[str, Any]) -> str:
    lines = [reply["text"]]
    lines += [f"  {number} {choice['label']}" for number, choice in enumerate(reply["choices"], start=1)]
    return "\n".join(lines)


def _contact(story: Story) -> FactsEntered:
    return FactsEntered("story-contact", {fact: story.truth[fact] for fact in CONTACT if fact in story.truth})


def next_words(services: Services, played: Played) -> str | FactsEntered | None:
    """What the customer says to the question that is open; None when nothing is."""
    with services.store.reading() as work:
        case = work.cases.get(played.case_id)
    conversation, pending = Conversation.from_mapping(case.conversation), case.conversation["pending"]
    if pending is None or conversation.floor != "self" or conversation.phase != "open":
        return None
    definitions = services.editions.of(case.definitions_version)
    family = definitions.families[conversation.family]
    texts = Texts(definitions, family.id, conversation.locale)
    story, kind = played.story, pending["kind"]
    if kind in ("contact", "confirm_contact"):
        return _contact(story)
    if kind in ("recap", "confirm_accept"):
        return "1"
    if kind == "confirm":
        value = pending["value"]
        told = story.truth.get(pending["fact"])
        held = value["value"] if isinstance(value, dict) else value
        return texts.say("option.yes") if told is None or str(told) == str(held) else texts.say("option.no")
    wanted = pending["question"] or pending["fact"]
    if wanted in story.says:
        return story.says[wanted]
    question = family.questions.get(wanted or "")
    if question is not None and question.several:
        return _ticked(question, dict(pending["offered"]), story)
    return _known(family, texts, story, wanted) or texts.say("option.not_sure")


def _ticked(question: Question, offered: Mapping[str, str], story: Story) -> str:
    """The labels of the listed choices that are true, or "none of these": what a story does not tell of is not so."""
    listed = [choice for choice in question.choices if f"{question.id}:{choice.id}" in offered]
    true = [
        offered[f"{question.id}:{choice.id}"]
        for choice in listed
        if all(_fits(story.truth.get(fact), value) for fact, value in choice.sets.items())
    ]
    return ", ".join(true) or offered[f"{question.id}:none"]


def _fits(true: Any, value: Any) -> bool:
    return str(true) == str(value) or (value == "someone" and true not in (None, "nobody"))


def _known(family: Family, texts: Texts, story: Story, question_id: str) -> str | None:
    """Words for what the customer knows about a question: the label of the choice that fits, or of the option."""
    question = family.questions.get(question_id)
    if question is None:
        return None
    for fact in question.fills:
        if fact in story.says:
            return story.says[fact]
    for choice in question.choices:
        known = {fact: value for fact, value in choice.sets.items() if value is not None}
        if known and all(str(story.truth.get(fact)) == str(value) for fact, value in known.items()):
            return texts.say(f"choice.{question_id}.{choice.id}")
    for fact in question.fills:
        if fact in story.truth and not question.choices:
            value = story.truth[fact]
            kind = family.facts[fact].type
            return texts.option(family.facts[fact], value) if kind in ("choice", "yes_no") else str(value)
    return None
