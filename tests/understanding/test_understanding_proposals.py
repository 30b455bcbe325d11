"""The light model proposes and never states."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from intakebot.definitions.model import Family
from intakebot.understanding import understand, warm
from intakebot.understanding.proposer import train_proposer

VAGUE = (
    "the pictures come and go in fits and starts, frozen bits all over. It chewed my favourite album to bits."
)


def test_a_proposal_is_marked_as_the_models_and_is_no_stated_fact(hear: Callable[..., Any]) -> None:
    heard = hear("tried quite a few different ones all the same result. It won't switch on.")

    stated = {fact.fact for fact in heard.facts}
    assert "no_power" in stated
    assert all(guess.source == "model" and guess.fact not in stated for guess in heard.proposals)
    assert len(heard.proposals) <= 3


def test_the_model_can_be_switched_off(family: Family) -> None:
    assert understand(VAGUE, family, "en", proposals=False).proposals == ()


def test_small_talk_proposes_nothing(hear: Callable[..., Any]) -> None:
    for text in [
        "hi there",
        "thanks in advance",
        "hope you can help",
        "kind regards Jo",
        "how much would that cost",
    ]:
        assert hear(text).proposals == ()


def test_training_twice_gives_the_same_weights(family: Family) -> None:
    lexicon = warm(family, "de").lexicon

    first, second = train_proposer(lexicon), train_proposer(lexicon)

    assert first is not None
    assert second is not None
    assert np.array_equal(first.weights, second.weights)


def test_the_model_recognises_most_of_its_own_phrases(family: Family) -> None:
    """A sanity check of the training, not of its worth on unseen text."""
    reader = warm(family, "en")
    proposer = reader.proposer
    assert proposer is not None
    rows = [row for row in reader.lexicon.examples if row[0]][::7]

    right = 0
    for fact, value, text in rows:
        guesses = proposer.guess([reader.lexicon.language.stem(word) for word in text.split()])
        right += bool(guesses) and guesses[0][:2] == (fact, value)

    assert right / len(rows) > 0.5
