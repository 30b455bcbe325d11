"""Twelve kinds of simulated customers: the knobs of an agenda-based user simulation (after Schatzmann and Young).

Shares of typing errors, corrections and wrong-slot answers are assumptions of the simulation, except the share of
uncorrected character errors on phones, 2.3 % (Palin et al., MobileHCI 2019, 37,370 people).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Persona:
    """One kind of customer.

    opener: how many facts the first message tells (at least, at most).
    extra: chance to volunteer another fact with an answer. taps: share of answers that are taps; numbers: that are typed numbers; the rest
    is free words. not_sure, wrong_slot, skips: chances per question. told_wrong: chance that a told fact is wrong at first and
    corrected in the next message; about half of the facts have a wrong wording to tell, so that 0.3 makes 15 % of all. typos: chance per character. insult, wants_person: chances per message.
    hops: changes the channel in mid-talk. switches: goes on in German. pauses: comes back after two days.
    """

    id: str
    opener: tuple[int, int] = (1, 3)
    extra: float = 0.1
    taps: float = 0.3
    numbers: float = 0.2
    not_sure: float = 0.04
    wrong_slot: float = 0.0
    skips: float = 0.0
    told_wrong: float = 0.0
    typos: float = 0.0
    insult: float = 0.0
    wants_person: float = 0.0
    hops: bool = False
    switches: bool = False
    pauses: bool = False
    rambles: bool = False
    cooperative: bool = True


PERSONAS: tuple[Persona, ...] = (
    Persona("bare", opener=(0, 0), extra=0.0, taps=0.3),
    Persona("tapper", opener=(0, 1), extra=0.0, taps=1.0),
    Persona("terse", opener=(1, 1), extra=0.0, taps=0.0, numbers=0.8),
    Persona("rich", opener=(4, 6), taps=0.2),
    Persona("rambling", opener=(5, 8), extra=0.5, told_wrong=0.05, taps=0.0, numbers=0.0, rambles=True),
    Persona("corrector", opener=(2, 4), told_wrong=0.3, taps=0.1),
    Persona("wrong_slot", opener=(1, 2), wrong_slot=0.10, told_wrong=0.05, taps=0.0, numbers=0.0),
    Persona("typist", opener=(2, 4), typos=0.023, told_wrong=0.05, taps=0.0, numbers=0.1),
    Persona("unsure", opener=(1, 2), not_sure=0.35),
    Persona("hopper", opener=(1, 3), told_wrong=0.05, hops=True, pauses=True),
    Persona("switcher", opener=(1, 2), switches=True, taps=0.5, numbers=0.5, extra=0.0),
    Persona(
        "hostile", opener=(0, 2), insult=0.3, wants_person=0.05, skips=0.2, told_wrong=0.05, cooperative=False
    ),
)
