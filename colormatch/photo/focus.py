"""Whether a photo is out of focus or was moved: its colors then run into one another."""

from __future__ import annotations

import numpy as np

from colormatch.records import ByteArray, Flag, FloatArray

#: Longest side of the view that is judged, pixels.
FOCUS_SIDE = 1200
#: Standard deviations of two blurs, pixels of that view; how much each of them flattens an edge tells the edge's own.
_BLURS = (1.0, 2.0)
#: Least step of an edge from pixel to pixel, of values of 0 to 1: four times what a phone's noise makes of it.
_LEAST_STEP = 0.012
#: Edges of one direction that are enough to judge it, and the share of the steepest that are asked.
_ENOUGH, _STEEPEST = 20, 0.1
#: Of those, the percentile that counts: a sharp photo has some sharp edges in every direction, and soft ones too.
_SHARP = 20
#: Blur above which the photo is doubted: standard deviation, pixels of the view. 0.13 % of the photo's width, or five
#: pixels of a phone's 4000; sharp photographs stay below 1.4 (tests/scenes/study_light.py).
_BLURRED = 1.6


def blur_flags(encoded_rgb: ByteArray) -> list[Flag]:
    """Doubt about a photo's sharpness.

    Parameters
    ----------
    encoded_rgb : (h, w, 3) uint8
        The photo at `FOCUS_SIDE`, single pixels of it or averages.

    Returns
    -------
    list of Flag
        ``blurred`` (value: in parts of the longest side), or none, also where the photo has no edges to judge by.
    """
    blurs = edge_blurs(encoded_rgb)
    if not blurs or max(blurs) <= _BLURRED:
        return []
    what = "out of focus" if min(blurs) > _BLURRED else "blurred in one direction, as if the camera had moved"
    text = (
        f"The photo looks {what}, so that the colors of small places run into those around them. Tap on the wood to "
        "focus, hold still or rest the phone on something, and give it more light."
    )
    return [Flag("blurred", text, round(max(blurs) / max(encoded_rgb.shape[:2]), 5))]


def edge_blurs(encoded_rgb: ByteArray) -> list[float]:
    """Blur of the sharpest edges, standard deviation in pixels, for each of four directions that has any.

    The gradient of a step blurred by s and then by t is as steep as 1 / sqrt(s² + t²); two blurs t give s. Source:
    S. Zhuo and T. Sim, "Defocus map estimation from a single image", Pattern Recognition 44(9), 2011.
    """
    import cv2

    green = encoded_rgb[..., 1].astype(np.float32) / 255
    fine, coarse = (cv2.GaussianBlur(green, (0, 0), blur) for blur in _BLURS)
    x, y = _gradient(fine)
    steep = np.hypot(x, y)
    on_edge = np.nonzero((steep > _LEAST_STEP) & (steep >= cv2.dilate(steep, np.ones((3, 3)))))
    steps = steep[on_edge]
    ratio = steps / np.maximum(np.hypot(*(part[on_edge] for part in _gradient(coarse))), 1e-6)
    first, second = _BLURS
    squares = (second**2 - ratio**2 * first**2) / np.maximum(ratio**2 - 1, 1e-3)
    blur = np.sqrt(np.maximum(squares, 0))
    # Four directions, a quarter of the half circle each.
    direction = np.round(np.arctan2(y[on_edge], x[on_edge]) / (np.pi / 4)).astype(int) % 4
    found = []
    for quarter in range(4):
        there = direction == quarter
        if there.sum() >= _ENOUGH:
            count = max(_ENOUGH, int(_STEEPEST * there.sum()))
            steepest = np.argsort(-steps[there])[:count]
            found.append(float(np.percentile(blur[there][steepest], _SHARP)))
    return found


def _gradient(plane: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Steps across and down, for each pixel."""
    import cv2

    across, down = (cv2.Sobel(plane, cv2.CV_32F, *order, ksize=1, scale=0.5) for order in ((1, 0), (0, 1)))
    return across, down
