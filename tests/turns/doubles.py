"""Small stand-ins for triage and the workshop, so that tests of storing and sending do not compute prices.

Invented for these tests. The conversation engine and the definitions are the real ones.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any

from intakebot.conversation import Conversation, Outlook, Worths
from intakebot.definitions import Definitions
from intakebot.definitions.facts import Answers
from intakebot.editions import Editions
from intakebot.errors import ConflictError, NotFoundError, QuoteStateError
from intakebot.records import Authorisation, Case, IndexLine, QuoteRecord, Store, migrate, open_store
from intakebot.records.tokens import SeededIds
from intakebot.turns import CaseChange, Decided, Services

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SECRET_KEY = b"0123456789abcdefghijklmnopqrstuv"


class FixedAssessor:
    """Says the same of every case and finds no question worth asking."""

    def outlook(self, family: str, answers: Answers, today: date) -> Outlook:
        return Outlook("clean_lens", Decimal(40), Decimal(60), Decimal(90), Decimal(120), "GBP")

    def worths(
        self, family: str, answers: Answers, candidates: Sequence[str], today: date, messages_sent: int
    ) -> Worths:
        return Worths(())

    def estimate_text(self, family: str, answers: Answers, today: date, locale: str) -> tuple[str, ...]:
        return ("At most 120 pounds.",)


class FixedWorkshop:
    """Every estimate has a maximum of 120.00 GBP and is valid for two weeks."""

    def make_estimate(
        self, definitions: Definitions, case: Case, conversation: Conversation, now: datetime
    ) -> CaseChange:
        number = int(case.job.get("quote_number", 0)) + 1
        quote = QuoteRecord(
            number, now, now + timedelta(days=14), "current", "GBP", "120.00", {"maximum": "120.00"}
        )
        after = replace(case, job={**case.job, "quote_number": number, "state": "quoted"})
        return CaseChange(after, quotes=(quote,), events=(("quote_issued", {"number": number}),))

    def decide(
        self,
        definitions: Definitions,
        case: Case,
        conversation: Conversation,
        decision: str,
        limit: str | None,
        by: str,
        channel: str,
        now: datetime,
    ) -> Decided:
        if case.job.get("state") != "quoted":
            raise QuoteStateError("there is no open estimate")
        number = int(case.job["quote_number"])
        verb = "accepted" if decision == "accept" else "declined"
        entry = Authorisation(
            1, number, "accept" if decision == "accept" else "decline", limit, "GBP", by, channel, "120", now
        )
        quote = QuoteRecord(number, now, None, verb, "GBP", "120.00", {})
        change = CaseChange(
            replace(case, job={**case.job, "state": verb}), quotes=(quote,), authorisations=(entry,)
        )
        return Decided(change, "accepted" if decision == "accept" else "declined")

    def index(self, definitions: Definitions, case: Case, conversation: Conversation) -> IndexLine:
        name = conversation.facts["name"].value if "name" in conversation.facts else ""
        waits_for = {"estimated": "customer_consent", "accepted": "box"}.get(conversation.phase, "nothing")
        return IndexLine(
            phase=conversation.phase,
            floor=conversation.floor,
            waits_for="shop_answer" if conversation.floor == "person" else waits_for,
            customer_name=str(name or ""),
            search_words=tuple(str(name or "").lower().split()),
        )

    def estimate_view(self, definitions: Definitions, case: Case) -> dict[str, Any]:
        if "quote_number" not in case.job:
            raise NotFoundError("there is no estimate yet")
        return {"maximum": "120.00"}

    def packing_view(self, definitions: Definitions, case: Case) -> dict[str, Any]:
        return {"enclosures": []}

    def pretriage_view(self, definitions: Definitions, case: Case) -> dict[str, Any]:
        return {"causes": []}

    def revise_quote(
        self, definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str
    ) -> CaseChange:
        if "quote_number" not in case.job:
            raise ConflictError("there is no estimate to revise yet")
        return CaseChange(case, events=(("quote_revised", {"reason": reason}),))

    def record_arrival(self, definitions: Definitions, case: Case, now: datetime, **found: Any) -> CaseChange:
        raise ConflictError("no box is expected")

    def record_result(self, definitions: Definitions, case: Case, now: datetime, **result: Any) -> CaseChange:
        raise ConflictError("nothing is on the bench")

    def record_outcome(
        self, definitions: Definitions, case: Case, now: datetime, **outcome: Any
    ) -> CaseChange:
        raise ConflictError("nothing is on the bench")


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, now: datetime = NOW) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


def make_services(
    store: Store, definitions: Definitions, now: Callable[[], datetime], seed: str = "seed"
) -> Services:
    """Services over the doubles and the shipped definitions."""
    library = Editions(store, definitions, lambda _: FixedAssessor())
    return Services(
        store=store,
        editions=library,
        workshop=FixedWorkshop(),
        secret_key=SECRET_KEY,
        now=now,
        ids=SeededIds(seed),
    )


def fresh_store(folder: Path) -> Store:
    """A migrated SQLite store in a folder (a copy of one that was migrated once)."""
    path = folder / "records.db"
    path.write_bytes(_migrated())
    return open_store(f"sqlite:///{path}", folder)


@lru_cache(maxsize=1)
def _migrated() -> bytes:
    with tempfile.TemporaryDirectory() as name:
        url = f"sqlite:///{name}/records.db"
        migrate(url)
        store = open_store(url, Path(name))
        store.checkpoint()
        store.close()
        return (Path(name) / "records.db").read_bytes()
