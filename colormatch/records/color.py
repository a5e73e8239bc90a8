"""The color type, and types for arrays of colors."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from colormatch.errors import BadInput

FloatArray = NDArray[np.floating[Any]]
ByteArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]


class Lab(NamedTuple):
    """A color: CIELAB, D65, 2°. ``np.asarray(lab)`` is a (3,) float array."""

    L: float
    a: float
    b: float

    @classmethod
    def from_array(cls, values: FloatArray) -> Lab:
        """Make a color of a (3,) array, such as a computed color, without the checks of :func:`lab_of`."""
        L, a, b = (float(value) for value in values)
        return cls(L, a, b)


#: Largest absolute a* or b*: the range of an 8-bit CIELAB encoding (ICC.1:2022), beyond any surface.
MOST_AB = 128.0


def lab_of(values: object, name: str = "color") -> Lab:
    """Check three numbers and return them as a color.

    Raises
    ------
    BadInput
        Not three finite numbers, or lightness outside 0 to 100, or a*, b* outside -128 to 128.

    Examples
    --------
    >>> lab_of([50, 0, 1])
    Lab(L=50.0, a=0.0, b=1.0)
    """
    try:
        L, a, b = (float(v) for v in values)  # type: ignore[attr-defined]  # refused below unless three numbers
    except (TypeError, ValueError):
        raise BadInput(f"The {name} is not three numbers.", "Give it as L,a,b, for example 62,9,25.") from None
    if not (math.isfinite(L) and 0 <= L <= 100 and abs(a) <= MOST_AB and abs(b) <= MOST_AB):
        raise BadInput(
            f"The {name} {L:g}, {a:g}, {b:g} is not a CIELAB color.",
            "Give L* between 0 and 100, a* and b* between -128 and 128.",
        )
    return Lab(L, a, b)
