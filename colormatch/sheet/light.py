"""What the white margin of a photographed sheet tells: how the light falls, and how the camera bends its tones."""

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
#: tests/studies/boards.py with paper of about 0.86, any figure from 0.80 to 0.90 brings the mean error from 4.3
#: down to 2.0 to 2.5 ΔE00.
PAPER = 0.85
#: Paper that a gray card leaves darker or more colored than this is not white, or stained; its tone is not used.
_LEAST_WHITE, _MOST_CHROMA = 85.0, 10.0
#: Blank places from which the light is described by a curved surface of six terms, with some to spare.
_FEWEST_BLANKS = 10
#: Median absolute deviations from which a blank place counts as stained or covered, and the least such deviation,
#: natural log: one step of 8 bits.
_STAINED, _STEP = 5.0, 0.004
#: Share of a blank place's pixels that may be clipped.
_CLIPPED_SHARE = 0.05
#: Brightest over darkest from which uneven light is told. Our choice.
_UNEVEN = 1.1

#: (n, 2) mm on the sheet in, (n, 2) pixels of the photo out.
SheetToPhoto = Callable[[FloatArray], FloatArray]
#: (n, 2) mm on the sheet in, (n, 3) linear RGB of its light out, 1 where the gray card lies.
SheetLight = Callable[[FloatArray], FloatArray]


class Margin(NamedTuple):
    """The white paper of a sheet's margin, where it can be used."""

    #: (n, 2) float; mm on the sheet.
    points: FloatArray
    #: (n, 3) float; linear RGB as the photo holds it.
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
    points = where(rect.corners) / (photo.facts.width, photo.facts.height)
    return Region(kind, tuple((float(x), float(y)) for x, y in points), name)


def margin_of(photo: DecodedPhoto, plan: Plan, where: SheetToPhoto) -> Margin:
    """Read the blank places of the margin; those that are overexposed or out of the picture are left out."""
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
    """The gray card's correction, with the camera's tone curve undone between the card and the white paper.

    Parameters
    ----------
    margin : Margin
    plan : Plan
    card : Correction
        From the gray card alone; it is kept where the paper can't be used.
    card_linear_rgb : (n, 3) float; linear RGB
        Pixels of the card.
    value : float or Lab
        What the card is.
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
    """How the light falls: a curved surface of six terms in the logarithm of each channel of corrected light.

    Returns
    -------
    SheetLight, list of Flag
        An even light where too little of the margin can be used; a flag says so.
    """
    if not margin.enough:
        text = "The sheet's white margin is overexposed or covered: uneven light could not be made up for."
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
    text = f"The light on the sheet varies by a factor of {evenness:.2f}; that was made up for by the white margin."
    return light, [Flag(FlagCode.LIGHT_EVENED, text, evenness)]


def even_light(points: FloatArray) -> FloatArray:
    """The light where nothing is known of it."""
    return np.ones((len(points), 3))


def _terms(plan: Plan, points: FloatArray) -> FloatArray:
    x, y = (2 * np.asarray(points, dtype=float) / plan.size - 1).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
