"""Going on with a talk somewhere else: a one-time code shown where the talk is, entered where it shall go on.

Never the address alone: telephone numbers are given to other people. A code lives ten minutes, works once, and tries
are limited for each code (by the conversation) and for each address that tries (here).
Source: OWASP ASVS 5.0, 6.5.1, 6.5.4, 6.5.5, 6.6.3.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from intakebot.conversation import Conversation, issue_join_code, redeem_join_code
from intakebot.definitions import Definitions, Texts
from intakebot.errors import ConflictError, NotFoundError
from intakebot.records import Case
from intakebot.records.access import RatePolicy
from intakebot.turns import CaseChange, Request, Services, TurnAnswer, Via, change_case, first_token

TRIES = RatePolicy("join", 5, 600)
MINUTES = 10


def random_code() -> str:
    """Seven digits: 23.2 bits."""
    return f"{secrets.randbelow(10**7):07d}"


def issue_code(
    services: Services,
    case_id: str,
    *,
    token_hash: str | None = None,
    make: Callable[[], str] = random_code,
) -> tuple[str, str]:
    """A new code for a case: (reference, code). Show it only where the talk is held now; a former one stops working.

    Raises: NotFoundError.
    """
    with services.store.reading() as work:
        reference = work.cases.get(case_id, token_hash).reference
    code = make()

    def issue(definitions: Definitions, case: Case, now: datetime) -> CaseChange:
        talk = issue_join_code(Conversation.from_mapping(case.conversation), code, now)
        return CaseChange(replace(case, conversation=talk.to_mapping()), events=(("join_code_issued", {}),))

    change_case(services, case_id, issue, actor="customer")
    return reference, code


def join(
    services: Services, reference: str, code: str, via: Via, who: str, request: Request | None = None
) -> tuple[str, TurnAnswer]:
    """Go on with the case of a reference over `via`: (case id, answer).

    who: whose tries are counted, such as an address.
    Raises: NotFoundError (no such case, or the code is not right: not told apart), RateLimitedError.
    """
    with services.store.unit_of_work() as work:
        work.rates.take(f"join|{who}", TRIES, services.now())
        work.commit()
    with services.store.reading() as work:
        case_id = work.cases.id_of_reference(spelled(reference))
        talk = Conversation.from_mapping(work.cases.get(case_id).conversation)
    right = redeem_join_code(talk, code, services.now(), via.voice).ok

    def redeem(definitions: Definitions, case: Case, now: datetime) -> CaseChange:
        result = redeem_join_code(Conversation.from_mapping(case.conversation), code, now, via.voice)
        changed = replace(case, conversation=result.conversation.to_mapping())
        if result.ok != right:
            raise ConflictError("this code was used at this moment")
        if not result.ok:
            return CaseChange(changed, events=(("join_refused", {"channel": via.channel}),))
        notice = Texts(definitions, case.family, case.locale).say("channels.joined")
        return CaseChange(changed, via=via, notices=(notice,), events=(("joined", {"channel": via.channel}),))

    answer = change_case(
        services, case_id, redeem, actor=f"channel:{via.channel}", request=request if right else None
    )
    if not right:
        raise NotFoundError("this code does not work")
    return case_id, answer


def join_with_token(
    services: Services, reference: str, code: str, via: Via, who: str
) -> tuple[str, str, int]:
    """As `join`, for a channel that holds a token: (case id, token, version). Raises as `join`."""
    case_id, answer = join(services, reference, code, via, who)
    return case_id, first_token(services, case_id), int(answer.mapping["version"])


def spelled(reference: str) -> str:
    """A reference as it is stored: capital letters, with its hyphen."""
    plain = reference.strip().replace("-", "").upper()
    return f"{plain[:3]}-{plain[3:]}"
