"""The papers of every demo story, in both languages on both papers: they print, fit, and lose no character."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from intakebot.definitions.texts import Texts
from intakebot.demonstration import play, stories
from intakebot.documents.pdf import render_pdf
from intakebot.serving import open_shop
from intakebot.settings import read_settings

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
MOST_PAGES = {"estimate": 4, "packing": 2, "slip": 1, "pretriage": 1, "form": 2}


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A shop in which every story was played, and their cases by name."""
    folder = tmp_path_factory.mktemp("shop")
    opened = open_shop(read_settings({"INTAKEBOT_DATA_DIR": str(folder)}))
    opened.turns.workshop._now = lambda: NOON  # type: ignore[attr-defined]
    shop = replace(opened, turns=replace(opened.turns, now=lambda: NOON))
    cases = {}
    for name, story in stories().items():
        played_story = play(shop.turns, story)
        with shop.store.reading() as work:
            cases[name] = work.cases.get(played_story.case_id)
    yield shop, cases
    opened.store.close()


@pytest.mark.soak
@pytest.mark.parametrize("locale", ["en", "de"])
@pytest.mark.parametrize("paper", ["A4", "LETTER"])
def test_every_story_prints_within_its_pages(played: Any, read_pdf: Any, locale: str, paper: Any) -> None:
    shop, cases = played
    workshop, definitions = shop.turns.workshop, shop.turns.editions.current
    sheets = {
        "estimate": workshop.estimate_sheet,
        "packing": workshop.packing_document,
        "slip": workshop.inside_slip_sheet,
        "pretriage": workshop.pretriage_sheet,
        "form": workshop.intake_form_sheet,
    }
    pictures = {
        "price": workshop.price_picture,
        "ladder": workshop.ladder_picture,
        "chances": workshop.chances_picture,
        "box": workshop.box_picture,
    }
    printed, too_long, damaged = 0, [], []
    for name, case in cases.items():
        texts = Texts(definitions, case.family, locale)
        for kind, make in sheets.items():
            if kind == "estimate" and not workshop.estimate_view(definitions, case):
                continue
            sheet = make(definitions, case, texts)
            wanted = {section.figure for section in sheet.sections if section.figure in pictures}
            drawn = {figure: pictures[str(figure)](definitions, case, texts) for figure in wanted}
            figures = {str(figure): picture for figure, picture in drawn.items() if picture is not None}
            pdf = read_pdf(render_pdf(sheet, paper=paper, pictures=figures, one_page=kind == "pretriage"))
            printed += 1
            if pdf.pages > MOST_PAGES[kind]:
                too_long.append((name, kind, pdf.pages))
            if "\ufffd" in pdf.text or "{" in pdf.text:
                damaged.append((name, kind))

    assert printed >= 5 * len(cases) - 2
    assert (too_long, damaged) == ([], [])
