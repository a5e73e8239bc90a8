"""Frozen values that pass from room to room, in the order of the flow: photo, wash, match.

Conventions
-----------
* Color is CIELAB, D65 white, CIE 1931 2° observer (:class:`Lab`).
* Every color difference is CIEDE2000.
* An *uncertainty* is the radius, in ΔE00, that holds the truth nine times in ten (90 %). The matching standard
  deviation of one axis of a round error is :data:`SIGMA_PER_RADIUS` times that radius.
* Doubts that do not stop the work travel as flags (:class:`Flag`); what can't be answered is an error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from colormatch.errors import BadInput, RegionError

FloatArray = NDArray[np.floating[Any]]
ByteArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]

#: One axis' standard deviation over the 90 % radius of a three-dimensional round Gaussian error:
#: 1 / sqrt(chi-square quantile(0.9, 3 degrees of freedom)) = 1 / 2.5003.
SIGMA_PER_RADIUS = 1 / 2.5003


class Lab(NamedTuple):
    """A color: CIELAB, D65, 2°. ``np.asarray(lab)`` is a (3,) float array."""

    L: float
    a: float
    b: float

    @classmethod
    def from_array(cls, values: FloatArray) -> Lab:
        """Of a (3,) array, such as a computed color; unlike :func:`lab_of` it refuses nothing."""
        L, a, b = (float(value) for value in values)
        return cls(L, a, b)


#: Largest a* and b*, either way: what an 8-bit CIELAB encoding holds (ICC.1:2022), beyond any surface.
MOST_AB = 128.0


def lab_of(values: object, name: str = "color") -> Lab:
    """Check three numbers and take them as a color.

    Raises
    ------
    BadInput
        Not three finite numbers, or lightness outside 0 to 100, or a*, b* outside -128 to 128.

    Examples
    --------
    >>> lab_of([50, 0, 1])
    Lab(L=50.0, a=0.0, b=1.0)
    """
    try:
        L, a, b = (float(v) for v in values)  # type: ignore[attr-defined]  # anything may come in; what has no three numbers is refused below
    except (TypeError, ValueError):
        raise BadInput(f"The {name} is not three numbers.", "Give it as L,a,b, for example 62,9,25.") from None
    if not (math.isfinite(L) and 0 <= L <= 100 and abs(a) <= MOST_AB and abs(b) <= MOST_AB):
        raise BadInput(
            f"The {name} {L:g}, {a:g}, {b:g} is no CIELAB color.",
            "L* lies between 0 and 100, a* and b* between -128 and 128.",
        )
    return Lab(L, a, b)


class Flag(NamedTuple):
    """A doubt about a result, for people and programs."""

    #: Short stable name, such as ``card-uneven``.
    code: str
    #: One plain sentence.
    text: str
    #: The figure behind it, if there is one.
    value: float | None = None


# --- photo -----------------------------------------------------------------------------------------------------------


class RegionKind(StrEnum):
    """What a marked region shows."""

    CARD = "card"
    SOUND = "sound"
    DAMAGE = "damage"
    REPAIR = "repair"
    STRIP = "strip"
    CHIP = "chip"
    WHITE = "white"
    PATCH = "patch"


class Box(NamedTuple):
    """A rectangle in pixels of the upright photo: left, top, width, height."""

    x: int
    y: int
    w: int
    h: int


@dataclass(frozen=True)
class Region:
    """A marked shape, stored in fractions of the upright photo so that no display scale can spoil it."""

    #: What it shows.
    kind: RegionKind
    #: Corners in order, (x, y) as fractions 0 to 1 of width and height; at least three.
    points: tuple[tuple[float, float], ...]
    #: The user's or the program's name for it.
    name: str = ""

    def __post_init__(self) -> None:
        if len(self.points) < 3:
            raise RegionError(f"The region '{self.name or self.kind}' has fewer than three corners.", "Draw it again.")
        flat = [v for point in self.points for v in point]
        if not all(math.isfinite(v) and 0 <= v <= 1 for v in flat):
            raise RegionError(
                f"The region '{self.name or self.kind}' reaches outside the photo.", "Draw it inside the picture."
            )

    @classmethod
    def from_box(cls, kind: RegionKind, box: Box, width: int, height: int, name: str = "") -> Region:
        """Region of a pixel box.

        Raises
        ------
        RegionError
            The box has no area or reaches outside the photo.
        """
        x, y, w, h = box
        if w <= 0 or h <= 0:
            raise RegionError(f"The region '{name or kind}' has no area.", "Give it a width and a height above zero.")
        if x < 0 or y < 0 or x + w > width or y + h > height:
            raise RegionError(
                f"The region '{name or kind}' at {x},{y},{w},{h} is not inside the photo ({width} x {height} pixels).",
                "Mark it inside the picture.",
            )
        x0, y0, x1, y1 = x / width, y / height, (x + w) / width, (y + h) / height
        return cls(kind, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), name)

    def corners(self, width: int, height: int) -> FloatArray:
        """(n, 2) float; corners in pixels of an upright photo of that size."""
        return np.asarray(self.points, dtype=float) * (width, height)

    def box(self, width: int, height: int) -> Box:
        """Smallest pixel box around the region in an upright photo of that size."""
        xy = self.corners(width, height)
        # Rounding first keeps 0.1 * 1000 = 100.00000000000001 from growing the box by a pixel.
        x0, y0 = np.floor(np.round(xy.min(axis=0), 6)).astype(int)
        x1, y1 = np.ceil(np.round(xy.max(axis=0), 6)).astype(int)
        return Box(int(x0), int(y0), int(x1 - x0), int(y1 - y0))

    def mask(self, width: int, height: int, every: int = 1) -> tuple[Box, BoolArray]:
        """Which pixels of an upright photo of that size have their center inside the corners (even-odd rule).

        Returns
        -------
        (Box, (h, w) bool)
            The box around the region, and the pixels of that box; of larger steps, every so many of them each way.
        """
        box = self.box(width, height)
        x = box.x + 0.5 + np.arange(0, box.w, every)
        y = box.y + 0.5 + np.arange(0, box.h, every)[:, None]
        inside = np.zeros((y.size, x.size), dtype=bool)
        corners = self.corners(width, height)
        for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            if y0 != y1:
                crosses = (y0 <= y) != (y1 <= y)
                inside ^= crosses & (x < x0 + (y - y0) * ((x1 - x0) / (y1 - y0)))
        return box, inside


class SurfaceState(StrEnum):
    """What lies on the wood where it is read. Like is compared with like."""

    BARE = "bare"
    SEALED = "sealed"
    WASHED = "washed"
    TOP_COATED = "top-coated"


@dataclass(frozen=True)
class Photo:
    """What is known of a photo besides its pixels."""

    #: Of the upright photo, pixels.
    width: int
    height: int
    #: "JPEG", "PNG", "TIFF", "WebP", "HEIF", "AVIF" or "raw".
    format: str
    #: Maker and model as the file states them, or empty.
    camera: str
    #: Name of the color profile that was honored, such as "sRGB" or "Display P3".
    profile: str
    #: Of the file's bytes, hexadecimal.
    sha256: str
    #: True where the values are linear light from a camera raw, without a tone curve.
    raw: bool = False
    flags: tuple[Flag, ...] = ()


class CardKind(StrEnum):
    """The neutral reference in the photo."""

    GRAY = "gray"
    THREE_STEP = "three-step"
    CHART24 = "chart24"
    NONE = "none"


@dataclass(frozen=True)
class Card:
    """The neutral reference as it was used."""

    kind: CardKind
    #: Where it lies; None where the photo has none.
    region: Region | None
    #: "auto" (found by the program), "given" (marked by the user) or "none".
    found: str
    #: How sure the finder is, 0 to 1; 1 where the user marked it.
    confidence: float = 1.0
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Light:
    """What the photo tells of its light."""

    #: a*, b* of the gray card before correction: the cast that the camera left.
    cast: tuple[float, float] | None
    #: Correlated color temperature, kelvin; only where a camera raw tells it.
    cct_k: float | None = None
    #: Distance from the Planckian locus in CIE 1960 uv; only where a camera raw tells it.
    duv: float | None = None
    #: Brightest over darkest end of the light across the neutral reference, 1 = even; None where not measurable.
    evenness: float | None = None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Sample:
    """The color of one region, or of several regions of one surface taken together."""

    #: The region's name.
    name: str
    #: Mean color: mean of linear light, then CIELAB.
    lab: Lab
    #: Random part of the uncertainty: this spot for the whole surface. ΔE00, 90 % radius.
    random: float
    #: Systematic part: what the photo's correction leaves, shared by all samples of that photo. ΔE00, 90 % radius.
    systematic: float
    #: Pixels used, after the glare cut.
    pixels: int
    #: Light wood between the grain lines.
    field_lab: Lab | None = None
    #: The grain lines.
    grain_lab: Lab | None = None
    #: Direction in which the grain runs, degrees, 0 = along the photo's width, 0 to 180.
    grain_angle: float | None = None
    flags: tuple[Flag, ...] = ()

    @property
    def uncertainty(self) -> float:
        """Both parts together, ΔE00, 90 % radius."""
        return math.hypot(self.random, self.systematic)


@dataclass(frozen=True)
class Reading:
    """All that was read from one photo."""

    photo: Photo
    card: Card
    light: Light
    samples: tuple[Sample, ...]
    #: The chain of the correction in words, in order.
    steps: tuple[str, ...] = ()
    #: What the correction leaves in the difference of two colors of this photo: ΔE00, 90 % radius.
    difference: float = 0.0


# --- wash ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Paint:
    """A tin on the shelf."""

    name: str
    maker: str = ""
    #: Free words of the user: acrylic, chalk, milk paint, stain, glaze ...
    kind: str = ""
    #: What it is thinned with.
    thinner: str = "water"
    #: For one tin of ``size_ml``, in the user's own currency.
    price: float | None = None
    size_ml: float | None = None
    on_hand_ml: float | None = None
    notes: str = ""
    #: SHA-256 of a photo of the tin, or empty.
    photo: str = ""
    #: Columns of an imported file that the program does not know, kept as they came.
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A paint needs a name.", "Type the name that stands on the tin.")
        for label, value in (("price", self.price), ("size", self.size_ml), ("amount on hand", self.on_hand_ml)):
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise BadInput(f"The {label} of {self.name} is {value:g}.", "Give a number of zero or more.")


@dataclass(frozen=True)
class Swatch:
    """A wash that was painted on a known ground and measured when dry."""

    paint: str
    #: Parts of paint and of water; full strength is (1, 0).
    paint_parts: float
    water_parts: float
    #: Number of coats, 1 or more.
    coats: int
    #: Name of the ground, such as "light wood".
    ground: str
    #: Color of the ground before painting.
    ground_lab: Lab
    #: Color of the dried wash.
    lab: Lab
    #: Of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    #: State of the ground when painted.
    state: SurfaceState = SurfaceState.BARE
    #: ISO 8601 date, or empty.
    taken: str = ""
    #: SHA-256 of the photo it was read from, or empty.
    photo: str = ""
    notes: str = ""
    #: How the color was measured, in words: "photo, gray card", "instrument" ...; or empty.
    measured: str = ""
    #: Corners of the spot in the photo that it was read from: x and y in fractions of the upright photo; or empty.
    region: tuple[tuple[float, float], ...] = ()
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not (math.isfinite(self.paint_parts) and math.isfinite(self.water_parts)) or self.paint_parts <= 0:
            raise BadInput(f"A swatch of {self.paint} has no paint in it.", "Give one or more parts of paint.")
        if self.water_parts < 0:
            raise BadInput(f"A swatch of {self.paint} has less than no water.", "Give zero or more parts of water.")
        if self.coats < 1:
            raise BadInput(f"A swatch of {self.paint} has {self.coats} coats.", "Give one or more coats.")
        if not (math.isfinite(self.uncertainty) and self.uncertainty >= 0):
            raise BadInput(f"A swatch of {self.paint} has no valid uncertainty.", "Give zero or more ΔE.")
        if not all(0 <= value <= 1 for corner in self.region for value in corner):
            raise BadInput(f"The spot of a swatch of {self.paint} lies outside its photo.", "Mark it again.")
        lab_of(self.ground_lab, f"ground of a swatch of {self.paint}")
        lab_of(self.lab, f"color of a swatch of {self.paint}")

    @property
    def paint_fraction(self) -> float:
        """Volume of paint in the wash, 0 < d <= 1."""
        return self.paint_parts / (self.paint_parts + self.water_parts)


@dataclass(frozen=True)
class ClearCoatPair:
    """The same spot before and after a clear coat."""

    name: str
    bare_lab: Lab
    sealed_lab: Lab
    #: What it was laid on, such as "bare wood" or "washed wood".
    on: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A clear coat needs a name.", "Type the name that stands on the tin.")
        lab_of(self.bare_lab, f"bare color under {self.name}")
        lab_of(self.sealed_lab, f"sealed color under {self.name}")


@dataclass(frozen=True)
class Ground:
    """A wood or a card that washes are tried on, measured once and named."""

    name: str
    lab: Lab
    #: Of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    state: SurfaceState = SurfaceState.BARE
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        _check_named_color("ground", self.name, self.lab, self.uncertainty)


@dataclass(frozen=True)
class ShopChip:
    """A thing of settled color that lies in many photos and ties them together, such as an offcut kept on the bench."""

    name: str
    lab: Lab
    #: Of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        _check_named_color("shop chip", self.name, self.lab, self.uncertainty)


@dataclass(frozen=True)
class OwnCard:
    """A card or a chart that the user owns."""

    name: str
    kind: CardKind
    #: What its maker states, in the form of the command line's ``--card-value``; empty: the usual one of its kind.
    value: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A card needs a name.", "Type one that tells it from your other cards.")
        if self.kind is CardKind.NONE:
            raise BadInput(f"The card {self.name} is of no kind.", "Say gray, three-step or chart24.")


def _check_named_color(what: str, name: str, lab: Lab, uncertainty: float) -> None:
    if not name.strip():
        raise BadInput(f"A {what} needs a name.", "Type one that you will know it by.")
    lab_of(lab, f"color of the {what} {name}")
    if not (math.isfinite(uncertainty) and uncertainty >= 0):
        raise BadInput(f"The {what} {name} has no valid uncertainty.", "Give zero or more ΔE.")


@dataclass(frozen=True)
class Shelf:
    """All that a match needs to know of the user's library."""

    paints: tuple[Paint, ...] = ()
    swatches: tuple[Swatch, ...] = ()
    clear_coats: tuple[ClearCoatPair, ...] = ()

    def of(self, paint: str) -> tuple[Swatch, ...]:
        """Swatches of one paint, in the library's order."""
        return self._by_paint.get(paint, ())

    @cached_property
    def _by_paint(self) -> dict[str, tuple[Swatch, ...]]:
        found: dict[str, list[Swatch]] = {}
        for swatch in self.swatches:
            found.setdefault(swatch.paint, []).append(swatch)
        return {paint: tuple(swatches) for paint, swatches in found.items()}


@dataclass(frozen=True)
class Part:
    """One paint's share of a mix."""

    paint: str
    #: By volume; only the proportion to the other parts matters.
    parts: float = 1.0


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
        if not 0 < self.paint_fraction <= 1:
            raise BadInput(
                f"A paint fraction of {self.paint_fraction:g} is impossible.", "Give more than 0 and at most 1 (full)."
            )
        if self.coats < 1:
            raise BadInput(f"{self.coats} coats leave nothing on the wood.", "Give one or more coats.")


# --- match -----------------------------------------------------------------------------------------------------------


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
    #: Washes that the ground carries already, lowest first: its color was read through the surface that they form.
    painted: tuple[Layer, ...] = ()

    def __post_init__(self) -> None:
        lab_of(self.target, "target")
        lab_of(self.ground, "color of the damage")
        for what, radius in (
            ("target", self.target_uncertainty),
            ("damage", self.ground_uncertainty),
            ("photo", self.shared_uncertainty),
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
