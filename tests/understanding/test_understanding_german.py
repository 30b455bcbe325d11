"""German basics. Sentences are our own."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from intakebot.understanding import Expecting, Option


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("Meine Konsole liest keine Discs mehr, sie klickt nur", {"disc_not_read": "yes", "noise": "clicking"}),
        ("Der CD-Player geht nicht an", {"no_power": "yes", "device_kind": "cd_player"}),
        ("Die Schublade geht nicht auf, die DVD steckt fest", {"wont_eject": "yes", "disc_stuck": "yes"}),
        ("Liest DVDs, aber keine Blu-rays", {"dvd_result": "plays", "bluray_result": "fails"}),
        ("CDs gehen, DVDs nicht", {"cd_result": "plays", "dvd_result": "fails"}),
        ("Es riecht verbrannt", {"smoke_or_smell": "yes"}),
        ("kein Rauch, kein Geruch, nicht runtergefallen", {"smoke_or_smell": "no", "dropped": "no"}),
        ("Es knirscht nicht, es klickt nur", {"noise": "clicking"}),
        ("Mein Bruder hat ihn geöffnet und die Linse gereinigt", {"opened": "friend", "lens_cleaned": "friend"}),
        ("Der Laser wurde in einer Werkstatt getauscht", {"pickup_replaced": "shop"}),
        ("Gebraucht gekauft vor 3 Jahren, maximal 80 Euro, brauche es bis Weihnachten",
         {"bought_used": "yes", "age_years": 3, "spending_limit": Decimal(80), "deadline": date(2026, 12, 25)}),
        ("Ich habe Kaffee drüber verschüttet", {"liquid_inside": "yes"}),
        ("weiß nicht, ob er schon mal geöffnet wurde", {"opened": None}),
        ("Der Akku ist aufgebläht", {"battery_swollen": "yes"}),
        ("habe einen Stromschlag bekommen", {"electric_shock": "yes"}),
        ("aus dem Geraet kam Qualm", {"smoke_or_smell": "yes"}),
    ],
)  # fmt: skip
def test_a_german_sentence_is_heard(
    values: Callable[..., dict[str, Any]], text: str, wanted: dict[str, Any]
) -> None:
    got = values(text, locale="de")

    assert {fact: got.get(fact, "(nothing)") for fact in wanted} == wanted


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("ja", "yes"),
        ("Nein.", "no"),
        ("nö", "no"),
        ("weiß nicht", None),
        ("keine Ahnung", None),
        ("2", "no"),
        ("glaube nicht", "no"),
    ],
)
def test_a_german_answer_is_read(hear: Callable[..., Any], text: str, value: str | None) -> None:
    asked = Expecting(
        "dropped", None, (Option("yes", "Ja", {"dropped": "yes"}), Option("no", "Nein", {"dropped": "no"}))
    )

    assert hear(text, asked, locale="de").fact("dropped").value == value
