"""Meaning pass: one small function per rule. Each yields problems; none stops at the first.

Rules look at the records whose shape was right; ids of broken records still count as known, so that one fault is
reported once. `RULES_OF_FAMILY` and `RULES_OF_PRICING` list them; tests/broken/ has one folder for each.
"""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections.abc import Callable, Iterator
from typing import Any

from intakebot.definitions.facts import AllOf, AnyOf, Comparison, NotOf, Value
from intakebot.definitions.loader import FAMILY_KEYS, PRICING_KEYS, Folder, Record, Source
from intakebot.definitions.model import Fact
from intakebot.definitions.problems import Problem, nearest
from intakebot.definitions.strict_yaml import Path
from intakebot.definitions.texts import PLACEHOLDER
from intakebot.definitions.values import options_of, parse_value
from intakebot.errors import BadInputError

SOURCE_FORM = re.compile(
    r"(common practice|invented for the demo|learned)\b.*\Z|published: .{5,}\Z", re.DOTALL
)
TOLERANCE = 1e-6

Problems = Iterator[Problem]


def meaning_problems(source: Source) -> list[Problem]:
    """Every problem of meaning in a source. A folder with a file that cannot be read is left out: its rules would only
    repeat that something is missing."""
    problems: list[Problem] = []
    shared_unread = bool(source.unread & {"pricing", "common"})
    for folder in source.families.values():
        if folder.name not in source.unread and not shared_unread:
            for rule in RULES_OF_FAMILY:
                problems.extend(rule(folder, source))
    if not source.unread:
        for rule in RULES_OF_PRICING:
            problems.extend(rule(source.pricing, source))
        problems.extend(_locales_match(source))
    return problems


def typed_value(fact: Fact, value: Any, inside_choices: bool = False) -> Value:
    """A value written in a file as the fact's typed value (`inside_choices`: one option of a choices fact)."""
    if fact.type == "choices" and inside_choices:
        return str(parse_value(fact, [value])[0])  # type: ignore[index]
    return parse_value(fact, value)


# ---- records and references ----------------------------------------------------------------------------------------


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
            for inside, value in _places(record.data):
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


def _places(data: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    yield path, data
    children = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in children:
        yield from _places(value, (*path, key))


def _comparisons(item: Any, path: Path = ()) -> Iterator[tuple[Path, Comparison]]:
    """Every comparison inside a built record, with the path it has in the file."""
    if isinstance(item, Comparison):
        yield path, item
    elif isinstance(item, AllOf | AnyOf):
        name = "all" if isinstance(item, AllOf) else "any"
        for index, part in enumerate(item.parts):
            yield from _comparisons(part, (*path, name, index))
    elif isinstance(item, NotOf):
        yield from _comparisons(item.part, (*path, "not"))
    elif isinstance(item, tuple):
        for index, part in enumerate(item):
            yield from _comparisons(part, (*path, index))
    elif isinstance(item, dict):
        for key, value in item.items():
            yield from _comparisons(value, (*path, key))
    elif dataclasses.is_dataclass(item) and not isinstance(item, type):
        for attribute in dataclasses.fields(item):
            yield from _comparisons(getattr(item, attribute.name), (*path, attribute.name))


def conditions_name_facts(folder: Folder, source: Source) -> Problems:
    """Conditions name declared facts, with values those facts can have and operators that make sense."""
    facts, known = folder.built("facts"), folder.ids("facts")
    for records in folder.records.values():
        for record in records:
            for inside, comparison in _comparisons(record.built):
                if comparison.fact not in known:
                    yield record.problem((*inside, "fact"), f"no fact {comparison.fact!r}", "a declared fact",
                                         nearest(comparison.fact, known))  # fmt: skip
                elif comparison.fact in facts:
                    yield from _comparison_value(record, inside, comparison, facts[comparison.fact])


def _comparison_value(record: Record, inside: Path, comparison: Comparison, fact: Fact) -> Problems:
    if comparison.op == "exists":
        if not isinstance(comparison.value, bool | None):
            yield record.problem((*inside, "value"), repr(comparison.value), "true or false, or no value")
        return
    if comparison.op in (">", "<", ">=", "<=") and fact.type not in ("amount", "count", "date"):
        yield record.problem((*inside, "op"), f"{comparison.op} on a {fact.type} fact", "= or != or exists")
    if comparison.value is None:
        yield record.problem(inside, "no value", f"a value of {fact.id}")
        return
    try:
        typed_value(fact, comparison.value, inside_choices=True)
    except BadInputError as error:
        yield record.problem((*inside, "value"), repr(comparison.value), error.expected,
                             nearest(comparison.value, options_of(fact)))  # fmt: skip


def _unknown(record: Record, inside: Path, found: str, known: set[str], kind: str) -> Problems:
    if found not in known:
        yield record.problem(inside, f"no {kind} {found!r}", f"a declared {kind}", nearest(found, known))


def references_exist(folder: Folder, source: Source) -> Problems:
    """Every id that a record names is declared."""
    faults, steps, cautions = folder.ids("faults"), folder.ids("steps"), folder.ids("cautions")
    for record in _ready(folder, "questions"):
        for index, fact in enumerate(record.built.fills):
            yield from _unknown(record, ("fills", index), fact, folder.ids("facts"), "fact")
    for record in _ready(folder, "faults"):
        for device in record.built.by_device:
            yield from _unknown(record, ("by_device", device), device, folder.ids("devices"), "device")
    for record in _ready(folder, "findings"):
        for fault in record.built.raises:
            yield from _unknown(record, ("raises", fault), fault, faults, "fault")
        for fault in record.built.rows:
            yield from _unknown(record, ("rows", fault), fault, faults, "fault")
        for index, step in enumerate(record.built.seen_at):
            yield from _unknown(record, ("seen_at", index), step, steps, "step")
    for record in _ready(folder, "steps"):
        yield from _unknown(record, ("level",), record.built.level, folder.ids("levels"), "level")
        for fault in record.built.fixes:
            yield from _unknown(record, ("fixes", fault), fault, faults, "fault")
        for index, step in enumerate(record.built.after):
            yield from _unknown(record, ("after", index), step, steps, "step")
        for index, part in enumerate(record.built.parts):
            yield from _unknown(record, ("parts", index), part, source.pricing.ids("parts"), "part")
        for index, caution in enumerate(record.built.hazards):
            yield from _unknown(record, ("hazards", index), caution, cautions, "caution")
        if record.built.trial_of is not None:
            yield from _unknown(
                record, ("trial_of",), record.built.trial_of, folder.ids("paired_parts"), "paired part"
            )
    for record in _ready(folder, "paired_parts"):
        yield from _unknown(record, ("fault",), record.built.fault, faults, "fault")
    for record in _ready(folder, "devices"):
        for index, disc in enumerate(record.built.discs):
            yield from _unknown(record, ("discs", index), disc, folder.ids("disc_classes"), "disc class")
        for index, part in enumerate(record.built.paired):
            yield from _unknown(record, ("paired", index), part, folder.ids("paired_parts"), "paired part")


def _written(folder: Folder, key: str, attribute: str) -> set[str]:
    """Names under an attribute of all records as written, also of those with another problem."""
    lists = [record.data.get(attribute) for record in folder.of(key) if isinstance(record.data, dict)]
    return {str(name) for names in lists if isinstance(names, list | dict) for name in names}


def _ready(folder: Folder, key: str) -> list[Record]:
    return [record for record in folder.of(key) if record.built is not None]


# ---- facts and questions -------------------------------------------------------------------------------------------


def facts_complete(folder: Folder, source: Source) -> Problems:
    """Choice facts have options; roles that need a class or a part name one; implications fit."""
    facts = folder.built("facts")
    for record in _ready(folder, "facts"):
        fact = record.built
        if fact.type in ("choice", "choices") and len(fact.options) < 2:
            yield record.problem(("options",), f"{len(fact.options)} options", "at least two")
        if fact.type not in ("choice", "choices") and fact.options:
            yield record.problem(("options",), f"options on a {fact.type} fact", "none")
        if fact.role == "disc_result":
            if fact.disc_class is None:
                yield record.problem(("role",), "no disc_class", "disc_class, naming a disc class")
            else:
                yield from _unknown(
                    record, ("disc_class",), fact.disc_class, folder.ids("disc_classes"), "disc class"
                )
        if fact.part is not None:
            yield from _unknown(record, ("part",), fact.part, folder.ids("paired_parts"), "paired part")
        if fact.role == "device_kind" and folder.of("devices"):
            for option in sorted(set(fact.options) ^ folder.ids("devices")):
                yield record.problem(
                    ("options",), f"{option!r} only on one side", "exactly the ids of the devices"
                )
        for index, implication in enumerate(fact.implies):
            yield from _unknown(
                record, ("implies", index, "fact"), implication.fact, folder.ids("facts"), "fact"
            )
            for part, target in (("value", fact), ("gives", facts.get(implication.fact))):
                yield from _fits(record, ("implies", index, part), target, getattr(implication, part))


def _fits(record: Record, inside: Path, fact: Fact | None, value: Any) -> Problems:
    if fact is None:
        return
    try:
        typed_value(fact, value)
    except BadInputError as error:
        yield record.problem(inside, repr(value), error.expected, nearest(value, options_of(fact)))


def every_fact_reachable(folder: Folder, source: Source) -> Problems:
    """Every fact is filled by a question, implied by another, or seen on the bench."""
    filled = _written(folder, "questions", "fills")
    implied = {i.fact for record in _ready(folder, "facts") for i in record.built.implies}
    for record in _ready(folder, "facts"):
        if record.id not in filled | implied and "bench" not in record.built.purposes:
            yield record.problem(
                (), "no question that fills it", "a question, an implication, or the purpose bench"
            )


def choices_fit(folder: Folder, source: Source) -> Problems:
    """Tappable answers set facts their question fills, to values those facts can have."""
    facts = folder.built("facts")
    for record in _ready(folder, "questions"):
        if not record.built.fills:
            yield record.problem(("fills",), "no facts", "at least one fact")
        for index, choice in enumerate(record.built.choices):
            for fact_id, value in choice.sets.items():
                inside: Path = ("choices", index, "sets", fact_id)
                if fact_id not in record.built.fills:
                    yield record.problem(inside, f"{fact_id!r}, which the question does not fill",
                                         "one of " + ", ".join(record.built.fills), nearest(fact_id, record.built.fills))  # fmt: skip
                elif value is not None:
                    yield from _fits(record, inside, facts.get(fact_id), value)


def no_waiting_in_circles(folder: Folder, source: Source) -> Problems:
    """No question waits (through its guard) for a fact that only questions waiting for it can fill."""
    fillers: dict[str, set[str]] = {}
    for record in _ready(folder, "questions"):
        for fact in record.built.fills:
            fillers.setdefault(fact, set()).add(record.id)
    guards = {record.id: record.built.ask_when for record in _ready(folder, "questions")}
    implied = {i.fact for record in _ready(folder, "facts") for i in record.built.implies}
    free = implied | (folder.ids("facts") - set(fillers))
    open_ids: set[str] = set()
    while True:
        known = {fact for fact, ids in fillers.items() if ids & open_ids} | free
        more = {q for q, guard in guards.items() if q not in open_ids and _can_open(guard, known)}
        if not more:
            break
        open_ids |= more
    for record in _ready(folder, "questions"):
        named = {comparison.fact for _, comparison in _comparisons(record.built.ask_when)}
        if record.id not in open_ids and named <= folder.ids("facts"):
            yield record.problem(("ask_when",), "a guard that waits in a circle",
                                 "a guard over facts that other questions fill")  # fmt: skip


def _can_open(guard: Any, known: set[str]) -> bool:
    """Whether a guard can come true once the facts in `known` may have values; `exists: false` holds from the start."""
    if isinstance(guard, AllOf):
        return all(_can_open(part, known) for part in guard.parts)
    if isinstance(guard, AnyOf):
        return any(_can_open(part, known) for part in guard.parts)
    if isinstance(guard, NotOf):
        return all(comparison.fact in known for _, comparison in _comparisons(guard.part))
    return guard.fact in known or (guard.op == "exists" and guard.value is False)


# ---- faults, findings, steps ---------------------------------------------------------------------------------------


def findings_complete(folder: Folder, source: Source) -> Problems:
    """Two-valued findings have a leak; many-valued ones have `normal`, `base` and rows that sum to 1."""
    for record in _ready(folder, "findings"):
        finding = record.built
        if set(finding.values) == {"yes", "no"}:
            if finding.leak is None:
                yield record.problem((), "no leak", "leak: the chance of a yes without any of these faults")
            if finding.rows or finding.base:
                yield record.problem(("rows",), "rows on a two-valued finding", "raises and leak only")
            continue
        if finding.raises or finding.leak is not None:
            yield record.problem(("raises",), "raises or leak on a many-valued finding", "base and rows")
        if finding.normal not in finding.values:
            yield record.problem(("normal",), repr(finding.normal), "one of " + ", ".join(finding.values),
                                 nearest(finding.normal, finding.values))  # fmt: skip
        tables = [(("base",), finding.base), *((("rows", fault), row) for fault, row in finding.rows.items())]
        for inside, row in tables:
            if set(row) != set(finding.values):
                yield record.problem(
                    inside, "values " + ", ".join(row), "exactly " + ", ".join(finding.values)
                )
            elif abs(sum(row.values()) - 1) > TOLERANCE:
                yield record.problem(inside, f"probabilities that sum to {sum(row.values()):g}", "a sum of 1")


def bench_findings_seen(folder: Folder, source: Source) -> Problems:
    """Bench findings say at which step they can be seen."""
    for record in _ready(folder, "findings"):
        if record.built.stage == "bench" and not record.built.seen_at:
            yield record.problem(("seen_at",), "no step", "the steps at which it can be seen")


def faults_repairable(folder: Folder, source: Source) -> Problems:
    """A repairable fault has a step that fixes it (else it has no price); another has none."""
    fixed = _written(folder, "steps", "fixes")
    for record in _ready(folder, "faults"):
        if record.built.repairable and record.id not in fixed:
            yield record.problem(
                (), "no step that fixes it", "a step with it under fixes, or repairable: false"
            )
        if not record.built.repairable and record.id in fixed:
            yield record.problem(("repairable",), "false, yet a step fixes it", "true, or no such step")


def faults_separable(folder: Folder, source: Source) -> Problems:
    """Every fault has at least one finding that speaks for it."""
    spoken = {
        fault for record in _ready(folder, "findings") for fault in (*record.built.raises, *record.built.rows)
    }
    for record in _ready(folder, "faults"):
        if record.id not in spoken:
            yield record.problem((), "no finding that raises it", "a finding with it under raises or rows")


def levels_form_a_tree(folder: Folder, source: Source) -> Problems:
    """Access levels form one tree with one outside."""
    levels = folder.built("levels")
    roots = [record for record in _ready(folder, "levels") if record.built.parent is None]
    for record in roots[1:]:
        yield record.problem(
            ("parent",), "a second level without a parent", "one level outside, all others inside it"
        )
    if levels and not roots:
        first = folder.of("levels")[0]
        yield first.problem(("parent",), "no level without a parent", "one level outside")
    for record in _ready(folder, "levels"):
        parent, seen = record.built.parent, {record.id}
        if parent is not None:
            yield from _unknown(record, ("parent",), parent, folder.ids("levels"), "level")
        while parent in levels:
            if parent in seen:
                yield record.problem(("parent",), "levels inside each other in a circle", "a tree")
                break
            seen.add(parent)
            parent = levels[parent].parent


def steps_in_order(folder: Folder, source: Source) -> Problems:
    """`after` has no circle."""
    after = {record.id: set(record.built.after) for record in _ready(folder, "steps")}
    done: set[str] = set()
    while True:
        more = {step for step, needs in after.items() if step not in done and needs & set(after) <= done}
        if not more:
            break
        done |= more
    for record in _ready(folder, "steps"):
        if record.id not in done:
            yield record.problem(("after",), "steps that wait for each other in a circle", "an order")


# ---- paired parts, phrases, texts ----------------------------------------------------------------------------------


def paired_parts_complete(folder: Folder, source: Source) -> Problems:
    """Each place a paired part can be has a gate."""
    facts = folder.built("facts")
    for record in _ready(folder, "paired_parts"):
        part = record.built
        yield from _unknown(record, ("place_fact",), part.place_fact, folder.ids("facts"), "fact")
        if part.candidates_fact is not None:
            yield from _unknown(
                record, ("candidates_fact",), part.candidates_fact, folder.ids("facts"), "fact"
            )
        if part.place_fact in facts:
            for option in sorted(set(facts[part.place_fact].options) ^ set(part.places)):
                yield record.problem(("places",), f"{option!r} only on one side",
                                     f"a gate for exactly the options of {part.place_fact}")  # fmt: skip


def phrases_fit(folder: Folder, source: Source) -> Problems:
    """Phrases speak of declared facts and values."""
    facts, known = folder.built("facts"), folder.ids("facts")
    for document, data in folder.phrases.values():
        for fact_id, values in (data.get("values") or {}).items():
            place = ("values", fact_id)
            if fact_id not in known:
                yield Problem(document.file, document.line(place), f"values, {fact_id}", f"no fact {fact_id!r}",
                              "a declared fact", nearest(fact_id, known))  # fmt: skip
            elif fact_id in facts and options_of(facts[fact_id]):
                for value in values if isinstance(values, dict) else ():
                    if value not in options_of(facts[fact_id]):
                        yield Problem(document.file, document.line((*place, value)), f"values, {fact_id}, {value}",
                                      repr(value), "one of " + ", ".join(options_of(facts[fact_id])),
                                      nearest(value, options_of(facts[fact_id])))  # fmt: skip


def texts_present(folder: Folder, source: Source) -> Problems:
    """Every text the records call for is there, in every locale."""
    wanted = dict(_wanted_texts(folder))
    for locale in sorted(source.common.texts):
        have = set(folder.texts.get(locale, {})) | set(source.common.texts[locale])
        for key in sorted(set(wanted) - have):
            yield wanted[key].problem(
                (),
                f"no text {key!r} in {locale}",
                f"a text in texts/{locale}/",
                nearest(key, have - set(wanted)),
            )


def _wanted_texts(folder: Folder) -> Iterator[tuple[str, Record]]:
    patterns = {
        "facts": ("fact.{id}",), "questions": ("question.{id}",), "faults": ("fault.{id}.name", "fault.{id}.customer"),
        "findings": ("finding.{id}",), "levels": ("level.{id}",), "steps": ("step.{id}.name", "step.{id}.how", "step.{id}.customer"),
        "devices": ("device.{id}",), "disc_classes": ("disc.{id}",), "paired_parts": ("paired.{id}",),
        "enclosures": ("enclose.{id}",), "leave_outs": ("leave_out.{id}",),
    }  # fmt: skip
    for key, names in patterns.items():
        for record in _ready(folder, key):
            for name in names:
                yield name.format(id=record.id), record
    for record in _ready(folder, "questions"):
        for choice in record.built.choices:
            yield f"choice.{record.id}.{choice.id}", record
    for record in _ready(folder, "cautions"):
        if record.built.when is not None:
            yield f"caution.{record.id}.customer", record
        else:
            yield f"caution.{record.id}.bench", record


def _locales_match(source: Source) -> Problems:
    """Every locale has the same keys with the same placeholders and as many wordings, in every folder."""
    for folder in (source.common, *source.families.values()):
        keys = {key for texts in folder.texts.values() for key in texts}
        for key in sorted(keys):
            holders = {locale: texts[key] for locale, texts in folder.texts.items() if key in texts}
            document, path = folder.text_places[(min(holders), key)]
            for locale in sorted(set(source.common.texts) - set(holders)):
                yield Problem(
                    document.file,
                    document.line(path),
                    f"text {key}",
                    f"no text in {locale}",
                    "a text in every locale",
                )
            names = {
                locale: frozenset(PLACEHOLDER.findall(" ".join(_wordings(text))))
                for locale, text in holders.items()
            }
            if len(set(names.values())) > 1:
                found = "; ".join(
                    f"{locale}: {', '.join(sorted(names[locale])) or 'none'}" for locale in sorted(names)
                )
                yield Problem(
                    document.file,
                    document.line(path),
                    f"text {key}",
                    f"placeholders {found}",
                    "the same in every locale",
                )


def _wordings(text: str | tuple[str, ...]) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else text


# ---- pricing -------------------------------------------------------------------------------------------------------


def dates_do_not_overlap(folder: Folder, source: Source) -> Problems:
    """No two rate cards, tariffs, or prices of one part start on the same day."""
    for key in ("rate_cards", "tariffs", "parts"):
        seen: set[tuple[str, Any]] = set()
        for record in _ready(folder, key):
            start = (record.id if key == "parts" else "", record.built.effective_from)
            if start in seen:
                yield record.problem(
                    ("effective_from",), f"a second one from {start[1].isoformat()}", "different dates"
                )
            seen.add(start)


def one_currency(folder: Folder, source: Source) -> Problems:
    """Parts, tariffs and rate cards use one currency, so that a quote can add them."""
    cards = _ready(folder, "rate_cards")
    if not cards:
        return
    currency = cards[-1].built.currency
    for key in ("rate_cards", "parts", "tariffs"):
        for record in _ready(folder, key):
            if record.built.currency != currency:
                yield record.problem(
                    ("currency",), repr(record.built.currency), f"{currency!r}, as in the newest rate card"
                )


def rate_cards_fit(folder: Folder, source: Source) -> Problems:
    """Rate cards name a profile; flat prices cover each step; amounts and percentages make sense."""
    steps = {step for family in source.families.values() for step in family.ids("steps")}
    for record in _ready(folder, "rate_cards"):
        card = record.built
        yield from _unknown(record, ("profile",), card.profile, folder.ids("profiles"), "profile")
        for step in card.flat_step_prices:
            yield from _unknown(record, ("flat_step_prices", step), step, steps, "step")
        if card.labour_mode == "flat_by_step":
            for step in sorted(steps - set(card.flat_step_prices)):
                yield record.problem(
                    ("flat_step_prices",), f"no price for {step!r}", "a price for every step"
                )
        for name in ("hourly_rate", "minimum_labour", "assessment_fee", "no_fix_cap", "deposit_percent", "tax_percent",
                     "discount_percent", "second_unit_percent", "priority_percent", "maximum_step"):  # fmt: skip
            if getattr(card, name) < 0:
                yield record.problem((name,), str(getattr(card, name)), "zero or more")
        for name in ("deposit_percent", "discount_percent", "second_unit_percent"):
            if getattr(card, name) > 100:
                yield record.problem((name,), str(getattr(card, name)), "at most 100")
        if card.maximum_step == 0:
            yield record.problem(("maximum_step",), "0", "more than 0, such as 5")


def profiles_keep_the_law(folder: Folder, source: Source) -> Problems:
    """A profile asks for the fields that make a written estimate one, and has its notices in every locale."""
    required = ("repairer_name", "repairer_address", "item", "proposed_work", "maximum", "valid_until")
    for record in _ready(folder, "profiles"):
        for name in required:
            if name not in record.built.required_fields:
                yield record.problem(("required_fields",), f"no {name!r}", "at least " + ", ".join(required),
                                     nearest(name, record.built.required_fields))  # fmt: skip
        for index, key in enumerate(record.built.notices):
            for locale, texts in sorted(source.common.texts.items()):
                if key not in texts:
                    yield record.problem(("notices", index), f"no text {key!r} in {locale}", "a shared text")


def tariffs_complete(folder: Folder, source: Source) -> Problems:
    """Each zone has rising prices and a transit time; the shop's own country is in a zone."""
    shops = _ready(folder, "shop")
    for record in _ready(folder, "tariffs"):
        tariff = record.built
        for zone in tariff.zones:
            steps = tariff.prices.get(zone, ())
            weights = [weight for weight, _ in steps]
            if not steps or weights != sorted(set(weights)) or any(price <= 0 for _, price in steps):
                yield record.problem(
                    ("prices", zone),
                    "no prices, or weights that do not rise",
                    "[up to kg, price] pairs, rising",
                )
            if zone not in tariff.transit_business_days:
                yield record.problem(("transit_business_days",), f"no {zone!r}", "days for every zone")
        countries = {country for zone in tariff.zones.values() for country in zone}
        if shops and shops[0].built.country not in countries:
            yield record.problem(
                ("zones",), f"no zone with {shops[0].built.country}", "the shop's own country in a zone"
            )


def parcels_fit(folder: Folder, source: Source) -> Problems:
    """A parcel is larger outside than inside."""
    for record in _ready(folder, "parcels"):
        for index, (inner, outer) in enumerate(
            zip(record.built.inner_mm, record.built.outer_mm, strict=True)
        ):
            if not 0 < inner < outer:
                yield record.problem(
                    ("inner_mm", index), f"{inner} mm inside and {outer} mm outside", "inner less than outer"
                )


def chance_words_cover(folder: Folder, source: Source) -> Problems:
    """Chance words start at 0, rise, and have a text in every locale."""
    words = sorted(_ready(folder, "chance_words"), key=lambda record: record.built.at_least)
    if words and words[0].built.at_least != 0:
        yield words[0].problem(("at_least",), f"{words[0].built.at_least:g} as the lowest", "one word from 0")
    for earlier, later in itertools.pairwise(words):
        if earlier.built.at_least == later.built.at_least:
            yield later.problem(("at_least",), f"{later.built.at_least:g} twice", "different bounds")
    for record in words:
        for locale, texts in sorted(source.common.texts.items()):
            if f"chance.{record.id}" not in texts:
                yield record.problem((), f"no text 'chance.{record.id}' in {locale}", "a shared text")


def calendar_makes_sense(folder: Folder, source: Source) -> Problems:
    """The shop works on some day; closures end after they begin."""
    for record in _ready(folder, "calendar"):
        days = record.built.working_weekdays
        if not days or not all(0 <= day <= 6 for day in days):
            yield record.problem(("working_weekdays",), repr(list(days)), "numbers from 0 (Monday) to 6")
        for index, (start, end, _) in enumerate(record.built.closures):
            if end < start:
                yield record.problem(("closures", index), f"{start} to {end}", "an end on or after the start")


Rule = Callable[[Folder, Source], Problems]
SHARED_RULES: tuple[Rule, ...] = (required_records, one_only, unique_ids, sources_named)
RULES_OF_FAMILY: tuple[Rule, ...] = (
    *SHARED_RULES, conditions_name_facts, references_exist, facts_complete, every_fact_reachable, choices_fit,
    no_waiting_in_circles, findings_complete, bench_findings_seen, faults_repairable, faults_separable,
    levels_form_a_tree, steps_in_order, paired_parts_complete, phrases_fit, texts_present,
)  # fmt: skip
RULES_OF_PRICING: tuple[Rule, ...] = (
    *SHARED_RULES, dates_do_not_overlap, one_currency, rate_cards_fit, profiles_keep_the_law, tariffs_complete,
    parcels_fit, chance_words_cover, calendar_makes_sense,
)  # fmt: skip
