"""Illumination of a photo, modeled as one plane of log light per channel so that it can be divided out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colormatch.records import Box, FloatArray


@dataclass(frozen=True, eq=False)
class FlatField:
    """Log light over the photo as one plane per channel, relative to its origin."""

    #: (2, 3) float; change of the natural log of light over the full width and the full height, for red, green, blue.
    slope: FloatArray
    #: (2,) float; the place with relative light 1, fractions of width and height.
    origin: FloatArray

    def light(self, places: FloatArray) -> FloatArray:
        """(..., 3) float; light at (..., 2) places in fractions of width and height, relative to the origin."""
        return np.exp((np.asarray(places) - self.origin) @ self.slope)

    def level(self, places: FloatArray) -> FloatArray:
        """(...) float; geometric mean of the channels' relative light."""
        level: FloatArray = self.light(places).mean(axis=-1)
        return level

    def over(self, box: Box, width: int, height: int, every: int = 1) -> FloatArray:
        """(h, w, 3) float32; relative light at the pixels of a box, sampled every `every` pixels each way."""
        x = (box.x + 0.5 + np.arange(0, box.w, every)) / width - self.origin[0]
        y = (box.y + 0.5 + np.arange(0, box.h, every)) / height - self.origin[1]
        # The exponential of a plane is the product of a row and a column.
        row, column = (np.exp(np.outer(*axis)).astype(np.float32) for axis in ((x, self.slope[0]), (y, self.slope[1])))
        return row[None] * column[:, None]
