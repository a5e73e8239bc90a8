"""The sensor behind a camera raw, and the color temperature of the lamp that it saw."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from colormatch.color.space import RGB_TO_XYZ
from colormatch.records import FloatArray

#: Distance from the Planckian locus beyond which a color temperature says nothing (CIE 15:2018, 9.5).
_FARTHEST_DUV = 0.05


@dataclass(frozen=True, eq=False)
class Sensor:
    """How a raw developer took the camera's channels to linear sRGB; enough to go back to what the sensor saw."""

    #: (3, 3) float; channels balanced for daylight (D65) to linear sRGB.
    to_srgb: FloatArray
    #: (3,) float; gains that balance the channels for daylight.
    daylight: FloatArray
    #: (3,) float; gains with which the photo was developed: the camera's own white balance.
    balance: FloatArray

    def lamp(self, neutral_linear_rgb: FloatArray) -> tuple[float, float] | None:
        """Kelvin and Duv of the light on a neutral surface, from its developed linear sRGB; None far off the locus.

        1, 1, 1 stands for the light that the camera balanced for.
        """
        seen = np.linalg.solve(self.to_srgb, neutral_linear_rgb) / self.balance
        xyz = RGB_TO_XYZ @ self.to_srgb @ (seen * self.daylight)
        if xyz.min() <= 0:
            return None
        kelvin, duv = temperature(xyz[0] / xyz.sum(), xyz[1] / xyz.sum())
        return (kelvin, duv) if abs(duv) <= _FARTHEST_DUV else None


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
    and Application 17(2), 1992. Coefficients from memory, held by a test against colour-science.
    """
    n = (x - 0.3320) / (0.1858 - y)
    kelvin = 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33
    u, v = 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)
    distance = math.hypot(u - 0.292, v - 0.24)
    angle = math.acos((u - 0.292) / distance)
    terms = (-0.471106, 1.925865, -2.4243787, 1.5317403, -0.5179722, 0.0893944, -0.00616793)
    on_locus = sum(term * angle**power for power, term in enumerate(terms))
    return kelvin, distance - on_locus
