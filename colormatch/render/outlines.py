"""Draw numbered regions on a photo, to show where each cell was read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colormatch.records import ByteArray, Region

#: Width of the two strokes and height of a number, relative to the picture's longer side. A dark stroke under a light
#: one is visible on any color, and without a fill the colors stay unchanged.
_UNDER, _OVER, _NUMBER = 1 / 240, 1 / 560, 1 / 40


def outlined(encoded_rgb: ByteArray, regions: Sequence[Region]) -> ByteArray:
    """Draw regions on a picture, numbered from 1.

    Parameters
    ----------
    encoded_rgb : (h, w, 3) uint8
        Upright, at any scale.
    regions : sequence of Region

    Returns
    -------
    (h, w, 3) uint8
    """
    from PIL import Image, ImageDraw, ImageFont

    picture = Image.fromarray(encoded_rgb)
    pen, side = ImageDraw.Draw(picture), max(picture.size)
    font = ImageFont.load_default(side * _NUMBER)
    for number, region in enumerate(regions, 1):
        corners = [tuple(corner) for corner in region.corners(*picture.size)]
        for ink, width in (("black", _UNDER), ("white", _OVER)):
            pen.line([*corners, corners[0], corners[1]], ink, max(1, round(side * width)), joint="curve")
        x, y = region.corners(*picture.size).mean(axis=0)
        pen.text(
            (x, y), str(number), "white", font, "mm", stroke_width=max(1, round(side * _OVER)), stroke_fill="black"
        )
    return np.asarray(picture)
