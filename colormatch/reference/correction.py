"""From the photo's linear RGB to CIELAB, by what is known of a neutral reference in the same photo.

A correction is a chain of small steps, each a frozen value that turns (n, 3) colors into (n, 3) colors: first those in
linear light, then those in CIELAB. How far each kind of chain can be trusted stands in `accuracy`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import BadInput, CardUnusable
from colormatch.image.sensor import Sensor, kind_of_light
from colormatch.records import Difference, Flag, FloatArray, Lab, LightKind
from colormatch.reference import accuracy
from colormatch.reference.accuracy import Accuracy

#: Reflectance of the usual gray card.
GRAY_CARD = 0.18
#: Chroma above which a stated color is no neutral reference; printed grays stay below 3, our choice.
_NEUTRAL_CHROMA = 8.0

#: A step of a correction: (n, 3) colors in, (n, 3) colors out.
CorrectionStep = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, eq=False)
class Correction:
    """What turns a photo's linear RGB into CIELAB."""

    #: In linear light, in order.
    linear_steps: tuple[CorrectionStep, ...]
    #: In CIELAB, in order, after the linear ones.
    lab_steps: tuple[CorrectionStep, ...]
    #: The chain in words, in order.
    steps: tuple[str, ...]
    #: How far the chain can be trusted.
    accuracy: Accuracy
    #: Doubts about the reference it rests on.
    flags: tuple[Flag, ...] = ()

    @property
    def systematic(self) -> float:
        """Error of a color, ΔE00, 90 % radius."""
        return self.accuracy.absolute

    @property
    def difference(self) -> Difference:
        """Error of the difference of two colors of this photo."""
        return self.accuracy.difference

    def lab(self, linear_rgb: FloatArray) -> FloatArray:
        """CIELAB of colors of the photo.

        Parameters
        ----------
        linear_rgb : (..., 3) float; linear sRGB as the photo holds it, 0 to 1

        Returns
        -------
        (..., 3) float; CIELAB
        """
        colors = np.asarray(linear_rgb)
        flat = colors.reshape(-1, 3)
        for step in self.linear_steps:
            flat = step(flat)
        flat = lab_from_linear(flat)
        for step in self.lab_steps:
            flat = step(flat)
        return flat.reshape(colors.shape)

    def linear(self, linear_rgb: FloatArray) -> FloatArray:
        """Corrected linear sRGB, for pictures: exactly the colors that :meth:`lab` states."""
        colors = np.asarray(linear_rgb)
        if self.lab_steps:
            return linear_from_lab(self.lab(colors))
        flat = colors.reshape(-1, 3)
        for step in self.linear_steps:
            flat = step(flat)
        return flat.reshape(colors.shape)

    def then(
        self, step: CorrectionStep, words: str, accuracy: Accuracy | None = None, *, in_lab: bool = False
    ) -> Correction:
        """This chain with one more step at its end."""
        return replace(
            self,
            linear_steps=self.linear_steps + (() if in_lab else (step,)),
            lab_steps=self.lab_steps + ((step,) if in_lab else ()),
            steps=(*self.steps, words),
            accuracy=accuracy or self.accuracy,
        )


@dataclass(frozen=True, eq=False)
class Gains:
    """One factor for each channel of linear light (von Kries in sRGB primaries)."""

    #: (3,) float, unitless.
    factors: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        factors: FloatArray = self.factors.astype(np.result_type(linear_rgb, np.float32))
        return linear_rgb * factors


@dataclass(frozen=True, eq=False)
class SensorGains:
    """The white balance of a camera raw; see `Sensor.neutralizing`."""

    #: (3, 3) float, unitless; linear sRGB as developed to linear sRGB in balance.
    matrix: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        out: FloatArray = linear_rgb @ self.matrix.T.astype(np.result_type(linear_rgb, np.float32))
        return out


def balance(gray_linear_rgb: FloatArray, true_linear_rgb: FloatArray, sensor: Sensor | None = None) -> CorrectionStep:
    """What gives a gray its true color: gains, where the camera would have applied them if that is known.

    Parameters
    ----------
    gray_linear_rgb, true_linear_rgb : (3,) float; linear sRGB
    sensor : Sensor, optional
        Of a camera raw. A wrong white balance stands before its matrix: gains after it leave more the further it was
        off (see tests/studies/measured/real_photos.md).
    """
    matrix = sensor.neutralizing(gray_linear_rgb, true_linear_rgb) if sensor else None
    return Gains(true_linear_rgb / gray_linear_rgb) if matrix is None else SensorGains(matrix)


def neutral_linear(value: float | Lab) -> FloatArray:
    """Linear sRGB of a neutral reference as its maker or an instrument states it.

    Parameters
    ----------
    value : float or Lab
        Reflectance, 0 < r <= 1 (18 % is 0.18), or CIELAB.

    Returns
    -------
    (3,) float

    Raises
    ------
    BadInput
        A reflectance outside 0 to 1, or a color that is no gray.
    """
    if isinstance(value, int | float):
        if not (math.isfinite(value) and 0 < value <= 1):
            raise BadInput(
                f"A gray card can't reflect {value:g} of the light.",
                "Give its reflectance as 0.18 for 18 %, or its Lab.",
            )
        return np.full(3, float(value))
    chroma = math.hypot(value[1], value[2])
    if chroma > _NEUTRAL_CHROMA:
        raise BadInput(
            f"The stated color of the card, {value[0]:g}, {value[1]:g}, {value[2]:g}, is no gray.",
            "Give a color whose a* and b* are near zero.",
        )
    return linear_from_lab(np.asarray(value, dtype=float))


def mean_color(linear_rgb: FloatArray) -> FloatArray:
    """(3,) float; the mean of (n, 3) or (3,) linear RGB, summed in double precision and far faster than by NumPy."""
    import cv2

    return np.array(cv2.mean(np.reshape(linear_rgb, (1, -1, 3)))[:3])


def no_correction() -> Correction:
    """The photo as the camera balanced it: a warning goes with it, and a large uncertainty."""
    return Correction((), (), ("no neutral reference: the camera's own white balance is kept",), accuracy.NONE)


def gray_card_correction(
    card_linear_rgb: FloatArray,
    value: float | Lab = GRAY_CARD,
    *,
    raw: bool = False,
    sensor: Sensor | None = None,
    light: LightKind | None = None,
) -> Correction:
    """White balance and brightness from a gray card.

    Parameters
    ----------
    card_linear_rgb : (n, 3) or (3,) float; linear sRGB, 0 to 1
        Pixels of the card, or their mean.
    value : float or Lab
        What the card is: reflectance or CIELAB.
    raw : bool
        Linear light from a camera raw, without a tone curve.
    sensor : Sensor, optional
        What a camera raw says of its sensor.
    light : LightKind, optional
        What the photo was taken under, if it was said; a raw with a sensor tells daylight and bulbs by itself.

    Returns
    -------
    Correction

    Raises
    ------
    CardUnusable
        A channel of the card is black.
    BadInput
        See :func:`neutral_linear`.
    """
    card = mean_color(card_linear_rgb)
    check_not_black(card)
    start = Correction((), (), (), raw_accuracy(card, sensor, light) if raw else accuracy.GRAY_CARD)
    gains = balance(card, neutral_linear(value), sensor)
    return start.then(gains, "white balance and brightness from the gray card")


def raw_accuracy(gray_linear_rgb: FloatArray, sensor: Sensor | None, light: LightKind | None) -> Accuracy:
    """How far a camera raw with one gray is trusted, by the light on that gray."""
    lamp = sensor.lamp(gray_linear_rgb) if sensor else None
    return accuracy.GRAY_CARD_RAW[light or kind_of_light(lamp)]


def check_not_black(neutral_linear_rgb: FloatArray) -> None:
    """Refuse a neutral reference of which a channel holds no light.

    Raises
    ------
    CardUnusable
    """
    if not np.all(np.isfinite(neutral_linear_rgb)) or np.min(neutral_linear_rgb) <= 0:
        raise CardUnusable(
            "The neutral reference is black in the photo.",
            "Mark the card itself, or take the photo again with more light.",
        )
