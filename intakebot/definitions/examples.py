"""Labelled sentences of customers: flows/<family>/examples/<locale>.jsonl, one JSON object a line.

    {"text": "it eats my discs", "facts": {"disc_stuck": "yes"}, "open": ["wont_eject"]}

`facts` is everything the sentence states of yes/no and choice facts, and may be empty; `open` are facts it may or may
not state. The light model learns from them; nothing else reads them. A line is checked like any other definition.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from intakebot.definitions.problems import Problem, nearest

MOST_CHARS = 400
KEYS = ("text", "facts", "open")
SHAPE = 'an object such as {"text": "...", "facts": {"fact": "value"}, "open": ["fact"]}'


@dataclass(frozen=True)
class ExampleLine:
    """One sentence and where it stands; `facts` values are as written."""

    file: str
    line: int
    text: str
    facts: Mapping[str, str]
    open: tuple[str, ...]

    def problem(self, path: str, found: str, expected: str, suggestion: str = "") -> Problem:
        """A problem at this line."""
        return Problem(self.file, self.line, path, found, expected, suggestion)


def read_examples(file: str, content: bytes) -> tuple[list[ExampleLine], list[Problem]]:
    """The sentences of a file and the problems of its lines; a line with a problem is left out."""
    try:
        lines = content.decode("utf-8").removesuffix("\n").split("\n")
    except UnicodeDecodeError as error:
        return [], [Problem(file, 1, "", f"bytes that are no UTF-8 at {error.start}", "text in UTF-8")]
    found: list[ExampleLine] = []
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for number, line in enumerate(lines, 1):
        read = _read_line(file, number, line)
        if isinstance(read, Problem):
            problems.append(read)
            continue
        key = read.text.casefold()
        if key in seen:
            problems.append(read.problem("text", f"the text of line {seen[key]} again", "each text once"))
            continue
        seen[key] = number
        found.append(read)
    return found, problems


class _RepeatedKey(ValueError):
    pass


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    data = dict(pairs)
    if len(data) < len(pairs):
        names = [name for name, _ in pairs]
        raise _RepeatedKey(next(name for name in names if names.count(name) > 1))
    return data


def _read_line(file: str, number: int, line: str) -> ExampleLine | Problem:
    def problem(path: str, found: str, expected: str, suggestion: str = "") -> Problem:
        return Problem(file, number, path, found, expected, suggestion)

    try:
        data = json.loads(line, object_pairs_hook=_pairs)
    except _RepeatedKey as error:
        return problem("", f"the key {str(error)!r} twice", "each key once")
    except (ValueError, RecursionError):
        return problem("", "no JSON" if line.strip() else "an empty line", SHAPE)
    if not isinstance(data, dict):
        return problem("", f"a {type(data).__name__}", SHAPE)
    for key in data:
        if key not in KEYS:
            return problem(key, f"the key {key!r}", "one of " + ", ".join(KEYS), nearest(key, KEYS))
    text, facts, unsure = data.get("text"), data.get("facts"), data.get("open", [])
    if not isinstance(text, str) or not text.strip() or len(text) > MOST_CHARS:
        return problem("text", repr(text)[:60], f"a text of at most {MOST_CHARS} characters")
    if not isinstance(facts, dict) or not all(isinstance(value, str) for value in facts.values()):
        return problem("facts", repr(facts)[:60], "a mapping of facts to values, {} for none")
    if not isinstance(unsure, list) or not all(isinstance(fact, str) for fact in unsure):
        return problem("open", repr(unsure)[:60], "a list of facts")
    return ExampleLine(file, number, text, facts, tuple(unsure))
