"""What a repair holds of the work at the bench: how it is mixed, how long things take, how far it has come."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.repair.document import CONVERTER, read
from colormatch.mixing.measures import COVERAGE_CM2_PER_ML, WASTE, Practice
from colormatch.records import Lab, RankedWash
from colormatch.wash.ratio import DROP_ML

#: No timer runs this long, milliseconds since 1970: the year 3000, before the calendar's end at 9999.
LATEST_MS = 32_503_680_000_000
#: Where the amount comes from: an area that was typed, the damage in the photo, or a batch.
TYPED, MARKED, BATCH = "typed", "marked", "batch"


@dataclass(frozen=True)
class Mixing:
    """What a person said of cup and brush, besides the area and the smallest measure."""

    amount_by: str = TYPED
    batch: str = "30 ml"
    #: See `Practice` for these.
    coverage: float = COVERAGE_CM2_PER_ML
    waste: float = WASTE
    drop_ml: float = DROP_ML
    densities: tuple[tuple[str, float], ...] = ()

    def practice(self, smallest: str) -> Practice:
        """With the smallest measure, all that the amounts follow from.

        Raises
        ------
        BadInput
            A figure is beyond all use.
        """
        return Practice(self.coverage, self.waste, smallest, self.drop_ml, self.densities)


@dataclass(frozen=True)
class Progress:
    """How far the steps are done, and their timers."""

    #: Steps that are done.
    step: int = 0
    #: Of a step, counted from 0, and when its timer ends, milliseconds since 1970.
    timers: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if self.step < 0 or not all(step >= 0 and 0 < ends < LATEST_MS for step, ends in self.timers):
            raise ValueError("no progress that this program writes")

    @property
    def ends(self) -> int:
        """When the timer of the step at hand ends, milliseconds since 1970; 0: it has none."""
        return dict(self.timers).get(self.step, 0)

    def timed(self, ends: int) -> Progress:
        """With a timer of the step at hand."""
        return replace(self, timers=tuple(sorted({**dict(self.timers), self.step: ends}.items())))

    def at(self, step: int, now: int) -> Progress:
        """At another step: timers that still run are kept, for who comes back to theirs."""
        return Progress(step, tuple(one for one in self.timers if one[1] > now))


@dataclass(frozen=True)
class PickedRecipe:
    """A wash as it was picked, with what was then expected of it: what a job, a label and a report speak of."""

    wash: RankedWash
    #: What the sound wood ends as, and the damage.
    target: Lab
    ground: Lab
    #: Hash of the settings that it was ranked under.
    settings: str
    #: Local date, ISO 8601.
    made: str
    #: Price of the paint for the whole job, in the user's currency; None where a price is unknown.
    cost: float | None = None

    @property
    def paints(self) -> tuple[str, ...]:
        """Names of its paints, each once."""
        return tuple(dict.fromkeys(part.paint for layer in self.wash.layers for part in layer.paints))


def settings_key(*settings: object) -> str:
    """A short hash of settings; of values whose ``repr`` says all."""
    return hashlib.sha256(repr(settings).encode()).hexdigest()[:16]


def today() -> str:
    """The local date, ISO 8601."""
    return datetime.now().astimezone().date().isoformat()


@CONVERTER.register_structure_hook
def _progress(held: Any, _: Any) -> Progress:
    # Earlier versions kept one timer, of the step at hand.
    timers = held.get("timers", [[held["step"], held["ends"]]] if held.get("ends") else [])
    return Progress(read(held["step"], int), read(timers, tuple[tuple[int, int], ...]))
