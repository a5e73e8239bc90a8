"""What a match is asked, and the recipes that answer it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from colormatch.errors import BadInput
from colormatch.records.color import Lab, lab_of
from colormatch.records.doubt import Flag
from colormatch.records.html_table import html_table

#: More coats than that of one wash are a slip of the hand; our choice.
COATS_LIMIT = 1000
#: Most parts of one paint in a mix; our choice.
PARTS_LIMIT = 1_000_000


def check_coats(coats: int, what: str) -> None:
    """Refuse a number of coats that can't be.

    Raises
    ------
    BadInput
        Not whole, or not 1 to 1000.
    """
    if not 1 <= coats <= COATS_LIMIT or coats != int(coats):
        raise BadInput(f"{coats} coats of {what} can't be.", f"Give a whole number from 1 to {COATS_LIMIT}.")


@dataclass(frozen=True)
class Part:
    """One paint's share of a mix."""

    paint: str
    #: By volume; only the proportion to the other parts matters.
    parts: float = 1.0
    #: Whether it is a paint of the shipped example; said beside its name, and no part of what a recipe is.
    invented: bool = field(default=False, compare=False, repr=False)

    @property
    def called(self) -> str:
        """The paint's name, with the sign of one that nobody can buy."""
        return f"{self.paint} (invented)" if self.invented else self.paint


@dataclass(frozen=True)
class Layer:
    """One wash: a paint or a mix of paints, thinned, in a number of coats."""

    paints: tuple[Part, ...]
    #: Volume of paint in the wash, 0 < d <= 1; 1:3 paint to water is 0.25.
    paint_fraction: float
    #: 1 or more.
    coats: int = 1

    def __post_init__(self) -> None:
        if not self.paints or any(not (math.isfinite(p.parts) and p.parts > 0) for p in self.paints):
            raise BadInput("A wash needs a paint.", "Name one paint or more, with parts above zero.")
        if max(p.parts for p in self.paints) > PARTS_LIMIT:
            raise BadInput(f"A mix of more than {PARTS_LIMIT:,} parts can't be measured.", "Give smaller numbers.")
        if not 0 < self.paint_fraction <= 1:
            raise BadInput(
                f"A paint fraction of {self.paint_fraction:g} is impossible.", "Give more than 0 and at most 1 (full)."
            )
        check_coats(self.coats, "a wash")

    @property
    def in_words(self) -> str:
        """Shares of paints and of paint in the wash: ``Ochre 67 % + Umber 33 %, 25 % paint, 2 coats``."""
        whole = sum(part.parts for part in self.paints)
        several = len(self.paints) > 1
        paints = " + ".join(f"{p.called} {100 * p.parts / whole:.0f} %" if several else p.called for p in self.paints)
        return f"{paints}, {100 * self.paint_fraction:.0f} % paint, {self.coats} coat{'s' * (self.coats > 1)}"


@dataclass(frozen=True)
class Task:
    """What a repair is to do: the color to reach, the color to start from, and how well both are known."""

    #: The sound wood, a kept color, or either one shifted.
    target: Lab
    #: The damage, in the state in which it will be painted.
    ground: Lab
    #: Of each color by itself: ΔE00, 90 % radius.
    target_uncertainty: float = 0.0
    ground_uncertainty: float = 0.0
    #: What both have in common besides, such as the error of the photo they were read from: ΔE00, 90 % radius.
    shared_uncertainty: float = 0.0
    #: What is uncertain about the way from the ground to the target, whichever wash goes it: ΔE00, 90 % radius. It
    #: makes every wash less sure, and tells none of them from another.
    distance_uncertainty: float = 0.0
    #: Washes that the ground carries already, lowest first: its color was read through the surface that they form.
    painted: tuple[Layer, ...] = ()

    def __post_init__(self) -> None:
        lab_of(self.target, "target")
        lab_of(self.ground, "color of the damage")
        for what, radius in (
            ("target", self.target_uncertainty),
            ("damage", self.ground_uncertainty),
            ("photo", self.shared_uncertainty),
            ("distance", self.distance_uncertainty),
        ):
            if not (math.isfinite(radius) and radius >= 0):
                raise BadInput(f"The uncertainty of the {what} is {radius:g}.", "Give zero or more ΔE.")

    @property
    def target_radius(self) -> float:
        """All that is uncertain about the target, ΔE00, 90 % radius."""
        return math.hypot(self.target_uncertainty, self.shared_uncertainty)

    @property
    def ground_radius(self) -> float:
        """All that is uncertain about the damage, ΔE00, 90 % radius."""
        return math.hypot(self.ground_uncertainty, self.shared_uncertainty)


@dataclass(frozen=True)
class Limits:
    """What the user allows a recipe to be."""

    #: Most coats of one wash.
    coats: int = 3
    #: 1: one wash; 2: a second wash or glaze over it.
    layers: int = 1
    #: 1: one paint in a wash; 2: mixes of two.
    mix: int = 1
    #: Names of the only paints to use; empty: all.
    paints: tuple[str, ...] = ()
    #: Only paints of which something is left.
    on_hand: bool = False
    #: Smallest measure at hand, ml: only ratios that whole measures of it give; 0: any ratio.
    smallest_ml: float = 0.0
    #: Largest batch of one wash, ml, that such measures may fill: a small jar.
    batch_ml: float = 30.0
    #: How many recipes to report.
    top: int = 10
    #: Washes that will go over the whole piece afterwards, sound wood included, in order.
    then: tuple[Layer, ...] = ()
    #: Name of a clear coat that will go over the whole piece at the end, or empty.
    clear: str = ""
    #: Seed of the random draws behind the expected ΔE.
    seed: int = 0
    #: Whether the shipped example's paints stand beside the user's own; named in ``paints`` they always may. Not in the
    #: ``repr``, by which recipes that were picked before there was this limit know their settings.
    invented: bool = field(default=False, repr=False)


@dataclass(frozen=True)
class RankedWash:
    """One recipe for the repair, with what is expected of it."""

    #: 1 is best.
    rank: int
    #: Bottom layer first; empty for leaving the damage as it is.
    layers: tuple[Layer, ...]
    #: What it is expected to dry to.
    lab: Lab
    #: Mean of ΔE00 to the target over everything that is uncertain.
    expected_delta_e: float
    #: 5th and 95th percentile of that ΔE00.
    low: float
    high: float
    #: "measured" or "modelled": so spelled in every JSON document and saved repair.
    basis: str
    #: Number of swatches behind it.
    swatches: int
    #: Washes of one group can't be told apart within the uncertainty; 1 holds the best.
    group: int
    #: What will still be off, in words.
    off: str
    #: Probability that nobody sees the difference (ΔE00 below the visible threshold), 0 to 1.
    unseen: float = 0.0
    flags: tuple[Flag, ...] = ()
    #: Of ``lab`` beside the target, what is in error for both left out: ΔE00, 90 % radius.
    uncertainty: float = 0.0


@dataclass(frozen=True)
class Match:
    """The ranking for one repair."""

    target: Lab
    #: ΔE00, 90 % radius.
    target_uncertainty: float
    ground: Lab
    ground_uncertainty: float
    washes: tuple[RankedWash, ...]
    #: Plain sentences, the most useful first.
    advice: tuple[str, ...] = ()
    #: Recipes looked at.
    searched: int = 0
    seconds: float = field(default=0.0, compare=False)
    #: What the sound wood ends as where something goes over the whole piece; hold the washes' colors against it.
    finished: Lab | None = None
    #: What is to be expected of leaving the damage as it is, whatever its rank; None where it was not looked at.
    untouched: RankedWash | None = None

    def _repr_html_(self) -> str:
        """A table of its washes, best first, for notebooks."""
        rows = [
            (
                one.rank,
                ", then ".join(layer.in_words for layer in one.layers) or "leave it as it is",
                f"{one.expected_delta_e:.1f}",
                f"{one.low:.1f} to {one.high:.1f}",
                one.off,
            )
            for one in self.washes
        ]
        return html_table(("", "wash", "ΔE00 expected", "nine times in ten", "what is off"), rows)
