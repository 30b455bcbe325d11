"""The registration handshake of webhook endpoints; given-up deliveries are found without looking at all of them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("endpoints") as batch:
        batch.add_column(
            sa.Column("handshake", sa.String(length=10), nullable=False, server_default="skipped")
        )
        batch.add_column(sa.Column("allowed_rate", sa.Integer(), nullable=True))
    for state in ("failed", "set_aside"):
        op.create_index(
            f"ix_outbox_{state}",
            "outbox",
            ["seq"],
            unique=False,
            sqlite_where=sa.text(f"state = '{state}'"),
            postgresql_where=sa.text(f"state = '{state}'"),
        )


def downgrade() -> None:
    for state in ("failed", "set_aside"):
        op.drop_index(f"ix_outbox_{state}", table_name="outbox")
    with op.batch_alter_table("endpoints") as batch:
        batch.drop_column("allowed_rate")
        batch.drop_column("handshake")
