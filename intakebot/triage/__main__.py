"""`python -m intakebot.triage FILE.json`: plan one problem, or a list of them, and print the result as JSON.

Exit status 0; 2 when the file cannot be read or a problem is not well formed (one line on standard error says where).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from intakebot.errors import PlanningProblemError
from intakebot.triage.planner import plan
from intakebot.triage.problem import PlanningProblem


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m intakebot.triage", description="Plan repair steps.")
    parser.add_argument("file", help="JSON: one planning problem, or a list of them; - reads standard input")
    path = parser.parse_args(argv).file
    try:
        raw = sys.stdin.buffer.read() if path == "-" else Path(path).read_bytes()
        data = json.loads(raw.decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        print(f"{path}: cannot be read as JSON: {error}", file=sys.stderr)
        return 2
    try:
        if isinstance(data, list):
            solved: Any = [_solved(item, f"[{index}].") for index, item in enumerate(data)]
        else:
            solved = _solved(data, "")
    except PlanningProblemError as error:
        print(f"{path}: {error}", file=sys.stderr)
        return 2
    print(json.dumps(solved, allow_nan=False))
    return 0


def _solved(item: Any, prefix: str) -> dict[str, Any]:
    try:
        problem = PlanningProblem.from_mapping(item)
    except PlanningProblemError as error:
        raise PlanningProblemError(prefix + error.where, error.found, error.expected) from None
    return plan(problem).to_mapping()


if __name__ == "__main__":
    sys.exit(main())
