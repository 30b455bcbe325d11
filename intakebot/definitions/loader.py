"""Folder -> Definitions: read the files, shape pass, meaning pass, build. Every problem is reported, none stops the rest."""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from pathlib import Path as FilePath
from typing import Any

from intakebot.definitions import model, shape
from intakebot.definitions.answers import build_answers
from intakebot.definitions.problems import Problem
from intakebot.definitions.rules import meaning_problems
from intakebot.definitions.source import Folder, Source, read_files, read_source, version_of
from intakebot.definitions.values import typed_value
from intakebot.errors import DefinitionError

MOST_LOADED = 4
"""Definitions kept as objects by the hash of their contents."""
_LOADED: OrderedDict[str, model.Definitions] = OrderedDict()
_LOADED_LOCK = threading.Lock()


def load_definitions(root: FilePath) -> model.Definitions:
    """Load flows/ and pricing/ under `root`.

    Raises: DefinitionError carrying every problem found.
    """
    return load_files(read_files(root))


def load_files(files: Mapping[str, bytes]) -> model.Definitions:
    """Load definitions from file contents (as stored with conversations of an older version).

    The same contents give the same object while it is among the last few loaded: what others compile from it is kept too.
    """
    version = version_of(files)
    with _LOADED_LOCK:
        if version in _LOADED:
            _LOADED.move_to_end(version)
            return _LOADED[version]
    definitions = _load(files)
    with _LOADED_LOCK:
        _LOADED[version] = definitions
        while len(_LOADED) > MOST_LOADED:
            _LOADED.popitem(last=False)
    return definitions


def _load(files: Mapping[str, bytes]) -> model.Definitions:
    source = read_source(files)
    problems = sorted(set(source.problems) | set(meaning_problems(source)))
    if problems:
        raise DefinitionError(problems)
    return _assemble(source)


def check(root: FilePath) -> list[Problem]:
    """Every problem of the definitions under `root`, sorted; empty when they can be used."""
    source = read_source(read_files(root))
    return sorted(set(source.problems) | set(meaning_problems(source)))


def _assemble(source: Source) -> model.Definitions:
    pricing = source.pricing
    parts: dict[str, tuple[model.Part, ...]] = {}
    for record in pricing.of("parts"):
        parts[record.id] = tuple(
            sorted((*parts.get(record.id, ()), record.built), key=lambda p: p.effective_from)
        )
    by_date: Callable[[Any], Any] = lambda item: item.effective_from  # noqa: E731
    return model.Definitions(
        version=source.version,
        families={name: _family(folder) for name, folder in sorted(source.families.items())},
        pricing=model.Pricing(
            shop=pricing.of("shop")[0].built,
            rate_cards=tuple(sorted((r.built for r in pricing.of("rate_cards")), key=by_date)),
            parts=parts,
            parcels=tuple(r.built for r in pricing.of("parcels")),
            tariffs=tuple(sorted((r.built for r in pricing.of("tariffs")), key=by_date)),
            calendar=pricing.of("calendar")[0].built,
            profiles=pricing.built("profiles"),
            chance_words=tuple(
                sorted((r.built for r in pricing.of("chance_words")), key=lambda w: w.at_least)
            ),
        ),
        locales=tuple(sorted(source.common.texts)),
        core_texts=source.common.texts,
    )


def _family(folder: Folder) -> model.Family:
    head = folder.of("family")[0].built
    facts = folder.built("facts")
    phrases = {
        locale: model.Phrases(
            locale,
            {
                fact: {value: tuple(items) for value, items in values.items()}
                for fact, values in data.get("values", {}).items()
            },
            {kind: tuple(items) for kind, items in data.get("cues", {}).items()},
        )
        for locale, (_, data) in sorted(folder.phrases.items())
    }
    typed = {key: {name: retyped(record, facts) for name, record in folder.built(key).items()}
             for key in ("questions", "faults", "findings", "steps", "cautions", "paired_parts", "facts")}  # fmt: skip
    return model.Family(
        id=head.id, title_key=head.title_key, version=head.version,
        devices=folder.built("devices"), disc_classes=folder.built("disc_classes"), facts=typed["facts"],
        questions=typed["questions"], faults=typed["faults"], findings=typed["findings"], levels=folder.built("levels"),
        steps=typed["steps"], cautions=typed["cautions"], paired_parts=typed["paired_parts"],
        enclosures=tuple(retyped(r.built, facts) for r in folder.of("enclosures")),
        leave_outs=tuple(retyped(r.built, facts) for r in folder.of("leave_outs")),
        play_test=folder.of("play_test")[0].built, giving_up=folder.of("giving_up")[0].built,
        phrases=phrases, texts=folder.texts, answers=build_answers(folder), examples={
            locale: tuple(model.Example(e.text, dict(e.facts), e.open) for e in lines)
            for locale, lines in sorted(folder.examples.items())
        },
    )  # fmt: skip


def retyped(item: Any, facts: Mapping[str, model.Fact]) -> Any:
    """A record with the values in its conditions, choices and implications turned into typed fact values."""
    if isinstance(item, model.Choice):
        sets, else_sets = (
            {k: None if v is None else typed_value(facts[k], v) for k, v in values.items()}
            for values in (item.sets, item.else_sets)
        )
        return dataclasses.replace(item, sets=sets, else_sets=else_sets, when=retyped(item.when, facts))
    if isinstance(item, model.Fact):
        return dataclasses.replace(item, implies=tuple(
            dataclasses.replace(i, value=typed_value(item, i.value), gives=typed_value(facts[i.fact], i.gives))
            for i in item.implies))  # fmt: skip
    if isinstance(item, shape.Comparison):
        if item.op == "exists" or item.value is None or isinstance(item.value, bool):
            return item
        return dataclasses.replace(item, value=typed_value(facts[item.fact], item.value, inside_choices=True))
    if isinstance(item, tuple):
        return tuple(retyped(part, facts) for part in item)
    if isinstance(item, dict):
        return {key: retyped(value, facts) for key, value in item.items()}
    if dataclasses.is_dataclass(item) and not isinstance(item, type):
        changed = {
            attribute.name: retyped(getattr(item, attribute.name), facts)
            for attribute in dataclasses.fields(item)
        }
        return dataclasses.replace(item, **changed)
    return item
