"""Passwords: what is accepted, and how they are kept (argon2id).

Parameters: t = 2, m = 19456 KiB, p = 1, one of the settings listed in OWASP ASVS 5.0, Appendix C. A semaphore bounds
how many are computed at once, so that many sign-ins cannot take all the memory. Exact bytes: no trimming, no
truncation, no composition rules.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

MINIMUM_LENGTH = 12
MAXIMUM_LENGTH = 200

_HASHER = PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)
_ROOM = threading.BoundedSemaphore(4)

# Words that lists of leaked passwords are full of; a password made of one of them and digits is refused (from memory).
_COMMON_WORDS_TEXT = """
    password passwort passwords kennwort qwerty qwertz qwertyuiop asdfghjkl zxcvbnm letmein welcome willkommen
    iloveyou admin administrator dragon monkey football baseball sunshine princess superman batman trustno master
    hallo hello changeme secret geheim login computer internet summer winter spring autumn abc abcdef abcdefgh
    repair reparatur workshop werkstatt intake intakebot
"""
_COMMON_WORDS = frozenset(_COMMON_WORDS_TEXT.split())


def hash_password(password: str) -> str:
    """The argon2id hash to store, parameters included."""
    with _ROOM:
        return _HASHER.hash(password)


def password_matches(stored: str | None, password: str) -> bool:
    """Whether the password is the stored one. With no stored hash the same work is done and the answer is no."""
    with _ROOM:
        try:
            matches = _HASHER.verify(stored or _decoy(), password)
        except (VerificationError, InvalidHashError):
            return False
    return matches and stored is not None


def needs_rehash(stored: str) -> bool:
    """Whether a stored hash was made with other parameters than today's."""
    return _HASHER.check_needs_rehash(stored)


def weakness(password: str, context: Iterable[str] = ()) -> str | None:
    """Why a password is refused, as the last part of a text key; None when it is fine.

    context: names and addresses of the person and the shop, which must not be most of the password.
    """
    if len(password) < MINIMUM_LENGTH:
        return "too_short"
    if len(password) > MAXIMUM_LENGTH:
        return "too_long"
    folded = password.casefold()
    if len(set(folded)) < 5 or _is_run(folded):
        return "too_simple"
    letters = "".join(character for character in folded if character.isalpha())
    if letters in _COMMON_WORDS or any(letters == word * 2 for word in _COMMON_WORDS):
        return "too_common"
    words = {part for item in context for part in item.casefold().replace("@", " ").split() if len(part) >= 4}
    if any(word in folded and len(folded) - len(word) < 6 for word in words):
        return "too_close"
    return None


def _is_run(text: str) -> bool:
    """Whether every character follows the one before it in the same small step, such as 123456789012."""
    steps = {
        (ord(b) - ord(a)) % 10 if a.isdigit() and b.isdigit() else ord(b) - ord(a) for a, b in pairwise(text)
    }
    return len(steps) == 1


_decoy_hash: list[str] = []


def _decoy() -> str:
    """A hash nobody's password has, made once, so that an unknown name costs as much time as a known one."""
    if not _decoy_hash:
        _decoy_hash.append(_HASHER.hash("no such person"))
    return _decoy_hash[0]
