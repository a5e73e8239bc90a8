"""Regions drawn on a photo."""

import numpy as np

from colormatch.records import Region, RegionKind
from colormatch.render.outlines import outlined


def test_outlines_lie_on_the_corners_and_the_inside_keeps_its_color():
    gray = np.full((300, 400, 3), 120, np.uint8)
    region = Region(RegionKind.PATCH, ((0.25, 0.25), (0.75, 0.25), (0.75, 0.75), (0.25, 0.75)), "cell")
    drawn = outlined(gray, [region])
    assert drawn.shape == gray.shape
    assert (drawn[75, 150] != 120).any()
    assert (drawn[100, 120] == 120).all()  # no tint over what is to be judged
    assert (drawn[:60] == 120).all()
    assert (drawn[140:160, 190:210] != 120).any()  # its number, in the middle
    assert (gray == 120).all()


def test_nothing_to_draw_is_the_picture_itself():
    picture = np.random.default_rng(0).integers(0, 255, (20, 30, 3), dtype=np.uint8)
    assert np.array_equal(outlined(picture, []), picture)
