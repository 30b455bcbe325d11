"""A strict subset of YAML, read with line positions.

Definitions are data that strangers may edit, so whatever YAML does behind the writer's back is refused: anchors and
aliases, tags, duplicate keys, words that older readers take for booleans (yes, no, on, off, y, n), numbers with a
leading zero or underscores, more than one document, files over MAX_BYTES and nesting over MAX_DEPTH.
Scalars become str, int, float, bool (true/false only) or None. Dates stay strings; the shape pass checks them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

from intakebot.definitions.problems import Problem

MAX_BYTES = 512 * 1024
MAX_DEPTH = 20

Path = tuple[str | int, ...]

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INTEGER = re.compile(r"-?(0|[1-9][0-9]{0,17})\Z")
_FLOAT = re.compile(r"-?(0|[1-9][0-9]*)\.[0-9]+([eE]-?[0-9]{1,2})?\Z")
_MISLEADING_NUMBER = re.compile(
    r"[-+]?(0[0-9_]+|0x[0-9a-fA-F]+|0o[0-7]+|[0-9][0-9_]*_[0-9_]*|[0-9]+(:[0-5]?[0-9])+)\Z"
)
_MISLEADING_WORDS = frozenset({"yes", "no", "on", "off", "y", "n"})


@dataclass
class Document:
    """One file: plain data, the line of every place in it, and what was wrong."""

    file: str
    data: Any = None
    lines: dict[Path, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def line(self, path: Path) -> int:
        """Line of a place, or of the nearest place around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)


def read_yaml(file: str, content: bytes) -> Document:
    """Read one file. Never raises for bad content: every problem found is in the document."""
    document = Document(file)
    if len(content) > MAX_BYTES:
        document.problems.append(Problem(file, 1, "", f"{len(content)} bytes", f"at most {MAX_BYTES} bytes"))
        return document
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        document.problems.append(Problem(file, line, "", "bytes that are not UTF-8", "UTF-8 text"))
        return document
    try:
        if not _refused_events(document, text):
            node = yaml.compose(text, Loader=_LOADER)
            if node is not None:
                document.data = _plain(document, node, ())
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        document.problems.append(
            Problem(file, line, "", f"YAML that cannot be read ({error.problem})", "well-formed YAML")
        )
    except yaml.YAMLError as error:
        document.problems.append(Problem(file, 1, "", str(error).split("\n")[0], "well-formed YAML"))
    return document


def _refused_events(document: Document, text: str) -> bool:
    """Look at the event stream first: aliases and depth must be refused before anything is built."""
    depth = documents = 0
    refused = len(document.problems)
    event: Any
    for event in yaml.parse(text, Loader=_LOADER):
        line = event.start_mark.line + 1

        def refuse(found: str, expected: str, at: int = line) -> None:
            document.problems.append(Problem(document.file, at, "", found, expected))

        if isinstance(event, yaml.AliasEvent):
            refuse(f"the alias *{event.anchor}", "the value written out")
        elif getattr(event, "anchor", None):
            refuse(f"the anchor &{event.anchor}", "no anchors")
        if getattr(event, "tag", None) not in (None, "!"):
            refuse(f"the tag {event.tag}", "no tags")
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                refuse("a second document", "one document a file")
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                refuse(f"nesting deeper than {MAX_DEPTH}", f"at most {MAX_DEPTH} levels")
                return True
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
    return len(document.problems) > refused


def _plain(document: Document, node: Any, path: Path) -> Any:
    document.lines[path] = node.start_mark.line + 1
    if isinstance(node, yaml.ScalarNode):
        return _scalar(document, node, path)
    if isinstance(node, yaml.SequenceNode):
        return [_plain(document, item, (*path, index)) for index, item in enumerate(node.value)]
    mapping: dict[str, Any] = {}
    for key_node, value_node in node.value:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, yaml.ScalarNode):
            _refuse(document, line, path, "a key that is a collection", "a plain key")
            continue
        key = key_node.value
        if key_node.style in (None, "") and key.lower() in _MISLEADING_WORDS:
            _refuse(
                document,
                line,
                path,
                f"the bare key {key}",
                f'"{key}" in quotes (bare, it may be read as a boolean)',
            )
        if key in mapping:
            _refuse(document, line, (*path, key), f"the key {key!r} twice", "each key once")
            continue
        mapping[key] = _plain(document, value_node, (*path, key))
        document.lines[(*path, key)] = line
    return mapping


def _scalar(document: Document, node: yaml.ScalarNode, path: Path) -> Any:
    text: str = node.value
    if node.style not in (None, ""):  # the C parser says "" for plain
        return text
    line = node.start_mark.line + 1
    if text.lower() in _MISLEADING_WORDS:
        _refuse(
            document,
            line,
            path,
            f"the bare word {text}",
            f'"{text}" in quotes (bare, it may be read as a boolean)',
        )
        return text
    if text in ("", "~", "null"):
        return None
    if text in ("true", "false"):
        return text == "true"
    if _MISLEADING_NUMBER.match(text):
        _refuse(
            document, line, path, f"the bare number {text}", f'a plain decimal number, or "{text}" in quotes'
        )
        return text
    if _INTEGER.match(text):
        return int(text)
    if _FLOAT.match(text):
        return float(text)
    return text


def _refuse(document: Document, line: int, path: Path, found: str, expected: str) -> None:
    document.problems.append(
        Problem(document.file, line, ", ".join(str(part) for part in path), found, expected)
    )
