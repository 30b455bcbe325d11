"""Everything that lasts: tables, unit of work, repositories, outbox, migrations.

This package is the only importer of SQLAlchemy and Alembic. Start with `open_store`.
"""

from __future__ import annotations

from intakebot.records.case import (
    Authorisation,
    Case,
    Event,
    IndexLine,
    Message,
    QuoteRecord,
)
from intakebot.records.store import Store, UnitOfWork, migrate, open_store

__all__ = [
    "Authorisation",
    "Case",
    "Event",
    "IndexLine",
    "Message",
    "QuoteRecord",
    "Store",
    "UnitOfWork",
    "migrate",
    "open_store",
]
