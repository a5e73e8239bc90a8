"""The sensor behind a camera raw, and the color temperature of the lamp over the scene."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from colormatch.color.space import RGB_TO_XYZ, adaptation_to_d65
from colormatch.records import FloatArray, LightKind

#: Distance from the Planckian locus beyond which a color temperature has no meaning (CIE 15:2018, 9.5).
_FARTHEST_DUV = 0.05
#: Weight of Bradford adaptation from the measured lamp; gains on the sensor's channels get the remainder. Chosen on
#: simulated raws developed with a daylight matrix (3 sensors, 7 lights): 3.11 ΔE00 at 0, 2.61 at 2/3, 2.83 at 1; the
#: one real raw at hand, under a bulb, goes from 5.7 to 4.2; it was known before the choice, so it is not a
#: confirmation.
_BY_LAMP = 2 / 3


@dataclass(frozen=True, eq=False)
class Sensor:
    """A raw developer's conversion from the camera's channels to linear sRGB; enough to recover the sensor's values."""

    #: (3, 3) float; channels balanced for daylight (D65) to linear sRGB.
    to_srgb: FloatArray
    #: (3,) float; gains that balance the channels for daylight; None if unknown.
    daylight: FloatArray | None = None
    #: (3,) float; gains used in developing the photo: the camera's own white balance.
    balance: FloatArray | None = None

    def lamp(self, neutral_linear_rgb: FloatArray) -> tuple[float, float] | None:
        """Kelvin and Duv of the light on a neutral surface, from its developed linear sRGB; None far from the locus.

        1, 1, 1 gives the light that the camera balanced for.
        """
        under_the_lamp = self._under_the_lamp()
        if under_the_lamp is None:
            return None
        xyz = RGB_TO_XYZ @ under_the_lamp @ neutral_linear_rgb
        if xyz.min() <= 0:
            return None
        kelvin, duv = temperature(xyz[0] / xyz.sum(), xyz[1] / xyz.sum())
        return (kelvin, duv) if abs(duv) <= _FARTHEST_DUV else None

    def neutralizing(self, gray_linear_rgb: FloatArray, true_linear_rgb: FloatArray) -> FloatArray | None:
        """Matrix that gives a gray of the developed photo its true color under D65.

        Two methods have different errors. Gains on the sensor's channels keep a matrix made for daylight, even under
        another lamp. Colors under the lamp, adapted to D65 by the Bradford transform, depend on that transform. Their
        weighted mean is better than either.

        Parameters
        ----------
        gray_linear_rgb, true_linear_rgb : (3,) float; linear sRGB

        Returns
        -------
        (3, 3) float, or None if the sensor can't produce such a gray
        """
        seen, true = (np.linalg.solve(self.to_srgb, color) for color in (gray_linear_rgb, true_linear_rgb))
        if seen.min() <= 0:
            return None
        by_channel: FloatArray = self.to_srgb @ np.diag(true / seen) @ np.linalg.inv(self.to_srgb)
        under_the_lamp = self._under_the_lamp()
        if under_the_lamp is None:
            return by_channel
        to_xyz = RGB_TO_XYZ @ under_the_lamp
        lamp = to_xyz @ gray_linear_rgb
        if lamp.min() <= 0:
            return by_channel
        adapted = np.linalg.solve(RGB_TO_XYZ, adaptation_to_d65(lamp / lamp[1]) @ to_xyz)
        # Both methods map the gray to its own color; averaging affects only the other colors.
        by_lamp = np.diag(true_linear_rgb / (adapted @ gray_linear_rgb)) @ adapted
        mean: FloatArray = _BY_LAMP * by_lamp + (1 - _BY_LAMP) * by_channel
        return mean

    def _under_the_lamp(self) -> FloatArray | None:
        """(3, 3) float; from developed linear sRGB to the scene's linear sRGB under its lamp."""
        if self.daylight is None or self.balance is None:
            return None
        matrix: FloatArray = self.to_srgb @ np.diag(self.daylight / self.balance) @ np.linalg.inv(self.to_srgb)
        return matrix


#: Color temperature, kelvin, and distance from the Planckian locus that define daylight (including shade and overcast
#: sky) and bulbs. CIE illuminants D50 to D75 and A lie well inside. Light between them is ambiguous.
_DAYLIGHT_FROM, _DAYLIGHT_DUV, _BULB_TO, _BULB_DUV = 4700.0, 0.008, 3400.0, 0.004


def kind_of_light(lamp: tuple[float, float] | None) -> LightKind | None:
    """Daylight or bulb, by (kelvin, Duv); None if neither or unknown.

    A warm LED or fluorescent tube near the locus also counts as a bulb; only the user can tell.

    Examples
    --------
    >>> kind_of_light((2856, 0.0)), kind_of_light((4230, 0.002))
    (<LightKind.BULB: 'bulb'>, None)
    """
    if lamp is None:
        return None
    kelvin, duv = lamp
    if kelvin >= _DAYLIGHT_FROM and abs(duv) <= _DAYLIGHT_DUV:
        return LightKind.DAYLIGHT
    return LightKind.BULB if kelvin <= _BULB_TO and abs(duv) <= _BULB_DUV else None


def temperature(x: float, y: float) -> tuple[float, float]:
    """Correlated color temperature of a light and its distance from the Planckian locus.

    Parameters
    ----------
    x, y : float
        CIE 1931 chromaticity of the light.

    Returns
    -------
    (kelvin, Duv)
        CCT within 1 % near the locus, and signed distance in CIE 1960 uv, positive above the locus (toward green).

    Notes
    -----
    Y. Ohno, "Practical use and calculation of CCT and Duv", LEUKOS 10(1), 2014, equations 5 to 8 for Duv; CCT by
    C. S. McCamy, "Correlated color temperature as an explicit function of chromaticity coordinates", Color Research
    and Application 17(2), 1992. Coefficients from memory; a test compares them with colour-science.
    """
    n = (x - 0.3320) / (0.1858 - y)
    kelvin = 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33
    u, v = 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)
    distance = math.hypot(u - 0.292, v - 0.24)
    angle = math.acos((u - 0.292) / distance)
    terms = (-0.471106, 1.925865, -2.4243787, 1.5317403, -0.5179722, 0.0893944, -0.00616793)
    on_locus = sum(term * angle**power for power, term in enumerate(terms))
    return kelvin, distance - on_locus
