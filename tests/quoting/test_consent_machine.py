"""Whatever happens in whatever order: no work and no invoice above what the customer said yes to (state machine property test)."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from intakebot.errors import BadInputError, OverCapError, QuoteStateError
from intakebot.quoting import consent as c
from intakebot.quoting.consent import Actor, Consent, QuoteTerms
from intakebot.quoting.money import Money

AMOUNTS = st.integers(0, 20_000)
NUMBERS = st.integers(1, 6).map(str)
CUSTOMER, SHOP = Actor("customer", "web"), Actor("shop", "desk")
START = date(2026, 11, 25)


def pounds(minor: int) -> Money:
    return Money.of_minor(minor, "GBP")


class ConsentMachine(RuleBasedStateMachine):
    """The model keeps its own idea of what was ever allowed, from the events that the customer made, and nothing else."""

    @initialize()
    def start(self) -> None:
        self.consent = Consent.new("GBP")
        self.today = START
        self.highest_yes = 0  # the largest amount the customer ever said yes to
        self.cap = 0  # what the customer's latest word allows to be worked for
        self.quotes: dict[str, QuoteTerms] = {}

    def attempt(self, act: Callable[[], Consent]) -> bool:
        """Run; on refusal nothing may have changed."""
        before = self.consent
        try:
            self.consent = act()
        except (BadInputError, OverCapError, QuoteStateError):
            assert self.consent == before
            return False
        assert len(self.consent.log) >= len(before.log)
        assert self.consent.log[: len(before.log)] == before.log
        return True

    @property
    def now(self) -> datetime:
        return datetime(self.today.year, self.today.month, self.today.day, 12, tzinfo=UTC)

    @rule(number=NUMBERS, fee=AMOUNTS, more=AMOUNTS, days=st.integers(0, 40))
    def issue(self, number: str, fee: int, more: int, days: int) -> None:
        until = self.today + timedelta(days=days)
        quote = QuoteTerms(
            number, self.today, until, pounds(fee + more), pounds(fee), f"At most {fee + more}."
        )
        if self.attempt(lambda: c.issue(self.consent, quote, SHOP, self.now)):
            assert number not in self.quotes
            self.quotes[number] = quote
            self.cap = -1  # a new quote: no further work until a new yes

    @rule(number=NUMBERS)
    def accept(self, number: str) -> None:
        if self.attempt(lambda: c.accept(self.consent, number, CUSTOMER, self.now, self.today)):
            self.said_yes(number, self.quotes[number].maximum.minor)

    @rule(number=NUMBERS, amount=AMOUNTS)
    def limit(self, number: str, amount: int) -> None:
        if self.attempt(
            lambda: c.limit(self.consent, number, pounds(amount), CUSTOMER, self.now, self.today)
        ):
            assert amount >= self.quotes[number].minimum_fee.minor
            self.said_yes(number, min(amount, self.quotes[number].maximum.minor))

    def said_yes(self, number: str, amount: int) -> None:
        quote = self.quotes[number]
        assert list(self.quotes)[-1] == number, "only the newest quote can be accepted"
        assert self.today <= quote.valid_until or self.cap >= amount, "an expired quote gives nothing new"
        assert self.consent.authorised == pounds(amount)
        assert self.consent.log[-1].text == quote.text
        self.cap = amount
        self.highest_yes = max(self.highest_yes, amount)

    @rule(number=NUMBERS)
    def decline(self, number: str) -> None:
        if self.attempt(lambda: c.decline(self.consent, number, CUSTOMER, self.now)):
            self.cap = -1

    @rule(number=NUMBERS)
    def ask(self, number: str) -> None:
        authorised = self.consent.authorised
        self.attempt(lambda: c.ask(self.consent, number, "Why?", CUSTOMER, self.now))
        assert self.consent.authorised == authorised

    @rule(days=st.integers(0, 25))
    def time_passes(self, days: int) -> None:
        self.today += timedelta(days=days)
        self.attempt(lambda: c.expire(self.consent, self.today, self.now))

    @rule(total=AMOUNTS)
    def work(self, total: int) -> None:
        allowed = self.consent.may_work(pounds(total))
        done = self.attempt(lambda: c.commit_work(self.consent, pounds(total), SHOP, self.now))
        assert done == allowed
        if done:
            assert total <= self.cap <= self.highest_yes

    @rule(total=AMOUNTS)
    def invoice(self, total: int) -> None:
        cap = c.invoice_cap(self.consent).minor
        if self.attempt(lambda: c.invoice(self.consent, pounds(total), SHOP, self.now)):
            assert total <= cap <= self.highest_yes

    @precondition(lambda self: self.consent.authorised.amount > 0)
    @rule()
    def invoice_at_the_cap_or_one_unit_above(self) -> None:
        cap = c.invoice_cap(self.consent)
        assert not self.attempt(lambda: c.invoice(self.consent, cap + pounds(1), SHOP, self.now))

    @invariant()
    def never_above_what_was_said_yes_to(self) -> None:
        if not hasattr(self, "consent"):
            return
        yes = pounds(self.highest_yes)
        assert self.consent.authorised <= yes
        assert self.consent.committed <= yes
        assert self.consent.invoiced is None or self.consent.invoiced <= yes
        assert c.invoice_cap(self.consent) <= self.consent.authorised
        if self.consent.invoiced is None:
            assert self.consent.committed <= max(self.consent.authorised, pounds(0))

    @invariant()
    def survives_being_stored(self) -> None:
        if hasattr(self, "consent"):
            assert c.consent_from_json(c.consent_to_json(self.consent)) == self.consent


TestConsent = ConsentMachine.TestCase
TestConsent.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
