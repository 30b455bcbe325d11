"""Secrets and ids. Customers' tokens and shop keys are 256 bits from the operating system; only SHA-256 is stored.

A plain hash (no salt, no slow function) is right here because the input is already uniformly random and long.
"""

from __future__ import annotations

import hashlib
import secrets
from typing import Protocol

_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # no 0/O, 1/I/L, U: read over the phone without doubt


def hash_secret(secret: str) -> str:
    """SHA-256 of a secret, as hex; what is stored instead of it."""
    return hashlib.sha256(secret.encode()).hexdigest()


def new_secret() -> str:
    """256 random bits, URL-safe (43 characters)."""
    return secrets.token_urlsafe(32)


class Ids(Protocol):
    """Where new names come from; a test passes a seeded one."""

    def case_id(self) -> str: ...
    def reference(self) -> str: ...
    def secret(self) -> str: ...
    def message_id(self, prefix: str) -> str: ...


class RandomIds:
    """From the operating system's random source."""

    def case_id(self) -> str:
        return "c_" + secrets.token_hex(16)

    def reference(self) -> str:
        """Seven characters as XXX-XXXX: 22 thousand million of them, enough for retries on a clash to be rare."""
        text = "".join(secrets.choice(_LETTERS) for _ in range(7))
        return f"{text[:3]}-{text[3:]}"

    def secret(self) -> str:
        return new_secret()

    def message_id(self, prefix: str) -> str:
        """An id such as `msg_...`, without dots (Standard Webhooks signs `id.timestamp.body`)."""
        return f"{prefix}_{secrets.token_hex(16)}"


class SeededIds:
    """Predictable ids for tests and the demo; never for a real shop."""

    def __init__(self, seed: str = "seed") -> None:
        self._seed = seed
        self._count = 0

    def _next(self) -> str:
        self._count += 1
        return hashlib.sha256(f"{self._seed}:{self._count}".encode()).hexdigest()

    def case_id(self) -> str:
        return "c_" + self._next()[:32]

    def reference(self) -> str:
        digest = bytes.fromhex(self._next())
        text = "".join(_LETTERS[byte % len(_LETTERS)] for byte in digest[:7])
        return f"{text[:3]}-{text[3:]}"

    def secret(self) -> str:
        return self._next()[:43]

    def message_id(self, prefix: str) -> str:
        return f"{prefix}_{self._next()[:32]}"
