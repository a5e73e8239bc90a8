"""A three-step card: white, gray and black side by side, in any order and orientation.

It gives the camera's tone curve in addition to the white balance; see `tone`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from colormatch.errors import BadInput, CardNotFound, CardUnusable
from colormatch.image.sensor import Sensor
from colormatch.records import BoolArray, Flag, FlagCode, FloatArray, LightKind
from colormatch.reference import accuracy
from colormatch.reference.correction import Correction, balance, check_not_black, mean_color, raw_accuracy
from colormatch.reference.tone import LEAST_LIGHT, fit_tone, usable

#: Reflectances of white, gray and black of the common card (common practice, no source).
THREE_STEPS = (0.89, 0.18, 0.035)
#: Least ratio of two steps in the photo; those of the common card differ by 5.
_LEAST_RATIO = 1.4
#: Least share of the marked area for each step; a third would be perfect.
_LEAST_SHARE = 0.12
#: Largest distance of a pixel from its step's median, natural log of light; farther pixels are edges, dirt or glare.
_STRAY = 0.25
#: Inset of each step on all sides, relative to its side, to keep clear of the joints.
_INSET = 0.06
#: Bins of the histogram of log light that separates the steps.
_BINS = 128


def check_steps(reflectances: Sequence[float]) -> tuple[float, float, float]:
    """White, gray and black reflectance, checked.

    Raises
    ------
    BadInput
        Not three numbers that fall from at most 1 to above 0.

    Examples
    --------
    >>> check_steps([0.9, 0.18, 0.03])
    (0.9, 0.18, 0.03)
    """
    if len(reflectances) == 3 and all(math.isfinite(value) for value in reflectances):
        white, gray, black = (float(value) for value in reflectances)
        if 1 >= white > gray > black > 0:
            return white, gray, black
    raise BadInput(
        "The reflectances of a three-step card must fall from white over gray to black.",
        "Give them as 0.89/0.18/0.035.",
    )


def find_steps(linear_rgb: FloatArray, inside: BoolArray) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Masks of the white, gray and black pixels of a marked three-step card.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float; linear sRGB of the box around the card
    inside : (h, w) bool; mask of the marked region in that box

    Returns
    -------
    three (h, w) bool
        White, gray, black; without the joints between them.

    Raises
    ------
    CardNotFound
        The region doesn't hold three steps of clearly different lightness.
    """
    import cv2
    from skimage.filters import threshold_multiotsu

    logs = np.log(np.maximum(linear_rgb.mean(axis=-1), LEAST_LIGHT))
    values = logs[inside]
    if np.unique(values).size < 3:
        raise _no_steps()
    dark, bright = threshold_multiotsu(values, classes=3, nbins=_BINS)  # type: ignore[no-untyped-call]  # scikit-image is mostly untyped
    classes = inside & (logs > bright), inside & (logs > dark) & (logs <= bright), inside & (logs <= dark)
    reach = max(1, round(_INSET * math.sqrt(inside.sum() / 3)))
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    steps = []
    for step in classes:
        if step.sum() < _LEAST_SHARE * inside.sum():
            raise _no_steps()
        core = cv2.erode(step.astype(np.uint8), kernel, borderValue=0).astype(bool)
        core &= np.abs(logs - np.median(logs[step])) < _STRAY
        if not core.any():
            raise _no_steps()
        steps.append(core)
    levels = [float(np.median(logs[step])) for step in steps]
    if min(levels[0] - levels[1], levels[1] - levels[2]) < math.log(_LEAST_RATIO):
        raise _no_steps()
    return steps[0], steps[1], steps[2]


def _no_steps() -> CardNotFound:
    return CardNotFound(
        "The marked region doesn't show a white, a gray and a black step.",
        "Mark all three steps of the card, and nothing else.",
    )


def three_step_correction(
    step_linear_rgb: FloatArray,
    reflectances: Sequence[float] = THREE_STEPS,
    *,
    raw: bool = False,
    sensor: Sensor | None = None,
    light: LightKind | None = None,
) -> Correction:
    """Tone curve, white balance and brightness from a three-step card.

    Parameters
    ----------
    step_linear_rgb : (3, 3) float; linear sRGB, 0 to 1
        Mean color of the white, the gray and the black step.
    reflectances : three floats; unitless, 0 to 1
        White, gray and black.
    raw : bool
        Linear light from a camera raw.
    sensor : Sensor, optional
        Sensor of a camera raw.
    light : LightKind, optional
        As for :func:`gray_card_correction`.

    Returns
    -------
    Correction
        Flagged if the white step is clipped; the curve then uses only gray and black.

    Raises
    ------
    BadInput
        See :func:`check_steps`.
    CardUnusable
        Two steps or more are clipped or black.
    """
    true = np.repeat(np.array(check_steps(reflectances))[:, None], 3, axis=1)
    steps = np.asarray(step_linear_rgb, dtype=float)
    check_not_black(mean_color(steps))
    keep = usable(steps)
    flags = () if keep[0] else (Flag(FlagCode.WHITE_CLIPPED, "The white step is blown out and was left out."),)
    if raw:
        if not keep[1]:
            raise CardUnusable(
                "The gray step of the card is blown out or black in the photo.",
                "Take the photo again with a little less or more exposure.",
            )
        gains = balance(steps[1], true[1], sensor)
        words = "white balance and brightness from the three-step card's gray; a camera raw has no tone curve to undo"
        return Correction((gains,), (), (words,), raw_accuracy(steps[1], sensor, light), flags)
    curve = fit_tone(steps[keep], true[keep])
    words = "tone curve, white balance and brightness from the three-step card"
    return Correction((curve,), (), (words,), accuracy.THREE_STEP, flags)
