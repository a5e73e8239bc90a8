"""Work at the bench: mixing, times and progress of a repair."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.repair.document import CONVERTER, read
from colormatch.mixing.measures import COVERAGE_CM2_PER_ML, WASTE, Practice
from colormatch.records import Lab, RankedWash
from colormatch.wash.ratio import DROP_ML

#: Latest end of a timer, milliseconds since 1970: the year 3000, within the calendar's range.
LATEST_MS = 32_503_680_000_000
#: Source of the amount: a typed area, the damage in the photo, or a batch.
TYPED, MARKED, BATCH = "typed", "marked", "batch"


@dataclass(frozen=True)
class Mixing:
    """The user's settings for cup and brush, besides area and smallest measure."""

    amount_by: str = TYPED
    batch: str = "30 ml"
    #: See `Practice` for these.
    coverage: float = COVERAGE_CM2_PER_ML
    waste: float = WASTE
    drop_ml: float = DROP_ML
    densities: tuple[tuple[str, float], ...] = ()

    def practice(self, smallest: str) -> Practice:
        """All assumptions of the amounts, including the smallest measure.

        Raises
        ------
        BadInput
            A value is out of range.
        """
        return Practice(self.coverage, self.waste, smallest, self.drop_ml, self.densities)


@dataclass(frozen=True)
class Progress:
    """Progress of the steps, and their timers."""

    #: Number of finished steps.
    step: int = 0
    #: Timers as step, counted from 0, and end, milliseconds since 1970.
    timers: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if self.step < 0 or not all(step >= 0 and 0 < ends < LATEST_MS for step, ends in self.timers):
            raise ValueError("not progress that this program writes")

    @property
    def ends(self) -> int:
        """End of the current step's timer, milliseconds since 1970; 0 without a timer."""
        return dict(self.timers).get(self.step, 0)

    def timed(self, ends: int) -> Progress:
        """Set the timer of the current step."""
        return replace(self, timers=tuple(sorted({**dict(self.timers), self.step: ends}.items())))

    def at(self, step: int, now: int) -> Progress:
        """Go to another step; running timers are kept."""
        return Progress(step, tuple(one for one in self.timers if one[1] > now))


@dataclass(frozen=True)
class PickedRecipe:
    """A picked wash with its prediction, for the job, the label and the report."""

    wash: RankedWash
    #: Final color of the sound wood; below, the damage.
    target: Lab
    ground: Lab
    #: Hash of the settings used for its ranking.
    settings: str
    #: Local date, ISO 8601.
    made: str
    #: Price of the paint for the whole job, in the user's currency; None if a price is unknown.
    cost: float | None = None

    @property
    def paints(self) -> tuple[str, ...]:
        """Distinct names of its paints."""
        return tuple(dict.fromkeys(part.paint for layer in self.wash.layers for part in layer.paints))


def settings_key(*settings: object) -> str:
    """A short hash of settings, from values with a complete ``repr``."""
    return hashlib.sha256(repr(settings).encode()).hexdigest()[:16]


def today() -> str:
    """The local date, ISO 8601."""
    return datetime.now().astimezone().date().isoformat()


@CONVERTER.register_structure_hook
def _progress(held: Any, _: Any) -> Progress:
    # Earlier versions stored one timer, for the current step.
    timers = held.get("timers", [[held["step"], held["ends"]]] if held.get("ends") else [])
    return Progress(read(held["step"], int), read(timers, tuple[tuple[int, int], ...]))
