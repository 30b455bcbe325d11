"""From replies to what a channel can carry."""

from __future__ import annotations

from intakebot.channels.seam import Abilities, OutboundMessage
from intakebot.conversation import Reply, plain_text, sms_text


def rendered(message: OutboundMessage, abilities: Abilities) -> tuple[str, ...]:
    """The texts to send, one for each reply; longer ones are cut into several at line ends or spaces."""
    texts: list[str] = []
    for reply in message.replies:
        texts += split(_text(reply, abilities), abilities.max_length)
    return tuple(texts)


def _text(reply: Reply, abilities: Abilities) -> str:
    if abilities.alphabet == "gsm7":
        return sms_text(reply)
    # A list of which several may be picked needs its numbers: a button could send only one of them.
    return reply.text if abilities.choices and not reply.several else plain_text(reply)


def split(text: str, max_length: int | None) -> list[str]:
    """Pieces of at most `max_length` characters; nothing but the white space at a cut is lost."""
    if max_length is None or len(text) <= max_length:
        return [text]
    pieces = []
    while len(text) > max_length:
        cut = max(text.rfind("\n", 1, max_length + 1), text.rfind(" ", 1, max_length + 1))
        cut = cut if cut > 0 else max_length
        pieces.append(text[:cut].rstrip())
        text = text[cut:].lstrip()
    return [*pieces, text] if text else pieces
