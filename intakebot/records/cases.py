"""Cases: one snapshot row each, with a version, and indexed columns for lists.

A list is a keyset walk over an index on (filter, updated_at, id), so its first page costs the same with ten cases and
with a hundred thousand; nothing counts rows. The cursor holds the last sort key and a hash of the filter.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, and_, bindparam, delete, exists, func, insert, or_, select, update

from intakebot.errors import BadInputError, NotFoundError, StaleVersionError
from intakebot.records.case import Case, CaseLine, IndexLine, Page
from intakebot.records.columns import instant_to_text, text_to_instant
from intakebot.records.tables import case_words, conversations

MAX_LIMIT = 100
WAITS_FOR = ("shop_answer", "customer_consent", "box", "bench", "collection", "nothing")
_c = conversations.c
_LINE_COLUMNS = (
    _c.id, _c.reference, _c.version, _c.channel, _c.locale, _c.opened_at, _c.updated_at, _c.phase, _c.floor,
    _c.waits_for, _c.customer_name, _c.device, _c.has_hazard,
)  # fmt: skip
_GET = select(conversations).where(_c.id == bindparam("case_id"))
_SAVE = update(conversations).where(
    _c.id == bindparam("case_id"), _c.version == bindparam("expected_version")
)


class Cases:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, case: Case, token_hash: str) -> None:
        """Store a new case. Raises IntegrityError when the id or the reference is taken."""
        row = _changing(case) | {
            "id": case.id,
            "reference": case.reference,
            "token_hash": token_hash,
            "family": case.family,
            "definitions_version": case.definitions_version,
            "rate_card": case.rate_card,
            "opened_at": case.opened_at,
        }
        self._connection.execute(insert(conversations), row)
        self._store_words(case)

    def get(self, case_id: str, token_hash: str | None = None) -> Case:
        """The case, or NotFoundError; with `token_hash`, also NotFoundError when the token is not this case's."""
        row = self._connection.execute(_GET, {"case_id": case_id}).one_or_none()
        if row is None or (token_hash is not None and not hmac.compare_digest(row.token_hash, token_hash)):
            raise NotFoundError("no such conversation")
        return _case(row)

    def id_of_token(self, token_hash: str) -> str:
        """The case a customer's token opens. Raises NotFoundError."""
        return self._one_id(_c.token_hash == token_hash)

    def id_of_reference(self, reference: str) -> str:
        """The case behind a reference as printed on a label. Raises NotFoundError."""
        return self._one_id(_c.reference == reference.strip().upper())

    def _one_id(self, condition: Any) -> str:
        found = self._connection.execute(select(_c.id).where(condition)).scalar_one_or_none()
        if found is None:
            raise NotFoundError("no such conversation")
        return str(found)

    def save(self, case: Case, expected_version: int) -> None:
        """Replace the snapshot, if nobody else did since `expected_version`.

        Raises: StaleVersionError; NotFoundError when the case is gone.
        """
        row = _changing(case) | {"case_id": case.id, "expected_version": expected_version}
        if self._connection.execute(_SAVE, row).rowcount == 1:
            return
        current = self._connection.execute(select(_c.version).where(_c.id == case.id)).scalar_one_or_none()
        if current is None:
            raise NotFoundError("no such conversation")
        raise StaleVersionError(expected_version, current)

    def save_words(self, case: Case) -> None:
        """Replace what the case can be found by; call only when `index.search_words` changed."""
        self._connection.execute(delete(case_words).where(case_words.c.conversation_id == case.id))
        self._store_words(case)

    def _store_words(self, case: Case) -> None:
        words = sorted({word[:64] for word in case.index.search_words if word} | {case.reference.lower()})
        self._connection.execute(
            insert(case_words), [{"word": word, "conversation_id": case.id} for word in words]
        )

    def words(self, case_id: str) -> tuple[str, ...]:
        """What the case can be found by."""
        query = (
            select(case_words.c.word)
            .where(case_words.c.conversation_id == case_id)
            .order_by(case_words.c.word)
        )
        return tuple(self._connection.execute(query).scalars())

    def new_token(self, case_id: str, token_hash: str) -> None:
        """Replace the customer's token (the old one stops working)."""
        self._connection.execute(update(conversations).where(_c.id == case_id).values(token_hash=token_hash))

    def page(
        self,
        *,
        waits_for: str | None = None,
        phase: str | None = None,
        floor: str | None = None,
        search: str = "",
        after: str | None = None,
        limit: int = 50,
        oldest_first: bool = False,
    ) -> Page:
        """One page of cases: last changed first, or (`oldest_first`) the one unchanged for longest.

        search: words; every one must begin a word of the case (name, reference, model). A reference typed in full finds
            its case alone, by the index of references.
        after: the cursor of the page before; it belongs to the same filter.
        Raises: BadInputError for a cursor that is not ours.
        """
        wanted: dict[str, str | None] = {"waits_for": waits_for, "phase": phase, "floor": floor}
        words = tuple(search.lower().split())
        fingerprint = _filter_hash(wanted | {"order": "oldest" if oldest_first else "newest"}, words)
        order = (_c.updated_at, _c.id) if oldest_first else (_c.updated_at.desc(), _c.id.desc())
        query = select(*_LINE_COLUMNS).order_by(*order)
        for name, value in wanted.items():
            if value is not None:
                query = query.where(_c[name] == value)
        exact = self._by_reference(words)
        if exact is not None:
            query = query.where(_c.id == exact)
        for word in () if exact is not None else words:
            begins = (case_words.c.word >= word[:60], case_words.c.word < word[:60] + "\U0010ffff")
            query = query.where(exists().where(case_words.c.conversation_id == _c.id, *begins))
        if after is not None:
            moment, case_id = _read_cursor(after, fingerprint)
            beyond, beyond_id = (
                (_c.updated_at > moment, _c.id > case_id)
                if oldest_first
                else (_c.updated_at < moment, _c.id < case_id)
            )
            query = query.where(or_(beyond, and_(_c.updated_at == moment, beyond_id)))
        size = max(1, min(limit, MAX_LIMIT))
        rows = self._connection.execute(query.limit(size + 1)).all()
        lines = tuple(_line(row) for row in rows[:size])
        more = len(rows) > size
        return Page(lines, _cursor(lines[-1].updated_at, lines[-1].id, fingerprint) if more else None)

    def _by_reference(self, words: tuple[str, ...]) -> str | None:
        """The case whose whole reference was typed, if that is all that was typed."""
        if len(words) != 1:
            return None
        query = select(_c.id).where(_c.reference == words[0].upper())
        return self._connection.execute(query).scalar_one_or_none()

    def counts(self, cap: int = 500) -> dict[str, int]:
        """How many cases wait for what, each counted up to `cap` only, so that the cost does not grow with the shop."""
        return {waits_for: self._count(waits_for, cap) for waits_for in WAITS_FOR}

    def _count(self, waits_for: str, cap: int) -> int:
        some = select(_c.id).where(_c.waits_for == waits_for).limit(cap).subquery()
        return int(self._connection.execute(select(func.count()).select_from(some)).scalar_one())

    def opened_between(self, start: datetime, end: datetime) -> tuple[str, ...]:
        """Ids of the cases opened in [start, end), oldest first; for exports and retention."""
        query = select(_c.id).where(_c.opened_at >= start, _c.opened_at < end).order_by(_c.opened_at, _c.id)
        return tuple(self._connection.execute(query).scalars())

    def untouched_since(self, moment: datetime, phases: tuple[str, ...], limit: int = 100) -> tuple[str, ...]:
        """Ids of the cases in one of `phases` not changed since `moment` and not on legal hold, oldest first."""
        query = (
            select(_c.id)
            .where(_c.phase.in_(phases), _c.updated_at < moment, _c.legal_hold.is_(False))
            .order_by(_c.updated_at, _c.id)
            .limit(limit)
        )
        return tuple(self._connection.execute(query).scalars())

    def delete(self, case_id: str) -> None:
        """Remove the case and, by foreign keys, all that hangs on it. Raises NotFoundError."""
        if self._connection.execute(delete(conversations).where(_c.id == case_id)).rowcount == 0:
            raise NotFoundError("no such conversation")


def _changing(case: Case) -> dict[str, Any]:
    index = case.index
    return {
        "version": case.version,
        "locale": case.locale,
        "channel": case.channel,
        "phase": index.phase,
        "floor": index.floor,
        "waits_for": index.waits_for,
        "customer_name": index.customer_name[:200],
        "device": index.device,
        "has_hazard": index.has_hazard,
        "updated_at": case.updated_at,
        "message_count": case.message_count,
        "event_count": case.event_count,
        "legal_hold": case.legal_hold,
        "snapshot": case.conversation,
        "job": case.job,
    }


def _index(row: Any) -> IndexLine:
    return IndexLine(
        phase=row.phase,
        floor=row.floor,
        waits_for=row.waits_for,
        customer_name=row.customer_name,
        device=row.device,
        has_hazard=bool(row.has_hazard),
    )


def _case(row: Row[Any]) -> Case:
    return Case(
        id=row.id,
        reference=row.reference,
        version=row.version,
        family=row.family,
        locale=row.locale,
        channel=row.channel,
        definitions_version=row.definitions_version,
        rate_card=row.rate_card,
        opened_at=row.opened_at,
        updated_at=row.updated_at,
        conversation=row.snapshot,
        job=row.job,
        index=_index(row),
        message_count=row.message_count,
        event_count=row.event_count,
        legal_hold=bool(row.legal_hold),
    )


def _line(row: Any) -> CaseLine:
    return CaseLine(
        id=row.id,
        reference=row.reference,
        version=row.version,
        channel=row.channel,
        locale=row.locale,
        opened_at=row.opened_at,
        updated_at=row.updated_at,
        index=_index(row),
    )


def _filter_hash(wanted: dict[str, str | None], words: tuple[str, ...]) -> str:
    return hashlib.sha256(json.dumps([wanted, words], sort_keys=True).encode()).hexdigest()[:16]


def _cursor(moment: datetime, case_id: str, fingerprint: str) -> str:
    raw = json.dumps([instant_to_text(moment), case_id, fingerprint], separators=(",", ":"))
    return base64.urlsafe_b64encode(raw.encode()).decode().rstrip("=")


def _read_cursor(cursor: str, fingerprint: str) -> tuple[datetime, str]:
    try:
        raw = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4))
        moment, case_id, seen = json.loads(raw)
        if seen != fingerprint:
            raise ValueError("made for another filter")
        return text_to_instant(moment), str(case_id)
    except (ValueError, TypeError, binascii.Error, UnicodeError, RecursionError) as error:
        raise BadInputError("after", "an unusable cursor", "the cursor given with the page before") from error


def with_index(case: Case, **changes: Any) -> Case:
    """The case with some of its list columns replaced."""
    return replace(case, index=replace(case.index, **changes))
