"""Estimate and consent of a case: made, revised, decided. Every figure comes from `assess`; every consent is logged."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from intakebot.assess import Assessments
from intakebot.conversation import Conversation, EstimateRevised
from intakebot.definitions.model import Definitions, RateCard
from intakebot.definitions.texts import Texts
from intakebot.errors import ConflictError, QuoteStateError
from intakebot.packing.bench_queue import Queue
from intakebot.quoting import consent as consents
from intakebot.quoting.consent import Actor, Consent, QuoteTerms
from intakebot.quoting.estimate import Estimate
from intakebot.quoting.estimate_json import estimate_from_json, estimate_to_json
from intakebot.quoting.money import parse_limit
from intakebot.quoting.outcomes import DoneSoFar
from intakebot.records.case import Authorisation, Case, QuoteRecord
from intakebot.sheets import sheet_text
from intakebot.turn_draft import CaseChange, Decided
from intakebot.workshop.job import Job, kept


def card_of(definitions: Definitions, case: Case) -> RateCard:
    """The rate card the conversation was started under."""
    for card in definitions.pricing.rate_cards:
        if card.id == case.rate_card:
            return card
    return definitions.pricing.rate_card_on(case.opened_at.date())


def local_day(definitions: Definitions, now: datetime) -> datetime:
    """The moment in the shop's own zone; its date is the shop's today."""
    return now.astimezone(ZoneInfo(definitions.pricing.shop.timezone))


def issue_estimate(
    assessments: Assessments,
    case: Case,
    conversation: Conversation,
    now: datetime,
    *,
    actor: Actor,
    done: DoneSoFar | None = None,
    queue: Queue | None = None,
) -> tuple[CaseChange, Estimate]:
    """Make the next estimate of a case, put it into the consent record, supersede the one before."""
    definitions, job = assessments.definitions, Job.of(case)
    today = local_day(definitions, now).date()
    number = job.quote_number + 1
    estimate = assessments.estimate(
        conversation.family, conversation.answers, today, reference=case.reference, number=str(number),
        supersedes=str(number - 1) if number > 1 else None, card=card_of(definitions, case),
        results=job.results, done=done, queue=queue,
    )  # fmt: skip
    shown = estimate_shown(definitions, conversation, estimate)
    terms = QuoteTerms(
        str(number), today, estimate.valid_until, estimate.maximum, estimate.minimum_fee, shown
    )
    consent = consents.issue(job.consent or Consent.new(estimate.currency), terms, actor, now)
    body = estimate_to_json(estimate)
    record = QuoteRecord(
        number=number, issued_at=now, valid_until=_end_of(estimate, now), state="current",
        currency=estimate.currency, maximum=str(estimate.maximum.amount), body=body,
    )  # fmt: skip
    after = replace(job, estimate=body, quote_number=number, consent=consent)
    events = (
        (
            "quote_issued",
            {"number": number, "maximum": str(estimate.maximum.amount), "currency": estimate.currency},
        ),
    )
    return CaseChange(kept(case, after), quotes=(record,), events=events), estimate


def _end_of(estimate: Estimate, now: datetime) -> datetime:
    """The last moment of the last day, in the zone of `now`."""
    day = estimate.valid_until
    return now.replace(
        year=day.year, month=day.month, day=day.day, hour=23, minute=59, second=59, microsecond=0
    )


def estimate_shown(definitions: Definitions, conversation: Conversation, estimate: Estimate) -> str:
    """The exact text the customer is shown, kept with the consent."""
    from intakebot.quoting.estimate_sheet import estimate_sheet

    return sheet_text(estimate_sheet(estimate, definitions, conversation.locale))


def decide(
    definitions: Definitions,
    case: Case,
    decision: str,
    limit: str | None,
    by: str,
    channel: str,
    now: datetime,
) -> Decided:
    """Write the customer's decision. An expired quote is noted as expired; the engine then makes a new one.

    Raises: QuoteStateError (none, superseded, decided already), BadInputError (a limit below the minimum fee).
    """
    job = Job.of(case)
    if job.consent is None or job.consent.current is None:
        raise QuoteStateError("there is no estimate to decide yet")
    today, actor, quote = local_day(definitions, now).date(), Actor(by, channel), job.consent.current
    expired = consents.expire(job.consent, today, now)
    if expired.state == "expired":
        return Decided(CaseChange(kept(case, replace(job, consent=expired))), "expired")
    if decision == "decline":
        after, amount = consents.decline(job.consent, quote.number, actor, now), None
    elif limit:
        amount = parse_limit(limit, job.consent.currency)
        after = consents.limit(job.consent, quote.number, amount, actor, now, today)
    else:
        after, amount = consents.accept(job.consent, quote.number, actor, now, today), None
    written = Authorisation(
        seq=len(after.log), quote_number=int(quote.number), decision="decline" if decision == "decline" else "accept",
        limit=str(amount.amount) if amount else None, currency=after.currency, by=by, channel=channel,
        text_shown=quote.text, at=now,
    )  # fmt: skip
    change = CaseChange(
        kept(case, replace(job, consent=after)),
        authorisations=(written,),
        quotes=(
            _stored_quote(job, int(quote.number), now, "declined" if decision == "decline" else "accepted"),
        ),
    )
    return Decided(change, "declined" if decision == "decline" else "accepted")


def _stored_quote(job: Job, number: int, now: datetime, state: str) -> QuoteRecord:
    body = job.estimate or {}
    estimate = estimate_from_json(body)
    return QuoteRecord(
        number, now, _end_of(estimate, now), state, estimate.currency, str(estimate.maximum.amount), body
    )


def revise(
    assessments: Assessments,
    case: Case,
    now: datetime,
    *,
    reason: str,
    by: str,
    done: DoneSoFar | None = None,
    queue: Queue | None = None,
) -> CaseChange:
    """A revised quote from the facts as they are now; the customer is asked again.

    Raises: ConflictError before the first estimate or when the case is closed.
    """
    conversation, job = Conversation.from_mapping(case.conversation), Job.of(case)
    if job.quote_number == 0:
        raise ConflictError("there is no estimate to revise yet")
    if job.outcome is not None or conversation.phase in ("declined", "withdrawn", "finished"):
        raise ConflictError("this case is closed; its price cannot change any more")
    change, estimate = issue_estimate(
        assessments, case, conversation, now, actor=Actor(by, "shop"), done=done, queue=queue
    )
    texts = Texts(assessments.definitions, conversation.family, conversation.locale)
    events = (*change.events, ("quote_revised", {"reason": reason, "number": int(estimate.number)}))
    if conversation.phase in ("open", "estimated", "accepted"):
        event = EstimateRevised(f"revised-{estimate.number}")
        return replace(change, event=event, events=events, announce=("estimate.changed",))
    notice = texts.say(
        "workshop.ask_more",
        maximum=_shown(estimate.maximum.amount, estimate.currency, texts.locale),
        reason=reason,
    )
    return replace(change, notices=(notice,), events=events, announce=("estimate.changed",))


def _shown(amount: Decimal, currency: str, locale: str) -> str:
    from intakebot.quoting.money import Money, format_money

    return format_money(Money(amount, currency), locale)


def current_estimate(case: Case) -> Estimate | None:
    """The estimate as last written."""
    job = Job.of(case)
    return None if job.estimate is None else estimate_from_json(job.estimate)
