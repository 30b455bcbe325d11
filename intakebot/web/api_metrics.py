"""Counters of the API in Prometheus' text form: how many answers, how long they took, how old the outbox is."""

from __future__ import annotations

from datetime import datetime

from prometheus_client import (
    CONTENT_TYPE_LATEST,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    generate_latest,
)

from intakebot.records import Store

__all__ = ["CONTENT_TYPE_LATEST", "Metrics"]
SECONDS = (0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5)


class Metrics:
    """One set for each application, with a registry of its own. Labels hold no ids and nothing personal."""

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        self._answers = Counter(
            "intakebot_answers_total", "Answers of the API", ("operation", "status"), registry=self._registry
        )
        self._seconds = Histogram(
            "intakebot_answer_seconds",
            "Time to answer",
            ("operation",),
            buckets=SECONDS,
            registry=self._registry,
        )
        self._overdue = Gauge(
            "intakebot_outbox_overdue_seconds",
            "Age of the oldest delivery that is due",
            registry=self._registry,
        )

    def count(self, operation: str, status: int, seconds: float) -> None:
        self._answers.labels(operation, str(status)).inc()
        self._seconds.labels(operation).observe(seconds)

    def text(self, store: Store, now: datetime) -> bytes:
        """Everything as Prometheus reads it."""
        with store.reading() as work:
            due = work.outbox.next_due()
        self._overdue.set(0.0 if due is None else max(0.0, (now - due).total_seconds()))
        return generate_latest(self._registry)
