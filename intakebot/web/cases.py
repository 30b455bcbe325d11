"""The case a page is about: loaded once for the request, with the definitions it was made with."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from flask import g

from intakebot.conversation import Conversation
from intakebot.conversation.ahead import questions_ahead
from intakebot.conversation.work import Work
from intakebot.definitions.model import Definitions, Fact, Family
from intakebot.errors import NotFoundError
from intakebot.records import Case
from intakebot.records.access import OneTimeCode
from intakebot.records.tokens import hash_secret, new_secret
from intakebot.turns import erase_case, first_token
from intakebot.web import security

RESUME = "resume"
RESUME_LASTS = timedelta(hours=24)


def load(case_id: str, token_hash: str | None = None) -> None:
    """Put the case, its conversation, its definitions and its family into `g`. Raises NotFoundError."""
    services = security.services()
    with services.store.reading() as work:
        g.case = work.cases.get(case_id, token_hash)
    g.conversation = Conversation.from_mapping(g.case.conversation)
    g.definitions = services.turns.editions.of(g.case.definitions_version)
    g.family = g.case.family


def case() -> Case:
    """The case of this request."""
    found: Case = g.case
    return found


def definitions() -> Definitions:
    """The definitions the case was made with."""
    found: Definitions = g.definitions
    return found


def family() -> Family:
    """The family of the case."""
    return definitions().families[case().family]


def still_open() -> int:
    """About how many questions are still to come before the estimate; 0 when none is open."""
    talk, services = g.conversation, security.services()
    if (
        talk.phase != "open"
        or talk.floor != "self"
        or talk.pending is None
        or talk.pending.kind != "question"
    ):
        return 0
    assessor = services.turns.editions.assessor(definitions())
    return questions_ahead(Work(definitions(), talk, services.now(), assessor, {}, "ahead"))


def erase() -> None:
    """Erase the case of this request and everything that hangs on it."""
    services = security.services()
    erase_case(services.turns, case().id, token_hash=g.token_hash)


def people_names() -> dict[str, str]:
    """The shop's people by how the log names them."""
    with security.services().store.reading() as work:
        return {f"staff:{user.id}": user.name for user in work.users.all()}


def make_resume_link() -> str:
    """A one-time link that opens this talk in another browser, good for a day."""
    services, code, now = security.services(), new_secret(), security.services().now()
    with services.store.unit_of_work() as work:
        work.codes.withdraw(RESUME, case().id)
        work.codes.add(OneTimeCode(hash_secret(code), RESUME, case().id, {}, now, now + RESUME_LASTS))
        work.commit()
    return f"{services.base_url}/resume/{code}"


def redeem_resume(code: str) -> tuple[str, str]:
    """The talk and its token for a one-time link. Raises: NotFoundError when it is unknown, used or too old."""
    services = security.services()
    with services.store.unit_of_work() as work:
        link = work.codes.redeem(hash_secret(code), RESUME, services.now())
        work.commit()
    return link.subject, first_token(services.turns, link.subject)


def currency() -> str:
    """The currency of the rate card in force."""
    return definitions().pricing.rate_card_on(today()).currency


def today() -> date:
    """The day on the shop's own clock."""
    services = security.services()
    return services.now().astimezone(ZoneInfo(services.definitions.pricing.shop.timezone)).date()


def fact_of(fact_id: str) -> Fact:
    """A fact of the family. Raises NotFoundError."""
    found = family().facts.get(fact_id)
    if found is None or found.type == "photo":
        raise NotFoundError("no such fact")
    return found


def customer_fact(fact_id: str) -> Fact:
    """A fact that the customer may say. Raises NotFoundError."""
    found = fact_of(fact_id)
    if found.purposes and set(found.purposes) == {"bench"}:
        raise NotFoundError("no such fact")
    return found
