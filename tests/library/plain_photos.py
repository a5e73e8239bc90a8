"""Photos whose files tell nothing but the picture, so that sharing leaves them byte for byte as they are."""

from __future__ import annotations

import io
import math

import numpy as np
from PIL import Image


def plain_photo(seed: int = 0, size: int = 200) -> bytes:
    """A PNG file of noise, of about so many bytes."""
    side = max(1, math.isqrt(size // 3))
    file = io.BytesIO()
    noise = np.random.default_rng(seed).integers(0, 256, (side, side, 3), np.uint8)
    Image.fromarray(noise).save(file, "PNG", compress_level=0)
    return file.getvalue()
