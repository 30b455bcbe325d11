"""The terminal channel: the same turns as everywhere else, one line a message. Used by `intakebot chat`."""

from __future__ import annotations

import textwrap
from typing import Any, TextIO

from intakebot.channels.seam import Abilities
from intakebot.conversation import MessageReceived, Reply, plain_text
from intakebot.turns import Services, Via, open_case, take_turn

ABILITIES = Abilities(choices=False, pictures=False, max_length=None, alphabet="unicode")
WIDTH = 76
HELP = {
    "en": "Type and press Enter; a choice may be typed as its number. An empty line changes nothing. Ctrl-D ends.",
    "de": "Tippen und Enter drücken; eine Auswahl geht auch als Nummer. Eine leere Zeile ändert nichts. Strg-D beendet.",
}


def run_chat(services: Services, locale: str, lines_in: TextIO, lines_out: TextIO) -> str:
    """Talk until the input ends. Returns the case's id, so that the talk can be found again.

    Raises: BadInputError for a language that is not there.
    """
    via = Via("terminal", voice="terminal")
    opened = open_case(services, via=via, locale=locale)
    print(HELP.get(locale, HELP["en"]) + "\n", file=lines_out)
    show(opened.answer.mapping, lines_out)
    while True:
        print("> ", end="", file=lines_out, flush=True)
        line = lines_in.readline()
        if not line:
            print(file=lines_out)
            return opened.conversation_id
        if not line.strip():
            continue
        event = MessageReceived(services.ids.message_id("terminal"), line.rstrip("\n"))
        answer = take_turn(services, opened.conversation_id, event, via=via).mapping
        show(answer, lines_out)


def show(answer: dict[str, Any], lines_out: TextIO) -> None:
    """Print the replies of a turn, wrapped; addresses are never broken."""
    for reply in answer["replies"]:
        text = plain_text(Reply.from_mapping(reply))
        wrapped = [
            textwrap.fill(line, WIDTH, break_long_words=False, break_on_hyphens=False)
            for line in text.split("\n")
        ]
        print("\n" + "\n".join(wrapped), file=lines_out)
    print(file=lines_out)
