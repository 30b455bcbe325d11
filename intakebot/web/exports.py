"""Tables and data to take along. Cells cannot be formulas (see `documents.exports`)."""

from __future__ import annotations

from collections.abc import Iterator

from flask import Response, stream_with_context

from intakebot.documents.exports import csv_bytes
from intakebot.records import Store
from intakebot.web import security

COLUMNS = (
    "reference",
    "opened_at",
    "updated_at",
    "phase",
    "waits_for",
    "customer_name",
    "device",
    "has_hazard",
    "channel",
    "language",
)
CHUNK = 100


def intakes_csv() -> Response:
    """All intakes, newest change first, sent while it is read."""
    body = stream_with_context(_chunks(security.services().store))
    headers = {
        "Content-Disposition": 'attachment; filename="intakes.csv"',
        "Content-Security-Policy": "sandbox; default-src 'none'",
    }
    return Response(body, headers=headers, content_type="text/csv; charset=utf-8")


def _chunks(store: Store) -> Iterator[bytes]:
    header, after = True, None
    while True:
        with store.reading() as work:
            page = work.cases.page(after=after, limit=CHUNK)
        rows = [
            (
                line.reference, line.opened_at.isoformat(), line.updated_at.isoformat(), line.index.phase, line.index.waits_for,
                line.index.customer_name, line.index.device, "yes" if line.index.has_hazard else "no", line.channel, line.locale,
            )
            for line in page.lines
        ]  # fmt: skip
        content = csv_bytes(COLUMNS, rows)
        yield content if header else content.split(b"\r\n", 1)[1]
        header, after = False, page.after
        if after is None:
            return
