"""Lithium cells in parcels: limits, numbers, marks and the rule that changed on 1 January 2026.

Sources: 49 CFR 173.185 and guidance on the air packing instructions 965-970 and 976-978 (several agreeing pages); sodium
ion limits from memory.
"""

from __future__ import annotations

import math
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest

from intakebot.errors import BadInputError
from intakebot.packing.lithium import Cells, LithiumRule, cells_of, is_small, lithium_rule, watt_hours

BEFORE, AFTER = date(2025, 12, 31), date(2026, 1, 1)


# V x Ah: 3.65 * 1.56 = 5.694; 3.7 * 1.0 = 3.7; 7.4 * 1.1 = 8.14; 11.1 * 4.4 = 48.84
@pytest.mark.parametrize(
    ("volts", "ampere_hours", "expected"),
    [(3.65, 1.56, 5.69), (3.7, 1.0, 3.7), (7.4, 1.1, 8.14), (11.1, 4.4, 48.84)],
)
def test_watt_hours_are_volts_times_ampere_hours(volts: float, ampere_hours: float, expected: float) -> None:
    assert round(watt_hours(volts, ampere_hours), 2) == expected


@pytest.mark.parametrize(
    ("chemistry", "is_battery", "amount", "small"),
    [
        pytest.param("ion", False, 20, True, id="cell-20-wh"),
        pytest.param("ion", False, 20.1, False, id="cell-20.1-wh"),
        pytest.param("ion", True, 100, True, id="battery-100-wh"),
        pytest.param("ion", True, 100.1, False, id="battery-100.1-wh"),
        pytest.param("metal", False, 1, True, id="metal-cell-1-g"),
        pytest.param("metal", False, 1.01, False, id="metal-cell-1.01-g"),
        pytest.param("metal", True, 2, True, id="metal-battery-2-g"),
        pytest.param("metal", True, 2.01, False, id="metal-battery-2.01-g"),
        pytest.param("sodium_ion", True, 100, True, id="sodium-battery-100-wh"),
        pytest.param("sodium_ion", True, 100.1, False, id="sodium-battery-100.1-wh"),
    ],
)
def test_limits_of_the_small_battery_sections(
    chemistry: Any, is_battery: bool, amount: float, small: bool
) -> None:
    assert is_small(Cells(chemistry, "in_equipment", amount, is_battery)) is small


@pytest.mark.parametrize(
    ("chemistry", "how", "un", "instruction"),
    [
        ("ion", "alone", "UN3480", 965),
        ("ion", "packed_with", "UN3481", 966),
        ("ion", "in_equipment", "UN3481", 967),
        ("metal", "alone", "UN3090", 968),
        ("metal", "packed_with", "UN3091", 969),
        ("metal", "in_equipment", "UN3091", 970),
        ("sodium_ion", "alone", "UN3551", 976),
        ("sodium_ion", "packed_with", "UN3552", 977),
        ("sodium_ion", "in_equipment", "UN3552", 978),
    ],
)
def test_un_numbers_and_packing_instructions(chemistry: Any, how: Any, un: str, instruction: int) -> None:
    rule = lithium_rule(Cells(chemistry, how, 1), AFTER)

    assert (rule.un, rule.packing_instruction) == (un, instruction)


# Mark not needed: only button cells in equipment, or at most 2 packages each with at most 4 cells or 2 batteries in it.
@pytest.mark.parametrize(
    ("cells", "status"),
    [
        pytest.param(Cells("ion", "in_equipment", 18.5), "no_mark", id="one-battery"),
        pytest.param(Cells("ion", "in_equipment", 18.5, count=2), "no_mark", id="two-batteries"),
        pytest.param(Cells("ion", "in_equipment", 18.5, count=3), "mark", id="three-batteries"),
        pytest.param(Cells("ion", "in_equipment", 10, is_battery=False, count=4), "no_mark", id="four-cells"),
        pytest.param(Cells("ion", "in_equipment", 10, is_battery=False, count=5), "mark", id="five-cells"),
        pytest.param(Cells("ion", "in_equipment", 18.5, packages=2), "no_mark", id="two-packages"),
        pytest.param(Cells("ion", "in_equipment", 18.5, packages=3), "mark", id="three-packages"),
        pytest.param(
            Cells("metal", "button_in_equipment", 0.1, is_battery=False, count=9),
            "no_mark",
            id="button-cells",
        ),
        pytest.param(Cells("ion", "packed_with", 5.0), "mark", id="beside-the-device"),
        pytest.param(Cells("ion", "alone", 5.0), "not_by_post", id="alone"),
        pytest.param(Cells("ion", "in_equipment", 100.1), "not_by_post", id="too-large"),
        pytest.param(Cells("ion", "in_equipment", 5.0, damaged=True), "never", id="damaged"),
        pytest.param(Cells("metal", "button_in_equipment", 0.1, damaged=True), "never", id="damaged-button"),
        pytest.param(None, "none", id="no-cells"),
    ],
)
def test_which_parcels_need_the_mark(cells: Cells | None, status: str) -> None:
    assert lithium_rule(cells, AFTER).status == status


@pytest.mark.parametrize(
    ("how", "watt_hours_each", "day", "limit"),
    [
        pytest.param("packed_with", 2.8, BEFORE, "advised", id="with-last-day-of-2025"),
        pytest.param("packed_with", 2.8, AFTER, "required", id="with-first-day-of-2026"),
        pytest.param("packed_with", 2.7, AFTER, "advised", id="with-2.7-wh"),
        pytest.param("in_equipment", 50, AFTER, "advised", id="in-equipment-is-advice-only"),
        pytest.param("alone", 5, BEFORE, "required", id="alone"),
    ],
)
def test_charge_rule_and_its_date(how: Any, watt_hours_each: float, day: date, limit: str) -> None:
    assert lithium_rule(Cells("ion", how, watt_hours_each), day).charge_limit == limit


def test_metal_cells_have_no_state_of_charge() -> None:
    assert lithium_rule(Cells("metal", "packed_with", 1.5), AFTER).charge_limit == "none"


def test_cells_come_from_the_devices_record(build: SimpleNamespace) -> None:
    portable = build.device("p", lithium={"chemistry": "ion", "watt_hours": 18.5, "how": "in_equipment"})
    coin = build.device("c", lithium={"chemistry": "metal", "how": "button_in_equipment"})

    assert cells_of(portable) == Cells("ion", "in_equipment", 18.5)
    assert cells_of(build.device("none")) is None
    assert lithium_rule(cells_of(coin), AFTER) == LithiumRule(
        "no_mark", "UN3091", 970, "none", ("button_cell", "button_swallow")
    )


@pytest.mark.parametrize(
    "record",
    [{"chemistry": "lead", "watt_hours": 5, "how": "alone"}, {"chemistry": "ion", "how": "in_equipment"}],
)
def test_a_record_that_says_too_little_is_refused(build: SimpleNamespace, record: dict[str, Any]) -> None:
    with pytest.raises(BadInputError, match="device p, lithium"):
        cells_of(build.device("p", lithium=record))


@pytest.mark.parametrize("amount", [0, -3, math.nan, math.inf, 1e9])
def test_absurd_energies_are_refused(amount: float) -> None:
    with pytest.raises(BadInputError, match="amount"):
        Cells("ion", "alone", amount)
    with pytest.raises(BadInputError, match="volts"):
        watt_hours(amount, 1)


@pytest.mark.parametrize("number", [0, -1, 100_000])
def test_absurd_counts_are_refused(number: int) -> None:
    with pytest.raises(BadInputError, match="count"):
        Cells("ion", "alone", 1, count=number)
