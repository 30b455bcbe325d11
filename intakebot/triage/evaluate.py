"""Triage against repair records: complaint (or given facts) in, ranked causes in the records' own codes out.

A record is one JSON object a line with `id`, `complaint` and optionally `facts`, `denied` (codes of the map), `device`, `loading`,
`age_years`. A code map (YAML) says what the codes mean for the family; its shape is in `CodeMap`. Nothing here is fitted
to a record: the same diagnosis is used as everywhere else.
"""

from __future__ import annotations

import argparse
import difflib
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from intakebot.definitions import load_definitions
from intakebot.definitions.facts import Answer, Answers, Value
from intakebot.definitions.model import Family
from intakebot.definitions.strict_yaml import read_yaml
from intakebot.errors import BadInputError, DefinitionError
from intakebot.triage.diagnosis import Diagnosis, diagnose
from intakebot.triage.implied import with_implied

Understand = Callable[[str, Answers], Mapping[str, Answer]]
"""complaint and what the record says about the device -> what was heard."""

OWN_FOLDER = Path(__file__).resolve().parents[2]
"""The folder that holds this package and its flows/ and pricing/."""


@dataclass(frozen=True)
class FactCode:
    """asserted, denied: values of `fact` that the code stands for, or rules out; the first is taken when it is given."""

    fact: str
    asserted: tuple[Value, ...]
    denied: tuple[Value, ...]


@dataclass(frozen=True)
class CodeMap:
    """A label set in terms of a family.

    facts: code -> FactCode. faults: every fault of the family -> code. devices, loading: record's word -> facts it sets; other
    words say nothing. age_years: the fact that holds the age, if any.
    """

    family: str
    source: str
    licence: str
    facts: Mapping[str, FactCode]
    faults: Mapping[str, str]
    devices: Mapping[str, Mapping[str, Value]]
    loading: Mapping[str, Mapping[str, Value]]
    age_years: str | None


def read_code_map(name: str, content: bytes, families: Mapping[str, Family]) -> CodeMap:
    """Read a map and check it against the family it names.

    Raises: BadInputError naming the place.
    """
    document = read_yaml(name, content)
    if document.problems:
        raise BadInputError(name, str(document.problems[0]), "a readable YAML file")
    data = document.data
    if not isinstance(data, dict):
        raise BadInputError(name, data, "a mapping")
    family_id = data.get("family")
    if not isinstance(family_id, str) or family_id not in families:
        raise BadInputError(f"{name}: family", family_id, f"one of {sorted(families)}")
    family = families[family_id]
    code_map = CodeMap(
        family=family_id,
        source=str(data.get("source", "")),
        licence=str(data.get("licence", "")),
        facts={code: _fact_code(name, code, item, family) for code, item in _entries(name, data, "facts")},
        faults={fault: str(code) for fault, code in _entries(name, data, "faults")},
        devices=dict(_entries(name, data, "devices")),
        loading=dict(_entries(name, data, "loading")),
        age_years=data.get("age_years"),
    )
    _check_map(name, code_map, family)
    return code_map


def _entries(name: str, data: Mapping[str, Any], key: str) -> list[tuple[str, Any]]:
    found = data.get(key, {})
    if not isinstance(found, dict):
        raise BadInputError(f"{name}: {key}", found, "a mapping")
    return list(found.items())


def _fact_code(name: str, code: str, item: Any, family: Family) -> FactCode:
    where = f"{name}: facts.{code}"
    if not isinstance(item, dict) or set(item) - {"fact", "asserted", "denied"} or "fact" not in item:
        raise BadInputError(where, item, "fact, asserted and denied")
    if item["fact"] not in family.facts:
        raise BadInputError(
            f"{where}.fact", item["fact"], f"a fact of the family{_near(item['fact'], family.facts)}"
        )
    fact = family.facts[item["fact"]]
    options: Sequence[Any] = ("yes", "no") if fact.type == "yes_no" else fact.options
    values: dict[str, tuple[Value, ...]] = {}
    for key in ("asserted", "denied"):
        listed = item.get(key, [])
        if not isinstance(listed, list) or any(value not in options for value in listed):
            raise BadInputError(f"{where}.{key}", listed, f"a list of {list(options)}")
        values[key] = tuple(listed)
    return FactCode(item["fact"], values["asserted"], values["denied"])


def _check_map(name: str, code_map: CodeMap, family: Family) -> None:
    for fault in code_map.faults:
        if fault not in family.faults:
            raise BadInputError(
                f"{name}: faults.{fault}", fault, f"a fault of the family{_near(fault, family.faults)}"
            )
    missing = sorted(set(family.faults) - set(code_map.faults))
    if missing:
        raise BadInputError(
            f"{name}: faults", f"nothing for {missing}", "a code for every fault of the family"
        )
    for key, table in (("devices", code_map.devices), ("loading", code_map.loading)):
        for word, sets in table.items():
            if not isinstance(sets, dict) or any(fact not in family.facts for fact in sets):
                raise BadInputError(f"{name}: {key}.{word}", sets, "facts of the family and their values")
    if code_map.age_years is not None and code_map.age_years not in family.facts:
        raise BadInputError(f"{name}: age_years", code_map.age_years, "a fact of the family")


def _near(word: object, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(str(word), sorted(known), n=1)
    return f"; did you mean {near[0]!r}?" if near else ""


# ---- records -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Record:
    """One line of the file, checked. about: what the record says about the device itself."""

    id: str
    complaint: str
    facts: tuple[str, ...]
    denied: tuple[str, ...]
    about: Mapping[str, Answer]


def read_records(name: str, lines: Iterable[str], code_map: CodeMap) -> Iterator[Record]:
    """The records, one at a time; empty lines are passed over.

    Raises: BadInputError, `where` is `name:line`.
    """
    for number, line in enumerate(lines, start=1):
        if line.strip():
            yield _record(f"{name}:{number}", line, code_map)


def _record(where: str, line: str, code_map: CodeMap) -> Record:
    try:
        data = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise BadInputError(where, line.strip()[:60], f"one JSON object ({error})") from None
    if not isinstance(data, dict):
        raise BadInputError(where, data, "one JSON object")
    if not isinstance(data.get("id"), str | int) or isinstance(data.get("id"), bool) or data["id"] == "":
        raise BadInputError(f"{where}: id", data.get("id"), "an id")
    complaint = data.get("complaint")
    if not isinstance(complaint, str):
        raise BadInputError(f"{where}: complaint", complaint, "a text")
    codes = {key: _codes(f"{where}: {key}", data.get(key), code_map) for key in ("facts", "denied")}
    about: dict[str, Answer] = {}
    for key, table in (("device", code_map.devices), ("loading", code_map.loading)):
        word = data.get(key)
        if word is not None and not isinstance(word, str):
            raise BadInputError(f"{where}: {key}", word, "a word")
        about |= {fact: Answer(value) for fact, value in table.get(word or "", {}).items()}
    age = _age(f"{where}: age_years", data.get("age_years"))
    if age is not None and code_map.age_years is not None:
        about[code_map.age_years] = Answer(age)
    return Record(str(data["id"]), complaint, codes["facts"], codes["denied"], about)


def _codes(where: str, value: Any, code_map: CodeMap) -> tuple[str, ...]:
    if value is None:
        return ()
    if not isinstance(value, list):
        raise BadInputError(where, value, "a list of codes")
    for code in value:
        if code not in code_map.facts:
            raise BadInputError(where, code, f"a code of the map{_near(code, code_map.facts)}")
    return tuple(value)


def _age(where: str, value: Any) -> int | None:
    if value is None or value == "":
        return None
    try:
        age = float(value) if not isinstance(value, bool) else -1.0
    except (TypeError, ValueError):
        age = -1.0
    if not 0 <= age <= 200:
        raise BadInputError(where, value, "years, or nothing")
    return int(age)


# ---- evaluation ----------------------------------------------------------------------------------------------------


def given_answers(record: Record, code_map: CodeMap) -> dict[str, Answer]:
    """Answers for the record's own codes. Of two codes for one fact, the first in the record stands."""
    found: dict[str, Answer] = {}
    for codes, side in ((record.facts, "asserted"), (record.denied, "denied")):
        for code in codes:
            entry = code_map.facts[code]
            values = entry.asserted if side == "asserted" else entry.denied
            if values:
                found.setdefault(entry.fact, Answer(values[0]))
    return found


def codes_for(answers: Answers, code_map: CodeMap) -> tuple[list[str], list[str]]:
    """Codes that the answers assert, and those they deny, sorted."""
    asserted, denied = [], []
    for code, entry in code_map.facts.items():
        answer = answers.get(entry.fact)
        if answer is None or answer.value is None:
            continue
        if answer.value in entry.asserted:
            asserted.append(code)
        elif answer.value in entry.denied:
            denied.append(code)
    return sorted(asserted), sorted(denied)


def ranked_codes(diagnosis: Diagnosis, code_map: CodeMap) -> list[tuple[str, float]]:
    """Causes in the map's codes, falling; sums to 1. Faults that come together share their set's probability."""
    totals = dict.fromkeys(code_map.faults.values(), 0.0)
    for each in diagnosis.sets:
        for fault in each.faults:
            totals[code_map.faults[fault]] += each.probability / len(each.faults)
    whole = sum(totals.values())
    return sorted(
        ((code, chance / whole) for code, chance in totals.items()), key=lambda item: (-item[1], item[0])
    )


def run(
    records: Iterable[Record], family: Family, code_map: CodeMap, understand: Understand | None
) -> Iterator[dict[str, Any]]:
    """One result a record: id, facts, denied, faults as [code, probability], falling.

    understand None: the record's own codes are taken instead of reading the complaint.
    """
    for record in records:
        if understand is None:
            said: Mapping[str, Answer] = given_answers(record, code_map)
            facts, denied = list(record.facts), list(record.denied)
        else:
            said = understand(record.complaint, record.about)
            facts, denied = codes_for(said, code_map)
        diagnosis = diagnose(family, with_implied(family, {**record.about, **said}))
        faults = [[code, round(chance, 6)] for code, chance in ranked_codes(diagnosis, code_map)]
        yield {"id": record.id, "facts": facts, "denied": denied, "faults": faults}


def reader_for(family: Family) -> Understand:
    """Reads complaints with the project's own understanding, in English."""
    from intakebot.understanding import understand

    def read(complaint: str, about: Answers) -> Mapping[str, Answer]:
        known = {fact: answer.value for fact, answer in about.items() if answer.value is not None}
        heard = understand(complaint, family, "en", known=known)
        return {
            fact.fact: Answer(fact.value, "heard", fact.certainty)
            for fact in heard.facts
            if fact.value is not None
        }

    return read


def main(argv: Sequence[str] | None = None) -> int:
    """`intakebot evaluate FILE.jsonl --codes MAP.yaml`: exit status 0, or 2 with one line that says what is wrong where."""
    parser = argparse.ArgumentParser(prog="intakebot evaluate", description="Triage against repair records.")
    parser.add_argument("file", help="records, one JSON object a line")
    parser.add_argument("--codes", required=True, help="code map, YAML")
    parser.add_argument(
        "--given-facts", action="store_true", help="take the records' own facts, do not read the complaint"
    )
    parser.add_argument(
        "--definitions",
        default=str(OWN_FOLDER),
        help="folder that holds flows/ and pricing/ (default: the project's own)",
    )
    options = parser.parse_args(argv)
    try:
        definitions = load_definitions(Path(options.definitions))
        code_map = read_code_map(options.codes, Path(options.codes).read_bytes(), definitions.families)
        family = definitions.families[code_map.family]
        understand = None if options.given_facts else reader_for(family)
        with Path(options.file).open(encoding="utf-8") as lines:
            for result in run(read_records(options.file, lines, code_map), family, code_map, understand):
                print(json.dumps(result, ensure_ascii=False))
    except DefinitionError as error:
        print(
            f"{options.definitions}: the definitions have problems; see `intakebot check`: {error}",
            file=sys.stderr,
        )
        return 2
    except (BadInputError, OSError, UnicodeDecodeError) as error:
        print(error, file=sys.stderr)
        return 2
    return 0
