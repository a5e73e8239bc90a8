"""What the neutral places of a photo tell of its light: cast, evenness, mixed lamps, tones changed place by place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear
from colormatch.errors import BadInput
from colormatch.records import BoolArray, Flag, FloatArray, Light

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


@dataclass(frozen=True, eq=False)
class Plane:
    """Log light over the photo as a plane, 0 where the colors are referred to."""

    #: (2,) float; natural log of light across the whole width and down the whole height.
    slope: FloatArray
    #: (2,) float; place of which the light stays as it is, fractions of width and height.
    origin: FloatArray

    def light(self, places: FloatArray) -> FloatArray:
        """(...) float; light at (..., 2) places, fractions of width and height, relative to the origin's."""
        return np.exp((np.asarray(places) - self.origin) @ self.slope)

    def evenness(self, places: FloatArray) -> float:
        """Brightest over darkest of several places, 1 = even."""
        light = self.light(places)
        return float(light.max() / light.min())


def fit_plane(places: FloatArray, light: FloatArray) -> Plane:
    """Slope of the light over places of one reflectance.

    Parameters
    ----------
    places : (n, 2) float; fractions of the photo's width and height
    light : (n,) float; linear light there over that of a surface of the same reflectance, above 0

    Returns
    -------
    Plane
        With its origin at the middle of the places. Places on one line tell the slope along that line only; the
        least slope that explains them is taken.

    Raises
    ------
    BadInput
        Fewer than two places.
    """
    places = np.asarray(places, dtype=float)
    if len(places) < 2:
        raise BadInput("One neutral place can't tell how the light falls off.", "Mark the card in two places or more.")
    origin = places.mean(axis=0)
    logs = np.log(light)
    slope = np.linalg.lstsq(places - origin, logs - logs.mean(), rcond=1e-3)[0]
    return Plane(slope, origin)


def even_light(linear_rgb: FloatArray, places: FloatArray, plane: Plane) -> FloatArray:
    """Divide out the light's slope.

    Parameters
    ----------
    linear_rgb : (..., 3) float; linear sRGB
    places : (..., 2) float; where they lie, fractions of the photo's width and height
    plane : Plane

    Returns
    -------
    (..., 3) float; linear sRGB as in the light at the plane's origin
    """
    evened: FloatArray = linear_rgb / plane.light(places)[..., None]
    return evened


def card_parts(linear_rgb: FloatArray, inside: BoolArray) -> tuple[FloatArray, FloatArray]:
    """A card cut into parts.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float; linear sRGB of the box around the card
    inside : (h, w) bool; the card's pixels

    Returns
    -------
    (n, 3) float
        Mean linear sRGB of the parts that the card mostly fills.
    (n, 2) float
        Their middles, fractions of the box's width and height.
    """
    height, width = inside.shape
    rows = np.array_split(np.arange(height), min(_PARTS, height))
    columns = np.array_split(np.arange(width), min(_PARTS, width))
    colors, places = [], []
    for row in rows:
        for column in columns:
            part = np.s_[row[0] : row[-1] + 1, column[0] : column[-1] + 1]
            if inside[part].mean() > 0.5:
                colors.append(linear_rgb[part][inside[part]].mean(axis=0, dtype=float))
                places.append(((column.mean() + 0.5) / width, (row.mean() + 0.5) / height))
    return np.array(colors).reshape(-1, 3), np.array(places).reshape(-1, 2)


def describe_light(
    neutral_linear_rgb: FloatArray, places: FloatArray, reflectances: float | Sequence[float] = 1.0
) -> Light:
    """What neutral places of a photo tell of its light.

    Parameters
    ----------
    neutral_linear_rgb : (n, 3) float; linear sRGB as the photo holds them
        Of parts of one card, of a card laid in several places, or of a chart's grays.
    places : (n, 2) float; fractions of the photo's width and height
    reflectances : float or (n,) floats; unitless
        One for all, or one for each.

    Returns
    -------
    Light
        Evenness over those places, cast of their mean, and flags ``light-uneven``, ``light-mixed``, ``light-patchy``.
    """
    colors = np.asarray(neutral_linear_rgb, dtype=float).reshape(-1, 3)
    _, a, b = (float(value) for value in lab_from_linear(colors.mean(axis=0)))
    cast = (round(a, 2), round(b, 2))
    levels = colors.mean(axis=1) / np.asarray(reflectances)
    if len(colors) < 2 or levels.min() <= 0:
        return Light(cast)
    plane = fit_plane(places, levels)
    evenness = plane.evenness(np.asarray(places, dtype=float))
    flags = []
    if evenness > UNEVEN:
        flags.append(
            Flag(
                "light-uneven",
                f"The light changes by {100 * (evenness - 1):.0f} % across the neutral reference.",
                evenness,
            )
        )
    mixed = _color_spread(colors)
    if mixed > MIXED:
        flags.append(
            Flag("light-mixed", "Two kinds of light fall on the neutral reference: switch one of them off.", mixed)
        )
    left = float(np.std(np.log(levels) - np.log(plane.light(np.asarray(places, dtype=float)))))
    if left > PATCHY:
        text = "A shadow lies across the neutral reference, or the camera changed the tones of parts of the photo."
        flags.append(Flag("light-patchy", text, left))
    return Light(cast, evenness=round(evenness, 3), flags=tuple(flags))


def _color_spread(linear_rgb: FloatArray) -> float:
    """Largest ΔE00 between a neutral place and their mean, all brought to the same light."""
    level = linear_rgb.mean(axis=1, keepdims=True)
    same = lab_from_linear(linear_rgb / level * 0.2)
    return float(delta_e(same, same.mean(axis=0)).max())


def lamp_of_raw(white_balance_xy: tuple[float, float]) -> tuple[float, float]:
    """Correlated color temperature and distance from the Planckian locus of a light, where a camera raw tells it.

    Parameters
    ----------
    white_balance_xy : (x, y); CIE 1931 chromaticity of the light

    Returns
    -------
    (kelvin, Duv)
        CCT within 1 % near the locus, and signed distance in CIE 1960 uv, positive above the locus (toward green).

    Notes
    -----
    Y. Ohno, "Practical use and calculation of CCT and Duv", LEUKOS 10(1), 2014, equations 5 to 8 for Duv; CCT by
    C. S. McCamy, "Correlated color temperature as an explicit function of chromaticity coordinates", Color Research
    and Application 17(2), 1992. Coefficients from memory, held by a test against colour-science.
    """
    x, y = white_balance_xy
    n = (x - 0.3320) / (0.1858 - y)
    kelvin = 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33
    u, v = 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)
    distance = math.hypot(u - 0.292, v - 0.24)
    angle = math.acos((u - 0.292) / distance)
    terms = (-0.471106, 1.925865, -2.4243787, 1.5317403, -0.5179722, 0.0893944, -0.00616793)
    on_locus = sum(term * angle**power for power, term in enumerate(terms))
    return kelvin, distance - on_locus
