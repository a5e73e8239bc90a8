"""Regions marked on a photo."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from colormatch.errors import RegionError
from colormatch.records.color import BoolArray, FloatArray


class Box(NamedTuple):
    """A rectangle in pixels of the upright photo: left, top, width, height."""

    x: int
    y: int
    w: int
    h: int


class RegionKind(StrEnum):
    """Content of a marked region."""

    CARD = "card"
    SOUND = "sound"
    DAMAGE = "damage"
    REPAIR = "repair"
    STRIP = "strip"
    CHIP = "chip"
    WHITE = "white"
    PATCH = "patch"

    @property
    def words(self) -> str:
        """Everyday name."""
        return _SPOKEN.get(self, self.value)


#: Everyday names that differ from the identifier.
_SPOKEN = {
    RegionKind.SOUND: "sound wood",
    RegionKind.STRIP: "test strip",
    RegionKind.CHIP: "shop chip",
    RegionKind.WHITE: "white sheet",
}


@dataclass(frozen=True)
class Region:
    """A marked shape, stored in fractions of the upright photo, independent of display scale."""

    #: Content of the region.
    kind: RegionKind
    #: Corners in order, (x, y) as fractions 0 to 1 of width and height; at least three.
    points: tuple[tuple[float, float], ...]
    #: Name given by the user or the program.
    name: str = ""

    def __post_init__(self) -> None:
        if len(self.points) < 3:
            raise RegionError(f"The region '{self.name or self.kind}' has fewer than three corners.", "Draw it again.")
        flat = [v for point in self.points for v in point]
        if not all(math.isfinite(v) and 0 <= v <= 1 for v in flat):
            raise RegionError(
                f"The region '{self.name or self.kind}' reaches outside the photo.", "Draw it inside the picture."
            )

    @classmethod
    def from_box(cls, kind: RegionKind, box: Box, width: int, height: int, name: str = "") -> Region:
        """Make a region of a pixel box.

        Raises
        ------
        RegionError
            The box has no area or reaches outside the photo.
        """
        x, y, w, h = box
        if w <= 0 or h <= 0:
            raise RegionError(f"The region '{name or kind}' has no area.", "Give it a width and a height above zero.")
        if x < 0 or y < 0 or x + w > width or y + h > height:
            raise RegionError(
                f"The region '{name or kind}' at {x},{y},{w},{h} is not inside the photo ({width} x {height} pixels).",
                "Mark it inside the picture.",
            )
        x0, y0, x1, y1 = x / width, y / height, (x + w) / width, (y + h) / height
        return cls(kind, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), name)

    @property
    def order(self) -> tuple[str, tuple[tuple[float, float], ...], str]:
        """Sort key. Results from several regions don't depend on the order of marking."""
        return self.kind, self.points, self.name

    def corners(self, width: int, height: int) -> FloatArray:
        """(n, 2) float; corners in pixels of an upright photo of that size."""
        return np.asarray(self.points, dtype=float) * (width, height)

    def box(self, width: int, height: int) -> Box:
        """Smallest pixel box around the region in an upright photo of that size."""
        xy = self.corners(width, height)
        # Rounding first keeps 0.1 * 1000 = 100.00000000000001 from growing the box by a pixel.
        x0, y0 = np.floor(np.round(xy.min(axis=0), 6)).astype(int)
        x1, y1 = np.ceil(np.round(xy.max(axis=0), 6)).astype(int)
        return Box(int(x0), int(y0), int(x1 - x0), int(y1 - y0))

    def scaled(self, times: float) -> Region:
        """The same shape scaled about its center, clipped to the photo."""
        corners = np.asarray(self.points)
        middle = corners.mean(axis=0)
        moved = np.clip(middle + times * (corners - middle), 0, 1)
        return replace(self, points=tuple((float(x), float(y)) for x, y in moved))

    def mask(self, width: int, height: int, every: int = 1) -> tuple[Box, BoolArray]:
        """Mask of the pixels whose centers lie inside the corners (even-odd rule), for an upright photo of that size.

        Returns
        -------
        (Box, (h, w) bool)
            The box around the region, and the mask of its pixels, sampled every `every` pixels each way.
        """
        box = self.box(width, height)
        return box, self.within(box, width, height, every)

    def within(self, box: Box, width: int, height: int, every: int = 1) -> BoolArray:
        """(h, w) bool; mask of the region over any box of pixels, sampled every `every` pixels each way."""
        x = box.x + 0.5 + np.arange(0, box.w, every)
        y = box.y + 0.5 + np.arange(0, box.h, every)[:, None]
        inside = np.zeros((y.size, x.size), dtype=bool)
        corners = self.corners(width, height)
        for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            if y0 != y1:
                crosses = (y0 <= y) != (y1 <= y)
                inside ^= crosses & (x < x0 + (y - y0) * ((x1 - x0) / (y1 - y0)))
        return inside
