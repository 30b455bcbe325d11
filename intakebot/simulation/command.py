"""`intakebot simulate`: talks with simulated customers, with progress and a report."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from intakebot.definitions import load_definitions
from intakebot.simulation.report import report_lines, text_report
from intakebot.simulation.run import simulate

OWN_FOLDER = Path(__file__).resolve().parents[2]
DAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
"""Every run plays on this day, so that a report depends on the definitions and the seed alone."""


def run(argv: Sequence[str], out: TextIO | None = None, progress_to: TextIO | None = None) -> int:
    """Play the talks, print the report; 0 when every goal was met, 2 when one was not.

    Raises: DefinitionError when the folder of definitions has problems.
    """
    out, progress_to = out or sys.stdout, progress_to or sys.stderr
    options = _parser().parse_args(list(argv))
    definitions = load_definitions(Path(options.flows))

    def progress(done: int, of: int) -> None:
        if done % 10 == 0 or done == of:
            print(f"\r{done} of {of} talks", end="\n" if done == of else "", file=progress_to, flush=True)

    talks = simulate(definitions, options.customers, options.seed, progress, now=DAY)
    if options.json:
        print(json.dumps([asdict(talk) for talk in talks], ensure_ascii=False, indent=1), file=out)
    else:
        print(text_report(talks), file=out)
    for talk in talks:
        if options.show and (options.show == talk.persona or options.show == talk.ending):
            print(f"\n{talk.persona}, {talk.channel}, {talk.ending}", *talk.transcript, sep="\n", file=out)
    return 0 if all(line.met is not False for line in report_lines(talks)) else 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="intakebot simulate", description="Talks with simulated customers, and what they show."
    )
    parser.add_argument("--customers", type=int, default=120, help="how many talks (default 120)")
    parser.add_argument("--seed", type=int, default=1, help="the same seed gives the same talks (default 1)")
    parser.add_argument(
        "--flows",
        default=str(OWN_FOLDER),
        help="folder that holds flows/ and pricing/ (default: the project's own)",
    )
    parser.add_argument("--json", action="store_true", help="print every talk as JSON instead of the report")
    parser.add_argument(
        "--show", default="", metavar="PERSONA", help="also print the talks of one persona, or of one ending"
    )
    return parser
