"""`intakebot demo`: one story as a customer, a front desk and a technician would see it, in plain text."""

from __future__ import annotations

import os
import tempfile
import textwrap
from typing import TYPE_CHECKING, TextIO, cast

from intakebot.definitions.texts import Texts
from intakebot.demonstration import Played, Story, play
from intakebot.documents.drawn import ladder_labels
from intakebot.documents.ladder import ladder_text
from intakebot.serving import Shop, open_shop, queue_now
from intakebot.settings import read_settings
from intakebot.sheets import Sheet, sheet_text
from intakebot.workshop.papers import Papers
from intakebot.workshop.pretriage import pretriage

if TYPE_CHECKING:
    from intakebot.assess import Assessments

WIDTH = 76


def show(story: Story, output: TextIO, locale: str = "en") -> Played:
    """Play a story in a shop of its own, kept in a folder that is thrown away, and print everything."""
    with tempfile.TemporaryDirectory(prefix="intakebot-demo-") as folder:
        settings = read_settings({**_definitions_only(), "INTAKEBOT_DATA_DIR": folder})
        shop = open_shop(settings)
        try:
            played = play(shop.turns, story, locale)
            _print(shop, played, output, locale)
        finally:
            shop.store.close()
    return played


def _definitions_only() -> dict[str, str]:
    name = "INTAKEBOT_DEFINITIONS"
    return {name: os.environ[name]} if name in os.environ else {}


def _print(shop: Shop, played: Played, output: TextIO, locale: str) -> None:
    with shop.store.reading() as work:
        case = work.cases.get(played.case_id)
    definitions = shop.turns.editions.of(case.definitions_version)
    texts = Texts(definitions, case.family, locale)
    assessments = cast("Assessments", shop.turns.editions.assessor(definitions))
    papers = Papers(
        assessments, case, shop.turns.now(), texts, queue_now(shop.store, shop.turns.now, definitions)
    )
    print(f"{played.story.about} (invented)\n", file=output)
    for who, text in played.talk:
        print(bubble(who, text), file=output)
    _sheet(papers.intake_form(), output)
    if papers.job.estimate is not None:
        _sheet(papers.estimate(), output)
        _sheet(papers.packing_document(), output)
    _sheet(papers.pretriage(), output)
    notes = pretriage(assessments, case, shop.turns.now(), texts).notes
    print(ladder_text(notes.rungs, ladder_labels(texts), papers.money), file=output)


def bubble(who: str, text: str) -> str:
    """The customer on the left, the shop set in."""
    indent = "" if who == "customer" else "        "
    lines = [
        textwrap.fill(
            line,
            WIDTH,
            initial_indent=indent,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for line in text.splitlines()
    ]
    return "\n".join(lines) + "\n"


def _sheet(sheet: Sheet, output: TextIO) -> None:
    print("\n" + sheet_text(sheet, WIDTH), file=output)
