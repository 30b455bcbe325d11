"""Train the light model for the sentences in flows/ and write it to `intakebot/understanding/trained/`.

    python tests/understanding/fit_light_model.py

To be run after sentences, phrases or word classes in flows/ were changed (`test_understanding_trained.py` tells). Then see whether the weights of
the doubt still hold: `fit_doubt.py`.
"""

from __future__ import annotations

from pathlib import Path

from intakebot import understanding
from intakebot.definitions import load_definitions
from intakebot.understanding import warm
from intakebot.understanding.trained import write_model

ROOT = Path(__file__).resolve().parents[2]


def main() -> None:
    family = load_definitions(ROOT).families["disc_drive"]
    for locale in sorted(family.phrases):
        path = write_model(warm(family, locale).lexicon, Path(understanding.__file__).parent)
        print(path, path.stat().st_size if path else "too few sentences")


if __name__ == "__main__":
    main()
