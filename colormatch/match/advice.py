"""What to say about a ranking, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

from colormatch.match.job import Job, Outcomes
from colormatch.records import Limits, RankedWash


def advise(
    job: Job, outcomes: Outcomes, washes: Sequence[RankedWash], names: Sequence[str], limits: Limits
) -> tuple[str, ...]:
    """Sentences, the most useful first."""
    said = []
    alike = sum(wash.group == 1 for wash in washes)
    if alike > 1:
        said.append("The recipes of the first group can't be told apart; the simplest stands first.")
    return tuple(said)
