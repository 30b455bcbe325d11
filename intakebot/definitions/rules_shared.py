"""Rules for every folder, and what rules share: walking records, naming unknown ids."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from typing import Any

from intakebot.definitions.facts import AllOf, AnyOf, Comparison, NotOf
from intakebot.definitions.model import Fact
from intakebot.definitions.problems import Problem, nearest
from intakebot.definitions.source import FAMILY_KEYS, PRICING_KEYS, Folder, Record, Source
from intakebot.definitions.strict_yaml import Path
from intakebot.definitions.values import options_of, typed_value
from intakebot.errors import BadInputError

SOURCE_FORM = re.compile(
    r"(common practice|invented for the demo|learned)\b.*\Z|published: .{5,}\Z", re.DOTALL
)

Problems = Iterator[Problem]


def required_records(folder: Folder, source: Source) -> Problems:
    """A family (and the pricing folder) has each kind of record it cannot do without."""
    keys = PRICING_KEYS if folder is source.pricing else FAMILY_KEYS
    optional = {"paired_parts", "enclosures", "leave_outs", "cautions", "disc_classes"}
    top = "pricing" if folder is source.pricing else f"flows/{folder.name}"
    for key in keys:
        if key not in optional and not folder.of(key):
            yield Problem(top, 1, key, f"no {key}", f"at least one file with {key}")


def one_only(folder: Folder, source: Source) -> Problems:
    """Single records are given once."""
    keys = PRICING_KEYS if folder is source.pricing else FAMILY_KEYS
    for key, (_, is_list) in keys.items():
        if not is_list:
            for record in folder.of(key)[1:]:
                yield record.problem((), f"a second {key}", f"{key} once")


def unique_ids(folder: Folder, source: Source) -> Problems:
    """Ids are unique within their kind and made of small letters, digits and underscores."""
    for key, records in folder.records.items():
        seen: set[str] = set()
        for record in records:
            if not record.id or key == "parts":
                continue
            if record.id in seen:
                yield record.problem(("id",), f"the id {record.id!r} twice", "each id once")
            if not re.fullmatch(r"[a-z][a-z0-9_]*", record.id):
                yield record.problem(("id",), repr(record.id), "small letters, digits and underscores")
            seen.add(record.id)


def sources_named(folder: Folder, source: Source) -> Problems:
    """Every `source` says who says so, in one of four forms."""
    for records in folder.records.values():
        for record in records:
            for inside, value in places(record.data):
                if (
                    inside
                    and inside[-1] == "source"
                    and isinstance(value, str)
                    and not SOURCE_FORM.match(value)
                ):
                    yield record.problem(
                        inside, repr(value[:60]),
                        "'published: <citation>', 'common practice', 'invented for the demo' or 'learned'",
                        nearest(value, ["common practice", "invented for the demo", "learned"]))  # fmt: skip


def places(data: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    yield path, data
    children = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in children:
        yield from places(value, (*path, key))


def comparisons(item: Any, path: Path = ()) -> Iterator[tuple[Path, Comparison]]:
    """Every comparison inside a built record, with the path it has in the file."""
    if isinstance(item, Comparison):
        yield path, item
    elif isinstance(item, AllOf | AnyOf):
        name = "all" if isinstance(item, AllOf) else "any"
        for index, part in enumerate(item.parts):
            yield from comparisons(part, (*path, name, index))
    elif isinstance(item, NotOf):
        yield from comparisons(item.part, (*path, "not"))
    elif isinstance(item, tuple):
        for index, part in enumerate(item):
            yield from comparisons(part, (*path, index))
    elif isinstance(item, dict):
        for key, value in item.items():
            yield from comparisons(value, (*path, key))
    elif dataclasses.is_dataclass(item) and not isinstance(item, type):
        for attribute in dataclasses.fields(item):
            yield from comparisons(getattr(item, attribute.name), (*path, attribute.name))


def unknown(record: Record, inside: Path, found: str, known: set[str], kind: str) -> Problems:
    if found not in known:
        yield record.problem(inside, f"no {kind} {found!r}", f"a declared {kind}", nearest(found, known))


def written(folder: Folder, key: str, attribute: str) -> set[str]:
    """Names under an attribute of all records as written, also of those with another problem."""
    lists = [record.data.get(attribute) for record in folder.of(key) if isinstance(record.data, dict)]
    return {str(name) for names in lists if isinstance(names, list | dict) for name in names}


def ready(folder: Folder, key: str) -> list[Record]:
    return [record for record in folder.of(key) if record.built is not None]


def fits(record: Record, inside: Path, fact: Fact | None, value: Any) -> Problems:
    if fact is None:
        return
    try:
        typed_value(fact, value)
    except BadInputError as error:
        yield record.problem(inside, repr(value), error.expected, nearest(value, options_of(fact)))
