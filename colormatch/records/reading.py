"""What one photo tells: its reference, its light, and the colors of what was marked on it."""

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
    """What is known of a photo besides its pixels."""

    #: Of the upright photo, pixels.
    width: int
    height: int
    #: "JPEG", "PNG", "TIFF", "WebP", "HEIF", "AVIF", "raw" or "array".
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
    #: Model of the lens as the file states it, or empty.
    lens: str = ""

    @property
    def taken_with(self) -> str:
        """Camera and lens: what a learned camera is known by; empty where the file doesn't name the camera."""
        return ", ".join(filter(None, (self.camera, self.lens))) if self.camera else ""


class LightKind(StrEnum):
    """What a photo was taken under, as far as a correction depends on it."""

    DAYLIGHT = "daylight"
    BULB = "bulb"
    FLUORESCENT = "fluorescent"
    LED = "led"


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
    #: Where it was read; None for several regions taken together.
    region: Region | None = None

    @property
    def uncertainty(self) -> float:
        """Both parts together, ΔE00, 90 % radius."""
        return math.hypot(self.random, self.systematic)


class Difference(NamedTuple):
    """Error that a photo's correction leaves in the difference of two of its colors.

    What a camera does to a difference is mostly a factor: it grows with the distance, and things that are nearly alike
    are read nearly right.
    """

    #: Of two colors that are nearly alike, ΔE00, 90 % radius.
    figure: float = 0.0
    #: Of the distance between them, 0 to 1.
    share: float = 0.0

    def radius(self, apart: float) -> float:
        """Of two colors that are read so far apart, ΔE00, 90 % radius."""
        return math.hypot(self.figure, self.share * apart)

    @property
    def words(self) -> str:
        """For people."""
        share = 100 * self.share
        return f"± {self.figure:.1f} where they are nearly alike, and {share:.0f} % of what lies between them"


class LearnedFrom(NamedTuple):
    """The learned camera that a photo was read through."""

    #: As the photos' files name the camera, or as it was named.
    name: str
    light: LightKind
    #: How many photos it rests on.
    photos: int


#: Nothing is left.
EXACT = Difference()


@dataclass(frozen=True)
class Reading:
    """All that was read from one photo."""

    photo: Photo
    card: Card
    light: Light
    samples: tuple[Sample, ...]
    #: The chain of the correction in words, in order.
    steps: tuple[str, ...] = ()
    #: What the correction leaves in the difference of two colors of this photo.
    difference: Difference = EXACT
    #: What else than the photo itself it was read by.
    learned: LearnedFrom | None = None

    def _repr_html_(self) -> str:
        """A table of its samples, for notebooks."""
        rows = [
            (one.name, *(f"{value:.1f}" for value in one.lab), f"± {one.uncertainty:.1f}", one.pixels)
            for one in self.samples
        ]
        return html_table(("region", "L*", "a*", "b*", "ΔE00, 90 %", "pixels"), rows)

    def of_kind(self, kind: RegionKind) -> tuple[Sample, ...]:
        """Samples of the regions of one kind, in the order in which they were marked."""
        return tuple(sample for sample in self.samples if sample.region is not None and sample.region.kind is kind)

    def doubts_about_samples(self) -> tuple[Flag, ...]:
        """What its samples' flags say, each once, before it the names of the samples that it is about."""
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
