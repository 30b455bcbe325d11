"""No acknowledged turn is lost and none is half there when the process is killed at any moment."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

LOOP = Path(__file__).with_name("kill_loop.py")


def _run(folder: Path, kills: int, seed: int, *url: str) -> dict[str, int]:
    """In a process of its own, because it forks."""
    command = [sys.executable, str(LOOP), str(folder), str(kills), str(seed), *url]
    done = subprocess.run(command, capture_output=True, text=True, timeout=1800, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    result: dict[str, int] = json.loads(done.stdout)
    return result


def test_15_kills_lose_no_acknowledged_turn(tmp_path: Path) -> None:
    result = _run(tmp_path, kills=15, seed=1)

    assert result["kills"] == 15
    assert result["acknowledged"] > 15


@pytest.mark.soak
def test_1000_kills_lose_no_acknowledged_turn(tmp_path: Path) -> None:
    result = _run(tmp_path, kills=1000, seed=2)
    print(result)

    assert result["kills"] == 1000
