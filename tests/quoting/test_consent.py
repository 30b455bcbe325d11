"""Consent: who may say what about which quote, and what may be done and billed after it.

Source of the rules: California B&P 9844 and 16 CCR 2722 (no charge above the estimate without consent; date, time, who, channel, amount
are recorded), Quebec CPA ss. 182-185, Ohio Adm. Code 109:4-3-05.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from intakebot.errors import BadInputError, MoneyError, OverCapError, QuoteStateError
from intakebot.quoting import consent as c
from intakebot.quoting.consent import Actor, Consent, QuoteTerms
from intakebot.quoting.money import Money

NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
TODAY = NOW.date()
ADA = Actor("customer", "web")
BENCH = Actor("sam", "bench")


def pounds(amount: str) -> Money:
    return Money(Decimal(amount), "GBP")


def quote(number: str = "1", maximum: str = "100.00", fee: str = "24.00", days: int = 30) -> QuoteTerms:
    return QuoteTerms(
        number,
        TODAY,
        TODAY + timedelta(days=days),
        pounds(maximum),
        pounds(fee),
        f"You pay at most {maximum}.",
    )


def quoted(terms: QuoteTerms | None = None) -> Consent:
    return c.issue(Consent.new("GBP"), terms or quote(), BENCH, NOW)


def accepted() -> Consent:
    return c.accept(quoted(), "1", ADA, NOW, TODAY)


def revised(maximum: str = "150.00") -> Consent:
    """Accepted up to 100, 60 of it begun, then a new quote."""
    begun = c.commit_work(accepted(), pounds("60.00"), BENCH, NOW)
    return c.issue(begun, quote("2", maximum), BENCH, NOW)


def test_yes_authorises_the_maximum_and_is_logged_with_the_text_shown() -> None:
    agreed = accepted()

    last = agreed.log[-1]
    assert (agreed.state, agreed.authorised) == ("accepted", pounds("100.00"))
    assert (last.kind, last.quote, last.who, last.channel, last.at) == (
        "accepted",
        "1",
        "customer",
        "web",
        NOW,
    )
    assert (last.text, last.amount) == ("You pay at most 100.00.", pounds("100.00"))


def test_no_work_and_no_invoice_before_a_yes() -> None:
    with pytest.raises(QuoteStateError, match="no work without an accepted quote"):
        c.commit_work(quoted(), pounds("1.00"), BENCH, NOW)
    with pytest.raises(OverCapError):
        c.invoice(quoted(), pounds("1.00"), BENCH, NOW)
    with pytest.raises(QuoteStateError, match="without a quote"):
        c.invoice(Consent.new("GBP"), pounds("0.00"), BENCH, NOW)


def test_work_up_to_the_cent_of_the_maximum_but_not_one_more() -> None:
    assert c.commit_work(accepted(), pounds("100.00"), BENCH, NOW).committed == pounds("100.00")
    with pytest.raises(OverCapError, match=r"work for 100\.01 would pass the authorised 100\.00 GBP"):
        c.commit_work(accepted(), pounds("100.01"), BENCH, NOW)


def test_invoice_up_to_the_maximum_but_not_above_and_only_once() -> None:
    billed = c.invoice(accepted(), pounds("100.00"), BENCH, NOW)

    assert billed.invoiced == pounds("100.00")
    with pytest.raises(OverCapError):
        c.invoice(accepted(), pounds("100.01"), BENCH, NOW)
    with pytest.raises(QuoteStateError, match="invoiced"):
        c.invoice(billed, pounds("1.00"), BENCH, NOW)


def test_a_limit_below_the_maximum_becomes_the_cap() -> None:
    limited = c.limit(quoted(), "1", pounds("80.00"), ADA, NOW, TODAY)

    assert (limited.authorised, limited.log[-1].kind) == (pounds("80.00"), "limited")
    with pytest.raises(OverCapError):
        c.commit_work(limited, pounds("80.01"), BENCH, NOW)


def test_a_limit_above_the_maximum_authorises_the_maximum_only() -> None:
    assert c.limit(quoted(), "1", pounds("500.00"), ADA, NOW, TODAY).authorised == pounds("100.00")


def test_a_limit_can_be_lowered_later_but_not_below_work_begun() -> None:
    begun = c.commit_work(accepted(), pounds("60.00"), BENCH, NOW)

    assert c.limit(begun, "1", pounds("60.00"), ADA, NOW, TODAY).authorised == pounds("60.00")
    with pytest.raises(BadInputError, match="work already begun"):
        c.limit(begun, "1", pounds("59.99"), ADA, NOW, TODAY)


def test_an_old_acceptance_can_be_lowered_but_not_raised_after_the_last_day() -> None:
    late = TODAY + timedelta(days=31)
    limited = c.limit(quoted(), "1", pounds("80.00"), ADA, NOW, TODAY)

    assert c.limit(limited, "1", pounds("50.00"), ADA, NOW, late).authorised == pounds("50.00")
    with pytest.raises(QuoteStateError, match="cannot be raised"):
        c.limit(limited, "1", pounds("90.00"), ADA, NOW, late)


def test_a_limit_below_the_minimum_fee_is_refused_and_changes_nothing() -> None:
    before = quoted()

    with pytest.raises(BadInputError, match=r"at least the minimum fee, 24\.00"):
        c.limit(before, "1", pounds("23.99"), ADA, NOW, TODAY)
    assert before == quoted()


def test_double_acceptance_is_refused_and_changes_nothing() -> None:
    agreed = accepted()

    with pytest.raises(QuoteStateError, match="quote 1 was accepted before"):
        c.accept(agreed, "1", ADA, NOW, TODAY)
    assert agreed == accepted()


def test_a_superseded_quote_cannot_be_accepted() -> None:
    newer = revised()

    with pytest.raises(QuoteStateError, match="quote 1 was superseded by 2"):
        c.accept(newer, "1", ADA, NOW, TODAY)
    assert newer == revised()


@pytest.mark.parametrize(
    "act", [c.accept, lambda *a: c.limit(a[0], a[1], pounds("50.00"), *a[2:])], ids=["accept", "limit"]
)
def test_an_expired_quote_cannot_be_accepted(act: Callable[..., Consent]) -> None:
    """Valid to the end of the last day, not a day longer."""
    last_day = TODAY + timedelta(days=30)

    assert act(quoted(), "1", ADA, NOW, last_day).state == "accepted"
    with pytest.raises(QuoteStateError, match="valid until 2026-12-25"):
        act(quoted(), "1", ADA, NOW, last_day + timedelta(days=1))


def test_expiry_is_logged_once_and_only_for_undecided_quotes() -> None:
    late = TODAY + timedelta(days=31)

    expired = c.expire(quoted(), late, NOW)

    assert (expired.state, expired.log[-1].kind) == ("expired", "expired")
    assert c.expire(expired, late, NOW) == expired
    assert c.expire(accepted(), late, NOW) == accepted()
    with pytest.raises(QuoteStateError, match="ask for a new one"):
        c.accept(expired, "1", ADA, NOW, TODAY)


def test_an_unknown_quote_cannot_be_decided() -> None:
    for act in (c.accept, c.decline):
        with pytest.raises(QuoteStateError, match="never issued"):
            act(quoted(), "9", ADA, NOW, *([TODAY] if act is c.accept else []))


def test_a_number_is_never_used_twice() -> None:
    with pytest.raises(QuoteStateError, match="issued before"):
        c.issue(revised(), quote("1"), BENCH, NOW)
    with pytest.raises(QuoteStateError, match="issued before"):
        c.issue(quoted(), quote("1", "120.00"), BENCH, NOW)


def test_a_revised_quote_stops_further_work_until_it_is_accepted() -> None:
    waiting = revised()

    assert not waiting.may_work(pounds("61.00"))
    with pytest.raises(QuoteStateError):
        c.commit_work(waiting, pounds("61.00"), BENCH, NOW)
    agreed = c.accept(waiting, "2", ADA, NOW, TODAY)
    assert c.commit_work(agreed, pounds("150.00"), BENCH, NOW).committed == pounds("150.00")


def test_no_to_a_revision_leaves_what_was_begun_and_nothing_more() -> None:
    refused = c.decline(revised(), "2", ADA, NOW)

    assert c.invoice(refused, pounds("60.00"), BENCH, NOW).invoiced == pounds("60.00")
    with pytest.raises(OverCapError):
        c.invoice(refused, pounds("60.01"), BENCH, NOW)


def test_an_open_revision_does_not_lift_the_invoice() -> None:
    with pytest.raises(OverCapError, match=r"authorised 60\.00"):
        c.invoice(revised(), pounds("60.01"), BENCH, NOW)


def test_stop_after_acceptance_leaves_the_minimum_fee_at_most() -> None:
    stopped = c.decline(accepted(), "1", ADA, NOW)

    assert (stopped.state, stopped.authorised) == ("declined", pounds("24.00"))
    with pytest.raises(QuoteStateError, match="declined before"):
        c.decline(stopped, "1", ADA, NOW)
    with pytest.raises(QuoteStateError, match="declined before"):
        c.accept(stopped, "1", ADA, NOW, TODAY)


def test_no_before_any_yes_costs_nothing() -> None:
    declined = c.decline(quoted(), "1", ADA, NOW)

    assert declined.authorised == pounds("0.00")
    with pytest.raises(OverCapError):
        c.invoice(declined, pounds("0.01"), BENCH, NOW)


def test_a_revision_below_work_already_begun_cannot_be_accepted() -> None:
    begun = c.commit_work(accepted(), pounds("60.00"), BENCH, NOW)
    cheaper = c.issue(begun, quote("2", "50.00"), BENCH, NOW)

    with pytest.raises(BadInputError, match="work already begun"):
        c.accept(cheaper, "2", ADA, NOW, TODAY)


def test_a_question_changes_nothing_but_the_log() -> None:
    asked = c.ask(quoted(), "1", "Is the disc safe?", ADA, NOW)

    assert replace(asked, log=quoted().log) == quoted()
    assert (asked.log[-1].kind, asked.log[-1].text) == ("asked", "Is the disc safe?")


@pytest.mark.parametrize(
    "terms",
    [
        quote(maximum="20.00", fee="24.00"),
        replace(quote(), maximum=pounds("-1.00"), minimum_fee=pounds("-2.00")),
        replace(quote(), valid_until=date(2026, 11, 24)),
        replace(quote(), text=" "),
    ],
    ids=["fee above maximum", "negative", "ends before it begins", "no text"],
)
def test_a_quote_that_makes_no_sense_is_not_issued(terms: QuoteTerms) -> None:
    with pytest.raises(BadInputError):
        quoted(terms)


def test_another_currency_is_refused_everywhere() -> None:
    euro = Money(Decimal("50.00"), "EUR")

    with pytest.raises(MoneyError):
        c.limit(quoted(), "1", euro, ADA, NOW, TODAY)
    with pytest.raises(MoneyError):
        c.commit_work(accepted(), euro, BENCH, NOW)
    with pytest.raises(BadInputError):
        quoted(replace(quote(), maximum=euro, minimum_fee=euro))


def test_events_need_a_zone_and_a_person() -> None:
    with pytest.raises(BadInputError, match="zone"):
        c.accept(quoted(), "1", ADA, NOW.replace(tzinfo=None), TODAY)
    with pytest.raises(BadInputError, match="who"):
        c.accept(quoted(), "1", Actor(" ", "web"), NOW, TODAY)


def test_negative_work_and_invoices_are_refused() -> None:
    for act in (c.commit_work, c.invoice):
        with pytest.raises(BadInputError, match="0 or more"):
            act(accepted(), pounds("-0.01"), BENCH, NOW)


def test_json_form_round_trips_through_text() -> None:
    everything = c.ask(c.limit(revised(), "2", pounds("120.00"), ADA, NOW, TODAY), "2", "When?", ADA, NOW)

    assert c.consent_from_json(json.loads(json.dumps(c.consent_to_json(everything)))) == everything
    with pytest.raises(BadInputError):
        c.consent_from_json({"state": "accepted"})
