"""A copy of the message that is easy to match, and the way back to the original.

The original is never changed. The copy is NFKC-normalised, case-folded, without marks, zero-width and other
default-ignorable characters, with ASCII digits, plain quotes and dashes. Every character of the copy remembers which
characters of the original it came from, so that spans can be given in the original text.

Umlauts become ae, oe, ue (as people type them without the key), other accents are dropped. Superscript digits keep
their NFKC value. Source: Unicode Standard Annex 15 (normalisation), DerivedCoreProperties (default ignorable).
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache

MAX_CHARS = 4000
"""Longest copy that is read; what comes after it is ignored (one character may fold to up to 18)."""

MAX_MARKS = 8
"""Combining marks looked at after one base character; more are decoration."""

_IGNORABLE_RANGES = (
    (0x00AD, 0x00AD), (0x034F, 0x034F), (0x061C, 0x061C), (0x115F, 0x1160), (0x17B4, 0x17B5), (0x180B, 0x180F),
    (0x200B, 0x200F), (0x202A, 0x202E), (0x2060, 0x206F), (0x3164, 0x3164), (0xFE00, 0xFE0F), (0xFEFF, 0xFEFF),
    (0xFFA0, 0xFFA0), (0xFFF0, 0xFFF8), (0x1BCA0, 0x1BCA3), (0x1D173, 0x1D17A), (0xE0000, 0xE0FFF),
)  # fmt: skip

_PLAIN = {
    "‘": "'", "’": "'", "‚": "'", "‛": "'", "`": "'", "´": "'", "′": "'", "ʼ": "'", "＇": "'",
    "“": '"', "”": '"', "„": '"', "‟": '"', "″": '"', "«": '"', "»": '"',
    "‐": "-", "‑": "-", "‒": "-", "–": " - ", "—": " - ", "―": " - ", "−": "-", "•": "\n", "·": " ",
    "…": " ... ",
}  # fmt: skip


_ASCII = {chr(code): " " for code in (*range(32), 127) if chr(code) not in "\n\t"} | {"\r": "\n", "`": "'"}
_ASCII_TABLE = str.maketrans(_ASCII)


@dataclass(frozen=True)
class Folded:
    """`text[i]` came from `original[starts[i]:ends[i]]`."""

    original: str
    text: str
    starts: tuple[int, ...]
    ends: tuple[int, ...]

    def span(self, start: int, end: int) -> tuple[int, int]:
        """Span in the original of text[start:end] (start < end)."""
        return self.starts[start], self.ends[end - 1]


def is_ignorable(char: str) -> bool:
    """True for characters that a reader never sees (Unicode default-ignorable code points)."""
    code = ord(char)
    return any(low <= code <= high for low, high in _IGNORABLE_RANGES)


@lru_cache(maxsize=4096)
def _fold_group(group: str) -> str:
    """Fold one base character with its marks."""
    if len(group) == 1 and group in _PLAIN:
        return _PLAIN[group]
    out: list[str] = []
    for char in unicodedata.normalize("NFD", unicodedata.normalize("NFKC", group).casefold()):
        if char == "\u0308" and out and out[-1] in "aou":
            out.append("e")
        elif unicodedata.category(char) in ("Mn", "Me", "Cf"):
            continue
        elif char in _PLAIN:
            out.append(_PLAIN[char])
        elif char.isdecimal():
            out.append(str(unicodedata.decimal(char)))
        elif unicodedata.category(char)[0] == "C" and char not in "\n\t":
            out.append(" ")
        else:
            out.append("\n" if char in "\r\u2028\u2029\x0b\x0c" else char)
    return "".join(out)


def fold(original: str) -> Folded:
    """Fold a text; linear in its length, at most MAX_CHARS of folded text."""
    if original.isascii():
        text = original[:MAX_CHARS].translate(_ASCII_TABLE).lower()
        return Folded(original, text, tuple(range(len(text))), tuple(range(1, len(text) + 1)))
    out: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    position, total = 0, len(original)
    while position < total and len(out) < MAX_CHARS:
        start = position
        char = original[position]
        position += 1
        if char.isascii() and (position == total or original[position].isascii()):
            out.append(_ASCII.get(char) or char.lower())
            starts.append(start)
            ends.append(position)
            continue
        if is_ignorable(char):
            continue
        group = [char]
        while position < total and (
            unicodedata.combining(original[position]) or is_ignorable(original[position])
        ):
            if len(group) <= MAX_MARKS and not is_ignorable(original[position]):
                group.append(original[position])
            position += 1
        folded = _fold_group("".join(group))
        out.extend(folded)
        starts.extend([start] * len(folded))
        ends.extend([position] * len(folded))
    return Folded(original, "".join(out)[:MAX_CHARS], tuple(starts[:MAX_CHARS]), tuple(ends[:MAX_CHARS]))
