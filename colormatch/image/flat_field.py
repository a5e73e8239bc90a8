"""The light over a photo, so that it can be divided out: one plane of log light for each channel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colormatch.records import Box, FloatArray


@dataclass(frozen=True, eq=False)
class FlatField:
    """Log light over the photo as a plane for each channel; the light of its origin counts as 1."""

    #: (2, 3) float; natural log of light across the whole width and down the whole height, of red, green and blue.
    slope: FloatArray
    #: (2,) float; place of which the light stays as it is, fractions of width and height.
    origin: FloatArray

    def light(self, places: FloatArray) -> FloatArray:
        """(..., 3) float; light at (..., 2) places, fractions of width and height, relative to the origin's."""
        return np.exp((np.asarray(places) - self.origin) @ self.slope)

    def level(self, places: FloatArray) -> FloatArray:
        """(...) float; the same, all channels together."""
        level: FloatArray = self.light(places).mean(axis=-1)
        return level

    def over(self, box: Box, width: int, height: int, every: int = 1) -> FloatArray:
        """(h, w, 3) float32; light at the pixels of a box of a photo of that size, or every so many of them."""
        x = (box.x + 0.5 + np.arange(0, box.w, every)) / width - self.origin[0]
        y = (box.y + 0.5 + np.arange(0, box.h, every)) / height - self.origin[1]
        # The exponential of a plane is a row times a column.
        row, column = (np.exp(np.outer(*axis)).astype(np.float32) for axis in ((x, self.slope[0]), (y, self.slope[1])))
        return row[None] * column[:, None]
