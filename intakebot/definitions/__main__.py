"""`python -m intakebot.definitions [DIR]`: print every problem of the definitions in a folder; exit 1 if there are any."""

from __future__ import annotations

import sys
from pathlib import Path

from intakebot.definitions.loader import check


def main(argv: list[str]) -> int:
    problems = check(Path(argv[0] if argv else "."))
    for problem in problems:
        print(problem)
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
