"""Meaning rules of a family folder; each yields its problems."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from intakebot.definitions.checklists import RESERVED
from intakebot.definitions.facts import AllOf, AnyOf, Comparison, NotOf
from intakebot.definitions.model import Fact
from intakebot.definitions.problems import Problem, nearest
from intakebot.definitions.rules_shared import Problems, comparisons, fits, ready, unknown, written
from intakebot.definitions.source import Folder, Record, Source
from intakebot.definitions.strict_yaml import Path
from intakebot.definitions.values import options_of, typed_value
from intakebot.errors import BadInputError

TOLERANCE = 1e-6


def conditions_name_facts(folder: Folder, source: Source) -> Problems:
    """Conditions name declared facts, with values those facts can have and operators that make sense."""
    facts, known = folder.built("facts"), folder.ids("facts")
    for records in folder.records.values():
        for record in records:
            for inside, comparison in comparisons(record.built):
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


def references_exist(folder: Folder, source: Source) -> Problems:
    """Every id that a record names is declared."""
    faults, steps, cautions = folder.ids("faults"), folder.ids("steps"), folder.ids("cautions")
    for record in ready(folder, "questions"):
        for index, fact in enumerate(record.built.fills):
            yield from unknown(record, ("fills", index), fact, folder.ids("facts"), "fact")
    for record in ready(folder, "faults"):
        for device in record.built.by_device:
            yield from unknown(record, ("by_device", device), device, folder.ids("devices"), "device")
    for record in ready(folder, "findings"):
        for fault in record.built.raises:
            yield from unknown(record, ("raises", fault), fault, faults, "fault")
        for fault in record.built.rows:
            yield from unknown(record, ("rows", fault), fault, faults, "fault")
        for index, step in enumerate(record.built.seen_at):
            yield from unknown(record, ("seen_at", index), step, steps, "step")
    for record in ready(folder, "steps"):
        yield from unknown(record, ("level",), record.built.level, folder.ids("levels"), "level")
        for fault in record.built.fixes:
            yield from unknown(record, ("fixes", fault), fault, faults, "fault")
        for index, step in enumerate(record.built.after):
            yield from unknown(record, ("after", index), step, steps, "step")
        for index, part in enumerate(record.built.parts):
            yield from unknown(record, ("parts", index), part, source.pricing.ids("parts"), "part")
        for index, caution in enumerate(record.built.hazards):
            yield from unknown(record, ("hazards", index), caution, cautions, "caution")
        if record.built.trial_of is not None:
            yield from unknown(
                record, ("trial_of",), record.built.trial_of, folder.ids("paired_parts"), "paired part"
            )
    for record in ready(folder, "paired_parts"):
        yield from unknown(record, ("fault",), record.built.fault, faults, "fault")
    for record in ready(folder, "devices"):
        for index, disc in enumerate(record.built.discs):
            yield from unknown(record, ("discs", index), disc, folder.ids("disc_classes"), "disc class")
        for index, part in enumerate(record.built.paired):
            yield from unknown(record, ("paired", index), part, folder.ids("paired_parts"), "paired part")


# ---- facts and questions -------------------------------------------------------------------------------------------


def facts_complete(folder: Folder, source: Source) -> Problems:
    """Choice facts have options; roles that need a class or a part name one; implications fit."""
    facts = folder.built("facts")
    for record in ready(folder, "facts"):
        fact = record.built
        if fact.type in ("choice", "choices") and len(fact.options) < 2:
            yield record.problem(("options",), f"{len(fact.options)} options", "at least two")
        if fact.type not in ("choice", "choices") and fact.options:
            yield record.problem(("options",), f"options on a {fact.type} fact", "none")
        if fact.role == "disc_result":
            if fact.disc_class is None:
                yield record.problem(("role",), "no disc_class", "disc_class, naming a disc class")
            else:
                yield from unknown(
                    record, ("disc_class",), fact.disc_class, folder.ids("disc_classes"), "disc class"
                )
        if fact.part is not None:
            yield from unknown(record, ("part",), fact.part, folder.ids("paired_parts"), "paired part")
        if fact.role == "device_kind" and folder.of("devices"):
            for option in sorted(set(fact.options) ^ folder.ids("devices")):
                yield record.problem(
                    ("options",), f"{option!r} only on one side", "exactly the ids of the devices"
                )
        for index, implication in enumerate(fact.implies):
            yield from unknown(
                record, ("implies", index, "fact"), implication.fact, folder.ids("facts"), "fact"
            )
            for part, target in (("value", fact), ("gives", facts.get(implication.fact))):
                yield from fits(record, ("implies", index, part), target, getattr(implication, part))


def every_fact_reachable(folder: Folder, source: Source) -> Problems:
    """Every fact is filled by a question, implied by another, or seen on the bench."""
    filled = written(folder, "questions", "fills")
    implied = {i.fact for record in ready(folder, "facts") for i in record.built.implies}
    for record in ready(folder, "facts"):
        if record.id not in filled | implied and "bench" not in record.built.purposes:
            yield record.problem(
                (), "no question that fills it", "a question, an implication, or the purpose bench"
            )


def choices_fit(folder: Folder, source: Source) -> Problems:
    """Tappable answers set facts their question fills, to values those facts can have."""
    facts = folder.built("facts")
    for record in ready(folder, "questions"):
        if not record.built.fills:
            yield record.problem(("fills",), "no facts", "at least one fact")
        for index, choice in enumerate(record.built.choices):
            for fact_id, value in choice.sets.items():
                inside: Path = ("choices", index, "sets", fact_id)
                if fact_id not in record.built.fills:
                    yield record.problem(inside, f"{fact_id!r}, which the question does not fill",
                                         "one of " + ", ".join(record.built.fills), nearest(fact_id, record.built.fills))  # fmt: skip
                elif value is not None:
                    yield from fits(record, inside, facts.get(fact_id), value)


def checklists_fit(folder: Folder, source: Source) -> Problems:
    """A checklist has at least two choices, each saying what it means when picked and when not; hazards only in safety."""
    facts = folder.built("facts")
    for record in ready(folder, "questions"):
        question = record.built
        if question.several and len(question.choices) < 2:
            yield record.problem(
                ("choices",), f"{len(question.choices)} choices", "at least two in a checklist"
            )
        for index, choice in enumerate(question.choices):
            path: Path = ("choices", index)
            if not question.several:
                for name in ("else_sets", "when"):
                    if getattr(choice, name):
                        yield record.problem((*path, name), name, "only in a question with several: true")
                continue
            if choice.id in RESERVED:
                yield record.problem(
                    (*path, "id"), repr(choice.id), "another id: the talk adds this answer itself"
                )
            for fact in sorted(set(choice.sets) - set(choice.else_sets)):
                yield record.problem((*path, "else_sets"), f"nothing about {fact!r}",
                                     f"what is so of {fact} when this is not picked")  # fmt: skip
            for fact, value in choice.else_sets.items():
                inside: Path = (*path, "else_sets", fact)
                if fact not in question.fills:
                    yield record.problem(inside, f"{fact!r}, which the question does not fill",
                                         "one of " + ", ".join(question.fills), nearest(fact, question.fills))  # fmt: skip
                elif value is not None:
                    yield from fits(record, inside, facts.get(fact), value)
            for fact in choice.sets:
                if fact in facts and facts[fact].role == "hazard" and question.tier != "safety":
                    yield record.problem((*path, "sets", fact), f"the hazard {fact!r} in a list of the tier {question.tier}",
                                         "hazards only in questions of the tier safety")  # fmt: skip


def no_waiting_in_circles(folder: Folder, source: Source) -> Problems:
    """No question waits (through its guard) for a fact that only questions waiting for it can fill."""
    fillers: dict[str, set[str]] = {}
    for record in ready(folder, "questions"):
        for fact in record.built.fills:
            fillers.setdefault(fact, set()).add(record.id)
    guards = {record.id: record.built.ask_when for record in ready(folder, "questions")}
    implied = {i.fact for record in ready(folder, "facts") for i in record.built.implies}
    free = implied | (folder.ids("facts") - set(fillers))
    open_ids: set[str] = set()
    while True:
        known = {fact for fact, ids in fillers.items() if ids & open_ids} | free
        more = {q for q, guard in guards.items() if q not in open_ids and _can_open(guard, known)}
        if not more:
            break
        open_ids |= more
    for record in ready(folder, "questions"):
        named = {comparison.fact for _, comparison in comparisons(record.built.ask_when)}
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
        return all(comparison.fact in known for _, comparison in comparisons(guard.part))
    return guard.fact in known or (guard.op == "exists" and guard.value is False)


# ---- faults, findings, steps ---------------------------------------------------------------------------------------


def findings_complete(folder: Folder, source: Source) -> Problems:
    """Two-valued findings have a leak; many-valued ones have `normal`, `base` and rows that sum to 1."""
    for record in ready(folder, "findings"):
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
    for record in ready(folder, "findings"):
        if record.built.stage == "bench" and not record.built.seen_at:
            yield record.problem(("seen_at",), "no step", "the steps at which it can be seen")


def faults_repairable(folder: Folder, source: Source) -> Problems:
    """A repairable fault has a step that fixes it (else it has no price); another has none."""
    fixed = written(folder, "steps", "fixes")
    for record in ready(folder, "faults"):
        if record.built.repairable and record.id not in fixed:
            yield record.problem(
                (), "no step that fixes it", "a step with it under fixes, or repairable: false"
            )
        if not record.built.repairable and record.id in fixed:
            yield record.problem(("repairable",), "false, yet a step fixes it", "true, or no such step")


def faults_separable(folder: Folder, source: Source) -> Problems:
    """Every fault has at least one finding that speaks for it."""
    spoken = {
        fault for record in ready(folder, "findings") for fault in (*record.built.raises, *record.built.rows)
    }
    for record in ready(folder, "faults"):
        if record.id not in spoken:
            yield record.problem((), "no finding that raises it", "a finding with it under raises or rows")


def levels_form_a_tree(folder: Folder, source: Source) -> Problems:
    """Access levels form one tree with one outside."""
    levels = folder.built("levels")
    roots = [record for record in ready(folder, "levels") if record.built.parent is None]
    for record in roots[1:]:
        yield record.problem(
            ("parent",), "a second level without a parent", "one level outside, all others inside it"
        )
    if levels and not roots:
        first = folder.of("levels")[0]
        yield first.problem(("parent",), "no level without a parent", "one level outside")
    for record in ready(folder, "levels"):
        parent, seen = record.built.parent, {record.id}
        if parent is not None:
            yield from unknown(record, ("parent",), parent, folder.ids("levels"), "level")
        while parent in levels:
            if parent in seen:
                yield record.problem(("parent",), "levels inside each other in a circle", "a tree")
                break
            seen.add(parent)
            parent = levels[parent].parent


def steps_in_order(folder: Folder, source: Source) -> Problems:
    """`after` has no circle."""
    after = {record.id: set(record.built.after) for record in ready(folder, "steps")}
    done: set[str] = set()
    while True:
        more = {step for step, needs in after.items() if step not in done and needs & set(after) <= done}
        if not more:
            break
        done |= more
    for record in ready(folder, "steps"):
        if record.id not in done:
            yield record.problem(("after",), "steps that wait for each other in a circle", "an order")


# ---- paired parts, phrases, texts ----------------------------------------------------------------------------------


def paired_parts_complete(folder: Folder, source: Source) -> Problems:
    """Each place a paired part can be has a gate."""
    facts = folder.built("facts")
    for record in ready(folder, "paired_parts"):
        part = record.built
        yield from unknown(record, ("place_fact",), part.place_fact, folder.ids("facts"), "fact")
        if part.candidates_fact is not None:
            yield from unknown(
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


def examples_fit(folder: Folder, source: Source) -> Problems:
    """Labelled sentences speak of declared yes/no and choice facts and their values."""
    facts, known = folder.built("facts"), folder.ids("facts")
    for example in (example for lines in folder.examples.values() for example in lines):
        for place, fact_id in (
            *(("facts", fact) for fact in example.facts),
            *(("open", fact) for fact in example.open),
        ):
            if fact_id not in known:
                yield example.problem(
                    place, f"no fact {fact_id!r}", "a declared fact", nearest(fact_id, known)
                )
            elif fact_id in facts and facts[fact_id].type not in ("yes_no", "choice"):
                yield example.problem(
                    place, f"the {facts[fact_id].type} fact {fact_id!r}", "a yes/no or choice fact"
                )
            elif fact_id in facts and place == "facts":
                value, options = example.facts[fact_id], options_of(facts[fact_id])
                if value not in options:
                    yield example.problem(f"facts, {fact_id}", repr(value), "one of " + ", ".join(options),
                                          nearest(value, options))  # fmt: skip


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
        for record in ready(folder, key):
            for name in names:
                yield name.format(id=record.id), record
    for record in ready(folder, "questions"):
        for choice in record.built.choices:
            yield f"choice.{record.id}.{choice.id}", record
    for record in ready(folder, "steps"):
        if record.built.at_home:
            yield f"step.{record.id}.at_home", record
    for record in ready(folder, "cautions"):
        if record.built.when is not None:
            yield f"caution.{record.id}.customer", record
        else:
            yield f"caution.{record.id}.bench", record
