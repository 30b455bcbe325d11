"""What a plan is: groups of steps with a test after each, its expected cost and its outcomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class PlanOutcome:
    """One way the plan can end. `group` is how many groups were done by then."""

    probability: float
    cost: float
    repaired: bool
    group: int


@dataclass(frozen=True)
class Plan:
    """Groups of step ids in working order; a test follows each group.

    expected_cost: in the problem's unit. outcomes: probabilities sum to 1, their mean cost is `expected_cost`; those of
    probability 0 are left out. exact: proved optimal, not found by the heuristic.
    """

    groups: tuple[tuple[str, ...], ...]
    expected_cost: float
    outcomes: tuple[PlanOutcome, ...]
    exact: bool

    @property
    def steps(self) -> tuple[str, ...]:
        return tuple(step for group in self.groups for step in group)

    @property
    def chance_repaired(self) -> float:
        return sum(outcome.probability for outcome in self.outcomes if outcome.repaired)

    def to_mapping(self) -> dict[str, Any]:
        """The public JSON shape: groups, expected_cost, outcomes of probability, cost and repaired."""
        outcomes: list[Mapping[str, Any]] = [
            {"probability": each.probability, "cost": each.cost, "repaired": each.repaired}
            for each in self.outcomes
        ]
        return {
            "groups": [list(group) for group in self.groups],
            "expected_cost": self.expected_cost,
            "outcomes": outcomes,
        }
