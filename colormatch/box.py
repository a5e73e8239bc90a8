"""A rectangle of pixels, by itself: commands read one before they import anything heavy."""

from __future__ import annotations

from typing import NamedTuple


class Box(NamedTuple):
    """A rectangle in pixels of the upright photo: left, top, width, height."""

    x: int
    y: int
    w: int
    h: int
