"""What is read from a definitions folder: files, records with their places, texts, phrases, and the shape pass."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from intakebot.definitions import model, shape
from intakebot.definitions.examples import ExampleLine, read_examples
from intakebot.definitions.problems import Problem, nearest
from intakebot.definitions.strict_yaml import Document, Path, read_yaml
from intakebot.definitions.texts import flatten

FAMILY_KEYS: dict[str, tuple[type, bool]] = {
    "family": (shape.FamilyHead, False), "devices": (model.Device, True), "disc_classes": (model.DiscClass, True),
    "facts": (model.Fact, True), "questions": (model.Question, True), "faults": (model.Fault, True),
    "findings": (model.Finding, True), "levels": (model.Level, True), "steps": (model.Step, True),
    "cautions": (model.Caution, True), "paired_parts": (model.PairedPart, True),
    "enclosures": (model.Enclosure, True), "leave_outs": (model.Enclosure, True),
    "play_test": (model.PlayTest, False), "giving_up": (model.GivingUp, False),
}  # fmt: skip
PRICING_KEYS: dict[str, tuple[type, bool]] = {
    "shop": (model.Shop, False), "rate_cards": (model.RateCard, True), "parts": (model.Part, True),
    "parcels": (model.Parcel, True), "tariffs": (model.ShippingTariff, True), "calendar": (model.Calendar, False),
    "profiles": (model.Profile, True), "chance_words": (model.ChanceWord, True),
}  # fmt: skip
SINGULAR = {
    "devices": "device", "disc_classes": "disc class", "facts": "fact", "questions": "question", "faults": "fault",
    "findings": "finding", "levels": "level", "steps": "step", "cautions": "caution", "paired_parts": "paired part",
    "enclosures": "enclosure", "leave_outs": "leave-out", "rate_cards": "rate card", "parts": "part",
    "parcels": "parcel", "tariffs": "tariff", "profiles": "profile", "chance_words": "chance word",
}  # fmt: skip
SUFFIXES = (".yaml", ".yml")
EXAMPLES_SUFFIX = ".jsonl"


@dataclass
class Record:
    """One record of a file: where it stands, its data, and its object when its shape was right."""

    document: Document
    path: Path
    key: str
    data: Any
    built: Any = None

    @property
    def id(self) -> str:
        return str(self.data.get("id", "")) if isinstance(self.data, dict) else ""

    def problem(self, inside: Path, found: str, expected: str, suggestion: str = "") -> Problem:
        """A problem at a place inside this record."""
        named = [f"{SINGULAR.get(self.key, self.key)} {self.id}".strip(), *(_name(part) for part in inside)]
        line = self.document.line((*self.path, *inside))
        return Problem(self.document.file, line, ", ".join(named), found, expected, suggestion)


def _name(part: str | int) -> str:
    return f"item {part + 1}" if isinstance(part, int) else part


@dataclass
class Folder:
    """What was read of one family folder (or of pricing/): records by key, texts and phrases by locale."""

    name: str
    records: dict[str, list[Record]] = field(default_factory=dict)
    texts: dict[str, dict[str, str | tuple[str, ...]]] = field(default_factory=dict)
    text_places: dict[tuple[str, str], tuple[Document, Path]] = field(default_factory=dict)
    phrases: dict[str, tuple[Document, dict[str, Any]]] = field(default_factory=dict)
    examples: dict[str, list[ExampleLine]] = field(default_factory=dict)
    answers: dict[str, tuple[Document, dict[str, Any]]] = field(default_factory=dict)

    def of(self, key: str) -> list[Record]:
        return self.records.get(key, [])

    def built(self, key: str) -> dict[str, Any]:
        """id -> object of the records whose shape was right."""
        return {record.id: record.built for record in self.of(key) if record.built is not None}

    def ids(self, key: str) -> set[str]:
        """Ids of all records, also of those with another problem, so that one fault is not reported twice."""
        return {record.id for record in self.of(key)}


@dataclass
class Source:
    """Everything read from a definitions folder."""

    families: dict[str, Folder]
    pricing: Folder
    common: Folder
    problems: list[Problem]
    version: str
    unread: set[str] = field(default_factory=set)  # folders with a file that could not be read at all


def read_files(root: FilePath) -> dict[str, bytes]:
    """relative path -> bytes of every definitions file under flows/ and pricing/ (not flows/*/codes/)."""
    files: dict[str, bytes] = {}
    for top in ("flows", "pricing"):
        for path in sorted((root / top).rglob("*")):
            relative = path.relative_to(root)
            wanted = path.suffix in SUFFIXES or _is_examples(relative.parts)
            if wanted and path.is_file() and "codes" not in relative.parts:
                files[relative.as_posix()] = path.read_bytes()
    return files


def _is_examples(parts: tuple[str, ...]) -> bool:
    """True for flows/<family>/examples/<locale>.jsonl."""
    return len(parts) == 4 and parts[2] == "examples" and parts[3].endswith(EXAMPLES_SUFFIX)


def version_of(files: Mapping[str, bytes]) -> str:
    """Short content hash of a set of definitions files."""
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(name.encode() + b"\0" + hashlib.sha256(files[name]).digest())
    return digest.hexdigest()[:12]


def read_source(files: Mapping[str, bytes]) -> Source:
    """Read and shape-check every file; problems are collected in the result."""
    source = Source({}, Folder("pricing"), Folder("common"), [], version_of(files))
    if not files:
        source.problems.append(
            Problem("flows", 1, "", "no definitions files", "flows/ and pricing/ with YAML files")
        )
    for name in sorted(files):
        parts = name.split("/")
        if _is_examples(tuple(parts)):
            folder = source.families.setdefault(parts[1], Folder(parts[1]))
            lines, problems = read_examples(name, files[name])
            folder.examples[parts[3].removesuffix(EXAMPLES_SUFFIX)] = lines
            source.problems.extend(problems)
            continue
        document = read_yaml(name, files[name])
        source.problems.extend(document.problems)
        if document.data is None:
            if not document.problems:
                source.problems.append(Problem(name, 1, "", "an empty file", "records"))
            source.unread.add("pricing" if parts[0] == "pricing" else parts[1])
            continue
        if parts[0] == "pricing":
            _read_records(source, source.pricing, document, PRICING_KEYS)
            continue
        folder = (
            source.common if parts[1] == "common" else source.families.setdefault(parts[1], Folder(parts[1]))
        )
        if "texts" in parts[2:-1]:
            _read_texts(source, folder, document, parts[parts.index("texts") + 1])
        elif "phrases" in parts[2:-1]:
            _read_phrases(source, folder, document, parts[-1].rsplit(".", 1)[0])
        elif "answers" in parts[2:-1]:
            _read_answers(source, folder, document, parts[-1].rsplit(".", 1)[0])
        else:
            _read_records(source, folder, document, FAMILY_KEYS)
    return source


def _read_records(
    source: Source, folder: Folder, document: Document, keys: dict[str, tuple[type, bool]]
) -> None:
    if not isinstance(document.data, dict):
        source.problems.append(
            Problem(document.file, 1, "", "no mapping", "top-level keys such as " + ", ".join(keys))
        )
        return
    for key, value in document.data.items():
        if key not in keys:
            source.problems.append(
                Problem(document.file, document.line((key,)), key, f"the key {key!r}",
                        "one of " + ", ".join(sorted(keys)), nearest(key, keys)))  # fmt: skip
            continue
        cls, is_list = keys[key]
        if is_list and not isinstance(value, list):
            source.problems.append(
                Problem(document.file, document.line((key,)), key, "no list", "a list of records")
            )
            continue
        items = list(enumerate(value)) if is_list else [(None, value)]
        for index, item in items:
            path: Path = (key,) if index is None else (key, index)
            record = Record(document, path, key, item)
            folder.records.setdefault(key, []).append(record)
            _shape_pass(source, record, cls)


def _shape_pass(source: Source, record: Record, cls: type) -> None:
    if not isinstance(record.data, dict):
        source.problems.append(record.problem((), type(record.data).__name__, "a mapping"))
        return
    errors = list(shape.validator_for(cls).iter_errors(record.data))
    for error in errors:
        source.problems.append(_shape_problem(record, error))
    if not errors:
        try:
            record.built = shape.build(cls, record.data)
        except (ValueError, ArithmeticError) as error:
            source.problems.append(record.problem((), str(error), "readable values"))


def _shape_problem(record: Record, error: Any) -> Problem:
    inside: Path = tuple(error.absolute_path)
    if error.validator == "additionalProperties" and isinstance(error.instance, dict):
        known = error.schema.get("properties", {})
        extra = sorted(set(error.instance) - set(known))
        if extra:
            place = (*inside, extra[0])
            return record.problem(
                place, f"the key {extra[0]!r}", "one of " + ", ".join(known), nearest(extra[0], known)
            )
    if error.validator == "required":
        missing = [name for name in error.validator_value if name not in error.instance]
        return record.problem(
            inside, "no " + " and no ".join(map(repr, missing)), "the keys " + ", ".join(missing)
        )
    found = (
        repr(error.instance) if not isinstance(error.instance, dict | list) else type(error.instance).__name__
    )
    expected, suggestion = _expected(error)
    return record.problem(inside, found[:80], expected, suggestion)


def _expected(error: Any) -> tuple[str, str]:
    value = error.validator_value
    if error.schema.get("pattern") == shape.DECIMAL_SCHEMA["pattern"]:
        return 'an amount in quotes, such as "45.00"', ""
    if error.validator == "enum":
        return "one of " + ", ".join(map(str, value)), nearest(error.instance, map(str, value))
    if error.validator == "type":
        return f"{value if isinstance(value, str) else ' or '.join(value)}", ""
    bounds = {"minimum": "at least", "maximum": "at most", "exclusiveMinimum": "more than", "exclusiveMaximum": "less than",
              "minItems": "at least this many items:", "maxItems": "at most this many items:", "minLength": "a text of length"}  # fmt: skip
    if error.validator in bounds:
        return f"{bounds[error.validator]} {value}", ""
    if error.validator == "format":
        return f"a {value}", ""
    if error.validator == "oneOf":
        return "a condition: all, any, not, or fact with op and value", ""
    return str(error.message)[:120], ""


def _read_texts(source: Source, folder: Folder, document: Document, locale: str) -> None:
    texts = folder.texts.setdefault(locale, {})
    for path in document.lines:
        value: Any = document.data
        for part in path:
            value = value[part]
        dotted = ".".join(str(part) for part in path)
        if value is None or isinstance(value, int | float | bool):
            source.problems.append(
                Problem(
                    document.file,
                    document.line(path),
                    f"text {dotted}",
                    repr(value),
                    "a text or a list of texts",
                )
            )
    for key, text in flatten(document.data).items():
        path = tuple(key.split("."))
        if key in texts:
            source.problems.append(
                Problem(
                    document.file,
                    document.line(path),
                    f"text {key}",
                    "a second text",
                    "each key once a locale",
                )
            )
        texts[key] = text
        folder.text_places[(locale, key)] = (document, path)


def _read_phrases(source: Source, folder: Folder, document: Document, locale: str) -> None:
    if _lists_read(source, document, "phrases", {"values": 2, "cues": 1}):
        folder.phrases[locale] = (document, document.data)


def _read_answers(source: Source, folder: Folder, document: Document, locale: str) -> None:
    depths = {"groups": 1, "kinds": 1, "questions": 2, "facts": 3, "over": 1}
    if _lists_read(source, document, "answers", depths):
        folder.answers[locale] = (document, document.data)


def _lists_read(source: Source, document: Document, name: str, depths: dict[str, int]) -> bool:
    """Whether the file holds nothing but the sections of `depths` (mappings so deep); problems for what is no list of texts."""
    data = document.data
    if (
        not isinstance(data, dict)
        or set(data) - set(depths)
        or not all(isinstance(part, dict) for part in data.values())
    ):
        found = ", ".join(map(str, data)) if isinstance(data, dict) else type(data).__name__
        *firsts, last = depths
        expected = f"the mappings {', '.join(firsts)} and {last}"
        source.problems.append(Problem(document.file, 1, name, found, expected))
        return False
    right = True
    for section, depth in depths.items():
        for path, phrases in _leaves(data.get(section, {}), (section,), depth):
            if not isinstance(phrases, list) or not all(
                isinstance(phrase, str) and phrase for phrase in phrases
            ):
                right = False
                place = ", ".join(str(part) for part in path)
                source.problems.append(
                    Problem(document.file, document.line(path), place, repr(phrases)[:60], "a list of texts")
                )
    return right


def _leaves(data: Any, path: Path, depth: int) -> list[tuple[Path, Any]]:
    if depth == 0 or not isinstance(data, dict):
        return [(path, data)]
    return [leaf for key, value in data.items() for leaf in _leaves(value, (*path, key), depth - 1)]
