"""Wordings of answers: flows/<family>/answers/<locale>.yaml, which count only while their question is the pending one.

    groups:     name -> questions that share wordings
    kinds:      word classes for these wordings, `{name}` in them
    questions:  question or group -> choice -> phrases (the grammar of intakebot/understanding/phrase_grammar.py)
    facts:      question or group -> fact -> value -> phrases: what such an answer says besides the choice
    over:       question or group -> facts that are not read from words in which an answer was found

A choice is one of the question's, or of its fact's options ("yes" and "no"), or `not_sure`; in a checklist also `none`.
"""

from __future__ import annotations

from typing import Any

from intakebot.definitions.checklists import RESERVED
from intakebot.definitions.model import AnswerWords, Fact, Question
from intakebot.definitions.problems import Problem, nearest
from intakebot.definitions.rules_shared import Problems
from intakebot.definitions.source import Folder, Source
from intakebot.definitions.strict_yaml import Document, Path
from intakebot.definitions.values import options_of


def answers_fit(folder: Folder, source: Source) -> Problems:
    """Wordings of answers speak of declared questions, choices, facts and values."""
    known = folder.ids("questions")
    for document, data in folder.answers.values():
        groups = data.get("groups") or {}
        for name, members in groups.items():
            if name in known:
                yield _problem(document, ("groups", name), f"the question {name!r}", "a name of its own")
            for index, member in enumerate(members):
                if member not in known:
                    yield _unknown(document, ("groups", name, index), "question", member, known)
        for section in ("questions", "facts", "over"):
            for name in data.get(section) or {}:
                if name not in known and name not in groups:
                    yield _unknown(document, (section, name), "question", name, {*known, *groups})
        yield from _choices_known(folder, document, data, groups)
        yield from _facts_known(folder, document, data)


def _choices_known(
    folder: Folder, document: Document, data: dict[str, Any], groups: dict[str, list[str]]
) -> Problems:
    questions, facts = folder.built("questions"), folder.built("facts")
    for name, choices in (data.get("questions") or {}).items():
        for member in groups.get(name, [name]):
            if member not in questions:
                continue
            allowed = choices_of(questions[member], facts)
            for choice in choices:
                if choice not in allowed:
                    yield _unknown(document, ("questions", name, choice), "choice", choice, allowed)


def _facts_known(folder: Folder, document: Document, data: dict[str, Any]) -> Problems:
    known, facts = folder.ids("facts"), folder.built("facts")
    for name, heard in (data.get("facts") or {}).items():
        for fact, values in heard.items():
            if fact not in known:
                yield _unknown(document, ("facts", name, fact), "fact", fact, known)
            elif fact in facts:
                options = options_of(facts[fact])
                for value in values:
                    if value not in options:
                        yield _unknown(document, ("facts", name, fact, value), "value", value, set(options))
    for name, listed in (data.get("over") or {}).items():
        for index, fact in enumerate(listed):
            if fact not in known:
                yield _unknown(document, ("over", name, index), "fact", fact, known)


def choices_of(question: Question, facts: dict[str, Fact]) -> set[str]:
    """Every id that an answer to this question may pick."""
    own = {choice.id for choice in question.choices}
    if not own and len(question.fills) == 1 and question.fills[0] in facts:
        own = set(options_of(facts[question.fills[0]]))
    return own | (set(RESERVED) if question.several else {"not_sure"})


def _unknown(document: Document, path: Path, what: str, found: str, known: set[str]) -> Problem:
    return _problem(document, path, f"no {what} {found!r}", f"a declared {what}", nearest(found, known))


def _problem(document: Document, path: Path, found: str, expected: str, suggestion: str = "") -> Problem:
    named = ", ".join(str(part) for part in path if not isinstance(part, int))
    return Problem(document.file, document.line(path), named, found, expected, suggestion)


def build_answers(folder: Folder) -> dict[str, AnswerWords]:
    """locale -> wordings, groups spelt out: the wordings of a group come before a question's own."""
    built = {}
    for locale, (_, data) in sorted(folder.answers.items()):
        groups = data.get("groups") or {}
        choices: dict[str, dict[str, tuple[str, ...]]] = {}
        facts: dict[str, dict[str, dict[str, tuple[str, ...]]]] = {}
        over: dict[str, tuple[str, ...]] = {}
        for name, listed in (data.get("questions") or {}).items():
            for question in groups.get(name, [name]):
                mine = choices.setdefault(question, {})
                for choice, phrases in listed.items():
                    mine[choice] = (*mine.get(choice, ()), *phrases)
        for name, heard in (data.get("facts") or {}).items():
            for question in groups.get(name, [name]):
                for fact, values in heard.items():
                    said = facts.setdefault(question, {}).setdefault(fact, {})
                    for value, phrases in values.items():
                        said[value] = (*said.get(value, ()), *phrases)
        for name, listed in (data.get("over") or {}).items():
            for question in groups.get(name, [name]):
                over[question] = (*over.get(question, ()), *listed)
        kinds = {kind: tuple(words) for kind, words in (data.get("kinds") or {}).items()}
        built[locale] = AnswerWords(locale, kinds, choices, facts, over)
    return built
