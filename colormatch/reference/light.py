"""What the neutral places of a photo tell of its light: cast, evenness, mixed lamps, tones changed place by place."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear
from colormatch.image.flat_field import FlatField
from colormatch.records import BoolArray, Flag, FlagCode, FloatArray, Light

#: Share of light, brightest over darkest end, above which unevenness is worth a word: 10 % from the card to the wood
#: costs about 2 ΔE00 (simulated).
UNEVEN = 1.10
#: Difference in color, brightness left out, of two neutral places from which two lamps are likely, ΔE00; noise and
#: print stay below 1, our choice.
MIXED = 2.0
#: Part of log light that an even slope over a card leaves, as a standard deviation, above which a camera has changed
#: tones place by place or a shadow lies across; grain of print and noise average out below it, our choice.
PATCHY = 0.04
#: Parts a card is cut into along each side to see its light.
_PARTS = 4
#: Natural log of light: how far it may slope over a photo (a window at one side of the bench), and how surely one
#: neutral place tells its light (print, curl, camera). Our estimates; their ratio decides how much a small place may
#: say of a whole photo.
_SLOPE, _PLACE = 0.3, 0.02


@dataclass(frozen=True, eq=False)
class Places:
    """Neutral places of a photo: parts of a card or of other surfaces that are of one tone each."""

    #: (n, 3) float; linear sRGB as the photo holds them, above 0.
    linear_rgb: FloatArray
    #: (n, 2) float; their middles, fractions of the photo's width and height.
    middles: FloatArray
    #: (n,) int; which surface each belongs to, 0 for the card. Nothing is known of how light the others are.
    surface: FloatArray
    #: (n,) float; how much each counts: the parts of one mark together count 1.
    weight: FloatArray

    def __add__(self, other: Places) -> Places:
        return Places(
            np.concatenate([self.linear_rgb, other.linear_rgb]),
            np.concatenate([self.middles, other.middles]),
            np.concatenate([self.surface, other.surface]),
            np.concatenate([self.weight, other.weight]),
        )

    def evenness(self, plane: FlatField) -> float:
        """Brightest over darkest of the places in that light, 1 = even."""
        levels = plane.level(self.middles)
        return float(levels.max() / levels.min())

    def centered(self, values: FloatArray) -> FloatArray:
        """(n, k) float; values less the weighted mean of those of the same surface."""
        out = np.array(values, dtype=float)
        for surface in np.unique(self.surface):
            same = self.surface == surface
            out[same] -= np.average(out[same], axis=0, weights=self.weight[same])
        return out


NO_PLACES = Places(np.empty((0, 3)), np.empty((0, 2)), np.empty(0, int), np.empty(0))


def fit_flat_field(places: Places, origin: FloatArray) -> FlatField:
    """Slope of the light over neutral places.

    Parameters
    ----------
    places : Places
    origin : (2,) float
        Of the plane, fractions of width and height.

    Returns
    -------
    FlatField
        Least squares with a ridge: places near to one another say little of the light far from them.
    """
    apart = places.centered(places.middles)
    logs = places.centered(np.log(places.linear_rgb))
    weighted = apart * places.weight[:, None]
    ridge = (_PLACE / _SLOPE) ** 2 * np.eye(2)
    return FlatField(np.linalg.solve(weighted.T @ apart + ridge, weighted.T @ logs), np.asarray(origin, dtype=float))


def surface_parts(linear_rgb: FloatArray, inside: BoolArray, box: tuple[float, float, float, float]) -> Places:
    """A neutral surface cut into parts.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float; linear sRGB of the box around the surface
    inside : (h, w) bool; the surface's pixels
    box : (x, y, w, h)
        Where that box lies, fractions of the photo's width and height.

    Returns
    -------
    Places
        The parts that the surface mostly fills and of which no channel is black; perhaps none.
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
    """What neutral places of a photo tell of its light.

    Parameters
    ----------
    places : Places
    cast : (a*, b*) or None
        Of the neutral reference before correction.

    Returns
    -------
    Light
        Evenness over those places, and flags ``light-uneven``, ``light-mixed``, ``light-patchy``.
    """
    if len(places.middles) < 2:
        return Light(cast)
    plane = fit_flat_field(places, places.middles.mean(axis=0))
    evenness = places.evenness(plane)
    flags = []
    if evenness > UNEVEN:
        text = f"The light changes by {100 * (evenness - 1):.0f} % from one neutral place to another."
        flags.append(Flag(FlagCode.LIGHT_UNEVEN, text, evenness))
    mixed = _color_spread(places)
    if mixed > MIXED:
        text = (
            "Two kinds of light fall on the photo: one end of what is neutral looks warmer than the other. Switch one "
            "of them off, or draw the curtain."
        )
        flags.append(two_lamps(text, mixed))
    logs = places.centered(
        np.log(places.linear_rgb).mean(axis=1, keepdims=True) - np.log(plane.level(places.middles))[:, None]
    )
    left = math.sqrt(float(np.average(logs[:, 0] ** 2, weights=places.weight)))
    if left > PATCHY:
        text = (
            "The neutral places differ in a way that no even light explains: a shadow lies across one of them, or the "
            "camera changed the tones of parts of the photo. Take it again without shadows, and with HDR switched off."
        )
        flags.append(Flag(FlagCode.LIGHT_PATCHY, text, left))
    return Light(cast, evenness=round(evenness, 3), flags=tuple(flags))


def two_lamps(text: str, value: float) -> Flag:
    """The doubt that two kinds of light fall on a photo, whoever has seen it; ``text`` says how it shows."""
    return Flag(FlagCode.LIGHT_MIXED, text, round(value, 3))


def _color_spread(places: Places) -> float:
    """Largest ΔE00 between a neutral place and the mean of its surface, all brought to the same brightness."""
    chroma = np.log(places.linear_rgb)
    same = lab_from_linear(0.2 * np.exp(places.centered(chroma - chroma.mean(axis=1, keepdims=True))))
    return float(delta_e(same, lab_from_linear(np.full(3, 0.2))).max())
