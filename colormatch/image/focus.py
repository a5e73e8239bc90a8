"""Detect photos that are out of focus or shaken, whose colors bleed into one another."""

from __future__ import annotations

import numpy as np

from colormatch.records import ByteArray, Flag, FlagCode, FloatArray

#: Longest side of the view to judge, pixels.
FOCUS_SIDE = 900
#: Standard deviations of two blurs, pixels of that view; the flattening between them gives an edge's own blur.
_BLURS = (1.0, 2.0)
#: Smallest step of an edge from pixel to pixel, for values of 0 to 1: four times the noise of a phone.
_LEAST_STEP = 0.012
#: Minimum number of edges of one direction, and the share of the steepest edges that are used.
_ENOUGH, _STEEPEST = 20, 0.1
#: Percentile of their blur that counts: a sharp photo has some sharp edges in every direction, and soft ones too.
_SHARP = 20
#: Blur above which the photo is flagged: standard deviation, pixels of the view. It equals 0.13 % of the longest side,
#: or five pixels of a phone's 4000; sharp simulated photographs stay below 1.1 (tests/image/test_focus.py).
_BLURRED = 1.2
#: The view is judged in every second band of this many rows, plus the reach of the blurs at each end. This saves half
#: of the time, and memory.
_BAND, _REACH = 100, 8


def blur_flags(encoded_rgb: ByteArray) -> list[Flag]:
    """Flag a photo that is not sharp.

    Parameters
    ----------
    encoded_rgb : (h, w, 3) uint8
        The photo at `FOCUS_SIDE`, subsampled or averaged.

    Returns
    -------
    list of Flag
        ``blurred`` (value: share of the longest side), or empty, also for a photo without edges.
    """
    blurs = edge_blurs(encoded_rgb)
    if not blurs or max(blurs) <= _BLURRED:
        return []
    what = "out of focus" if min(blurs) > _BLURRED else "blurred in one direction, as if the camera had moved"
    text = (
        f"The photo looks {what}, so the colors of small areas blend with those around them. Tap on the wood to "
        "focus, hold the phone still or rest it on something, and add light."
    )
    return [Flag(FlagCode.BLURRED, text, round(max(blurs) / max(encoded_rgb.shape[:2]), 5))]


def edge_blurs(encoded_rgb: ByteArray) -> list[float]:
    """Blur of the sharpest edges, standard deviation in pixels, for each of four directions with edges.

    The gradient of a step blurred by s and then by t is as steep as 1 / sqrt(s² + t²); two blurs t give s. Source: S.
    Zhuo and T. Sim, "Defocus map estimation from a single image", Pattern Recognition 44(9), 2011.
    """
    bands = [_edges(encoded_rgb[..., 1], top) for top in range(0, len(encoded_rgb), 2 * _BAND)]
    steps, ratio, angle = (np.concatenate(parts) for parts in zip(*bands, strict=True))
    first, second = _BLURS
    squares = (second**2 - ratio**2 * first**2) / np.maximum(ratio**2 - 1, 1e-3)
    blur = np.sqrt(np.maximum(squares, 0))
    # Four directions, each a quarter of the half circle.
    direction = np.round(angle / (np.pi / 4)).astype(int) % 4
    found = []
    for quarter in range(4):
        there = direction == quarter
        if there.sum() >= _ENOUGH:
            count = max(_ENOUGH, int(_STEEPEST * there.sum()))
            steepest = np.argsort(-steps[there])[:count]
            found.append(float(np.percentile(blur[there][steepest], _SHARP)))
    return found


def _edges(green: ByteArray, top: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Edges in a band of rows: steepness, ratio of steepness after the coarser blur, and angle."""
    import cv2

    first = max(0, top - _REACH)
    band = np.ascontiguousarray(green[first : top + _BAND + _REACH]).astype(np.float32) / 255
    (x, y), coarse = (_gradient(cv2.GaussianBlur(band, (0, 0), blur)) for blur in _BLURS)
    steep = np.hypot(x, y)
    is_edge = (steep > _LEAST_STEP) & (steep >= cv2.dilate(steep, np.ones((3, 3))))
    is_edge[: top - first] = is_edge[top - first + _BAND :] = False
    flattened = np.hypot(*(part[is_edge] for part in coarse))
    return steep[is_edge], steep[is_edge] / np.maximum(flattened, 1e-6), np.arctan2(y[is_edge], x[is_edge])


def _gradient(plane: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gradients across and down, for each pixel."""
    import cv2

    across, down = (cv2.Sobel(plane, cv2.CV_32F, *order, ksize=1, scale=0.5) for order in ((1, 0), (0, 1)))
    return across, down
