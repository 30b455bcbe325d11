"""Fit the weights of `intakebot/conversation/leanings.json`, and say by five-fold cross-validation how far they carry.

    python tests/conversation/fit_leanings.py [--check]

Labelled sentences: `opt_out_opened.jsonl` and `wishes_opened.jsonl` here; for neither wish: the labelled sentences of the reader in flows/ and the
answers in tests/understanding/. AdaGrad steps (Duchi et al. 2011) in a fixed order. A feature is divided by the root of how many the
message has, as in `leanings`. Only features seen twice are kept, and only weights that are not next to nothing.
"""

from __future__ import annotations

import json
import random
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from intakebot.conversation.guard import key
from intakebot.conversation.leanings import SURE, WORTH_ASKING, features

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
TARGET = ROOT / "intakebot" / "conversation" / "leanings.json"
WISHES = ("stop", "person")
EPOCHS, RATE, BIAS = 12, 1.0, -2.0
NEXT_TO_NOTHING = 0.12
Row = tuple[str, str]


def labelled() -> list[Row]:
    """(text, wish or "none") of sentences that are one of the wishes or look like one."""
    kinds = {"optout": "stop", "person": "person", "none": "none"}
    rows = [
        (each["text"], "stop" if each["optout"] else "none") for each in _lines(HERE / "opt_out_opened.jsonl")
    ]
    return rows + [(each["text"], kinds[each["kind"]]) for each in _lines(HERE / "wishes_opened.jsonl")]


def ordinary() -> list[Row]:
    """What customers write otherwise."""
    texts = [
        each["text"]
        for locale in ("en", "de")
        for each in _lines(ROOT / "flows/disc_drive/examples" / f"{locale}.jsonl")
    ]
    for path in sorted((ROOT / "tests/understanding").glob("answers_*.txt")):
        rows = (line.split("|") for line in path.read_text(encoding="utf-8").splitlines() if "|" in line)
        texts += [row[2].strip() for row in rows if row[0][0] != "#" and row[0].strip() != "needs_person"]
    return [(text, "none") for text in texts]


def _lines(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line]


def fit(rows: Sequence[Row], wish: str) -> dict[str, object]:
    """bias and weights of one wish."""
    found = [sorted(set(features(key(text)))) for text, _ in rows]
    often = Counter(each for row in found for each in row)
    names = sorted(each for each, times in often.items() if times > 1)
    place = {name: at for at, name in enumerate(names)}
    data = [
        (np.array([place[each] for each in row if each in place], dtype=np.int64), float(label == wish))
        for row, (_, label) in zip(found, rows, strict=True)
    ]
    data = [(where, wanted) for where, wanted in data if len(where)]
    weights, steps, bias = np.zeros(len(names)), np.full(len(names), 0.1), BIAS
    shuffle = random.Random(1)
    for _ in range(EPOCHS):
        shuffle.shuffle(data)
        for where, wanted in data:
            scale = 1 / np.sqrt(len(where))
            slope = 1 / (1 + np.exp(-(weights[where].sum() * scale + bias))) - wanted
            if abs(slope) < 0.005:
                continue
            steps[where] += (slope * scale) ** 2
            weights[where] -= RATE * slope * scale / np.sqrt(steps[where])
            bias -= 0.02 * slope
    kept = {
        name: round(float(w), 2) for name, w in zip(names, weights, strict=True) if abs(w) > NEXT_TO_NOTHING
    }
    return {"bias": round(float(bias), 3), "weights": kept}


def chance(model: dict[str, object], text: str) -> float:
    """As `leanings.leanings`, for weights that are not shipped."""
    weights = model["weights"]
    assert isinstance(weights, dict)
    found = [weights[each] for each in set(features(key(text))) if each in weights]
    if not found:
        return 0.0
    return float(1 / (1 + np.exp(-(sum(found) / np.sqrt(len(found)) + model["bias"]))))


def folds(rows: Sequence[Row], beside: Sequence[Row], wish: str, count: int = 5) -> None:
    """How often sentences that were left out of the fit lean to the wish."""
    mixed = list(rows)
    random.Random(2).shuffle(mixed)
    scored: list[tuple[float, str]] = []
    plain: list[float] = []
    for fold in range(count):
        left_out = mixed[fold::count]
        model = fit([row for at, row in enumerate(mixed) if at % count != fold] + list(beside[::2]), wish)
        scored += [(chance(model, text), label) for text, label in left_out]
        plain += [chance(model, text) for text, _ in beside[1 :: 2 * count]]
    for least in (WORTH_ASKING, SURE[wish]):
        meant = [score >= least for score, label in scored if label == wish]
        other = [score >= least for score, label in scored if label != wish]
        print(
            f"{wish}, chance {least} and more: {sum(meant)} of {len(meant)} that mean it, {sum(other)} of {len(other)} that "
            f"look like it or mean another, {sum(each >= least for each in plain)} of {len(plain)} ordinary ones"
        )


def main() -> None:
    rows, beside = labelled(), ordinary()
    for wish in WISHES:
        folds(rows, beside, wish)
    if "--check" in sys.argv:
        return
    source = (
        f"tests/conversation/fit_leanings.py: {len(rows)} labelled sentences, {len(beside)} ordinary ones"
    )
    models = {wish: fit([*rows, *beside], wish) for wish in WISHES}
    TARGET.write_text(
        json.dumps({"source": source, "wishes": models}, ensure_ascii=False, indent=0, sort_keys=True) + "\n",
        encoding="utf-8",
    )
    print(TARGET, TARGET.stat().st_size, "bytes")


if __name__ == "__main__":
    main()
