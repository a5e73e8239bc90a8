"""Locate grids of plain patches that may be a 24-patch chart.

Plain patches are areas without an edge. The grid is followed from one patch to its neighbors as far as possible; a
homography through the centers then places the missing patches.

OpenCV's chart detector (`cv2.mcc`) is not used: it needs patches of 0.3 % of the image, that is charts a third of its
width, finds a chart at one image size and misses it at the next, and must search each quarter turn.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from colormatch.records import ByteArray, FloatArray
from colormatch.reference.chart_values import COLUMNS, ROWS
from colormatch.reference.quadrilaterals import log_light

#: Standard deviation of the blur, pixels, and steepest slopes inside a patch, natural log per pixel: from clear edges
#: in noise to faint ones. Each is tried separately.
_BLUR, _SLOPES = 1.0, (0.1, 0.05, 0.15, 0.025)
#: Fewest pixels of a patch after the blur has removed its rim, and its largest side over the image's shorter side. A
#: chart 15 % as wide as an 800-pixel image has patches of 17 pixels, minus 6 for the rim.
_FEWEST_PIXELS, _WIDEST = 25, 0.3
#: Most areas in an image; more are a mesh or a weave, which would take seconds to follow.
_MOST_PIECES = 2000
#: Least share of its bounding box that a patch fills (a square standing on its corner fills half), and the box's
#: largest aspect ratio.
_FILLED, _LONGEST = 0.4, 2.5
#: Distance between the centers of neighboring patches, in square roots of patch area. The blur shrinks small ones most.
_STEP = (1.0, 2.5)
#: Largest ratio of neighbors' areas, and largest distance of a patch from its predicted place, in steps.
_ALIKE, _ASIDE = 2.5, 0.2
#: Least sine of the angle between rows and columns; a camera tilted by 30 degrees keeps it above 0.8.
_CROSSING = 0.7
#: Fewest patches to complete a grid from; black ones merge with the frame around them.
_FEWEST = 12
#: Most columns or rows beyond a chart's; larger grids are not charts with an object or two beside them.
_MORE = 2
#: Largest distance of a patch from the grid, in square roots of its area.
_OFF_GRID = 0.15

Cell = tuple[int, int]


def grids(preview: ByteArray) -> Iterator[FloatArray]:
    """Possible locations of a chart.

    Parameters
    ----------
    preview : (h, w, 3) uint8; encoded sRGB

    Yields
    ------
    (3, 3) float
        Homography from the chart's cells, centers from (0, 0) to (5, 3), to pixels (integer coordinates at pixel
        centers). The first corner is unknown: each grid is yielded in four orientations, and shifted by columns or rows
        if some are missing or surplus.
    """
    import cv2

    for middles, areas in _patches(preview):
        taken = np.zeros(len(areas), bool)
        for seed in range(len(areas)):
            cells = {} if taken[seed] else _followed(middles, areas, seed)
            there = list(cells.values())
            taken[there] = True
            if len(cells) < _FEWEST:
                continue
            places = np.array(list(cells), float)
            homography, _ = cv2.findHomography(
                places, middles[there], cv2.RANSAC, _OFF_GRID * float(np.sqrt(areas[seed]))
            )
            if homography is not None:
                yield from _windows(places.astype(int), homography)


def _patches(preview: ByteArray) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Plain, roughly patch-shaped areas: (n, 2) centers, pixels, and (n,) areas, square pixels."""
    import cv2

    soft = cv2.GaussianBlur(log_light(preview), (0, 0), _BLUR)
    # The weights of a Sobel kernel add up to 8 for a slope of 1 per pixel.
    across, down = (cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx, scale=1 / 8) for dx in (1, 0))
    steepest = (across * across + down * down).max(axis=2)
    widest = _WIDEST * min(preview.shape[:2])
    for limit in _SLOPES:
        plain = (steepest < limit * limit).astype(np.uint8)
        _, _, boxes, middles = cv2.connectedComponentsWithStats(plain, connectivity=4)
        w, h, area = boxes[:, 2:].T.astype(float)
        like = (area >= _FEWEST_PIXELS) & (np.maximum(w, h) < widest)
        like &= (area >= _FILLED * w * h) & (np.maximum(w, h) <= _LONGEST * np.minimum(w, h))
        like[0] = False  # the edges
        if like.sum() <= _MOST_PIECES:
            yield middles[like], area[like]


def _followed(middles: FloatArray, areas: FloatArray, seed: int) -> dict[Cell, int]:
    """Patches of the grid around a seed patch, by column and row."""
    steps = _first_steps(middles, areas, seed)
    if steps is None:
        return {}
    # No patch of a chart is farther from another; without this limit a mesh would be followed across the whole image.
    reach = (COLUMNS + ROWS) * np.linalg.norm(steps, axis=1).max()
    near = np.flatnonzero(np.linalg.norm(middles - middles[seed], axis=1) < reach)
    cells, steps_at, waiting = {(0, 0): seed}, {(0, 0): steps}, [(0, 0)]
    found = {seed}
    while waiting:
        column, row = cell = waiting.pop(0)
        here = middles[cells[cell]]
        for axis, way in ((0, 1), (0, -1), (1, 1), (1, -1)):
            to = (column + way, row) if axis == 0 else (column, row + way)
            if to in cells:
                continue
            step = way * steps_at[cell][axis]
            away = np.linalg.norm(middles[near] - here - step, axis=1)
            nearest = int(near[away.argmin()])
            alike = 1 / _ALIKE < areas[nearest] / areas[cells[cell]] < _ALIKE
            if nearest in found or not alike or away.min() > _ASIDE * np.linalg.norm(step):
                continue
            # The step changes along the grid if the camera was tilted.
            steps_there = steps_at[cell].copy()
            steps_there[axis] = way * (middles[nearest] - here)
            cells[to], steps_at[to] = nearest, steps_there
            found.add(nearest)
            waiting.append(to)
    return cells


def _first_steps(middles: FloatArray, areas: FloatArray, seed: int) -> FloatArray | None:
    """(2, 2) steps from a patch to its neighbors, along the row and along the column, as x and y; None if it has no
    neighbors.
    """
    ways = middles - middles[seed]
    lengths = np.linalg.norm(ways, axis=1)
    side = np.sqrt(areas[seed])
    alike = (areas < _ALIKE * areas[seed]) & (areas > areas[seed] / _ALIKE)
    near = np.flatnonzero(alike & (lengths > _STEP[0] * side) & (lengths < _STEP[1] * side))
    near = near[np.argsort(lengths[near])]
    if not near.size:
        return None
    first = ways[near[0]]
    sines = (first[0] * ways[near, 1] - first[1] * ways[near, 0]) / (lengths[near[0]] * lengths[near])
    across = near[np.abs(sines) > _CROSSING]
    if not across.size:
        return None
    second = ways[across[0]]
    # Not mirrored: y is clockwise from x, as in the image.
    return np.array([first, second if first[0] * second[1] > first[1] * second[0] else -second])


def _windows(places: FloatArray, homography: FloatArray) -> Iterator[FloatArray]:
    """Windows of a chart's size in a grid of patches at (n, 2) columns and rows."""
    low, high = places.min(axis=0), places.max(axis=0)
    for turn in range(4):
        size = np.array([COLUMNS, ROWS] if turn % 2 == 0 else [ROWS, COLUMNS])
        ends = low, high - size + 1
        if np.any(high - low + 1 > size + _MORE):
            continue
        first, last = np.minimum(*ends), np.maximum(*ends)
        for column in range(first[0], last[0] + 1):
            for row in range(first[1], last[1] + 1):
                inside = np.all((places >= [column, row]) & (places < np.array([column, row]) + size), axis=1)
                if inside.sum() >= _FEWEST:
                    yield homography @ _turned(turn, column, row, size)


def _turned(turn: int, column: int, row: int, size: FloatArray) -> FloatArray:
    """(3, 3) from a chart's cells to the grid's: quarter turns, then the window's first cell."""
    width, height = size - 1
    return np.array({
        0: [[1, 0, column], [0, 1, row], [0, 0, 1]],
        1: [[0, -1, column + width], [1, 0, row], [0, 0, 1]],
        2: [[-1, 0, column + width], [0, -1, row + height], [0, 0, 1]],
        3: [[0, 1, column], [-1, 0, row + height], [0, 0, 1]],
    }[turn], float)  # fmt: skip
