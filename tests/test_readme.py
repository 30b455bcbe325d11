"""The README tells the truth: its talk is what the engine says, its commands exist.

Run this file to print the talk anew: `python tests/test_readme.py`.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from intakebot.cli import _parser
from intakebot.demonstration import play, stories
from intakebot.demonstration.show import bubble
from intakebot.services import no_links
from intakebot.serving import make_app, open_shop
from intakebot.settings import read_settings

README = Path(__file__).resolve().parent.parent / "README.md"
MARKS = re.compile(r"<!-- talk: (\w+) -->\n(.*?)<!-- end of talk -->", re.DOTALL)


def talk_block(name: str, folder: Path) -> str:
    """The talk of a story as it stands in the README."""
    shop = open_shop(read_settings({"INTAKEBOT_DATA_DIR": str(folder)}))
    try:
        talk = play(replace(shop.turns, links=no_links), stories()[name]).talk
    finally:
        shop.store.close()
    decided = next(i for i, (who, text) in enumerate(talk) if who == "customer" and text.startswith("("))
    return "```text\n" + "\n".join(bubble(who, text) for who, text in talk[:decided]).rstrip() + "\n```\n"


def test_talk_in_the_readme_is_what_the_engine_says(tmp_path: Path):
    name, block = MARKS.search(README.read_text(encoding="utf-8")).groups()

    assert block == talk_block(name, tmp_path)


def test_talk_in_the_readme_ends_in_a_price_with_a_maximum():
    _, block = MARKS.search(README.read_text(encoding="utf-8")).groups()

    assert "The most you can pay is" in " ".join(block.split())
    assert "£" in block


@pytest.mark.parametrize(
    "command", re.findall(r"^intakebot (\w+)", README.read_text(encoding="utf-8"), re.MULTILINE)
)
def test_every_command_in_the_readme_exists(command: str):
    assert command in _parser().format_help()


def test_readme_opens_with_the_job():
    first = README.read_text(encoding="utf-8").split("\n\n")[1]

    assert first.startswith("A practitioner runs a one-bench, mail-in repair shop")


@pytest.fixture
def served(tmp_path: Path) -> Iterator[str]:
    from tests.serving import serving  # here: this file is also run by itself, from the folder above

    shop = open_shop(read_settings({"INTAKEBOT_DATA_DIR": str(tmp_path / "data")}))
    with serving(make_app(shop), threads=2) as port:
        yield f"http://127.0.0.1:{port}/api/v1"
    shop.store.close()


@pytest.mark.skipif(shutil.which("curl") is None, reason="curl is not installed")
def test_api_example_in_the_readme_runs(served: str):
    text = README.read_text(encoding="utf-8")
    block = re.search(r"## The API by example\n.*?```sh\n(.*?)```", text, re.DOTALL)

    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", block.group(1)], env={**os.environ, "BASE": served}, capture_output=True,
        text=True, timeout=60, check=False,
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    assert '"dvd_result"' in done.stdout


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    found = MARKS.search(text)
    with tempfile.TemporaryDirectory() as folder:
        block = talk_block(found.group(1), Path(folder))
    README.write_text(text[: found.start(2)] + block + text[found.end(2) :], encoding="utf-8")
    sys.exit(0)
