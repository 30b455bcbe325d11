"""The talk in a terminal: the same turns, stored like every other."""

from __future__ import annotations

import io

from intakebot.channels.terminal import run_chat
from intakebot.turns import Services


def test_a_talk_in_the_terminal_is_stored_and_its_choices_are_numbered(services: Services) -> None:
    said = "my slot console does not read blu-rays\nnone of these\n"
    shown = io.StringIO()

    case_id = run_chat(services, "en", io.StringIO(said), shown)

    with services.store.reading() as work:
        texts = [m.text for m in work.messages.since(case_id) if m.direction == "in"]
        case = work.cases.get(case_id)
    assert texts == said.splitlines()
    assert case.channel == "terminal"
    assert "1 " in shown.getvalue()


def test_erasing_ends_the_talk(services: Services) -> None:
    shown = io.StringIO()

    run_chat(services, "en", io.StringIO("erase my data\nyes\nhello?\n"), shown)

    with services.store.reading() as work:
        assert work.cases.page().lines == ()
