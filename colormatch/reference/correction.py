"""Convert a photo's linear RGB to CIELAB by a neutral reference in the same photo.

A correction is a chain of small steps, each a frozen callable from (n, 3) colors to (n, 3) colors: first those in
linear light, then those in CIELAB. `accuracy` holds the error of each kind of chain.
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

#: Reflectance of the common gray card.
GRAY_CARD = 0.18
#: Chroma above which a stated color is not neutral; printed grays stay below 3, our choice.
_NEUTRAL_CHROMA = 8.0

#: A step of a correction: (n, 3) colors in, (n, 3) colors out.
CorrectionStep = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, eq=False)
class Correction:
    """Converts a photo's linear RGB to CIELAB."""

    #: Steps in linear light, in order.
    linear_steps: tuple[CorrectionStep, ...]
    #: Steps in CIELAB, in order, after the linear ones.
    lab_steps: tuple[CorrectionStep, ...]
    #: Descriptions of the chain, in order.
    steps: tuple[str, ...]
    #: Error left by the chain.
    accuracy: Accuracy
    #: Doubts about its reference.
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
        linear_rgb : (..., 3) float; uncorrected linear sRGB, 0 to 1

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
        """Corrected linear sRGB, for pictures; the same colors as :meth:`lab`."""
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
        """This chain with one more step."""
        return replace(
            self,
            linear_steps=self.linear_steps + (() if in_lab else (step,)),
            lab_steps=self.lab_steps + ((step,) if in_lab else ()),
            steps=(*self.steps, words),
            accuracy=accuracy or self.accuracy,
        )


@dataclass(frozen=True, eq=False)
class Gains:
    """One factor per channel of linear light (von Kries in sRGB primaries)."""

    #: (3,) float, unitless.
    factors: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        factors: FloatArray = self.factors.astype(np.result_type(linear_rgb, np.float32))
        return linear_rgb * factors


@dataclass(frozen=True, eq=False)
class SensorGains:
    """The white balance of a camera raw; see `Sensor.neutralizing`."""

    #: (3, 3) float, unitless; from developed linear sRGB to balanced linear sRGB.
    matrix: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        out: FloatArray = linear_rgb @ self.matrix.T.astype(np.result_type(linear_rgb, np.float32))
        return out


def balance(gray_linear_rgb: FloatArray, true_linear_rgb: FloatArray, sensor: Sensor | None = None) -> CorrectionStep:
    """Step that gives a gray its true color: gains, on the sensor's channels if the sensor is known.

    Parameters
    ----------
    gray_linear_rgb, true_linear_rgb : (3,) float; linear sRGB
    sensor : Sensor, optional
        Sensor of a camera raw. White balance precedes its color matrix: gains after the matrix leave an error that
        grows with the balance error (see tests/studies/measured/real_photos.md).
    """
    matrix = sensor.neutralizing(gray_linear_rgb, true_linear_rgb) if sensor else None
    return Gains(true_linear_rgb / gray_linear_rgb) if matrix is None else SensorGains(matrix)


def neutral_linear(value: float | Lab) -> FloatArray:
    """Linear sRGB of a neutral reference, from its maker's or an instrument's value.

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
        A reflectance outside 0 to 1, or a color that is not gray.
    """
    if isinstance(value, int | float):
        if not (math.isfinite(value) and 0 < value <= 1):
            raise BadInput(
                f"A reflectance of {value:g} is impossible for a gray card.",
                "Give its reflectance as 0.18 for 18 %, or its Lab.",
            )
        return np.full(3, float(value))
    chroma = math.hypot(value[1], value[2])
    if chroma > _NEUTRAL_CHROMA:
        raise BadInput(
            f"The stated color of the card, {value[0]:g}, {value[1]:g}, {value[2]:g}, is not gray.",
            "Give a color whose a* and b* are near zero.",
        )
    return linear_from_lab(np.asarray(value, dtype=float))


def mean_color(linear_rgb: FloatArray) -> FloatArray:
    """(3,) float; mean of (n, 3) or (3,) linear RGB in double precision, much faster than NumPy's."""
    import cv2

    return np.array(cv2.mean(np.reshape(linear_rgb, (1, -1, 3)))[:3])


def no_correction() -> Correction:
    """Keep the camera's own balance, with a flag and a large uncertainty."""
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
        The card's reflectance or CIELAB.
    raw : bool
        Linear light from a camera raw, without a tone curve.
    sensor : Sensor, optional
        Sensor of a camera raw.
    light : LightKind, optional
        Light stated by the user; a raw with a sensor identifies daylight and bulbs without it.

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
    """Accuracy of a camera raw with one gray, by the light on that gray."""
    lamp = sensor.lamp(gray_linear_rgb) if sensor else None
    return accuracy.GRAY_CARD_RAW[light or kind_of_light(lamp)]


def check_not_black(neutral_linear_rgb: FloatArray) -> None:
    """Raise if a channel of a neutral reference is black.

    Raises
    ------
    CardUnusable
    """
    if not np.all(np.isfinite(neutral_linear_rgb)) or np.min(neutral_linear_rgb) <= 0:
        raise CardUnusable(
            "The neutral reference is black in the photo.",
            "Mark the card itself, or take the photo again with more light.",
        )
