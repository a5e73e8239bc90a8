"""Learn a camera once, from its photos of a chart or a three-step card, and use it for its later photos.

One gray card sets a photo's white balance and brightness but leaves the camera's changes to tones and colors. Those
depend on the camera, its lens and the kind of light, so they are learned from photos with more than one gray: first the
tone curve through the grays, then a root polynomial. A later photo with a gray card alone is balanced by the card and
then corrected by the learned steps.

Learning under one light does not carry over to another, and some cameras need no learning. A learned camera therefore
states its error on held-out photos or patches, and is used only if that error is clearly smaller than with one gray
(tests/studies/measured/real_photos.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import BadInput
from colormatch.records import BoolArray, FloatArray, LearnedFrom
from colormatch.reference import accuracy
from colormatch.reference.accuracy import Accuracy
from colormatch.reference.chart import fit_root_polynomial
from colormatch.reference.correction import Correction, CorrectionStep, Gains
from colormatch.reference.tone import LEAST_LIGHT, ChannelCurve, rising

#: Prior standard deviation of a root-polynomial coefficient around no correction; 0.1 and 0.3 are as good.
_COEFFICIENT_SIGMA = 0.2
#: Share of the grays' misfit removed by the tone curve; a half to all of it do about as well.
_TONE_SHARE = 0.75
#: Chroma below which a patch is a gray, and natural log of light within which two grays are the same.
_GRAY_CHROMA, _SAME_GRAY = 4.0, 0.2
#: L* of middle gray, 18 % (CIE 15).
_MIDDLE_L = 49.5
#: Fewest colors to learn a root polynomial from; fewer, as on a three-step card, teach only the tone curve.
_FEWEST_COLORS = 8
#: ΔE00 within which two patches of different photos are the same patch.
_SAME_PATCH = 5.0
#: Largest expected error, relative to one gray, at which a learned camera is used: on two phones' camera raws, anything
#: above changed results by less than a tenth, for better or worse.
_WORTH = 0.9
#: Natural log of red and blue over green by which the cast of a photo's gray may differ from those it was learned from;
#: a daylight balance under a bulb is off by 0.8, an automatic one by 0.1 to 0.2 (our estimates).
SAME_CAST = 0.35


@dataclass(frozen=True, eq=False)
class Shot:
    """One photo to learn from: its patches, balanced by its middle gray."""

    #: (n, 3) float; linear sRGB after :func:`gray_card_correction`; without clipped and black patches.
    linear_rgb: FloatArray
    #: (n, 3) float; CIELAB of the same patches.
    lab: FloatArray
    #: (2,) float; natural log of red and of blue over green of the gray, before the balance.
    cast: FloatArray

    @property
    def grays(self) -> BoolArray:
        """(n,) bool; which patches are grays."""
        found: BoolArray = np.hypot(self.lab[:, 1], self.lab[:, 2]) < _GRAY_CHROMA
        return found

    @property
    def middle(self) -> int:
        """Index of the gray that balances the photo."""
        return int(np.argmin(np.where(self.grays, np.abs(self.lab[:, 0] - _MIDDLE_L), np.inf)))

    def without(self, lab: FloatArray) -> Shot:
        """The same shot without the patch of that color."""
        keep = delta_e(self.lab, lab) > _SAME_PATCH
        return Shot(self.linear_rgb[keep], self.lab[keep], self.cast)


@dataclass(frozen=True, eq=False)
class LearnedCamera:
    """Correction learned from a camera's photos, with its error."""

    #: Steps in linear light after the balance by a gray, in order, with their descriptions: the tone curve (not for a
    #: camera raw), then the colors (not if only grays were learned from).
    steps: tuple[tuple[CorrectionStep, str], ...]
    #: Number of photos learned from.
    photos: int
    #: Mean ΔE00 on held-out colors, and the same with one gray alone.
    expected: float
    one_gray: float
    accuracy: Accuracy
    #: (photos, 2) float; casts of the photos.
    casts: FloatArray
    #: Its description, for readings.
    source: LearnedFrom | None = None

    @property
    def helps(self) -> bool:
        """Whether it improves a photo with one gray."""
        return self.expected <= _WORTH * self.one_gray

    def fits(self, gray_linear_rgb: FloatArray) -> bool:
        """Whether a photo's gray looks as in the photos it was learned from, which speaks for the same light."""
        return bool((np.abs(self.casts - cast_of(gray_linear_rgb)).max(axis=1) <= SAME_CAST).any())

    def after(self, one_gray: Correction, gray_linear_rgb: FloatArray) -> Correction:
        """Append the learned steps to the correction by a gray card; the card keeps its color.

        Parameters
        ----------
        one_gray : Correction
            From :func:`gray_card_correction`.
        gray_linear_rgb : (3,) float; uncorrected linear sRGB of the card
        """
        gray = one_gray.linear(gray_linear_rgb[None])
        correction = one_gray
        for step, words in self.steps:
            correction = correction.then(step, f"{words} learned of this camera from {_photos(self.photos)}")
        return correction.then(_kept(self.steps, gray), "the gray card unchanged", self.accuracy)


def _photos(count: int) -> str:
    return "one photo" if count == 1 else f"{count} photos"


def cast_of(gray_linear_rgb: FloatArray) -> FloatArray:
    """(2,) float; natural log of red and of blue over green."""
    logs = np.log(np.maximum(gray_linear_rgb, LEAST_LIGHT))
    cast: FloatArray = logs[[0, 2]] - logs[1]
    return cast


def learn(shots: Sequence[Shot], *, raw: bool = False) -> LearnedCamera:
    """Learn a camera from photos of one kind of light.

    Parameters
    ----------
    shots : sequence of Shot
        Their order doesn't matter.
    raw : bool
        Camera raws: linear light, without a tone curve to learn.

    Raises
    ------
    BadInput
        No photo was given.
    """
    steps = fit_steps(shots, raw) if shots else ()
    if not steps:
        raise BadInput(
            "There is no photo to learn a camera from.", "Take one with a 24-patch chart or a three-step card in it."
        )
    off, one_gray = _held_out(shots, raw)
    # Grays alone say nothing of colors: what they leave is what three steps in the photo itself leave.
    trust = accuracy.learned(off, len(shots)) if any(_teaches_colors(shot) for shot in shots) else accuracy.THREE_STEP
    casts = np.array([shot.cast for shot in shots])
    return LearnedCamera(steps, len(shots), float(off.mean()), float(one_gray.mean()), trust, casts)


def fit_steps(shots: Sequence[Shot], raw: bool) -> tuple[tuple[CorrectionStep, str], ...]:
    """Steps learned from shots, for :class:`LearnedCamera`; empty if they teach nothing."""
    tone = None if raw else _tone(shots)
    steps: list[tuple[CorrectionStep, str]] = [] if tone is None else [(tone, "tone curve")]
    taught = [shot for shot in shots if _teaches_colors(shot)]
    if taught:
        linear_rgb = np.concatenate([shot.linear_rgb for shot in taught])
        lab = np.concatenate([shot.lab for shot in taught])
        toned = linear_rgb if tone is None else tone(linear_rgb)
        steps.append((fit_root_polynomial(toned, lab, _COEFFICIENT_SIGMA), "colors"))
    return tuple(steps)


def _teaches_colors(shot: Shot) -> bool:
    return bool((~shot.grays).sum() >= _FEWEST_COLORS)


def _kept(steps: Sequence[tuple[CorrectionStep, str]], gray_linear_rgb: FloatArray) -> Gains:
    """Gains that restore the gray, (1, 3), to its color after the steps."""
    learned = gray_linear_rgb
    for step, _ in steps:
        learned = step(learned)
    return Gains((gray_linear_rgb / np.maximum(learned, LEAST_LIGHT))[0])


def _tone(shots: Sequence[Shot]) -> CorrectionStep | None:
    """A monotone curve per channel through the grays of all shots."""
    seen = np.concatenate([shot.linear_rgb[shot.grays] for shot in shots])
    true = np.concatenate([linear_from_lab(shot.lab[shot.grays]) for shot in shots])
    if len(seen) < 2:
        return None
    logs, targets = np.log(np.maximum(seen, LEAST_LIGHT)), np.log(true)
    order = np.argsort(targets.mean(axis=1), kind="stable")
    level = targets.mean(axis=1)[order]
    groups = np.split(order, np.flatnonzero(np.diff(level) > _SAME_GRAY) + 1)
    if len(groups) < 2:
        return None
    knots = rising(np.array([logs[group].mean(axis=0) for group in groups]).T)
    remainders = np.array([(targets - logs)[group].mean(axis=0) for group in groups]).T
    return ChannelCurve(0.0, np.ones(3), knots, _TONE_SHARE * remainders)


def _held_out(shots: Sequence[Shot], raw: bool) -> tuple[FloatArray, FloatArray]:
    """Held-out ΔE00 of every patch except the middle gray, learned without the patch (and without its photo, if
    there are others); and the same with one gray alone.
    """
    off, one_gray = [], []
    for index, shot in enumerate(shots):
        others = [*shots[:index], *shots[index + 1 :]] or [shot]
        middle = shot.middle
        for place, (lab, linear_rgb) in enumerate(zip(shot.lab, shot.linear_rgb, strict=True)):
            if place == middle:
                continue
            found = linear_rgb[None]
            one_gray.append(float(delta_e(lab_from_linear(found)[0], lab)))
            steps = fit_steps([other.without(lab) for other in others], raw)
            for step, _ in steps:
                found = step(found)
            found = _kept(steps, shot.linear_rgb[[middle]])(found)
            off.append(float(delta_e(lab_from_linear(found)[0], lab)))
    return np.array(off), np.array(one_gray)
