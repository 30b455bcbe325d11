"""Consent: which amount the customer has authorised, by which quote, and the guards of work and invoice.

One `Consent` per case. States of the *current* quote:

    none --issue--> quoted --accept / limit--> accepted --invoice--> accepted (invoiced)
                    quoted --decline--> declined        accepted --decline--> declined (stop here)
                    quoted --expire--> expired          any --issue--> quoted (the new quote supersedes)

Rules, all kept by the functions below and by nothing else:

- A decision names the quote it is about. A decision on a superseded, expired or already decided quote is refused.
- Work may begin only while the current quote is accepted, and only up to the authorised amount. A revised quote stops *further* work
  until it is accepted; what was done before keeps its earlier authorisation.
- An invoice is never above the authorised amount. After "no" to a revision, or a stop after acceptance, it is at most what had been
  committed by then, or the accepted quote's minimum fee.
- Every event is logged with who, when, which channel, the exact text shown and the amount. The log only grows.

Every function returns a new Consent; when it raises, nothing has changed.

Source of the rule "nothing above the estimate without recorded consent, and what the record holds": California Business and
Professions Code 9844 and 16 CCR 2722; Quebec Consumer Protection Act ss. 182-185; Ohio Adm. Code 109:4-3-05.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Literal

from intakebot.errors import BadInputError, OverCapError, QuoteStateError
from intakebot.quoting.json_form import from_json, to_json
from intakebot.quoting.money import Money

State = Literal["none", "quoted", "accepted", "declined", "expired"]
EventKind = Literal[
    "issued",
    "superseded",
    "accepted",
    "limited",
    "declined",
    "asked",
    "expired",
    "work_committed",
    "invoiced",
]

LONGEST_TEXT = 20_000


@dataclass(frozen=True)
class QuoteTerms:
    """What of an estimate consent is about. text: the exact text shown. valid_until: the last day to accept."""

    number: str
    issued_on: date
    valid_until: date
    maximum: Money
    minimum_fee: Money
    text: str


@dataclass(frozen=True)
class Actor:
    """Who did it (customer, a staff name, the system) and by which channel (web, e-mail, phone, in person, ...)."""

    who: str
    channel: str


@dataclass(frozen=True)
class ConsentEvent:
    """One line of the log. at: timezone-aware. text: what the customer was shown, or said. amount: what it was about."""

    kind: EventKind
    quote: str
    who: str
    channel: str
    at: datetime
    text: str
    amount: Money


@dataclass(frozen=True)
class Consent:
    """authorised: the most that may be invoiced now. committed: what work done or begun will cost. invoiced: None until it is."""

    currency: str
    state: State
    current: QuoteTerms | None
    superseded: tuple[str, ...]
    authorised: Money
    committed: Money
    invoiced: Money | None
    accepted_fee: Money
    log: tuple[ConsentEvent, ...]

    @classmethod
    def new(cls, currency: str) -> Consent:
        nothing = Money.of_minor(0, currency)
        return cls(currency, "none", None, (), nothing, nothing, None, nothing, ())

    def may_work(self, total: Money) -> bool:
        """Whether work that brings the whole bill to `total` may begin now."""
        return self.state == "accepted" and self.invoiced is None and total <= self.authorised


def _logged(
    consent: Consent, kind: EventKind, quote: QuoteTerms, actor: Actor, at: datetime, text: str, amount: Money
) -> tuple[ConsentEvent, ...]:
    if at.tzinfo is None:
        raise BadInputError("at", at.isoformat(), "a time with its zone")
    if not actor.who.strip() or not actor.channel.strip():
        raise BadInputError("actor", (actor.who, actor.channel), "who, and by which channel")
    if not text.strip() or len(text) > LONGEST_TEXT:
        raise BadInputError(
            "text", f"{len(text)} characters", f"the text shown, 1 to {LONGEST_TEXT} characters"
        )
    return (*consent.log, ConsentEvent(kind, quote.number, actor.who, actor.channel, at, text, amount))


def issue(consent: Consent, quote: QuoteTerms, actor: Actor, at: datetime) -> Consent:
    """Put a quote before the customer; it supersedes the current one. Earlier authorisation stays for work already committed.

    Raises: QuoteStateError for a number used before or a case already invoiced; BadInputError for amounts or dates that make no sense.
    """
    _not_invoiced(consent)
    if quote.number in consent.superseded or (consent.current and consent.current.number == quote.number):
        raise QuoteStateError(f"quote {quote.number} was issued before; a revised quote needs a new number")
    if quote.maximum.amount < 0 or quote.minimum_fee.amount < 0 or quote.minimum_fee > quote.maximum:
        found = f"minimum fee {quote.minimum_fee.amount}, maximum {quote.maximum.amount}"
        raise BadInputError(f"quote {quote.number}", found, "0 <= minimum fee <= maximum")
    if quote.maximum.currency != consent.currency:
        raise BadInputError(f"quote {quote.number}", quote.maximum.currency, f"amounts in {consent.currency}")
    if quote.valid_until < quote.issued_on:
        raise BadInputError(
            f"quote {quote.number}", quote.valid_until.isoformat(), "a last day not before the first"
        )
    log = consent.log
    superseded = consent.superseded
    if consent.current is not None:
        old = consent.current
        log = _logged(consent, "superseded", old, actor, at, f"superseded by {quote.number}", old.maximum)
        superseded = (*superseded, old.number)
    log = _logged(replace(consent, log=log), "issued", quote, actor, at, quote.text, quote.maximum)
    return replace(consent, state="quoted", current=quote, superseded=superseded, log=log)


def accept(consent: Consent, number: str, actor: Actor, at: datetime, today: date) -> Consent:
    """The customer says yes to the whole maximum.

    Raises: QuoteStateError when the quote is superseded, expired or already decided.
    """
    quote = _decidable(consent, number, today)
    return _authorise(consent, quote, quote.maximum, "accepted", quote.text, actor, at)


def limit(consent: Consent, number: str, amount: Money, actor: Actor, at: datetime, today: date) -> Consent:
    """The customer says yes up to an amount of their own (a limit above the maximum authorises the maximum, not more).

    Also lowers, or raises up to the maximum, an acceptance already given; never below what work has been committed to.

    Raises: QuoteStateError as `accept`; BadInputError for a limit below the minimum fee or below work already committed.
    """
    is_accepted = (
        consent.state == "accepted" and consent.current is not None and consent.current.number == number
    )
    quote = consent.current if is_accepted and consent.current else _decidable(consent, number, today)
    _not_invoiced(consent)
    if amount < quote.minimum_fee:
        raise BadInputError(
            "limit", str(amount.amount), f"at least the minimum fee, {quote.minimum_fee.amount}"
        )
    if amount < consent.committed:
        raise BadInputError(
            "limit", str(amount.amount), f"at least {consent.committed.amount}, the work already begun"
        )
    if is_accepted and amount > consent.authorised and today > quote.valid_until:
        raise QuoteStateError(
            f"quote {number} was valid until {quote.valid_until.isoformat()}; it cannot be raised now"
        )
    return _authorise(consent, quote, min(amount, quote.maximum), "limited", quote.text, actor, at)


def _authorise(
    consent: Consent,
    quote: QuoteTerms,
    amount: Money,
    kind: Literal["accepted", "limited"],
    text: str,
    actor: Actor,
    at: datetime,
) -> Consent:
    if amount < consent.committed:
        raise BadInputError(
            "amount", str(amount.amount), f"at least {consent.committed.amount}, the work already begun"
        )
    log = _logged(consent, kind, quote, actor, at, text, amount)
    return replace(consent, state="accepted", authorised=amount, accepted_fee=quote.minimum_fee, log=log)


def decline(consent: Consent, number: str, actor: Actor, at: datetime) -> Consent:
    """The customer says no; after an acceptance: stop now.

    Then at most the work already committed, or the minimum fee of the quote accepted before, can be invoiced.

    Raises: QuoteStateError for a quote that is not the current one or was declined before.
    """
    quote = _current(consent, number)
    _not_invoiced(consent)
    if consent.state == "declined":
        raise QuoteStateError(f"quote {number} was declined before")
    log = _logged(consent, "declined", quote, actor, at, quote.text, quote.maximum)
    owed = min(consent.authorised, max(consent.committed, consent.accepted_fee))
    return replace(consent, state="declined", authorised=owed, log=log)


def ask(consent: Consent, number: str, question: str, actor: Actor, at: datetime) -> Consent:
    """The customer asks something before deciding; nothing changes but the log."""
    quote = _current(consent, number)
    return replace(consent, log=_logged(consent, "asked", quote, actor, at, question, quote.maximum))


def expire(consent: Consent, today: date, at: datetime) -> Consent:
    """Mark the current quote expired when its last day has passed and nobody decided; otherwise return it unchanged."""
    quote = consent.current
    if consent.state != "quoted" or quote is None or today <= quote.valid_until:
        return consent
    text = f"valid until {quote.valid_until.isoformat()}"
    log = _logged(consent, "expired", quote, Actor("system", "clock"), at, text, quote.maximum)
    return replace(consent, state="expired", log=log)


def commit_work(
    consent: Consent, total: Money, actor: Actor, at: datetime, text: str = "work begun"
) -> Consent:
    """Begin work that brings the whole bill to `total` (all lines and tax). Call before the work.

    Raises: QuoteStateError without an accepted current quote; OverCapError above the authorised amount.
    """
    quote = consent.current
    _not_invoiced(consent)
    if consent.state != "accepted" or quote is None:
        raise QuoteStateError(f"no work without an accepted quote; the state is {consent.state}")
    if total.amount < 0:
        raise BadInputError("total", str(total.amount), "0 or more")
    if total > consent.authorised:
        raise OverCapError(
            f"work for {total.amount} would pass the authorised {consent.authorised.amount} {total.currency}"
        )
    committed = max(consent.committed, total)
    log = _logged(consent, "work_committed", quote, actor, at, text, total)
    return replace(consent, committed=committed, log=log)


def invoice(consent: Consent, total: Money, actor: Actor, at: datetime, text: str = "invoice") -> Consent:
    """Write the one invoice of the case.

    Raises: QuoteStateError when nothing was ever quoted or it is invoiced already; OverCapError above the authorised amount.
    """
    quote = consent.current
    _not_invoiced(consent)
    if quote is None:
        raise QuoteStateError("no invoice without a quote")
    if total.amount < 0:
        raise BadInputError("total", str(total.amount), "0 or more")
    cap = invoice_cap(consent)
    if total > cap:
        raise OverCapError(
            f"an invoice of {total.amount} would pass the authorised {cap.amount} {total.currency}"
        )
    return replace(consent, invoiced=total, log=_logged(consent, "invoiced", quote, actor, at, text, total))


def invoice_cap(consent: Consent) -> Money:
    """The most that may be invoiced now.

    While a revised quote is open or has run out, that is what was committed under the earlier one (or its minimum fee).
    """
    if consent.state in ("accepted", "declined"):
        return consent.authorised
    return min(consent.authorised, max(consent.committed, consent.accepted_fee))


def _not_invoiced(consent: Consent) -> None:
    if consent.invoiced is not None:
        raise QuoteStateError("the case is invoiced; nothing about its price can change")


def _current(consent: Consent, number: str) -> QuoteTerms:
    if number in consent.superseded:
        newer = consent.current.number if consent.current else "a newer one"
        raise QuoteStateError(f"quote {number} was superseded by {newer}; please look at the new one")
    if consent.current is None or consent.current.number != number:
        raise QuoteStateError(f"quote {number} was never issued in this case")
    return consent.current


def _decidable(consent: Consent, number: str, today: date) -> QuoteTerms:
    quote = _current(consent, number)
    _not_invoiced(consent)
    if consent.state in ("accepted", "declined"):
        raise QuoteStateError(f"quote {number} was {consent.state} before")
    if consent.state == "expired" or today > quote.valid_until:
        raise QuoteStateError(
            f"quote {number} was valid until {quote.valid_until.isoformat()}; ask for a new one"
        )
    return quote


# ---- as JSON -----------------------------------------------------------------------------------------------------------


def consent_to_json(consent: Consent) -> dict[str, Any]:
    """JSON values only; `consent_from_json` gives the same Consent back."""
    return dict(to_json(consent))


def event_to_json(event: ConsentEvent) -> dict[str, Any]:
    return dict(to_json(event))


def consent_from_json(data: Mapping[str, Any]) -> Consent:
    """Raises: BadInputError for something `consent_to_json` did not write."""
    return from_json(Consent, data, "consent")
