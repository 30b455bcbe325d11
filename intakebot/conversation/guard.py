"""Cleaning of what arrives, before anything is read from it.

The original words are kept as they came (up to a cap); only copies are folded. Matching of whole messages works on a
*key*: compatibility-folded (NFKC), without invisible characters, letters that only look Latin turned into the Latin
ones (Unicode UTS #39 calls these confusables; only the Cyrillic and Greek ones of A to Z are listed here), lower case,
punctuation gone, blanks single. So `S-T-O-P !!` and a Cyrillic look-alike of STOP have the key `stop`.
"""

from __future__ import annotations

import re
import unicodedata

MAX_CHARACTERS = 4000
"""Longer messages are read up to here; the rest is only kept in the records."""
_KEY_CHARACTERS = 400
_LOOKALIKES = str.maketrans(
    "асеһіјкмнорԛѕтухузԝвгѵαβεικνορτυχ",
    "acehijkmhopqstyxy3wbrvabeiknoptux",
)
_INVISIBLE = {"Cf", "Cc", "Co", "Cs", "Cn"}
_SPELLED = re.compile(r"\b(?:[a-z] ){2,}[a-z]\b")


def readable(text: str) -> str:
    """The message cut to the cap, with characters that cannot be shown or stored turned into blanks or dropped."""
    cut = text[:MAX_CHARACTERS]
    kept = []
    for character in cut:
        if character in "\n\t" or unicodedata.category(character) not in _INVISIBLE:
            kept.append(character)
        elif unicodedata.category(character) == "Cc":
            kept.append(" ")
    return "".join(kept)


def key(text: str) -> str:
    """The folded form that whole-message controls are compared by; empty when nothing is left."""
    folded = unicodedata.normalize("NFKC", text[:_KEY_CHARACTERS]).casefold()
    folded = "".join(_without_accent(c) for c in folded if unicodedata.category(c) not in ("Cf", "Mn"))
    folded = _latin(folded)[:_KEY_CHARACTERS]
    folded = folded.replace("'", "").replace("\u2019", "")
    words = "".join(c if c.isalnum() else " " for c in folded)
    return " ".join(
        _SPELLED.sub(lambda found: found.group().replace(" ", ""), " ".join(words.split())).split()
    )


def _without_accent(character: str) -> str:
    """The plain letter; the German umlauts, which tell words apart, stay."""
    if character.isascii() or character in "äöüß":
        return character
    plain = "".join(c for c in unicodedata.normalize("NFKD", character) if unicodedata.category(c) != "Mn")
    return plain or character


def _latin(text: str) -> str:
    """Look-alikes become Latin only in a word that would otherwise mix or imitate it, never in real Cyrillic text."""
    words = re.split(r"(\s+)", text)
    return "".join(_latin_word(word) for word in words)


def _latin_word(word: str) -> str:
    if word.isascii():
        return word
    changed = word.translate(_LOOKALIKES)
    return changed if all(c.isascii() or not c.isalpha() or c in "äöüß" for c in changed) else word


_REACTION = re.compile(
    r"^\s*(?:liked|loved|disliked|laughed at|emphasi[sz]ed|questioned|reacted \S+ to|removed an? \w+ from|"
    r"gefällt|reagierte mit \S+ auf)\s*[\u201c\u201d\u201e\"'\u2018]",
    re.IGNORECASE,
)
_SIGNS = {"yes": "👍✅👌🆗", "no": "👎❌🚫"}


def is_reaction(text: str) -> bool:
    """A reaction to one of our messages that arrives as text (`Liked "..."`): it repeats our words and says nothing new."""
    return _REACTION.match(text[:80]) is not None


def sign_of(text: str) -> str | None:
    """`yes` or `no` for a message that is only a thumb or a tick."""
    bare = [c for c in text.strip()[:8] if unicodedata.category(c) not in ("Cf", "Mn", "Sk", "Zs")]
    return next((name for name, signs in _SIGNS.items() if bare and all(c in signs for c in bare)), None)


def is_empty(text: str) -> bool:
    """True when the message has neither a letter nor a digit nor a symbol such as an emoji."""
    return not any(unicodedata.category(c)[0] in "LNS" for c in text)
