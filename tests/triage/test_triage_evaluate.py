"""`intakebot evaluate`: records in, ranked causes in the map's codes out; clear errors naming the line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from intakebot.definitions.facts import Answer
from intakebot.errors import BadInputError
from intakebot.triage import diagnose, with_implied
from intakebot.triage.evaluate import CodeMap, codes_for, main, ranked_codes, read_code_map, read_records, run
from tests.triage.families import answers

MAP = "flows/disc_drive/codes/open_repair.yaml"


@pytest.fixture(scope="session")
def code_map(definitions, root: Path) -> CodeMap:
    return read_code_map(MAP, (root / MAP).read_bytes(), definitions.families)


def line(**record: Any) -> str:
    return json.dumps({"id": "r1", "complaint": "invented", **record})


def results(definitions, code_map, *lines: str, understand=None) -> list[dict[str, Any]]:
    return list(
        run(
            read_records("records", lines, code_map), definitions.families["disc_drive"], code_map, understand
        )
    )


def test_shipped_map_names_its_source_and_licence_and_covers_every_fault(definitions, code_map):
    assert "Open Repair Alliance" in code_map.source
    assert code_map.licence == "CC BY-SA 4.0"
    assert set(code_map.faults) == set(definitions.families["disc_drive"].faults)


def test_given_facts_are_taken_and_all_causes_are_ranked(definitions, code_map):
    (found,) = results(
        definitions,
        code_map,
        line(facts=["wont_eject", "disc_stuck"], denied=["no_power"], device="hifi", loading="tray"),
    )

    assert (found["id"], found["facts"], found["denied"]) == (
        "r1",
        ["wont_eject", "disc_stuck"],
        ["no_power"],
    )
    chances = [chance for _, chance in found["faults"]]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) == pytest.approx(1.0, abs=1e-4)
    assert {code for code, _ in found["faults"]} == set(code_map.faults.values())
    assert found["faults"][0][0] in ("jammed_disc", "loader_gear_or_mechanism", "belt_or_roller")


def test_record_without_facts_ranks_by_what_is_known_of_the_device(definitions, code_map):
    (found,) = results(definitions, code_map, line(device="portable", age_years="8"))

    disc = definitions.families["disc_drive"]
    known = with_implied(disc, answers(device_kind="portable_player", age_years=8))
    expected = ranked_codes(diagnose(disc, known), code_map)
    assert found["faults"] == [[code, round(chance, 6)] for code, chance in expected]


def test_unknown_device_and_loading_words_say_nothing(definitions, code_map):
    plain, odd = results(
        definitions, code_map, line(), line(device="gramophone", loading="unknown", age_years="")
    )

    assert plain["faults"] == odd["faults"]


def test_complaint_is_read_when_an_understanding_is_given(definitions, code_map):
    def reads_power(complaint: str, about) -> dict[str, Answer]:
        return {"no_power": Answer("yes", "heard", 0.9)} if "dead" in complaint else {}

    (found,) = results(definitions, code_map, line(complaint="quite dead"), understand=reads_power)

    assert (found["facts"], found["denied"]) == (["no_power"], [])


def test_answers_become_codes_on_both_sides(code_map):
    asserted, denied = codes_for(
        answers(noise="whirring", spins="yes", opened="shop", no_power="no"), code_map
    )

    assert asserted == ["noise_other", "opened", "shop_tried"]
    assert denied == ["disc_does_not_spin", "no_power"]


def test_empty_lines_are_passed_over(definitions, code_map):
    assert len(results(definitions, code_map, "", line(), "   \n")) == 1


@pytest.mark.parametrize(
    ("bad", "where", "said"),
    [
        ("{", "records:2", "one JSON object"),
        ("[1]", "records:2", "one JSON object"),
        ('{"complaint": "x"}', "records:2: id", "an id"),
        ('{"id": "a"}', "records:2: complaint", "a text"),
        ('{"id": "a", "complaint": 3}', "records:2: complaint", "a text"),
        ('{"id": "a", "complaint": "", "facts": "no_power"}', "records:2: facts", "a list"),
        (
            '{"id": "a", "complaint": "", "facts": ["no_powr"]}',
            "records:2: facts",
            "did you mean 'no_power'?",
        ),
        ('{"id": "a", "complaint": "", "denied": [3]}', "records:2: denied", "a code of the map"),
        ('{"id": "a", "complaint": "", "device": 3}', "records:2: device", "a word"),
        ('{"id": "a", "complaint": "", "age_years": "old"}', "records:2: age_years", "years"),
        ('{"id": "a", "complaint": "", "age_years": -1}', "records:2: age_years", "years"),
        ('{"id": "a", "complaint": "", "age_years": NaN}', "records:2: age_years", "years"),
    ],
)
def test_malformed_line_is_refused_naming_it(code_map, bad, where, said):
    with pytest.raises(BadInputError) as refused:
        list(read_records("records", [line(), bad], code_map))

    assert refused.value.where == where
    assert said in str(refused.value)


GOOD_MAP = "family: disc_drive\nfaults: {}\n"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("- 1", "a mapping"),
        ("family: cassette", "one of ['disc_drive']"),
        ("a: [", "a readable YAML file"),
        (GOOD_MAP, "a code for every fault"),
        ("family: disc_drive\nfacts: {x: {fact: no_powr}}", "did you mean 'no_power'?"),
        ('family: disc_drive\nfacts: {x: {fact: noise, asserted: ["loud"]}}', "a list of"),
        ("family: disc_drive\nfaults: {lens_drity: x}", "did you mean 'lens_dirty'?"),
        ("family: disc_drive\nfacts: 3", "a mapping"),
    ],
)
def test_bad_map_is_refused_naming_the_place(definitions, content, said):
    with pytest.raises(BadInputError, match="map") as refused:
        read_code_map("map.yaml", content.encode(), definitions.families)

    assert said in str(refused.value)


def test_command_prints_one_line_a_record(tmp_path: Path, root: Path, capsys):
    file = tmp_path / "records.jsonl"
    file.write_text(line(facts=["no_power"]) + "\n" + line(facts=["disc_not_read"]) + "\n")

    status = main([str(file), "--codes", str(root / MAP), "--given-facts", "--definitions", str(root)])

    printed = capsys.readouterr().out.splitlines()
    assert status == 0
    assert [set(json.loads(each)) for each in printed] == [{"id", "facts", "denied", "faults"}] * 2


def test_command_reads_complaints_with_the_projects_own_understanding(tmp_path: Path, root: Path, capsys):
    file = tmp_path / "records.jsonl"
    file.write_text(line(complaint="It has no power at all, completely dead.") + "\n")

    status = main([str(file), "--codes", str(root / MAP), "--definitions", str(root)])

    (found,) = [json.loads(each) for each in capsys.readouterr().out.splitlines()]
    assert status == 0
    assert "no_power" in found["facts"]


@pytest.mark.parametrize("content", ["{\n", '{"id": 1}\n'])
def test_command_says_which_line_is_wrong(tmp_path: Path, root: Path, capsys, content):
    file = tmp_path / "bad.jsonl"
    file.write_text(content)

    status = main([str(file), "--codes", str(root / MAP), "--given-facts", "--definitions", str(root)])

    assert status == 2
    assert "bad.jsonl:1" in capsys.readouterr().err


def test_command_says_that_a_file_is_missing(tmp_path: Path, root: Path, capsys):
    status = main(
        [
            str(tmp_path / "none.jsonl"),
            "--codes",
            str(root / MAP),
            "--given-facts",
            "--definitions",
            str(root),
        ]
    )

    assert status == 2
    assert "none.jsonl" in capsys.readouterr().err
