"""Each folder of tests/broken/ differs from tests/broken/_good by one file and breaks one rule.

`expected.txt` holds every line that `intakebot check` must print for it, and no other.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from intakebot.definitions import check, load_definitions
from intakebot.definitions.rules import RULES_OF_FAMILY, RULES_OF_PRICING
from intakebot.errors import DefinitionError

BROKEN = Path(__file__).resolve().parent.parent / "broken"
FOLDERS = sorted(path.name for path in BROKEN.iterdir() if path.is_dir() and path.name != "_good")


def made(name: str, tmp_path: Path) -> Path:
    shutil.copytree(BROKEN / "_good", tmp_path / "d")
    shutil.copytree(BROKEN / name, tmp_path / "d", dirs_exist_ok=True)
    return tmp_path / "d"


def test_good_folder_has_no_problems():
    assert check(BROKEN / "_good") == []


@pytest.mark.parametrize("name", FOLDERS)
def test_broken_folder_is_explained_line_by_line(name: str, tmp_path: Path):
    root = made(name, tmp_path)

    found = [str(problem) for problem in check(root)]

    assert found == (BROKEN / name / "expected.txt").read_text(encoding="utf-8").splitlines()
    assert found


@pytest.mark.parametrize("name", FOLDERS)
def test_broken_folder_never_becomes_definitions(name: str, tmp_path: Path):
    with pytest.raises(DefinitionError) as caught:
        load_definitions(made(name, tmp_path))

    assert len(caught.value.problems) >= 1


def test_every_rule_has_a_broken_folder():
    rules = {rule.__name__ for rule in (*RULES_OF_FAMILY, *RULES_OF_PRICING)} | {"locales_match"}

    assert rules - set(FOLDERS) == set()


def test_several_problems_are_all_reported_at_once_and_sorted(tmp_path: Path):
    found = check(made("several_at_once", tmp_path))

    assert [problem.line for problem in found] == sorted(problem.line for problem in found)
    assert len(found) == 3
