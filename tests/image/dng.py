"""A tiny writer of DNG files for tests (DNG 1.4): an uncompressed Bayer mosaic of linear 16-bit values.

The "camera" has the sensitivities of linear sRGB seen under D65: its color matrix from XYZ is that of IEC 61966-2-1.
"""

import io

import numpy as np
import tifffile

#: XYZ (D65) to linear sRGB, IEC 61966-2-1, as in the standard (4 digits).
XYZ_TO_SRGB = ((3.2406, -1.5372, -0.4986), (-0.9689, 1.8758, 0.0415), (0.0557, -0.2040, 1.0570))
WHITE = 65535


def dng(linear_rgb: np.ndarray, balance=(1.0, 1.0, 1.0), orientation: int = 1, further=()) -> bytes:
    """DNG of (h, w, 3) linear sRGB, 0 to 1, whose raw red and blue are weaker by a camera's white balance.

    ``further`` are tags as `tifffile` takes them.
    """
    raw = np.clip(linear_rgb * np.asarray(balance), 0, 1)
    mosaic = raw[..., 1].copy()
    mosaic[0::2, 0::2] = raw[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = raw[1::2, 1::2, 2]
    values = np.round(mosaic * WHITE).astype(np.uint16)

    def fractions(numbers, denominator=10000):
        return [int(v) for n in numbers for v in (round(n * denominator), denominator)]

    tags = [
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, bytes((0, 1, 1, 2)), True),  # CFAPattern: red green, green blue
        (50706, "B", 4, bytes((1, 4, 0, 0)), True),  # DNGVersion
        (50708, "s", 0, "Acme Raw 1", True),  # UniqueCameraModel
        (50717, "I", 1, WHITE, True),  # WhiteLevel
        (50721, "2i", 9, fractions(np.ravel(XYZ_TO_SRGB)), True),  # ColorMatrix1
        (50728, "2I", 3, fractions(balance), True),  # AsShotNeutral
        (50778, "H", 1, 21, True),  # CalibrationIlluminant1: D65
        (271, "s", 0, "Acme", True),
        (272, "s", 0, "Raw 1", True),
        (274, "H", 1, orientation, True),
        *further,
    ]
    out = io.BytesIO()
    tifffile.imwrite(out, values, photometric=32803, extratags=tags, metadata=None)
    return out.getvalue()
