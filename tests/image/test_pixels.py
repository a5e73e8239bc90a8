"""Parts of a photo in its decoder's memory are those of the upright photo."""

import numpy as np
import pytest
from PIL import Image

from colormatch.image.pixels import Pixels
from colormatch.records import Box


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("channels", [1, 3])
def test_every_so_many_pixels_are_those_of_the_whole(orientation: int, channels: int) -> None:
    rng = np.random.default_rng(orientation)
    stored = np.squeeze(rng.integers(0, 256, (61, 97, channels), dtype=np.uint8))
    photo = Pixels(Image.fromarray(stored), orientation)
    width, height = photo.size
    for _ in range(100):
        x, y = int(rng.integers(width)), int(rng.integers(height))
        box = Box(x, y, int(rng.integers(1, width - x + 1)), int(rng.integers(1, height - y + 1)))
        every = int(rng.integers(1, 12))
        assert np.array_equal(photo.crop(box, every), photo.crop(box)[::every, ::every])
