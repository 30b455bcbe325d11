"""Facts that follow from others (`Fact.implies`), for callers who hold answers rather than a conversation."""

from __future__ import annotations

from collections.abc import Iterable

from intakebot.definitions.facts import Answer, Answers
from intakebot.definitions.model import Family


def with_implied(family: Family, answers: Answers, fresh: Iterable[str] | None = None) -> dict[str, Answer]:
    """The answers and what follows from them; what somebody said is never overruled.

    Chains are followed; when two facts imply different values, the one with the lower id wins.

    Args: fresh: the facts that are new, where all that follows from the others is known to be among the answers.
    """
    found = dict(answers)
    waiting = sorted(found if fresh is None else fresh)
    while waiting:
        added = []
        for fact_id in waiting:
            answer, fact = found[fact_id], family.facts.get(fact_id)
            if fact is None or answer.value is None:
                continue
            for implied in fact.implies:
                value = answer.value
                same = implied.value in value if isinstance(value, tuple) else value == implied.value
                if same and implied.fact not in found:
                    found[implied.fact] = Answer(implied.gives, "heard", answer.certainty)
                    added.append(implied.fact)
        waiting = sorted(added)
    return found
