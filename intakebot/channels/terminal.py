"""The talk in a terminal, over the same turns as every other channel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TextIO

from intakebot.conversation import MessageReceived, Reply, plain_text
from intakebot.errors import NotFoundError
from intakebot.turns import Services, Via, open_case, take_turn

VIA = Via("terminal", voice="terminal")


def run_chat(services: Services, locale: str, lines_in: TextIO, lines_out: TextIO) -> str:
    """Talk until the input ends; returns the conversation's id. A blank line is a message like any other."""
    opened = open_case(services, via=VIA, locale=locale)
    _print(opened.answer.mapping["replies"], lines_out)
    for number, line in enumerate(_lines(lines_in, lines_out)):
        event = MessageReceived(f"line-{number}", line.rstrip("\n"), "terminal")
        try:
            answer = take_turn(services, opened.conversation_id, event, via=VIA)
        except NotFoundError:  # erased on the customer's wish: there is nothing left to talk about
            break
        _print(answer.mapping["replies"], lines_out)
    return opened.conversation_id


def _lines(lines_in: TextIO, lines_out: TextIO) -> Iterator[str]:
    while True:
        lines_out.write("> ")
        lines_out.flush()
        line = lines_in.readline()
        if not line:
            lines_out.write("\n")
            return
        yield line


def _print(replies: Sequence[dict[str, object]], lines_out: TextIO) -> None:
    for reply in replies:
        lines_out.write(plain_text(Reply.from_mapping(reply)) + "\n\n")
    lines_out.flush()
