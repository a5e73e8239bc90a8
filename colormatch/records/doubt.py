"""How doubt travels: as a radius around a color, or as a flag beside a result."""

from __future__ import annotations

from typing import NamedTuple

#: One axis' standard deviation over the 90 % radius of a three-dimensional round Gaussian error:
#: 1 / sqrt(chi-square quantile(0.9, 3 degrees of freedom)) = 1 / 2.5003.
SIGMA_PER_RADIUS = 1 / 2.5003


class Flag(NamedTuple):
    """A doubt about a result, for people and programs."""

    #: Short stable name, such as ``card-uneven``.
    code: str
    #: One plain sentence.
    text: str
    #: The figure behind it, if there is one.
    value: float | None = None
