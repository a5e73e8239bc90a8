"""Properties of the light, from a photo's neutral areas: cast, evenness, mixed lamps, local tone changes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear
from colormatch.image.flat_field import FlatField
from colormatch.records import BoolArray, Flag, FlagCode, FloatArray, Light

#: Ratio of brightest to darkest light from which unevenness is flagged: 10 % from the card to the wood cost about
#: 2 ΔE00 (simulated).
UNEVEN = 1.10
#: ΔE00 of two neutral areas, without brightness, from which two lamps are likely; noise and print stay below 1, our
#: choice.
MIXED = 2.0
#: Variance of the hue that its slope explains over what is left, for each degree of freedom, from which the slope is no
#: chance: F(4, 26) of the 16 parts of a card is above it once in a thousand.
_SURELY = 6.3
#: Standard deviation of a card's log light around an even slope from which the camera changed tones locally or a shadow
#: lies across it; grain of print and noise average out below it, our choice.
PATCHY = 0.04
#: Parts of a card along each side, for measuring its light.
_PARTS = 4
#: Standard deviations, natural log of light: of the slope over a photo (a window at one side of the bench), and of the
#: light measured at one neutral area (print, curl, camera). Our estimates; their ratio limits what a small area may say
#: about the whole photo.
_SLOPE, _PLACE = 0.3, 0.02


@dataclass(frozen=True, eq=False)
class Places:
    """Neutral areas of a photo: parts of a card or of other surfaces, each of uniform tone."""

    #: (n, 3) float; uncorrected linear sRGB, above 0.
    linear_rgb: FloatArray
    #: (n, 2) float; centers, fractions of the photo's width and height.
    middles: FloatArray
    #: (n,) int; surface of each part, 0 for the card. The lightness of the others is unknown.
    surface: FloatArray
    #: (n,) float; weight of each part; the parts of one mark add up to 1.
    weight: FloatArray

    def __add__(self, other: Places) -> Places:
        return Places(
            np.concatenate([self.linear_rgb, other.linear_rgb]),
            np.concatenate([self.middles, other.middles]),
            np.concatenate([self.surface, other.surface]),
            np.concatenate([self.weight, other.weight]),
        )

    def evenness(self, plane: FlatField) -> float:
        """Ratio of the brightest to the darkest area under that illumination, 1 = even."""
        levels = plane.level(self.middles)
        return float(levels.max() / levels.min())

    def centered(self, values: FloatArray) -> FloatArray:
        """(n, k) float; values minus the weighted mean of the same surface."""
        out = np.array(values, dtype=float)
        for surface in np.unique(self.surface):
            same = self.surface == surface
            out[same] -= np.average(out[same], axis=0, weights=self.weight[same])
        return out


NO_PLACES = Places(np.empty((0, 3)), np.empty((0, 2)), np.empty(0, int), np.empty(0))


def fit_flat_field(places: Places, origin: FloatArray) -> FlatField:
    """Fit the slope of the light to neutral areas.

    Parameters
    ----------
    places : Places
    origin : (2,) float
        Origin of the plane, fractions of width and height.

    Returns
    -------
    FlatField
        Least squares with a ridge: areas close together say little about the light far from them.
    """
    apart = places.centered(places.middles)
    logs = places.centered(np.log(places.linear_rgb))
    weighted = apart * places.weight[:, None]
    ridge = (_PLACE / _SLOPE) ** 2 * np.eye(2)
    return FlatField(np.linalg.solve(weighted.T @ apart + ridge, weighted.T @ logs), np.asarray(origin, dtype=float))


def surface_parts(linear_rgb: FloatArray, inside: BoolArray, box: tuple[float, float, float, float]) -> Places:
    """Cut a neutral surface into parts.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float; linear sRGB of the box around the surface
    inside : (h, w) bool; the surface's pixels
    box : (x, y, w, h)
        That box, in fractions of the photo's width and height.

    Returns
    -------
    Places
        Parts mostly filled by the surface, without a black channel; may be empty.
    """
    height, width = inside.shape
    colors, middles = [], []
    for row in np.array_split(np.arange(height), min(_PARTS, height)):
        for column in np.array_split(np.arange(width), min(_PARTS, width)):
            part = np.s_[row[0] : row[-1] + 1, column[0] : column[-1] + 1]
            if inside[part].mean() <= 0.5:
                continue
            mean = linear_rgb[part][inside[part]].mean(axis=0, dtype=float)
            if mean.min() > 0:
                colors.append(mean)
                middles.append(((column.mean() + 0.5) / width, (row.mean() + 0.5) / height))
    count = len(colors)
    return Places(
        np.reshape(colors, (-1, 3)),
        np.reshape(middles, (-1, 2)) * box[2:] + box[:2],
        np.zeros(count, int),
        np.ones(count) / (count or 1),
    )


def describe_light(places: Places, cast: tuple[float, float] | None) -> Light:
    """Describe the light of a photo from its neutral areas.

    Parameters
    ----------
    places : Places
    cast : (a*, b*) or None
        Cast of the neutral reference before correction.

    Returns
    -------
    Light
        Evenness over those areas, and flags ``light-uneven``, ``light-mixed``, ``light-patchy``.
    """
    if len(places.middles) < 2:
        return Light(cast)
    plane = fit_flat_field(places, places.middles.mean(axis=0))
    evenness = places.evenness(plane)
    flags = []
    if evenness > UNEVEN:
        text = f"The light changes by {100 * (evenness - 1):.0f} % from one neutral place to another."
        flags.append(Flag(FlagCode.LIGHT_UNEVEN, text, evenness))
    mixed = _color_change(places)
    if mixed > MIXED:
        text = (
            "Two kinds of light fall on the scene: one end of the neutral places looks warmer than the other. Switch "
            "one of them off, or close the curtain."
        )
        flags.append(two_lamps(text, mixed))
    logs = places.centered(
        np.log(places.linear_rgb).mean(axis=1, keepdims=True) - np.log(plane.level(places.middles))[:, None]
    )
    left = math.sqrt(float(np.average(logs[:, 0] ** 2, weights=places.weight)))
    if left > PATCHY:
        text = (
            "The neutral places differ in a way that even light doesn't explain: a shadow lies across one of them, or "
            "the camera changed the tones in parts of the photo. Take it again without shadows, and with HDR switched "
            "off."
        )
        flags.append(Flag(FlagCode.LIGHT_PATCHY, text, left))
    return Light(cast, evenness=round(evenness, 3), flags=tuple(flags))


def two_lamps(text: str, value: float) -> Flag:
    """The flag for two kinds of light on a photo, shared by every detector of it; ``text`` is its sentence."""
    return Flag(FlagCode.LIGHT_MIXED, text, round(value, 3))


def _color_change(places: Places) -> float:
    """Largest ΔE00 between the hue of the light at a neutral area and in the middle, at equal brightness.

    The hue of two lamps changes along a slope. What differs from place to place otherwise is noise and print: a slope
    that doesn't stand out of it counts as none.
    """
    chroma = np.log(places.linear_rgb)
    chroma = places.centered(chroma - chroma.mean(axis=1, keepdims=True))
    apart = places.centered(places.middles)
    weighted = apart * places.weight[:, None]
    slope = np.linalg.lstsq(weighted.T @ apart, weighted.T @ chroma, rcond=None)[0]
    fitted = apart @ slope
    free = len(apart) - len(np.unique(places.surface)) - 2
    explained, left = ((places.weight[:, None] * part**2).sum() for part in (fitted, chroma - fitted))
    if free > 0 and explained / 2 < _SURELY * left / free:
        return 0.0
    same = lab_from_linear(0.2 * np.exp(fitted))
    return float(delta_e(same, lab_from_linear(np.full(3, 0.2))).max())
