"""The frozen Definitions: everything flows/ and pricing/ say, after both passes.

Nothing here reads a file. Every record that holds a number has a `source`: a published source, `common practice`,
`invented for the demo` or `learned`. Minutes are hands-on bench minutes; money is Decimal in the rate card's currency.
The YAML keys are the attribute names below; the loader and the JSON Schemas accept exactly these.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal

from intakebot.definitions.facts import Condition, Value
from intakebot.definitions.pricing_model import (
    Calendar,
    ChanceWord,
    Parcel,
    Part,
    Pricing,
    Profile,
    RateCard,
    ShippingTariff,
    Shop,
)

__all__ = [
    "Calendar",
    "Caution",
    "ChanceWord",
    "Choice",
    "Definitions",
    "Device",
    "DiscClass",
    "Enclosure",
    "Fact",
    "FactType",
    "Family",
    "Fault",
    "Finding",
    "GivingUp",
    "Implication",
    "Level",
    "OddsChange",
    "PairedPart",
    "Parcel",
    "Part",
    "Phrases",
    "PlayTest",
    "Pricing",
    "Profile",
    "Purpose",
    "Question",
    "RateCard",
    "Role",
    "ShippingTariff",
    "Shop",
    "Stake",
    "Step",
]

FactType = Literal["choice", "choices", "yes_no", "text", "amount", "date", "count", "photo"]
Purpose = Literal["safety", "triage", "price", "packing", "contact", "bench"]
Stake = Literal["low", "medium", "high"]
STAKES: tuple[Stake, ...] = ("high", "medium", "low")
"""Weightiest first."""
Role = Literal[
    "device_kind",
    "loading",
    "model_name",
    "serial",
    "age_years",
    "disc_result",  # plays / fails / not_tried, with `disc_class`
    "hazard",  # yes_no; yes pre-empts everything
    "part_place",  # where a paired part is
    "part_candidates",  # how many look-alike boards are there
    "stuck_disc",
    "stuck_disc_class",
    "stuck_disc_title",
    "stuck_disc_wanted",
    "attempt",  # who did it: nobody / owner / friend / shop / someone
    "attempt_outcome",
    "spending_limit",
    "device_value",
    "deadline",
    "priority",
    "enclosures",
    "weight_kg",
    "size_mm",
    "name",
    "email",
    "phone",
    "address",
    "postcode",
    "country",
    "contact_by",
    "photos",
    "story",
]


@dataclass(frozen=True)
class Fact:
    """One thing that can be known. `unknown` and `would rather not say` are always possible answers.

    options: codes, for choice and choices (yes_no is always "yes", "no").
    stake: how much a mistake costs; `high` facts move price or feasibility and are always asked directly.
    role: what the engine uses it for, if anything; several facts may share `disc_result`, `hazard`, `attempt`.
    disc_class / part: for the roles that need to say which class or which paired part.
    implies: derived values of other facts, see Implication.
    """

    id: str
    type: FactType
    options: tuple[str, ...]
    purposes: tuple[Purpose, ...]
    stake: Stake
    personal: bool = False
    role: Role | None = None
    disc_class: str | None = None
    part: str | None = None
    minimum: Decimal | None = None
    maximum: Decimal | None = None
    unit: str | None = None
    max_length: int = 500
    implies: tuple[Implication, ...] = ()


@dataclass(frozen=True)
class Implication:
    """While this fact has `value`, `fact` has `gives` unless somebody said otherwise (derived, re-computed each turn)."""

    value: Value
    fact: str
    gives: Value


@dataclass(frozen=True)
class Choice:
    """A tappable answer: its text key is `choice.<question>.<id>`; it sets facts (None = the customer does not know).

    Only in a question with `several`: else_sets, what it means when the choice was listed and not picked (weaker than a
    spoken no: held as heard; what a picked choice says or implies wins); when: the choice is listed only while this holds.
    """

    id: str
    sets: Mapping[str, Value | None]
    else_sets: Mapping[str, Value | None] = field(default_factory=dict)
    when: Condition | None = None


@dataclass(frozen=True)
class Question:
    """A question fills one fact, or several at once through its choices.

    choices: empty for a single choice/yes_no fact (the fact's options are offered) and for free-text facts.
    several: a checklist, "pick all that fit". At most six choices are listed at a time, the ones worth most; "none of
        these" is added by the talk and means that every listed choice is not so.
    burden: effort for the customer in units of one easy question; money per unit is in the rate card.
    tier: safety first; then triage by value; logistics last, on one form.
    """

    id: str
    fills: tuple[str, ...]
    tier: Literal["safety", "triage", "logistics"]
    ask_when: Condition
    burden: float
    source: str
    choices: tuple[Choice, ...] = ()
    several: bool = False
    always: bool = False  # asked whenever allowed, whatever its value (e.g. where the original board is)


@dataclass(frozen=True)
class OddsChange:
    """While `when` holds, multiply (prior odds of a fault, or chance a step works) by `times`."""

    when: Condition
    times: float
    source: str


@dataclass(frozen=True)
class Fault:
    """prior: P(fault) before any evidence, independent of the others (noisy-OR network).

    alone: never together with another fault (such as nothing wrong found).
    repairable: False if no bench step of this shop restores it.
    """

    id: str
    prior: float
    repairable: bool
    source: str
    alone: bool = False
    by_device: Mapping[str, float] = field(default_factory=dict)
    odds_when: tuple[OddsChange, ...] = ()


@dataclass(frozen=True)
class Finding:
    """Something seen or reported, with its likelihoods.

    Two-valued (`values` has exactly yes and no): noisy-OR, P(no | D) = (1 - leak) * prod(1 - raises[d]).
    Many-valued: P(value | D) = row of the dominant fault (the fault in D whose row gives the *smallest* share to
    `normal`), `base` when no fault of D has a row.
    values: value -> condition over facts; the first that holds is the value; none holds -> the finding drops out.
    stage: `intake` (from the customer) or `bench` (seen while working; its facts have purpose bench).
    seen_at: for bench findings, the steps at which it can be seen.
    """

    id: str
    values: Mapping[str, Condition]
    source: str
    stage: Literal["intake", "bench"] = "intake"
    leak: float | None = None
    raises: Mapping[str, float] = field(default_factory=dict)
    normal: str | None = None
    base: Mapping[str, float] = field(default_factory=dict)
    rows: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    applies_when: Condition | None = None
    seen_at: tuple[str, ...] = ()


@dataclass(frozen=True)
class Level:
    """An access level. `open`/`close` are minutes from / to its parent. One level has no parent: outside."""

    id: str
    parent: str | None
    open: float
    close: float
    test_possible: bool
    source: str


@dataclass(frozen=True)
class Step:
    """One bench step.

    minutes: median hands-on minutes, access not included. spread: sigma of ln(minutes) (log-normal).
    fixes: fault -> P(this step cures it). tried: while it was done before, its chance is multiplied.
    parts: ids in the parts list, used up when the step is done.
    trial_of: for a board trial, the paired part whose look-alike candidates are tried one by one.
    charge: flat price code in the rate card, or None for time.
    """

    id: str
    level: str
    minutes: float
    spread: float
    fixes: Mapping[str, float]
    source: str
    after: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    tried: tuple[OddsChange, ...] = ()
    only_when: Condition | None = None
    trial_of: str | None = None
    hazards: tuple[str, ...] = ()  # ids of bench cautions shown with the step
    at_home: bool = False  # a customer may safely try it before sending (text `step.<id>.at_home`)


@dataclass(frozen=True)
class Caution:
    """severity stop: replaces the shipping label until a person has answered, outranks everything.

    Shown to the customer while `when` holds (text key `caution.<id>.customer`, may be absent), and at the bench with
    the steps that name it in `hazards` or while `when` holds (`caution.<id>.bench`).
    asked: ids of packing instructions (`enclose.<x>`, `leave_out.<x>`, `stuck_disc`, `ship`) it is attached to.
    """

    id: str
    severity: Literal["stop", "warning", "note"]
    source: str
    when: Condition | None = None
    asked: tuple[str, ...] = ()


@dataclass(frozen=True)
class PairedPart:
    """A part that works only with its own mainboard.

    place_fact: choice fact; `places` maps each option to a gate: go / doubt / hold / cannot.
    doubt: probability that the enclosed part is *not* the original one, used for the gate `doubt`.
    candidates_fact: count of look-alike parts. fault: the fault a missing original means.
    """

    id: str
    place_fact: str
    places: Mapping[str, Literal["go", "doubt", "hold", "cannot"]]
    doubt: float
    fault: str
    source: str
    candidates_fact: str | None = None
    applies_when: Condition | None = None


@dataclass(frozen=True)
class Enclosure:
    """Something to put in the box (or, in leave_outs, to keep at home). Text key `enclose.<id>` / `leave_out.<id>`."""

    id: str
    when: Condition
    original_part: bool = False
    protection: Literal["none", "antistatic", "rigid", "disc_sleeve"] = "none"


@dataclass(frozen=True)
class Device:
    """A kind of device of the family, generic (no brand).

    discs: disc classes it should play. mains_inside: it holds its own mains supply. fragility_g: assumed, never measured.
    paired: ids of paired parts it has. lithium: None or (chemistry, watt_hours, how) for what stays inside.
    """

    id: str
    discs: tuple[str, ...]
    loading: tuple[str, ...]
    weight_kg: float
    size_mm: tuple[int, int, int]
    fragility_g: float
    mains_inside: bool
    paired: tuple[str, ...]
    source: str
    lithium: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class DiscClass:
    """wavelength_nm: the laser that reads it. Text key `disc.<id>`."""

    id: str
    wavelength_nm: int
    source: str


@dataclass(frozen=True)
class PlayTest:
    minutes: float
    source: str


@dataclass(frozen=True)
class GivingUp:
    """Cost of returning a device unrepaired: minutes to close, pack and explain, and goodwill in money."""

    minutes: float
    goodwill: Decimal
    source: str


@dataclass(frozen=True)
class Phrases:
    """Example wordings of one locale: fact -> value -> phrases; and cue words by kind (negation, hedge, ...)."""

    locale: str
    values: Mapping[str, Mapping[str, tuple[str, ...]]]
    cues: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Example:
    """A labelled sentence: the values it states of yes/no and choice facts, and the facts it may or may not state."""

    text: str
    facts: Mapping[str, str]
    open: tuple[str, ...]


@dataclass(frozen=True)
class AnswerWords:
    """Wordings of answers in one locale, each counting only while its question is the pending one.

    kinds: word classes for these wordings. choices: question -> choice -> phrases. facts: question -> fact -> value ->
    phrases, what such an answer says besides. over: question -> facts not read from words in which an answer was found.
    """

    locale: str
    kinds: Mapping[str, tuple[str, ...]]
    choices: Mapping[str, Mapping[str, tuple[str, ...]]]
    facts: Mapping[str, Mapping[str, Mapping[str, tuple[str, ...]]]]
    over: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Family:
    """One folder under flows/."""

    id: str
    title_key: str
    version: str
    devices: Mapping[str, Device]
    disc_classes: Mapping[str, DiscClass]
    facts: Mapping[str, Fact]
    questions: Mapping[str, Question]
    faults: Mapping[str, Fault]
    findings: Mapping[str, Finding]
    levels: Mapping[str, Level]
    steps: Mapping[str, Step]
    cautions: Mapping[str, Caution]
    paired_parts: Mapping[str, PairedPart]
    enclosures: tuple[Enclosure, ...]
    leave_outs: tuple[Enclosure, ...]
    play_test: PlayTest
    giving_up: GivingUp
    phrases: Mapping[str, Phrases]
    texts: Mapping[
        str, Mapping[str, str | tuple[str, ...]]
    ]  # locale -> key -> text (a tuple: tapered wordings)
    examples: Mapping[str, tuple[Example, ...]] = field(default_factory=dict)  # locale -> labelled sentences
    answers: Mapping[str, AnswerWords] = field(default_factory=dict)  # locale -> wordings of answers


@dataclass(frozen=True)
class Definitions:
    """Everything, plus `version`: a short hash of all files' bytes, stored with each conversation."""

    version: str
    families: Mapping[str, Family]
    pricing: Pricing
    locales: tuple[str, ...]
    core_texts: Mapping[str, Mapping[str, str | tuple[str, ...]]]  # flows/common/texts: engine and page texts
