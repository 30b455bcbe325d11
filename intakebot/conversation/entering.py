"""Entering facts: supersede, withdraw, derive.

A new value supersedes the old one, never averages with it. Values that follow from others (`Fact.implies`) are
re-computed after every change and dropped with their support; a value somebody stated is never overwritten by a derived one.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from intakebot.conversation.labels import fact_label, value_label
from intakebot.conversation.state import FactEntry, RuledOut, Source
from intakebot.conversation.turn import HeardFact
from intakebot.conversation.values import value_to_mapping
from intakebot.conversation.work import Work, fact_data
from intakebot.definitions.facts import Status, Value
from intakebot.definitions.model import Family

MAX_QUOTE = 80
MOST_RULED_OUT = 12
VAGUE = "someone"
"""The value of an attempt that names nobody."""
MAX_ROUNDS = 8
"""Chains of implications longer than this do not occur; the bound keeps a circular definition from looping."""


def enter(
    work: Work,
    fact_id: str,
    value: Value | None,
    *,
    status: Status,
    source: Source,
    certainty: float = 1.0,
    span: tuple[int, int] | None = None,
    quote: str = "",
    verified: bool = False,
) -> bool:
    """Hold a value for a fact. Returns False when a bench-verified entry stands in the way (nothing changes)."""
    old = work.facts.get(fact_id)
    stated = old if old is not None and old.source != "derived" else None
    if heard_later(work, fact_id, value):
        keep_later(work, fact_id, value)
        return True
    if stated is not None and stated.verified and source != "staff":
        return stated.value == value
    if (
        stated is not None
        and stated.value == value
        and stated.status == status
        and stated.certainty >= certainty
    ):
        return True
    entry = FactEntry(
        value=value,
        status=status,
        source=source,
        at=said_at(work),
        certainty=certainty,
        message_id=work.message_id,
        span=span,
        quote=quote[:MAX_QUOTE],
        verified=verified,
    )
    before = stated.value if stated else None
    differs = before is not None and before != value and stated is not None and stated.source != "unpicked"
    if stated is not None and stated.value == value and source == "text" and stated.status == "confirmed":
        return True
    work.put(fact_id, entry)
    work.note("fact_corrected" if differs else "fact_heard", **fact_data(fact_id, entry, before))
    work.heard.append(heard_fact(work, fact_id, entry, before))
    if differs:
        work.corrected.append((fact_id, value))
    return True


def said_at(work: Work) -> datetime:
    """When the customer said what is being read."""
    return work.said_at or work.now


def heard_later(work: Work, fact_id: str, value: Value | None) -> bool:
    """Whether something the customer said after this message settles the fact otherwise.

    As it would have come out in the order it was said: "I don't know" takes back no value, and a vague "someone" no name.
    """
    at = said_at(work)
    if any(out.fact == fact_id and out.value == value and out.at > at for out in work.conversation.ruled_out):
        return True
    held = work.facts.get(fact_id)
    if held is None or held.source == "derived" or held.at <= at or held.value == value:
        return False
    if held.status == "not_known" and value is not None:
        return False
    vague = work.fact(fact_id).role == "attempt" and held.value == VAGUE
    return not (vague and value not in (None, "nobody"))


def keep_later(work: Work, fact_id: str, value: Value | None) -> None:
    """Leave a fact as something said later settled it, and say so in the log."""
    held = work.facts.get(fact_id)
    now_held = held.value if held is not None else None
    work.note(
        "fact_late",
        fact=fact_id,
        value=value_to_mapping(value),
        kept=value_to_mapping(now_held),
        said_at=said_at(work).isoformat(),
        kept_from=held.at.isoformat() if held is not None else None,
    )
    work.kept.append((fact_id, now_held))


def rule_out(work: Work, fact_id: str, value: Value) -> bool:
    """The customer says that a fact does not have this value; True when it had it and is unknown again.

    What was ruled out is remembered for a while: an older message that arrives after it does not bring it back.
    """
    old, at = work.facts.get(fact_id), said_at(work)
    if old is not None and old.value == value and (old.verified or old.at > at):
        return False
    others = tuple(out for out in work.conversation.ruled_out if (out.fact, out.value) != (fact_id, value))
    work.change(ruled_out=(*others, RuledOut(fact_id, value, at))[-MOST_RULED_OUT:])
    if old is None or old.value != value:
        return False
    withdraw(work, fact_id)
    return True


def confirm(work: Work, fact_id: str, value: Value) -> None:
    """The customer said yes to this value."""
    old = work.facts.get(fact_id)
    quote = old.quote if old and old.value == value else ""
    enter(work, fact_id, value, status="confirmed", source="tap", quote=quote)
    work.note("fact_confirmed", fact=fact_id, value=value_to_mapping(value))


def drop_proposal(work: Work, fact_id: str) -> None:
    """Nothing is to be asked about a fact any more."""
    left = tuple(other for other in work.conversation.proposals if other.fact != fact_id)
    if left != work.conversation.proposals:
        work.change(proposals=left)


def withdraw(work: Work, fact_id: str) -> None:
    """Take a value back: the fact is unknown again."""
    old = work.facts.get(fact_id)
    if old is None:
        return
    work.remove(fact_id)
    work.note("fact_withdrawn", fact=fact_id, before=value_to_mapping(old.value))


def heard_fact(work: Work, fact_id: str, entry: FactEntry, before: Value | None) -> HeardFact:
    fact = work.fact(fact_id)
    return HeardFact(
        fact=fact_id,
        value=entry.value,
        status=entry.status,
        label=fact_label(work.texts, fact),
        value_label=value_label(work.texts, fact, entry.value, entry.status),
        before=before,
        source=entry.source,
    )


def derive(work: Work) -> None:
    """Re-compute all derived entries from the stated ones; note what came and what went."""
    stated = {fact: entry for fact, entry in work.facts.items() if entry.source != "derived"}
    old = {fact: entry for fact, entry in work.facts.items() if entry.source == "derived"}
    new = _derived(work.family, stated, old, work)
    if new == old:
        return
    for fact_id in sorted(set(old) - set(new) - set(stated)):
        work.note("derived_dropped", fact=fact_id, value=value_to_mapping(old[fact_id].value))
        work.dropped.append((fact_id, old[fact_id].value))
    for fact_id in sorted(new):
        if fact_id not in old or old[fact_id].value != new[fact_id].value:
            before = old[fact_id].value if fact_id in old else None
            work.note("fact_derived", **fact_data(fact_id, new[fact_id], before))
            if before is not None:
                work.dropped.append((fact_id, before))
    work.change(facts={**stated, **new})


def _derived(
    family: Family, stated: dict[str, FactEntry], old: dict[str, FactEntry], work: Work
) -> dict[str, FactEntry]:
    found: dict[str, FactEntry] = {}
    for _ in range(MAX_ROUNDS):
        changed = False
        for fact_id in sorted(family.facts):
            entry = stated.get(fact_id) or found.get(fact_id)
            if entry is None or entry.value is None:
                continue
            for implied in family.facts[fact_id].implies:
                if not _has(entry.value, implied.value) or implied.fact in stated or implied.fact in found:
                    continue
                if implied.fact not in family.facts:
                    continue
                fresh = FactEntry(
                    value=implied.gives,
                    status="heard",
                    source="derived",
                    at=work.now,
                    certainty=entry.certainty,
                    message_id=entry.message_id,
                    because_of=(fact_id,),
                )
                kept = old.get(implied.fact)
                if kept is not None and replace(kept, at=fresh.at) == fresh:
                    fresh = kept
                found[implied.fact] = fresh
                changed = True
        if not changed:
            break
    return found


def _has(value: Value, wanted: Value) -> bool:
    return wanted in value if isinstance(value, tuple) else value == wanted
