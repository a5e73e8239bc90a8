"""The question put to a match, and the recipes that answer it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from colormatch.errors import BadInput
from colormatch.records.color import Lab, lab_of
from colormatch.records.doubt import Flag
from colormatch.records.html_table import html_table
from colormatch.records.reading import SurfaceState

#: Most coats of one wash; a larger number is a typing error. Our choice.
COATS_LIMIT = 1000
#: Most parts of one paint in a mix; our choice.
PARTS_LIMIT = 1_000_000


def check_coats(coats: int, what: str) -> None:
    """Raise unless the number of coats is valid.

    Raises
    ------
    BadInput
        Not whole, or not 1 to 1000.
    """
    if not 1 <= coats <= COATS_LIMIT or coats != int(coats):
        raise BadInput(f"{coats} coats of {what} are impossible.", f"Give a whole number from 1 to {COATS_LIMIT}.")


@dataclass(frozen=True)
class Part:
    """One paint's share of a mix."""

    paint: str
    #: By volume; only the ratio to the other parts matters.
    parts: float = 1.0
    #: Whether the paint belongs to the shipped example. Shown beside its name; ignored when recipes are compared.
    invented: bool = field(default=False, compare=False, repr=False)

    @property
    def called(self) -> str:
        """The paint's name, marked if the paint is invented."""
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
            raise BadInput(
                f"A mix of more than {PARTS_LIMIT:,} parts is too large to measure.", "Give smaller numbers."
            )
        if not 0 < self.paint_fraction <= 1:
            raise BadInput(
                f"A paint fraction of {self.paint_fraction:g} is impossible.", "Give more than 0 and at most 1 (full)."
            )
        check_coats(self.coats, "a wash")

    @property
    def in_words(self) -> str:
        """Shares of the paints, share of paint in the wash, and coats: ``Ochre 67 % + Umber 33 %, 25 % paint, 2
        coats``.
        """
        whole = sum(part.parts for part in self.paints)
        several = len(self.paints) > 1
        paints = " + ".join(f"{p.called} {100 * p.parts / whole:.0f} %" if several else p.called for p in self.paints)
        return f"{paints}, {100 * self.paint_fraction:.0f} % paint, {self.coats} coat{'s' * (self.coats > 1)}"


@dataclass(frozen=True)
class Task:
    """The problem to solve: the target color, the color to start from, and the uncertainty of both."""

    #: The sound wood, a stored color, or either one shifted.
    target: Lab
    #: The damage, in the state in which it will be painted.
    ground: Lab
    #: Independent uncertainty of each color: ΔE00, 90 % radius.
    target_uncertainty: float = 0.0
    ground_uncertainty: float = 0.0
    #: Uncertainty common to both, such as the error of the photo they were read from: ΔE00, 90 % radius.
    shared_uncertainty: float = 0.0
    #: What is uncertain about the way from the ground to the target, whichever wash goes it: ΔE00, 90 % radius. It
    #: makes every wash less sure, and tells none of them from another.
    distance_uncertainty: float = 0.0
    #: Washes that the ground carries already, lowest first: its color was read through the surface that they form.
    painted: tuple[Layer, ...] = ()
    #: States of the two surfaces as they were read: a coat wets bare wood, and changes closed wood little.
    target_state: SurfaceState = SurfaceState.BARE
    ground_state: SurfaceState = SurfaceState.BARE

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
        """Total uncertainty of the target, ΔE00, 90 % radius."""
        return math.hypot(self.target_uncertainty, self.shared_uncertainty)

    @property
    def ground_radius(self) -> float:
        """Total uncertainty of the damage, ΔE00, 90 % radius."""
        return math.hypot(self.ground_uncertainty, self.shared_uncertainty)


@dataclass(frozen=True)
class Limits:
    """The user's limits on recipes."""

    #: Most coats of one wash.
    coats: int = 3
    #: 1: one wash; 2: a second wash or glaze may go over it.
    layers: int = 1
    #: 1: one paint in each wash; 2: also mixes of two.
    mix: int = 1
    #: Names of the only paints to use; empty: all.
    paints: tuple[str, ...] = ()
    #: Use only paints with some left.
    on_hand: bool = False
    #: Smallest available measure, ml: only ratios of whole measures; 0: any ratio.
    smallest_ml: float = 0.0
    #: Largest batch of one wash in whole measures, ml: a small jar.
    batch_ml: float = 30.0
    #: Number of recipes to report.
    top: int = 10
    #: Washes that will go over the whole piece afterwards, sound wood included, in order.
    then: tuple[Layer, ...] = ()
    #: Name of a clear coat that will go over the whole piece at the end, or empty.
    clear: str = ""
    #: Least share of the wood's own contrast that a wash must keep, 0 to 1: half, since less looks painted (common
    #: practice, no source). Left out of the ``repr`` as below.
    grain_kept: float = field(default=0.5, repr=False)
    #: Seed of the random draws behind the expected ΔE.
    seed: int = 0
    #: Whether example paints are ranked beside the user's own; paints named in ``paints`` always are. Left out of the
    #: ``repr``, which identifies the settings of recipes picked before this limit existed.
    invented: bool = field(default=False, repr=False)


@dataclass(frozen=True)
class RankedWash:
    """One recipe for the repair, with its expected result."""

    #: 1 is best.
    rank: int
    #: Bottom layer first; empty for leaving the damage as it is.
    layers: tuple[Layer, ...]
    #: Expected dried color.
    lab: Lab
    #: Mean ΔE00 to the target over all uncertainty.
    expected_delta_e: float
    #: 5th and 95th percentile of that ΔE00.
    low: float
    high: float
    #: "measured" or "modelled", spelled as in JSON documents and saved repairs.
    basis: str
    #: Number of swatches behind it.
    swatches: int
    #: Group of washes that can't be distinguished within the uncertainty; 1 holds the best.
    group: int
    #: Remaining difference, in words.
    off: str
    #: Probability that the difference is invisible (ΔE00 below the visible threshold), 0 to 1.
    unseen: float = 0.0
    flags: tuple[Flag, ...] = ()
    #: Share of the wood's own contrast that still shows through it, 0 to 1.
    grain_kept: float = 1.0
    #: Uncertainty of ``lab`` relative to the target; errors common to both cancel. ΔE00, 90 % radius.
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
    #: Plain sentences, most useful first.
    advice: tuple[str, ...] = ()
    #: Number of recipes examined.
    searched: int = 0
    seconds: float = field(default=0.0, compare=False)
    #: Final color of the sound wood when something goes over the whole piece; compare the washes' colors with it.
    finished: Lab | None = None
    #: Expected result of leaving the damage alone, whatever its rank; None if not computed.
    untouched: RankedWash | None = None

    @property
    def wanted(self) -> Lab:
        """Final color of the sound wood, which the washes' colors are compared with."""
        return self.finished or self.target

    @property
    def likeliest_unseen(self) -> RankedWash:
        """The wash whose difference is most likely to be invisible; the first of equals. It need not be the first."""
        return max(self.washes, key=lambda wash: wash.unseen)

    def _repr_html_(self) -> str:
        """Table of the washes, best first, for notebooks."""
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
