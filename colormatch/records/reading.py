"""Results of reading one photo: its reference, its light, and the colors of its marked regions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from colormatch.records.color import Lab
from colormatch.records.doubt import Flag
from colormatch.records.html_table import html_table
from colormatch.records.region import Region, RegionKind


@dataclass(frozen=True)
class Photo:
    """Facts about a photo, without its pixels."""

    #: Width of the upright photo as its file has it, pixels; a very large one is read at half of it.
    width: int
    height: int
    #: "JPEG", "PNG", "TIFF", "WebP", "HEIF", "AVIF", "raw" or "array".
    format: str
    #: Make and model as stated in the file, or empty.
    camera: str
    #: Name of the color profile used, such as "sRGB" or "Display P3".
    profile: str
    #: SHA-256 of the file's bytes, hexadecimal.
    sha256: str
    #: True for linear light from a camera raw, without a tone curve.
    raw: bool = False
    flags: tuple[Flag, ...] = ()
    #: Model of the lens as the file states it, or empty.
    lens: str = ""

    @property
    def taken_with(self) -> str:
        """Camera and lens: what a learned camera is known by; empty where the file doesn't name the camera."""
        return ", ".join(filter(None, (self.camera, self.lens))) if self.camera else ""


class SurfaceState(StrEnum):
    """State of the wood's surface where it is read. Only equal states are compared."""

    BARE = "bare"
    SEALED = "sealed"
    WASHED = "washed"
    TOP_COATED = "top-coated"

    @property
    def closed(self) -> bool:
        """Whether paint or a finish has closed the surface."""
        return self is not SurfaceState.BARE


class LightKind(StrEnum):
    """Kind of light source, as far as a correction depends on it."""

    DAYLIGHT = "daylight"
    BULB = "bulb"
    FLUORESCENT = "fluorescent"
    LED = "led"


class CardKind(StrEnum):
    """The neutral reference in the photo."""

    GRAY = "gray"
    THREE_STEP = "three-step"
    CHART24 = "chart24"
    #: Stand-ins: what lies at hand where there is no card.
    PAPER = "paper"
    CARDBOARD = "cardboard"
    PIECE = "piece"
    NONE = "none"


@dataclass(frozen=True)
class Card:
    """The neutral reference as it was used."""

    kind: CardKind
    #: Location of the reference; None if the photo has none.
    region: Region | None
    #: "auto" (found by the program), "given" (marked by the user) or "none".
    found: str
    #: The finder's confidence, 0 to 1; 1 if the user marked it.
    confidence: float = 1.0
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Light:
    """The photo's light, as measured."""

    #: a*, b* of the gray card before correction: the color cast left by the camera.
    cast: tuple[float, float] | None
    #: Correlated color temperature, kelvin; only from a camera raw.
    cct_k: float | None = None
    #: Distance from the Planckian locus in CIE 1960 uv; only from a camera raw.
    duv: float | None = None
    #: Ratio of the brightest to the darkest end of the light across the neutral reference, 1 = even; None if not
    #: measured.
    evenness: float | None = None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Sample:
    """The color of one region, or of several regions of one surface taken together."""

    #: The region's name.
    name: str
    #: Mean color: mean of linear light, then CIELAB.
    lab: Lab
    #: Random part of the uncertainty: how far this spot may differ from the whole surface. ΔE00, 90 % radius.
    random: float
    #: Systematic part: error left by the photo's correction, shared by all of its samples. ΔE00, 90 % radius.
    systematic: float
    #: Pixels used, after the glare cut.
    pixels: int
    #: Color of the light wood between the grain lines.
    field_lab: Lab | None = None
    #: Color of the grain lines.
    grain_lab: Lab | None = None
    #: Direction of the grain, degrees from the photo's width, 0 to 180.
    grain_angle: float | None = None
    flags: tuple[Flag, ...] = ()
    #: The region read; None for several regions combined.
    region: Region | None = None

    @property
    def uncertainty(self) -> float:
        """Both parts combined, ΔE00, 90 % radius."""
        return math.hypot(self.random, self.systematic)


class Difference(NamedTuple):
    """Error left by a photo's correction in the difference of two of its colors.

    A camera mostly scales a difference: the error grows with the distance and nearly vanishes for similar colors.
    """

    #: Error for two nearly equal colors, ΔE00, 90 % radius.
    figure: float = 0.0
    #: Error as a share of the distance between the colors, 0 to 1.
    share: float = 0.0

    def radius(self, apart: float) -> float:
        """Error for two colors that were read ``apart`` ΔE00 from each other. ΔE00, 90 % radius."""
        return math.hypot(self.figure, self.share * apart)

    @property
    def words(self) -> str:
        """The error in words, for people."""
        share = 100 * self.share
        return f"± {self.figure:.1f} where they are nearly alike, and {share:.0f} % of the distance between them"


class LearnedFrom(NamedTuple):
    """The learned camera used to read a photo."""

    #: Camera name, from the file or given by the user.
    name: str
    light: LightKind
    #: Number of photos it was learned from.
    photos: int


#: No error at all.
EXACT = Difference()


@dataclass(frozen=True)
class Reading:
    """Everything read from one photo."""

    photo: Photo
    card: Card
    light: Light
    samples: tuple[Sample, ...]
    #: Steps of the correction in words, in order.
    steps: tuple[str, ...] = ()
    #: Error left by the correction in the difference of two colors of this photo.
    difference: Difference = EXACT
    #: The learned camera used, if any.
    learned: LearnedFrom | None = None

    def _repr_html_(self) -> str:
        """Table of the samples, for notebooks."""
        rows = [
            (one.name, *(f"{value:.1f}" for value in one.lab), f"± {one.uncertainty:.1f}", one.pixels)
            for one in self.samples
        ]
        return html_table(("region", "L*", "a*", "b*", "ΔE00, 90 %", "pixels"), rows)

    def of_kind(self, kind: RegionKind) -> tuple[Sample, ...]:
        """Samples of one kind of region, in the order they were marked."""
        return tuple(sample for sample in self.samples if sample.region is not None and sample.region.kind is kind)

    def doubts_about_samples(self) -> tuple[Flag, ...]:
        """Distinct flags of the samples, each prefixed with the names of the samples it applies to."""
        about: dict[str, tuple[Flag, list[str]]] = {}
        for sample in self.samples:
            for flag in sample.flags:
                about.setdefault(flag.text, (flag, []))[1].append(sample.name)
        return tuple(
            flag
            if any(f"'{name}'" in text for name in names)
            else flag._replace(text=f"{', '.join(dict.fromkeys(names))}: {text}")
            for text, (flag, names) in about.items()
        )
