"""Time of understanding: 60-word messages, growth with length, first use. Prints ratios and milliseconds.

Run: python tests/bench/bench_understanding.py
"""

from __future__ import annotations

import statistics
import time
from pathlib import Path

from intakebot.definitions import load_definitions
from intakebot.understanding import make_reader

STORY = (
    "Hi, my console won't read any discs, it clicks three times and then spits the game out. My brother opened it and cleaned the lens but it made no "
    "difference. CDs, DVDs and games all fail, no smoke or smell. I think it was dropped. Sometimes it works for ten minutes, then it freezes! I can spend "
    "up to 80 pounds and need it back by the 20th of December, my adress is jo@example.com. The tray opens fine and the lihgt comes on. "
)


def milliseconds(action: object, rounds: int = 7) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        action()  # type: ignore[operator]
        times.append(1000 * (time.perf_counter() - start))
    return min(times)


def main() -> None:
    family = load_definitions(Path(__file__).resolve().parents[2]).families["disc_drive"]
    start = time.perf_counter()
    reader = make_reader(family, "en")
    built = time.perf_counter()
    assert reader.proposer is not None
    trained = time.perf_counter()
    print(
        f"first use: lexicon {built - start:.2f} s, light model {trained - built:.2f} s (aim: both under 2 s)"
    )

    words = (STORY * 4).split()
    times = []
    for at in range(0, len(words) - 60, 2):
        message = " ".join(words[at : at + 60])
        start = time.perf_counter()
        reader.read(message)
        times.append(1000 * (time.perf_counter() - start))
    times.sort()
    print(
        f"60 words: p50 {statistics.median(times):.2f} ms, p95 {times[int(0.95 * len(times))]:.2f} ms (aim: p95 under 20 ms)"
    )

    text = (STORY * 20)[:4000]
    short = milliseconds(lambda: reader.read(text[:500]))
    long = milliseconds(lambda: reader.read(text))
    print(
        f"4,000 characters against 500: {long / short:.1f}x the time for 8x the length ({short:.1f} -> {long:.1f} ms)"
    )


if __name__ == "__main__":
    main()
