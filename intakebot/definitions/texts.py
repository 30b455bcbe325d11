"""Texts by key, locale and wording. Placeholders are by name only; nothing in a text or a value is ever evaluated."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Definitions, Fact

PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")

TextMap = Mapping[str, str | tuple[str, ...]]


class MissingTextError(LookupError):
    """No text for this key: a fault of the definitions, which `intakebot check` reports."""


@dataclass(frozen=True)
class Texts:
    """The texts of one locale: the family's first, then the shared ones."""

    definitions: Definitions
    family_id: str | None
    locale: str

    def _find(self, key: str) -> str | tuple[str, ...] | None:
        if self.family_id is not None:
            found = self.definitions.families[self.family_id].texts.get(self.locale, {}).get(key)
            if found is not None:
                return found
        return self.definitions.core_texts.get(self.locale, {}).get(key)

    def has(self, key: str) -> bool:
        return self._find(key) is not None

    def wordings(self, key: str) -> int:
        """How many wordings a key has; 0 when there is none."""
        found = self._find(key)
        return 0 if found is None else 1 if isinstance(found, str) else len(found)

    def say(self, key: str, wording: int = 0, **values: object) -> str:
        """The text, with its placeholders filled by name; the last wording is used when there are fewer.

        Raises: MissingTextError.
        """
        found = self._find(key)
        if found is None:
            raise MissingTextError(f"no text {key!r} in {self.locale!r}")
        text = found if isinstance(found, str) else found[min(wording, len(found) - 1)]
        return fill(text, values)

    def option(self, fact: Fact, value: Value) -> str:
        """Label of an option: the fact's own, else the shared one of that code, else the code as words."""
        for key in (f"option.{fact.id}.{value}", f"option.{value}"):
            if self.has(key):
                return self.say(key)
        return str(value).replace("_", " ")


def fill(text: str, values: Mapping[str, object]) -> str:
    """Replace `{name}` by its value where one is given; everything else stays literal."""
    return PLACEHOLDER.sub(lambda match: str(values.get(match.group(1), match.group(0))), text)


def flatten(data: object, prefix: str = "") -> dict[str, str | tuple[str, ...]]:
    """Nested mappings of texts to dotted keys; leaves are strings or lists of strings, others are left out."""
    if isinstance(data, str):
        return {prefix: data}
    if isinstance(data, list) and data and all(isinstance(item, str) for item in data):
        return {prefix: tuple(data)}
    if isinstance(data, dict):
        flat: dict[str, str | tuple[str, ...]] = {}
        for key, value in data.items():
            flat.update(flatten(value, f"{prefix}.{key}" if prefix else str(key)))
        return flat
    return {}
