"""Simulated customers: hidden truths, personas, talks through the real engine, and a report. Deterministic for a seed."""

from intakebot.simulation.command import run
from intakebot.simulation.report import report_lines, text_report
from intakebot.simulation.run import Talk, simulate

__all__ = ["Talk", "report_lines", "run", "simulate", "text_report"]
