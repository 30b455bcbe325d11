"""The shipped light model: made from what is in flows/, as good as one trained now, and put aside when something changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from intakebot import understanding
from intakebot.understanding import trained, warm
from intakebot.understanding.proposer import train_proposer, words_of

PACKAGE = Path(understanding.__file__).parent


@pytest.mark.parametrize("locale", ["en", "de"])
def test_the_shipped_model_was_trained_from_what_is_in_flows(family, locale):
    lexicon = warm(family, locale).lexicon

    with np.load(PACKAGE / trained.name_of(lexicon), allow_pickle=False) as kept:
        assert str(kept["digest"]) == trained.digest_of(lexicon), "run tests/understanding/fit_light_model.py"


def test_it_gives_the_chances_that_training_gives(family):
    lexicon = warm(family, "de").lexicon
    shipped, fresh = trained.light_model(lexicon), train_proposer(lexicon)

    assert shipped.labels == fresh.labels
    for text in ("die Schublade geht nicht auf", "es riecht verbrannt", "CDs laufen, DVDs nicht"):
        words = words_of(text, lexicon.language)
        assert shipped.chances(words) == pytest.approx(fresh.chances(words), abs=0.02)


def test_after_a_change_it_is_trained_anew(family, monkeypatch):
    lexicon = warm(family, "de").lexicon
    changed = replace(lexicon, sentences=lexicon.sentences[1:])
    calls = []
    monkeypatch.setattr(trained, "train_proposer", lambda given: calls.append(given))

    trained.light_model(lexicon)
    assert calls == []
    trained.light_model(changed)
    assert calls == [changed]


def test_a_written_file_is_read_back(family, tmp_path):
    lexicon = warm(family, "de").lexicon
    few = replace(lexicon, sentences=lexicon.sentences[:40])

    path = trained.write_model(few, tmp_path)

    with np.load(path, allow_pickle=False) as kept:
        assert str(kept["digest"]) == trained.digest_of(few)
        assert kept["steps"].dtype == np.int8
