"""Intake, triage and quote service for a one-bench, mail-in repair shop of disc-playing electronics."""
