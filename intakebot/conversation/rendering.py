"""Replies as plain text and as SMS.

SMS arithmetic (3GPP TS 23.038 and 23.040): a text in the GSM 7-bit alphabet holds 160 septets, 153 in each part of a
joined one; characters of the extension table take two septets and are never split between parts. Any other character
turns the whole text into UCS-2: 70 code units, 67 in each joined part, a surrogate pair never split.
"""

from __future__ import annotations

import unicodedata

from intakebot.conversation.turn import Reply

GSM_BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
GSM_EXTENSION = "\f^{}\\[~]|€"
_TYPOGRAPHIC = str.maketrans(
    {
        "\u2018": "'", "\u2019": "'", "\u201a": "'", "\u201b": "'", "\u201c": '"', "\u201d": '"', "\u201e": '"',
        "\u00ab": '"', "\u00bb": '"', "\u2039": "'", "\u203a": "'", "`": "'", "\u00b4": "'", "\u2010": "-",
        "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2015": "-", "\u2212": "-", "\u2026": "...",
        "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2022": "-", "\u00b7": "-", "\u00d7": "x", "\u2192": "->",
        "\t": " ", "\u00b0": " deg", "\u20b9": "Rs", "\u2122": "", "\u00ae": "",
    }
)  # fmt: skip


def plain_text(reply: Reply) -> str:
    """The reply with its choices numbered from 1, one a line."""
    lines = [f"{number}  {choice.label}" for number, choice in enumerate(reply.choices, start=1)]
    return "\n".join([reply.text, *lines]) if lines else reply.text


def sms_text(reply: Reply) -> str:
    """The reply in the GSM alphabet with its choices on one line: `1 Yes 2 No 3 Not sure`."""
    if not reply.choices:
        return gsm_text(reply.text)
    lines = " ".join(f"{number} {choice.label}" for number, choice in enumerate(reply.choices, start=1))
    return gsm_text(f"{reply.text}\n{lines}")


def gsm_text(text: str) -> str:
    """The text with typographic and accented characters outside the GSM alphabet replaced by their nearest ones.

    A character without a near one (another script, an emoji) becomes `?`.
    """
    return "".join(_gsm_character(character) for character in text.translate(_TYPOGRAPHIC))


def _gsm_character(character: str) -> str:
    if character in GSM_BASIC or character in GSM_EXTENSION:
        return character
    stripped = "".join(
        part for part in unicodedata.normalize("NFKD", character) if not unicodedata.combining(part)
    )
    if stripped and all(part in GSM_BASIC for part in stripped):
        return stripped
    return "" if unicodedata.category(character) in ("Cf", "Mn", "Cc") else "?"


def sms_parts(text: str) -> int:
    """How many SMS parts the text takes (0 for an empty one)."""
    if not text:
        return 0
    if all(character in GSM_BASIC or character in GSM_EXTENSION for character in text):
        sizes = [2 if character in GSM_EXTENSION else 1 for character in text]
        alone, joined = 160, 153
    else:
        sizes = [2 if ord(character) > 0xFFFF else 1 for character in text]
        alone, joined = 70, 67
    if sum(sizes) <= alone:
        return 1
    parts, used = 1, 0
    for size in sizes:
        if used + size > joined:
            parts, used = parts + 1, 0
        used += size
    return parts
