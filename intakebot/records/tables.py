"""Every table, in SQLAlchemy Core. Two halves of one promise:

- what must survive together is written in one transaction (a turn: snapshot, messages, events, stored answer, outbox);
- what only grows (`messages`, `events`, `authorisations`, `attempts`) is never updated, and deleted only by erasure.

The hot path never counts rows or reads a whole talk: the snapshot row carries the counters.
A change here needs a migration in `migrations/versions/`; a test compares the two.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)

from intakebot.records.columns import Instant, Json

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_ID = String(40)


def _case_key() -> Column[str]:
    return Column(
        "conversation_id", _ID, ForeignKey("conversations.id", ondelete="CASCADE"), primary_key=True
    )


conversations = Table(
    "conversations",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("reference", String(16), nullable=False, unique=True),
    Column("version", Integer, nullable=False),
    Column("token_hash", String(64), nullable=False, unique=True),
    Column("family", String(64), nullable=False),
    Column("locale", String(16), nullable=False),
    Column("channel", String(64), nullable=False),
    Column("definitions_version", String(64), nullable=False),
    Column("rate_card", String(64), nullable=False),
    Column("phase", String(16), nullable=False),
    Column("floor", String(16), nullable=False),
    Column("waits_for", String(24), nullable=False),
    Column("customer_name", String(200), nullable=False, default=""),
    Column("device", String(64), nullable=False, default=""),
    Column("has_hazard", Boolean, nullable=False, default=False),
    Column("opened_at", Instant, nullable=False),
    Column("updated_at", Instant, nullable=False),
    Column("message_count", Integer, nullable=False, default=0),
    Column("event_count", Integer, nullable=False, default=0),
    Column("legal_hold", Boolean, nullable=False, default=False),
    Column("snapshot", Json, nullable=False),
    Column("job", Json, nullable=False),
    CheckConstraint("version >= 1", name="version_from_one"),
    Index("ix_conversations_updated_at_id", "updated_at", "id"),
    Index("ix_conversations_waits_for_updated_at_id", "waits_for", "updated_at", "id"),
    Index("ix_conversations_phase_updated_at_id", "phase", "updated_at", "id"),
    Index("ix_conversations_floor_updated_at_id", "floor", "updated_at", "id"),
    Index("ix_conversations_opened_at", "opened_at"),
)

case_words = Table(
    "case_words",
    metadata,
    Column("word", String(64), primary_key=True),
    _case_key(),
    Index("ix_case_words_conversation_id", "conversation_id"),
    sqlite_with_rowid=False,
)

messages = Table(
    "messages",
    metadata,
    _case_key(),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("direction", String(8), nullable=False),
    Column("channel", String(64), nullable=False),
    Column("at", Instant, nullable=False),
    Column("locale", String(16), nullable=False, default=""),
    Column("message_id", String(300)),
    Column("text", Text, nullable=False),
    Column("body", Json, nullable=False),
    sqlite_with_rowid=False,
)

events = Table(
    "events",
    metadata,
    _case_key(),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(64), nullable=False),
    Column("actor", String(80), nullable=False),
    Column("at", Instant, nullable=False),
    Column("body", Json, nullable=False),
    sqlite_with_rowid=False,
)

quotes = Table(
    "quotes",
    metadata,
    _case_key(),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("issued_at", Instant, nullable=False),
    Column("valid_until", Instant),
    Column("state", String(16), nullable=False),
    Column("currency", String(3), nullable=False),
    Column("maximum", String(40), nullable=False),
    Column("body", Json, nullable=False),
)

authorisations = Table(
    "authorisations",
    metadata,
    _case_key(),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("quote_number", Integer, nullable=False),
    Column("decision", String(8), nullable=False),
    Column("limit", String(40)),
    Column("currency", String(3), nullable=False),
    Column("by", String(200), nullable=False),
    Column("channel", String(64), nullable=False),
    Column("text_shown", Text, nullable=False),
    Column("at", Instant, nullable=False),
)

photos = Table(
    "photos",
    metadata,
    Column("id", _ID, primary_key=True),
    Column(
        "conversation_id", _ID, ForeignKey("conversations.id", ondelete="CASCADE"), nullable=False, index=True
    ),
    Column("label", String(200), nullable=False, default=""),
    Column("content_type", String(64), nullable=False),
    Column("byte_count", BigInteger, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("path", String(300), nullable=False),
    Column("at", Instant, nullable=False),
)

addresses = Table(
    "addresses",
    metadata,
    Column("channel", String(64), primary_key=True),
    Column("address", String(320), primary_key=True),
    Column(
        "conversation_id", _ID, ForeignKey("conversations.id", ondelete="CASCADE"), nullable=False, index=True
    ),
    Column("thread", Json, nullable=False),
    Column("since", Instant, nullable=False),
)

opt_outs = Table(
    "opt_outs",
    metadata,
    Column("channel", String(64), primary_key=True),
    Column("address_hash", String(64), primary_key=True),
    Column("at", Instant, nullable=False),
)

outcomes = Table(
    "outcomes",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("conversation_id", _ID, ForeignKey("conversations.id", ondelete="SET NULL"), index=True),
    Column("finished_at", Instant, nullable=False, index=True),
    Column("body", Json, nullable=False),
)

idempotency = Table(
    "idempotency",
    metadata,
    Column("scope", String(200), primary_key=True),
    Column("key", String(300), primary_key=True),
    Column("fingerprint", String(64), nullable=False),
    Column("status", Integer, nullable=False),
    Column("body", Text, nullable=False),
    Column("conversation_id", _ID, ForeignKey("conversations.id", ondelete="CASCADE"), index=True),
    Column("at", Instant, nullable=False, index=True),
    sqlite_with_rowid=False,
)

outbox = Table(
    "outbox",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", _ID, nullable=False, unique=True),
    Column("lane", String(200), nullable=False),  # order is kept within a lane: target + conversation
    Column("kind", String(16), nullable=False),  # message | event | reminder | farewell | test | handshake
    Column("target", String(80), nullable=False),  # endpoint:<id> | gateway:<id> | email
    Column("conversation_id", _ID, ForeignKey("conversations.id", ondelete="CASCADE"), index=True),
    Column("address", String(320), nullable=False, default=""),
    Column("body", Json, nullable=False),
    Column("traceparent", String(60), nullable=False, default=""),
    Column("created_at", Instant, nullable=False),
    Column("due_at", Instant, nullable=False),
    Column("attempt", Integer, nullable=False, default=0),
    Column("leased_until", Instant),
    Column("lease", String(64)),
    Column("state", String(12), nullable=False),  # waiting | done | failed | set_aside | dropped
    Column("finished_at", Instant),
    Column("last_error", String(300), nullable=False, default=""),
    Index(
        "ix_outbox_waiting",
        "due_at",
        "seq",
        sqlite_where=text("state = 'waiting'"),
        postgresql_where=text("state = 'waiting'"),
    ),
    Index(
        "ix_outbox_lane_waiting",
        "lane",
        "seq",
        sqlite_where=text("state = 'waiting'"),
        postgresql_where=text("state = 'waiting'"),
    ),
    Index("ix_outbox_target_state_seq", "target", "state", "seq"),
    *(
        Index(
            f"ix_outbox_{state}",
            "seq",
            sqlite_where=text(f"state = '{state}'"),
            postgresql_where=text(f"state = '{state}'"),
        )
        for state in ("failed", "set_aside")
    ),
    sqlite_autoincrement=True,
)

attempts = Table(
    "attempts",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("outbox_id", _ID, ForeignKey("outbox.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("at", Instant, nullable=False),
    Column("status", Integer),
    Column("error", String(300), nullable=False, default=""),
    Column("took_ms", Integer, nullable=False),
)

endpoints = Table(
    "endpoints",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("url", String(2000), nullable=False),
    Column("description", String(300), nullable=False, default=""),
    Column("event_types", Json, nullable=False),  # [] = every type
    Column("secrets", Json, nullable=False),  # [{secret, until|null}], newest first
    Column("state", String(12), nullable=False),  # active | unconfirmed | disabled
    Column("reason", String(300), nullable=False, default=""),
    Column("failing_since", Instant),
    Column("created_at", Instant, nullable=False),
    Column("handshake", String(10), nullable=False, server_default="skipped"),  # required | skipped
    Column("allowed_rate", Integer),  # requests a minute the receiver allowed; NULL = no limit was named
)

gateways = Table(
    "gateways",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("url", String(2000), nullable=False),
    Column("alphabet", String(12), nullable=False),  # gsm7 | unicode
    Column("max_parts", Integer, nullable=False),
    Column("pictures", Boolean, nullable=False),
    Column("choices", Boolean, nullable=False),
    Column("secrets", Json, nullable=False),
    Column("state", String(12), nullable=False),
    Column("reason", String(300), nullable=False, default=""),
    Column("failing_since", Instant),
    Column("created_at", Instant, nullable=False),
)

users = Table(
    "users",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("login", String(200), nullable=False, unique=True),
    Column("name", String(200), nullable=False),
    Column("role", String(16), nullable=False),  # owner | desk | technician
    Column("password_hash", String(300), nullable=False, default=""),
    Column("active", Boolean, nullable=False, default=True),
    Column("created_at", Instant, nullable=False),
    Column("data", Json, nullable=False),
)

web_sessions = Table(
    "web_sessions",
    metadata,
    Column("id_hash", String(64), primary_key=True),
    Column("user_id", _ID, ForeignKey("users.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("created_at", Instant, nullable=False),
    Column("seen_at", Instant, nullable=False),
    Column("expires_at", Instant, nullable=False),
    Column("data", Json, nullable=False),
)

one_time_codes = Table(
    "one_time_codes",
    metadata,
    Column("code_hash", String(64), primary_key=True),
    Column("purpose", String(32), nullable=False),  # first_owner | invite | sign_in | join | resume
    Column("subject", String(200), nullable=False),
    Column("data", Json, nullable=False),
    Column("created_at", Instant, nullable=False),
    Column("expires_at", Instant, nullable=False),
    Column("used_at", Instant),
)

shop_keys = Table(
    "shop_keys",
    metadata,
    Column("id", _ID, primary_key=True),
    Column("name", String(200), nullable=False),
    Column("secret_hash", String(64), nullable=False),
    Column("scopes", Json, nullable=False),
    Column("created_at", Instant, nullable=False),
    Column("expires_at", Instant),
    Column("revoked_at", Instant),
    Column("last_used_at", Instant),
    Column("replaces", _ID),
)

rate_buckets = Table(
    "rate_buckets",
    metadata,
    Column("key", String(200), primary_key=True),
    Column("tokens", Float, nullable=False),
    Column("at", Instant, nullable=False, index=True),
)

own_settings = Table(
    "own_settings",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("value", Json, nullable=False),
    Column("at", Instant, nullable=False),
)

definition_versions = Table(
    "definition_versions",
    metadata,
    Column("version", String(64), primary_key=True),
    Column("content", LargeBinary, nullable=False),  # zip of flows/ and pricing/
    Column("at", Instant, nullable=False),
)
