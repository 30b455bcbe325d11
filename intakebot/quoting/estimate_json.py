"""The estimate as JSON: the whole of it for storing, and what a customer may see."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from intakebot.quoting.chances import ChanceShown
from intakebot.quoting.estimate import Estimate, EstimateOutcome
from intakebot.quoting.json_form import from_json, to_json


def estimate_to_json(estimate: Estimate) -> dict[str, Any]:
    """All figures as JSON values; `estimate_from_json` gives the same estimate back."""
    return dict(to_json(estimate))


def estimate_from_json(data: Mapping[str, Any]) -> Estimate:
    """Raises: BadInputError for something `estimate_to_json` did not write."""
    return from_json(Estimate, data, "estimate")


def public_estimate(estimate: Estimate) -> dict[str, Any]:
    """What a customer may see by the API: prices and terms, no fault odds, no sources inside the shop, no seed."""
    return {
        "number": estimate.number,
        "reference": estimate.reference,
        "supersedes": estimate.supersedes,
        "currency": estimate.currency,
        "quoted_on": estimate.quoted_on.isoformat(),
        "valid_until": estimate.valid_until.isoformat(),
        "outcomes": [_outcome(outcome) for outcome in estimate.outcomes],
        "likely": estimate.likely,
        "p10": estimate.p10.to_json(),
        "p50": estimate.p50.to_json(),
        "p90": estimate.p90.to_json(),
        "expected": estimate.expected.to_json(),
        "maximum": estimate.maximum.to_json(),
        "maximum_tax": estimate.maximum_tax.to_json(),
        "tax_included": estimate.tax_included,
        "stopped_by": estimate.stopped_by,
        "can_start": estimate.can_start,
        "chance_repaired": _chance(estimate.repaired_shown),
        "if_not_repaired": estimate.if_not_repaired.to_json(),
        "minimum_fee": estimate.minimum_fee.to_json(),
        "deposit": estimate.deposit.to_json(),
        "worth": estimate.worth.verdict,
        "plan": list(estimate.authorised_steps),
        "ask_first": list(estimate.left_out_steps),
        "parts": list(estimate.parts),
        "completion_date": None
        if estimate.case.completion_date is None
        else estimate.case.completion_date.isoformat(),
        "rate_card": estimate.rate_card_id,
        "profile": estimate.profile_id,
    }


def _outcome(outcome: EstimateOutcome) -> dict[str, Any]:
    return {
        "repaired": outcome.repaired,
        "chance": _chance(outcome.shown),
        "steps": list(outcome.steps),
        "lines": [
            {
                "kind": line.kind,
                "code": line.code,
                "quantity": f"{line.quantity:f}",
                "unit": line.unit,
                "unit_price": line.unit_price.to_json(),
                "amount": line.amount.to_json(),
            }
            for line in outcome.lines
        ],
        "tax": outcome.tax.to_json(),
        "total": outcome.total.to_json(),
    }


def _chance(shown: ChanceShown) -> dict[str, Any]:
    return {"percent": shown.percent, "edge": shown.edge, "word": shown.word}
