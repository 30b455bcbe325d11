"""Killing the relay's process loses no delivery; and the campaign would notice if it did."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

LOOP = Path(__file__).with_name("relay_kill_loop.py")


def _run(folder: Path, events: int, kills: int, seed: int, *more: str) -> subprocess.CompletedProcess[str]:
    """In a process of its own, because it forks."""
    command = [sys.executable, str(LOOP), str(folder), str(events), str(kills), str(seed), *more]
    return subprocess.run(command, capture_output=True, text=True, timeout=1800, check=False)


def _counted(done: subprocess.CompletedProcess[str]) -> dict[str, float]:
    assert done.returncode == 0, done.stderr[-2000:]
    result: dict[str, float] = json.loads(done.stdout)
    return result


def test_a_relay_killed_a_dozen_times_loses_nothing_and_keeps_the_order(tmp_path: Path) -> None:
    result = _counted(_run(tmp_path, events=40, kills=15, seed=1))

    assert result["kills"] >= 8
    assert result["deliveries"] > 9 * 40
    assert result["requests_without_a_note"] > 0  # kills did hit between sending and noting


def test_a_relay_that_marks_before_it_sends_is_found_out(tmp_path: Path) -> None:
    """The planted bug: it loses what a kill hits in between, so the campaign must fail."""
    done = _run(tmp_path, 40, 15, 1, "--planted")

    assert done.returncode != 0
    assert "misses" in done.stderr


@pytest.mark.soak
def test_a_thousand_events_to_ten_hostile_receivers_with_200_kills(tmp_path: Path) -> None:
    result = _counted(_run(tmp_path, events=1000, kills=200, seed=2))
    print(result)

    assert result["deliveries"] > 9 * 1000
