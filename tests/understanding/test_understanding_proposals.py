"""The light model proposes and never states."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from intakebot.definitions.model import Family
from intakebot.understanding import understand, warm
from intakebot.understanding.proposer import train_proposer, words_of

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


def test_the_model_recognises_most_of_its_own_sentences(family: Family) -> None:
    """A sanity check of the training, not of its worth on unseen text."""
    reader = warm(family, "en")
    proposer = reader.proposer
    assert proposer is not None
    rows = [
        (set(example.facts.items()), words_of(example.text, reader.lexicon.language))
        for example in reader.lexicon.sentences
        if example.facts
    ][::7]

    right = sum(bool(stated & {guess[:2] for guess in proposer.guess(words)}) for stated, words in rows)

    assert right / len(rows) > 0.6


def test_sentences_that_state_nothing_are_left_alone(family: Family) -> None:
    reader = warm(family, "en")
    proposer = reader.proposer
    assert proposer is not None
    silent = [
        words_of(example.text, reader.lexicon.language)
        for example in reader.lexicon.sentences
        if not example.facts and not example.open
    ]

    assert len(silent) > 100
    assert sum(bool(proposer.guess(words)) for words in silent) / len(silent) < 0.08
