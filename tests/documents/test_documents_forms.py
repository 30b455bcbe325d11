"""The papers: intake form, pre-triage, bench record, return note."""

from __future__ import annotations

import dataclasses
from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from intakebot.definitions.facts import Answer
from intakebot.definitions.model import Fact
from intakebot.definitions.texts import Texts
from intakebot.documents.bench_record import (
    BenchRecord,
    ReturnNote,
    StepLine,
    bench_record_sheet,
    return_note_sheet,
)
from intakebot.documents.drawn import ladder_labels, price_labels
from intakebot.documents.fault_picture import chances_picture
from intakebot.documents.intake_form import intake_sheet
from intakebot.documents.ladder import Rung, ladder_picture
from intakebot.documents.pdf import render_pdf
from intakebot.documents.pretriage import Cause, PartToHave, PretriageNotes, pretriage_sheet
from intakebot.sheets import Sheet, sheet_text

FACTS = (
    Fact("noise", "choice", ("grinding", "none"), ("triage",), "low"),
    Fact("smoke", "yes_no", (), ("safety", "triage"), "high"),
    Fact("age", "count", (), ("triage",), "low", unit="years"),
    Fact("limit", "amount", (), ("price",), "high", role="spending_limit"),
    Fact("deadline", "date", (), ("packing",), "low", role="deadline"),
    Fact("with_it", "choices", ("lead", "remote"), ("packing",), "low"),
    Fact("photos", "photo", (), ("packing",), "low"),
    Fact("street", "text", (), ("packing", "contact"), "low", personal=True),
    Fact("seen_oil", "yes_no", (), ("bench",), "low"),
    Fact("never_asked", "text", (), ("triage",), "low"),
)
ANSWERS = {
    "noise": Answer("grinding", "heard", 0.8),
    "smoke": Answer("no"),
    "age": Answer(7),
    "limit": Answer(Decimal("120")),
    "deadline": Answer(date(2027, 1, 20)),
    "with_it": Answer(("lead", "remote")),
    "photos": Answer(("p1", "p2")),
    "street": Answer("1 Hill Road"),
}


@pytest.fixture(scope="module")
def form(build: SimpleNamespace) -> Any:
    """Builds the intake form over the facts above."""
    words = {f"fact.{fact.id}": fact.id.capitalize() for fact in FACTS} | {
        "option.yes": "Yes", "option.no": "No", "option.noise.grinding": "a grinding sound",
    }  # fmt: skip
    family = build.family(facts={fact.id: fact for fact in FACTS}, texts={"en": words, "de": words})

    def make(answers: dict[str, Answer] | None = None, **more: Any) -> Sheet:
        texts = build.texts("en")
        texts = Texts(dataclasses.replace(texts.definitions, families={"toy": family}), "toy", "en")
        values: dict[str, Any] = {"reference": "TD-1042", "country": "GB", "currency": "GBP"}
        return intake_sheet(family, ANSWERS if answers is None else answers, texts, **(values | more))

    return make


def table(sheet: Sheet, section: str) -> tuple[tuple[str, ...], ...]:
    return sheet.section(section).tables[0].rows


def test_safety_comes_first_and_personal_data_with_the_contact_group(form: Any) -> None:
    assert [section.id for section in form().sections] == ["safety", "triage", "packing", "price", "contact"]
    assert table(form(), "contact") == (("Street", "1 Hill Road", "confirmed"),)


def test_certainty_is_said_in_words(form: Any) -> None:
    assert table(form(), "triage")[0] == ("Noise", "a grinding sound", "understood, not yet confirmed")
    assert table(form(), "safety") == (("Smoke", "No", "confirmed"),)


def test_what_follows_from_other_answers_is_not_called_said(form: Any) -> None:
    rows = table(form(derived={"noise"}), "triage")
    assert rows[0] == ("Noise", "a grinding sound", "worked out")


def test_values_are_written_for_people(form: Any) -> None:
    assert table(form(), "triage")[1] == ("Age", "7 years", "confirmed")
    assert table(form(), "price") == (("Limit", "£120.00", "confirmed"),)
    assert [row[1] for row in table(form(), "packing")] == [
        "Wednesday, 20 January 2027",
        "lead, remote",
        "2 photos",
    ]


def test_not_known_and_declined_are_answers(form: Any) -> None:
    sheet = form({"noise": Answer(None, "not_known"), "age": Answer(None, "declined")})

    assert table(sheet, "triage") == (("Noise", "not known", ""), ("Age", "would rather not say", ""))


def test_the_customers_words_stand_beside_what_was_understood(form: Any) -> None:
    sheet = form(quotes={"noise": "a grindy sort of noise"})

    assert table(sheet, "triage")[0][-1] == "a grindy sort of noise"
    assert len(sheet.section("safety").tables[0].columns) == 3


def test_what_was_not_asked_is_counted_bench_facts_apart(form: Any) -> None:
    assert form().footer == "Not asked or not answered: 1."


def test_a_copy_without_personal_data_has_none(form: Any) -> None:
    assert "Hill Road" not in sheet_text(form(personal=False))


def test_an_empty_form_is_a_sheet_all_the_same(form: Any) -> None:
    assert (form({}).sections, form({}).footer) == ((), "Not asked or not answered: 9.")


# ---- pre-triage ----------------------------------------------------------------------------------------------------------

RUNGS = tuple(
    Rung(
        f"Step {number} of a plan with a name of some length",
        15,
        1 + number % 4,
        number / 15,
        Decimal(number * 12),
        number % 2 == 0,
    )
    for number in range(1, 12)
)
CAUSES = tuple(
    Cause(f"Cause {n}", 0.4 / n, f"{40 // n} %", ("a reason", "another reason")) for n in range(1, 6)
)
NOTES = PretriageNotes(
    device="Games console with a slot, 7 years",
    customer_words="It grinds and then gives up. " * 8,
    causes=CAUSES,
    warnings=("Disc inside on arrival.", "Mains inside: measure, do not count seconds."),
    odd=("Opened by a friend", "Three drive boards, one is the original"),
    rungs=RUNGS,
    why=tuple(f"Reason {n}: it is cheap and the drive is open anyway" for n in range(1, 8)),
    parts=(PartToHave("Pickup, used", False), PartToHave("Flat cable", True)),
    not_known=("Serial number", "Whether it was dropped"),
    acceptance=("The customer's own disc plays", "Ten load and eject cycles"),
    summary=(("Chance repaired", "91 %"),),
)


@pytest.mark.parametrize("locale", ["en", "de"])
@pytest.mark.parametrize("paper", ["A4", "LETTER"])
def test_a_full_pre_triage_is_one_page(
    build: SimpleNamespace, read_pdf: Any, locale: str, paper: Any
) -> None:
    texts = build.texts(locale)
    pictures = {
        "chances": chances_picture([(cause.name, cause.chance, cause.said) for cause in CAUSES], "Causes"),
        "ladder": ladder_picture(RUNGS, ladder_labels(texts), lambda amount: f"£{amount}", Decimal(90)),
    }

    pdf = read_pdf(
        render_pdf(
            pretriage_sheet(NOTES, texts, reference="TD-1042"), paper=paper, pictures=pictures, one_page=True
        )
    )

    assert pdf.pages == 1
    assert all(piece in pdf.text for piece in (*NOTES.warnings, *NOTES.why, "Pickup, used", "Serial number"))


def test_short_lists_to_tick_stand_side_by_side_on_the_benchs_papers(
    build: SimpleNamespace, read_pdf: Any
) -> None:
    short = dataclasses.replace(NOTES, rungs=(), why=(), causes=(), odd=(), not_known=(), customer_words="")
    text = read_pdf(render_pdf(pretriage_sheet(short, build.texts("en"), reference="TD-1042"))).text

    assert all(item in text for item in ("Flat cable (on the shelf)", "Ten load and eject cycles"))
    assert "Parts to have ready" in text
    assert "It is repaired when" in text


def test_warnings_come_before_causes_and_the_plan_has_its_ladder(build: SimpleNamespace) -> None:
    sheet = pretriage_sheet(NOTES, build.texts("en"), reference="TD-1042")

    assert [section.id for section in sheet.sections][:3] == ["warnings", "causes", "odd"]
    assert (sheet.section("ladder").figure, sheet.section("causes").figure) == ("ladder", "chances")
    assert sheet.section("parts").items == ("Pickup, used (to be ordered)", "Flat cable (on the shelf)")
    assert sheet.audience == "bench"


def test_a_plan_without_steps_says_so(build: SimpleNamespace) -> None:
    empty = dataclasses.replace(NOTES, rungs=(), why=(), causes=(), odd=())
    sheet = pretriage_sheet(empty, build.texts("en"), reference="TD-1042")

    assert sheet.section("ladder").paragraphs == ("No step is worth its cost. Return it as it is.",)
    assert "causes" not in [section.id for section in sheet.sections]


# ---- bench record and return note ------------------------------------------------------------------------------------------

RECORD = BenchRecord(
    device="Games console",
    arrival=(("Weight out / in", "4.6 / 4.6 kg"), ("Screws", "14")),
    differences=("One board is missing",),
    steps=(StepLine("Clean the lens", "17", "test failed", "film on the lens", "Sam"),),
    parts=("Flat cable",),
    acceptance=(("Game disc plays", "passed"),),
    ending=(("Outcome", "fixed"), ("Total", "£62.00")),
    custody=(("25 Nov 2026, 10:02", "Sam", "disc taken in"),),
)


def test_the_bench_record_holds_arrival_steps_tests_and_custody(build: SimpleNamespace) -> None:
    sheet = bench_record_sheet(RECORD, build.texts("en"), reference="TD-1042")

    assert [section.id for section in sheet.sections] == [
        "ending", "arrival", "differences", "steps", "parts", "acceptance", "custody",
    ]  # fmt: skip
    assert table(sheet, "steps") == (("Clean the lens", "17", "test failed", "film on the lens", "Sam"),)
    assert sheet.section("steps").tables[0].alignment(1) == "right"


def test_a_record_without_steps_says_so(build: SimpleNamespace) -> None:
    sheet = bench_record_sheet(dataclasses.replace(RECORD, steps=()), build.texts("en"), reference="TD-1042")

    assert sheet.section("steps").paragraphs == ("No step was done.",)


NOTE = ReturnNote(
    device="Games console",
    repaired=True,
    done=("Cleaned the lens",),
    parts=(),
    tests=(("Game disc plays", "passed"),),
    contents=("games console", "your disc: Harbour Lights"),
    summary=(("Total", "£62.00"), ("Warranty until", "2 March 2027")),
)


def test_the_return_note_lists_the_customers_disc_and_how_to_start(build: SimpleNamespace) -> None:
    sheet = return_note_sheet(NOTE, build.texts("en"), reference="TD-1042")

    assert "your disc: Harbour Lights" in sheet.section("contents").items
    assert any("two hours or more" in item for item in sheet.section("start").items)
    assert "parts" not in [section.id for section in sheet.sections]


def test_an_unrepaired_device_is_not_called_repaired(build: SimpleNamespace) -> None:
    sheet = return_note_sheet(
        dataclasses.replace(NOTE, repaired=False), build.texts("en"), reference="TD-1042"
    )

    assert sheet.section("result").paragraphs == (
        "We are sorry. We could not repair it. Below you see what we tried.",
    )


@pytest.mark.parametrize("locale", ["en", "de"])
def test_every_paper_prints_in_both_languages(build: SimpleNamespace, read_pdf: Any, locale: str) -> None:
    texts = build.texts(locale)
    record = bench_record_sheet(RECORD, texts, reference="TD-1042")
    note = return_note_sheet(NOTE, texts, reference="TD-1042")

    for sheet in (record, note):
        text = read_pdf(render_pdf(sheet)).text
        assert all(section.title in text for section in sheet.sections)


@pytest.mark.parametrize("locale", ["en", "de"])
def test_picture_words_have_their_placeholders(build: SimpleNamespace, locale: str) -> None:
    price, ladder = price_labels(build.texts(locale)), ladder_labels(build.texts(locale))

    assert all("{price}" in text for text in (price.middle, price.most, price.limit))
    assert "{low}" in price.usual
    assert ("{minutes}" in ladder.minutes, "{maximum}" in ladder.beyond) == (True, True)
