"""How long what is kept, by class of data, and the housekeeping that keeps to it.

| class | kept |
|---|---|
| a talk without an estimate, and its photos | 30 days after the last change |
| an estimate nobody decided | one year after the last change |
| jobs, consent, and their photos | two years after the last change, once closed |
| outcomes for learning (no personal data) | for good |
| opt-outs (a hash of the address) | for good: forgetting one would write to somebody who said stop |
| stored answers to requests | 7 days |
| one-time codes, sessions, idle rate limits | until they end |

A case on legal hold is never erased. Retention periods: common practice, no source; check what the law where you are
asks for.
"""

from __future__ import annotations

from datetime import timedelta

from intakebot.errors import ConflictError, NotFoundError
from intakebot.turns import Services, erase_case

DRAFTS = timedelta(days=30)
CLOSED = timedelta(days=730)
ANSWERS = timedelta(days=7)
CLOSED_PHASES = ("declined", "finished", "withdrawn")
UNDECIDED = timedelta(days=365)


def keep_house(services: Services) -> int:
    """Erase what has been kept long enough; returns how many cases went. Call it about once an hour."""
    now = services.now()
    with services.store.unit_of_work() as work:
        work.answers.prune(now - ANSWERS)
        work.web_sessions.prune(now)
        work.codes.prune(now)
        work.rates.prune(now - timedelta(days=2))
        work.commit()
    with services.store.reading() as work:
        old = (
            *work.cases.untouched_since(now - DRAFTS, ("open",)),
            *work.cases.untouched_since(now - UNDECIDED, ("estimated",)),
            *work.cases.untouched_since(now - CLOSED, CLOSED_PHASES),
        )
    return sum(_erase(services, case_id) for case_id in old)


def _erase(services: Services, case_id: str) -> bool:
    try:
        erase_case(services, case_id)
    except (NotFoundError, ConflictError):  # gone already, or held meanwhile
        return False
    return True
