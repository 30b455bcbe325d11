"""The figures in the shipped cautions, worked from published numbers.

Sources: stored energy E = C V^2 / 2 and discharge t = R C ln(V0 / V) (textbook); IEC 62368-1 cl. 5.5.2.2, 60 V (from
memory); NIOSH Pocket Guide, isopropyl alcohol, flash point 53 F; ANSI/ESD S20.20-2021, wrist strap below 35 megohm;
people feel static from about 3 kV (secondary pages); IEC 60825-1 laser classes (from memory).
"""

from __future__ import annotations

import math

import pytest

from intakebot.definitions import Definitions, Texts

FAMILY = "disc_drive"
PEAK_230_V = 325.0
SAFE_V = 60.0


def bench(definitions: Definitions, locale: str, caution: str) -> str:
    return Texts(definitions, FAMILY, locale).say(f"caution.{caution}.bench")


def joules(microfarad: float) -> float:
    return microfarad * 1e-6 * PEAK_230_V**2 / 2


def seconds_to_safe(microfarad: float, megohm: float) -> float:
    return megohm * microfarad * math.log(PEAK_230_V / SAFE_V)


def test_a_bulk_capacitor_stores_joules_and_may_hold_them_for_minutes() -> None:
    # 100 uF: 50e-6 * 105625 = 5.28 J; 220 uF: 11.6 J; 1e6 * 100e-6 * ln(325/60) = 100 * 1.6895 = 169 s
    assert (round(joules(100), 2), round(joules(220), 1), round(seconds_to_safe(100, 1))) == (5.28, 11.6, 169)


def test_a_suppression_capacitor_is_gone_within_a_second() -> None:
    # .47 * 1.6895 = .794 s: the two seconds of the plug-pin rule say nothing about the bulk capacitor
    assert round(seconds_to_safe(0.47, 1), 2) == 0.79
    assert seconds_to_safe(0.47, 1) < 2 < seconds_to_safe(100, 1)


@pytest.mark.parametrize(("locale", "measure"), [("en", "easure"), ("de", "essen")])
def test_the_bench_is_told_to_measure_not_to_wait(
    definitions: Definitions, locale: str, measure: str
) -> None:
    text = bench(definitions, locale, "bench_mains")

    assert f"{SAFE_V:.0f} V" in text
    assert measure in text


@pytest.mark.parametrize(("locale", "celsius"), [("en", "11.7"), ("de", "11,7")])
def test_the_flash_point_is_that_of_isopropyl_alcohol(
    definitions: Definitions, locale: str, celsius: str
) -> None:
    # (53 - 32) * 5 / 9 = 11.67 C, below a room of 20 C
    assert f"{(53 - 32) * 5 / 9:.1f}" == "11.7"
    assert celsius in bench(definitions, locale, "bench_ipa")


@pytest.mark.parametrize("locale", ["en", "de"])
def test_static_and_laser_figures_are_the_published_ones(definitions: Definitions, locale: str) -> None:
    assert "35 " in bench(definitions, locale, "bench_esd")
    assert "3 kV" in bench(definitions, locale, "bench_esd")
    assert "3B" in bench(definitions, locale, "recorder_laser")
    assert "100 mW" in bench(definitions, locale, "recorder_laser")
