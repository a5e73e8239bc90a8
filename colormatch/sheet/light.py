"""Measure the light and the camera's tone curve from the white margin of a photographed sheet."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from colormatch.color.space import lab_from_linear
from colormatch.errors import RegionError
from colormatch.image.photo import DecodedPhoto
from colormatch.records import Flag, FlagCode, FloatArray, Lab, Region, RegionKind
from colormatch.reference.correction import Correction, neutral_linear
from colormatch.reference.tone import CLIPPED, LEAST_LIGHT, fit_tone, usable
from colormatch.sheet.layout import Plan, Rect

#: Reflectance of white office paper (common practice, no source). On 14 simulated sheets, drawn as in
#: tests/studies/boards.py with paper of about 0.86, any value from 0.80 to 0.90 reduces the mean error from 4.3 to
#: between 2.0 and 2.5 ΔE00.
PAPER = 0.85
#: Least L* and largest chroma of paper corrected by the gray card; other paper is not white or is stained, and its tone
#: is not used.
_LEAST_WHITE, _MOST_CHROMA = 85.0, 10.0
#: Fewest blank places for fitting a surface of six terms, with some to spare.
_FEWEST_BLANKS = 10
#: Median absolute deviations from which a blank place is stained or covered, and the smallest such deviation used,
#: natural log: one step of 8 bits.
_STAINED, _STEP = 5.0, 0.004
#: Largest share of clipped pixels in a blank place.
_CLIPPED_SHARE = 0.05
#: Ratio of brightest to darkest from which uneven light is flagged. Our choice.
_UNEVEN = 1.1

#: From (n, 2) mm on the sheet to (n, 2) pixels of the photo.
SheetToPhoto = Callable[[FloatArray], FloatArray]
#: From (n, 2) mm on the sheet to (n, 3) linear RGB of its light, 1 at the gray card.
SheetLight = Callable[[FloatArray], FloatArray]


class Margin(NamedTuple):
    """The usable white paper in a sheet's margin."""

    #: (n, 2) float; mm on the sheet.
    points: FloatArray
    #: (n, 3) float; uncorrected linear RGB.
    linear_rgb: FloatArray

    @property
    def enough(self) -> bool:
        return len(self.points) >= _FEWEST_BLANKS


def region_of(photo: DecodedPhoto, where: SheetToPhoto, rect: Rect, kind: RegionKind, name: str) -> Region:
    """A rectangle of the sheet as a region of the photo.

    Raises
    ------
    RegionError
        It reaches outside the photo.
    """
    points = where(rect.corners) / photo.pixels.size
    return Region(kind, tuple((float(x), float(y)) for x, y in points), name)


def margin_of(photo: DecodedPhoto, plan: Plan, where: SheetToPhoto) -> Margin:
    """Read the blank places of the margin, without overexposed ones and those outside the picture."""
    points, means = [], []
    for blank in plan.blanks:
        try:
            box, inside = photo.mask(region_of(photo, where, blank, RegionKind.WHITE, "paper"))
        except RegionError:
            continue
        if not inside.any() or np.mean(photo.encoded(box)[inside].max(axis=-1) >= CLIPPED) > _CLIPPED_SHARE:
            continue
        mean = photo.linear(box)[inside].mean(axis=0, dtype=float)
        if mean.min() > 0:
            points.append(blank.center)
            means.append(mean)
    return Margin(np.reshape(points, (-1, 2)), np.reshape(means, (-1, 3)))


def sheet_correction(
    margin: Margin, plan: Plan, card: Correction, card_linear_rgb: FloatArray, value: float | Lab
) -> Correction:
    """Correction by the gray card, with the camera's tone curve undone between the card and the white paper.

    Parameters
    ----------
    margin : Margin
    plan : Plan
    card : Correction
        Correction by the gray card alone; returned if the paper is unusable.
    card_linear_rgb : (n, 3) float; linear RGB
        Pixels of the card.
    value : float or Lab
        The card's reflectance or CIELAB.
    """
    if not margin.enough:
        return card
    light, _ = light_on_sheet(margin, plan, card)
    paper = np.median(margin.linear_rgb / light(margin.points), axis=0)
    seen = lab_from_linear(card.linear(paper[None]))[0]
    if not usable(paper) or seen[0] < _LEAST_WHITE or np.hypot(*seen[1:]) > _MOST_CHROMA:
        return card
    gray = np.mean(card_linear_rgb, axis=0, dtype=float)
    curve = fit_tone(np.stack([paper, gray]), np.stack([np.full(3, PAPER), neutral_linear(value)]))
    words = f"tone curve, white balance and brightness from the gray card and white paper taken as {100 * PAPER:.0f} %"
    return Correction((), (), (), card.accuracy, card.flags).then(curve, words)


def light_on_sheet(margin: Margin, plan: Plan, correction: Correction) -> tuple[SheetLight, list[Flag]]:
    """Fit the illumination: a surface of six terms in the logarithm of each channel of corrected light.

    Returns
    -------
    SheetLight, list of Flag
        Even light, with a flag, if too little of the margin is usable.
    """
    if not margin.enough:
        text = "The sheet's white margin is overexposed or covered, so uneven light was not corrected."
        return even_light, [Flag(FlagCode.LIGHT_UNKNOWN, text, float(len(margin.points)))]
    terms = _terms(plan, margin.points)
    logs = np.log(np.maximum(correction.linear(margin.linear_rgb), LEAST_LIGHT))
    keep = np.ones(len(logs), dtype=bool)
    for _ in range(2):
        fit = np.linalg.lstsq(terms[keep], logs[keep], rcond=None)[0]
        off = np.abs(terms @ fit - logs).max(axis=1)
        keep = off <= _STAINED * max(float(np.median(off)), _STEP)
    at_card = _terms(plan, np.array([plan.card_place.center])) @ fit

    def light(points: FloatArray) -> FloatArray:
        shape: FloatArray = np.exp(_terms(plan, points) @ fit - at_card)
        return shape

    spread = light(margin.points).mean(axis=1)
    evenness = float(spread.max() / spread.min())
    if evenness <= _UNEVEN:
        return light, []
    text = f"The light on the sheet varies by a factor of {evenness:.2f}; the white margin was used to correct it."
    return light, [Flag(FlagCode.LIGHT_EVENED, text, evenness)]


def even_light(points: FloatArray) -> FloatArray:
    """Light of 1 everywhere, for unknown illumination."""
    return np.ones((len(points), 3))


def _terms(plan: Plan, points: FloatArray) -> FloatArray:
    x, y = (2 * np.asarray(points, dtype=float) / plan.size - 1).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
