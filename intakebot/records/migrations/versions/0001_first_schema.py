"""First schema."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "conversations",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("reference", sa.String(length=16), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("family", sa.String(length=64), nullable=False),
        sa.Column("locale", sa.String(length=16), nullable=False),
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("definitions_version", sa.String(length=64), nullable=False),
        sa.Column("rate_card", sa.String(length=64), nullable=False),
        sa.Column("phase", sa.String(length=16), nullable=False),
        sa.Column("floor", sa.String(length=16), nullable=False),
        sa.Column("waits_for", sa.String(length=24), nullable=False),
        sa.Column("customer_name", sa.String(length=200), nullable=False),
        sa.Column("device", sa.String(length=64), nullable=False),
        sa.Column("has_hazard", sa.Boolean(), nullable=False),
        sa.Column("opened_at", sa.String(27), nullable=False),
        sa.Column("updated_at", sa.String(27), nullable=False),
        sa.Column("message_count", sa.Integer(), nullable=False),
        sa.Column("event_count", sa.Integer(), nullable=False),
        sa.Column("legal_hold", sa.Boolean(), nullable=False),
        sa.Column("snapshot", sa.Text(), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.CheckConstraint("version >= 1", name=op.f("ck_conversations_version_from_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_conversations")),
        sa.UniqueConstraint("reference", name=op.f("uq_conversations_reference")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_conversations_token_hash")),
    )
    op.create_index(
        "ix_conversations_floor_updated_at_id", "conversations", ["floor", "updated_at", "id"], unique=False
    )
    op.create_index("ix_conversations_opened_at", "conversations", ["opened_at"], unique=False)
    op.create_index(
        "ix_conversations_phase_updated_at_id", "conversations", ["phase", "updated_at", "id"], unique=False
    )
    op.create_index("ix_conversations_updated_at_id", "conversations", ["updated_at", "id"], unique=False)
    op.create_index(
        "ix_conversations_waits_for_updated_at_id",
        "conversations",
        ["waits_for", "updated_at", "id"],
        unique=False,
    )
    op.create_table(
        "definition_versions",
        sa.Column("version", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_definition_versions")),
    )
    op.create_table(
        "endpoints",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("url", sa.String(length=2000), nullable=False),
        sa.Column("description", sa.String(length=300), nullable=False),
        sa.Column("event_types", sa.Text(), nullable=False),
        sa.Column("secrets", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("failing_since", sa.String(27), nullable=True),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_endpoints")),
    )
    op.create_table(
        "gateways",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("url", sa.String(length=2000), nullable=False),
        sa.Column("alphabet", sa.String(length=12), nullable=False),
        sa.Column("max_parts", sa.Integer(), nullable=False),
        sa.Column("pictures", sa.Boolean(), nullable=False),
        sa.Column("choices", sa.Boolean(), nullable=False),
        sa.Column("secrets", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("reason", sa.String(length=300), nullable=False),
        sa.Column("failing_since", sa.String(27), nullable=True),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gateways")),
    )
    op.create_table(
        "one_time_codes",
        sa.Column("code_hash", sa.String(length=64), nullable=False),
        sa.Column("purpose", sa.String(length=32), nullable=False),
        sa.Column("subject", sa.String(length=200), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.Column("expires_at", sa.String(27), nullable=False),
        sa.Column("used_at", sa.String(27), nullable=True),
        sa.PrimaryKeyConstraint("code_hash", name=op.f("pk_one_time_codes")),
    )
    op.create_table(
        "opt_outs",
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("address_hash", sa.String(length=64), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("channel", "address_hash", name=op.f("pk_opt_outs")),
    )
    op.create_table(
        "own_settings",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_own_settings")),
    )
    op.create_table(
        "rate_buckets",
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("tokens", sa.Float(), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_rate_buckets")),
    )
    op.create_index(op.f("ix_rate_buckets_at"), "rate_buckets", ["at"], unique=False)
    op.create_table(
        "shop_keys",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.Column("expires_at", sa.String(27), nullable=True),
        sa.Column("revoked_at", sa.String(27), nullable=True),
        sa.Column("last_used_at", sa.String(27), nullable=True),
        sa.Column("replaces", sa.String(length=40), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop_keys")),
    )
    op.create_table(
        "users",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("login", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("password_hash", sa.String(length=300), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_users")),
        sa.UniqueConstraint("login", name=op.f("uq_users_login")),
    )
    op.create_table(
        "addresses",
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("address", sa.String(length=320), nullable=False),
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.Column("thread", sa.Text(), nullable=False),
        sa.Column("since", sa.String(27), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_addresses_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("channel", "address", name=op.f("pk_addresses")),
    )
    op.create_index(op.f("ix_addresses_conversation_id"), "addresses", ["conversation_id"], unique=False)
    op.create_table(
        "authorisations",
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("quote_number", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(length=8), nullable=False),
        sa.Column("limit", sa.String(length=40), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("text_shown", sa.Text(), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_authorisations_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("conversation_id", "seq", name=op.f("pk_authorisations")),
    )
    op.create_table(
        "case_words",
        sa.Column("word", sa.String(length=64), nullable=False),
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_case_words_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("word", "conversation_id", name=op.f("pk_case_words")),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_case_words_conversation_id", "case_words", ["conversation_id"], unique=False)
    op.create_table(
        "events",
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("actor", sa.String(length=80), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_events_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("conversation_id", "seq", name=op.f("pk_events")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "idempotency",
        sa.Column("scope", sa.String(length=200), nullable=False),
        sa.Column("key", sa.String(length=300), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("conversation_id", sa.String(length=40), nullable=True),
        sa.Column("at", sa.String(27), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_idempotency_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("scope", "key", name=op.f("pk_idempotency")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_idempotency_at"), "idempotency", ["at"], unique=False)
    op.create_index(op.f("ix_idempotency_conversation_id"), "idempotency", ["conversation_id"], unique=False)
    op.create_table(
        "messages",
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("direction", sa.String(length=8), nullable=False),
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("locale", sa.String(length=16), nullable=False),
        sa.Column("message_id", sa.String(length=300), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_messages_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("conversation_id", "seq", name=op.f("pk_messages")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "outbox",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("lane", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("target", sa.String(length=80), nullable=False),
        sa.Column("conversation_id", sa.String(length=40), nullable=True),
        sa.Column("address", sa.String(length=320), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("traceparent", sa.String(length=60), nullable=False),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.Column("due_at", sa.String(27), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("leased_until", sa.String(27), nullable=True),
        sa.Column("lease", sa.String(length=64), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("finished_at", sa.String(27), nullable=True),
        sa.Column("last_error", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_outbox_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_outbox")),
        sa.UniqueConstraint("id", name=op.f("uq_outbox_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_outbox_conversation_id"), "outbox", ["conversation_id"], unique=False)
    op.create_index(
        "ix_outbox_lane_waiting",
        "outbox",
        ["lane", "seq"],
        unique=False,
        sqlite_where=sa.text("state = 'waiting'"),
        postgresql_where=sa.text("state = 'waiting'"),
    )
    op.create_index("ix_outbox_target_state_seq", "outbox", ["target", "state", "seq"], unique=False)
    op.create_index(
        "ix_outbox_waiting",
        "outbox",
        ["due_at", "seq"],
        unique=False,
        sqlite_where=sa.text("state = 'waiting'"),
        postgresql_where=sa.text("state = 'waiting'"),
    )
    op.create_table(
        "outcomes",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("conversation_id", sa.String(length=40), nullable=True),
        sa.Column("finished_at", sa.String(27), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_outcomes_conversation_id_conversations"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outcomes")),
    )
    op.create_index(op.f("ix_outcomes_conversation_id"), "outcomes", ["conversation_id"], unique=False)
    op.create_index(op.f("ix_outcomes_finished_at"), "outcomes", ["finished_at"], unique=False)
    op.create_table(
        "photos",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column("content_type", sa.String(length=64), nullable=False),
        sa.Column("byte_count", sa.BigInteger(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("path", sa.String(length=300), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_photos_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
    )
    op.create_index(op.f("ix_photos_conversation_id"), "photos", ["conversation_id"], unique=False)
    op.create_table(
        "quotes",
        sa.Column("conversation_id", sa.String(length=40), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("issued_at", sa.String(27), nullable=False),
        sa.Column("valid_until", sa.String(27), nullable=True),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("maximum", sa.String(length=40), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["conversation_id"],
            ["conversations.id"],
            name=op.f("fk_quotes_conversation_id_conversations"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("conversation_id", "number", name=op.f("pk_quotes")),
    )
    op.create_table(
        "web_sessions",
        sa.Column("id_hash", sa.String(length=64), nullable=False),
        sa.Column("user_id", sa.String(length=40), nullable=False),
        sa.Column("created_at", sa.String(27), nullable=False),
        sa.Column("seen_at", sa.String(27), nullable=False),
        sa.Column("expires_at", sa.String(27), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_web_sessions_user_id_users"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id_hash", name=op.f("pk_web_sessions")),
    )
    op.create_index(op.f("ix_web_sessions_user_id"), "web_sessions", ["user_id"], unique=False)
    op.create_table(
        "attempts",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("outbox_id", sa.String(length=40), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("error", sa.String(length=300), nullable=False),
        sa.Column("took_ms", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["outbox_id"], ["outbox.id"], name=op.f("fk_attempts_outbox_id_outbox"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempts")),
    )
    op.create_index(op.f("ix_attempts_outbox_id"), "attempts", ["outbox_id"], unique=False)


def downgrade() -> None:
    op.drop_index(op.f("ix_attempts_outbox_id"), table_name="attempts")
    op.drop_table("attempts")
    op.drop_index(op.f("ix_web_sessions_user_id"), table_name="web_sessions")
    op.drop_table("web_sessions")
    op.drop_table("quotes")
    op.drop_index(op.f("ix_photos_conversation_id"), table_name="photos")
    op.drop_table("photos")
    op.drop_index(op.f("ix_outcomes_finished_at"), table_name="outcomes")
    op.drop_index(op.f("ix_outcomes_conversation_id"), table_name="outcomes")
    op.drop_table("outcomes")
    op.drop_index(
        "ix_outbox_waiting",
        table_name="outbox",
        sqlite_where=sa.text("state = 'waiting'"),
        postgresql_where=sa.text("state = 'waiting'"),
    )
    op.drop_index("ix_outbox_target_state_seq", table_name="outbox")
    op.drop_index(
        "ix_outbox_lane_waiting",
        table_name="outbox",
        sqlite_where=sa.text("state = 'waiting'"),
        postgresql_where=sa.text("state = 'waiting'"),
    )
    op.drop_index(op.f("ix_outbox_conversation_id"), table_name="outbox")
    op.drop_table("outbox")
    op.drop_table("messages")
    op.drop_index(op.f("ix_idempotency_conversation_id"), table_name="idempotency")
    op.drop_index(op.f("ix_idempotency_at"), table_name="idempotency")
    op.drop_table("idempotency")
    op.drop_table("events")
    op.drop_index("ix_case_words_conversation_id", table_name="case_words")
    op.drop_table("case_words")
    op.drop_table("authorisations")
    op.drop_index(op.f("ix_addresses_conversation_id"), table_name="addresses")
    op.drop_table("addresses")
    op.drop_table("users")
    op.drop_table("shop_keys")
    op.drop_index(op.f("ix_rate_buckets_at"), table_name="rate_buckets")
    op.drop_table("rate_buckets")
    op.drop_table("own_settings")
    op.drop_table("opt_outs")
    op.drop_table("one_time_codes")
    op.drop_table("gateways")
    op.drop_table("endpoints")
    op.drop_table("definition_versions")
    op.drop_index("ix_conversations_waits_for_updated_at_id", table_name="conversations")
    op.drop_index("ix_conversations_updated_at_id", table_name="conversations")
    op.drop_index("ix_conversations_phase_updated_at_id", table_name="conversations")
    op.drop_index("ix_conversations_opened_at", table_name="conversations")
    op.drop_index("ix_conversations_floor_updated_at_id", table_name="conversations")
    op.drop_table("conversations")
