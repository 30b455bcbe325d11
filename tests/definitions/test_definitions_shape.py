"""Schema and loader accept the same keys; every shipped file passes; old versions load from stored bytes."""

from __future__ import annotations

import dataclasses

import pytest
from jsonschema import Draft202012Validator

from intakebot.definitions import check, load_files, read_files
from intakebot.definitions.shape import RANGES, schema_for
from intakebot.definitions.source import FAMILY_KEYS, PRICING_KEYS

CLASSES = sorted({cls for cls, _ in (FAMILY_KEYS | PRICING_KEYS).values()}, key=lambda cls: cls.__name__)


@pytest.mark.parametrize("cls", CLASSES, ids=lambda cls: cls.__name__)
def test_schema_accepts_exactly_the_attributes_of_the_record(cls):
    schema = schema_for(cls)

    Draft202012Validator.check_schema(schema)
    assert set(schema["properties"]) == {field.name for field in dataclasses.fields(cls)}
    assert schema["additionalProperties"] is False


def test_every_range_belongs_to_a_number_that_exists():
    from intakebot.definitions import model

    for class_name, attribute in RANGES:
        assert attribute in {field.name for field in dataclasses.fields(getattr(model, class_name))}


def test_shipped_definitions_have_no_problem(root):
    assert [str(problem) for problem in check(root)] == []


def test_definitions_load_the_same_from_stored_bytes(root, definitions):
    again = load_files(read_files(root))

    assert again.version == definitions.version
    assert again == definitions


def test_version_changes_with_any_byte(root, definitions):
    files = read_files(root)
    name = "pricing/" + next(name for name in sorted(files) if name.startswith("pricing/")).split("/")[1]

    changed = load_files({**files, name: files[name] + b"\n# a remark\n"})

    assert changed.version != definitions.version


def test_family_is_as_full_as_the_shop_needs(definitions):
    family = definitions.families["disc_drive"]
    intake_findings = [finding for finding in family.findings.values() if finding.stage == "intake"]

    assert len(intake_findings) >= 25
    assert len(family.faults) >= 18
    assert len(family.steps) >= 24
    assert len(family.levels) == 6
