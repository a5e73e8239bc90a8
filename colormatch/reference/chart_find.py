"""Find a 24-patch chart in a photo, upright or turned, and read its patches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.space import linear_from_encoded, linear_from_lab
from colormatch.errors import BadInput, CardNotFound
from colormatch.records import BoolArray, ByteArray, Card, CardKind, FloatArray, Region, RegionKind
from colormatch.reference.chart_grid import grids
from colormatch.reference.chart_values import COLUMNS, LEAST_PATCHES, ROWS, SINCE_2014
from colormatch.reference.tone import usable

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto

#: Longest sides of the images to search, pixels; the second is for small charts with narrow gaps.
_SEARCH_SIDES = (800, 1400)
#: Gap between patches over the pitch of patches.
_GAP = 1 / 11
#: Margins, in pitches, that people may leave outside the outer patches when they mark the four corners.
_MARKED_MARGINS = (0.0, 1 / 11, 0.25, 0.4)
#: Side of a patch's cell in the rectified chart, pixels; the central share that is read; and a wider share, which is
#: inside the patch only if the margin is right.
_CELL, _READ, _PATCH = 48, 0.5, 0.84
#: Least share of the patches' log light explained by the reference, up to a gain and a contrast per channel. Simulated
#: and real charts reach 0.93 and more; a chart in the wrong orientation stays below 0.5.
_LEAST_FIT = 0.85
#: Largest error of one patch, natural log, all channels combined. Simulated charts in seven lights reach 0.42 (0.53 in
#: light that slopes by 40 %), real ones 0.56; it detects most single covered patches.
_MOST_OFF = 0.7
#: Largest spread of log light inside a plain patch, and the fewest plain patches.
_PLAIN_SPREAD, _LEAST_PLAIN = 0.12, 20
#: Least share explained for single pixels, one per patch, before a location is read in full.
_WORTH_READING = 0.7
#: Corners of the block of cells, and the centers of its 24 cells, in cells from the center of the first.
_RIM_CELLS = np.array([[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]], float) - 0.5
_MIDDLE_CELLS = np.array([[column, row] for row in range(ROWS) for column in range(COLUMNS)], float)
#: Added before the logarithm; channels of saturated patches are often clipped to zero.
_FLOOR = 0.01
#: The same relative to the chart's white, for judging single patches; flare shifts dark ones.
_FLOOR_OF_ONE = 0.1


@dataclass(frozen=True, eq=False)
class ReadChart:
    """Patches of a chart as read from the photo."""

    #: (24, 3) float; mean linear sRGB of each patch, in the reference's order.
    linear_rgb: FloatArray
    #: (4, 2) float; corners of the block of patches in the source image, pixels, starting at dark skin.
    corners: FloatArray
    #: Share explained by the reference, 0 to 1.
    fit: float
    #: Mean spread of log light inside patches, over nearly the whole patch.
    spread: float


def find_chart(photo: DecodedPhoto) -> Card:
    """The 24-patch chart in a photo, upright or turned.

    Returns
    -------
    Card
        Its region's corners are those at dark skin, bluish green, black and white, in that order.

    Raises
    ------
    CardNotFound
        No chart, or part of it is hidden or outside the photo.
    """
    for side in _SEARCH_SIDES:
        found = find_chart_in(photo.preview(side))
        if found is not None:
            return Card(CardKind.CHART24, found[0], "auto", round(found[1].fit, 3))
    raise CardNotFound(
        "No whole 24-patch chart was found in the photo.",
        "Mark its four corners, or take the photo again with all patches in view and without glare.",
    )


def find_chart_in(preview: ByteArray) -> tuple[Region, ReadChart] | None:
    """Find a chart in a small image; None if there is none.

    Parameters
    ----------
    preview : (h, w, 3) uint8; encoded sRGB
    """
    import cv2

    linear_rgb = linear_from_encoded(preview.astype(np.float32) / 255)
    height, width = preview.shape[:2]
    for there in grids(preview):
        corners, middles = (cv2.perspectiveTransform(points[None], there)[0] for points in (_RIM_CELLS, _MIDDLE_CELLS))
        x, y = np.round(middles).astype(int).T
        if (x < 0).any() or (y < 0).any() or (x >= width).any() or (y >= height).any():
            continue
        # A quick look at the centers rejects most locations and orientations before a full read.
        if chart_fit(linear_rgb[y, x]) < _WORTH_READING:
            continue
        read = _read_best(linear_rgb, corners + 0.5, (_GAP / 2,))
        if read is not None:
            points = tuple((float(x / width), float(y / height)) for x, y in read.corners)
            return Region(RegionKind.CARD, points, "chart"), read
    return None


def read_chart(photo: DecodedPhoto, region: Region) -> ReadChart:
    """Read the patches of a chart from its four corners, marked or found.

    Parameters
    ----------
    photo : DecodedPhoto
    region : Region
        Four corners, in order around the chart, at or slightly outside the outer patches; any corner may be first.

    Raises
    ------
    CardNotFound
        The region doesn't show a complete, evenly lit 24-patch chart.
    BadInput
        The region doesn't have four corners.
    """
    if len(region.points) != 4:
        raise BadInput("A chart is marked by its four corners.", "Mark the outer corners of its four corner patches.")
    width, height = photo.pixels.size
    box = region.box(width, height)
    corners = _clockwise(region.corners(width, height) - (box.x, box.y))
    read = _read_best(photo.linear(box), corners, _MARKED_MARGINS)
    if read is None:
        raise CardNotFound(
            "The marked corners don't enclose a whole 24-patch chart.",
            "Mark the outer corners of its four corner patches, and keep glare and shadows off it. Charts of other "
            "makers are not supported: mark a gray patch of one as a gray card.",
        )
    return ReadChart(read.linear_rgb, read.corners + np.array([box.x, box.y]), read.fit, read.spread)


def _clockwise(corners: FloatArray) -> FloatArray:
    """Corners in the order of a chart's corners, whichever way around they were marked."""
    (x0, y0), (x1, y1) = corners[2] - corners[0], corners[3] - corners[1]
    return corners if x0 * y1 > x1 * y0 else corners[::-1]


def _read_best(linear_rgb: FloatArray, corners: FloatArray, margins: tuple[float, ...]) -> ReadChart | None:
    """Read the chart in each orientation and with each margin; return the best read that the reference explains."""
    reads = [
        _read(linear_rgb, np.roll(corners, -first, axis=0), margin)
        for margin in margins
        for first in range(len(corners))
    ]
    # The fit determines the orientation, the spread the margin.
    best = max((read for read in reads if read is not None), key=lambda read: read.fit - read.spread, default=None)
    explained = best is not None and best.fit >= _LEAST_FIT and most_off(best.linear_rgb) <= _MOST_OFF
    return best if explained else None


def _read(linear_rgb: FloatArray, corners: FloatArray, margin: float) -> ReadChart | None:
    """Rectify the chart and read the centers of its patches; None if they leave the image or aren't plain."""
    import cv2

    height, width = linear_rgb.shape[:2]
    rim = np.array([[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]], dtype=np.float32)
    outward = np.sign(rim - rim.mean(axis=0)) * np.float32(margin - _GAP / 2)
    straight = ((rim + outward) * _CELL).astype(np.float32)
    # OpenCV puts integer coordinates at pixel centers, regions at pixel edges.
    there = cv2.getPerspectiveTransform(straight - 0.5, (corners - 0.5).astype(np.float32))
    outer = (rim - np.sign(rim - rim.mean(axis=0)) * np.float32(_GAP / 2)) * _CELL - 0.5
    block = cv2.perspectiveTransform(outer[None], there)[0].astype(float) + 0.5
    if block.min() < -0.5 or (block > np.array([width, height]) + 0.5).any():
        return None
    chart = cv2.warpPerspective(
        np.ascontiguousarray(linear_rgb, dtype=np.float32),
        there,
        (COLUMNS * _CELL, ROWS * _CELL),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    pixels, whole = _middles(chart, _READ), _middles(chart, _PATCH)
    if (_log_spread(pixels) < _PLAIN_SPREAD).sum() < _LEAST_PLAIN:
        return None
    patches = pixels.mean(axis=1)
    return ReadChart(patches, block, chart_fit(patches), float(_log_spread(whole).mean()))


def _middles(chart: FloatArray, share: float) -> FloatArray:
    """(24, n, 3) float; central pixels of each cell of a rectified chart; ``share`` of the cell's side wide."""
    inset = round(_CELL * (1 - share) / 2)
    cells = chart.reshape(ROWS, _CELL, COLUMNS, _CELL, 3)[:, inset:-inset, :, inset:-inset]
    return cells.transpose(0, 2, 1, 3, 4).reshape(ROWS * COLUMNS, -1, 3).astype(float)


def _log_spread(pixels: FloatArray) -> FloatArray:
    """(n,) float; standard deviation of the log of light within each patch."""
    spread: FloatArray = np.log(np.maximum(pixels.mean(axis=2), 0) + _FLOOR).std(axis=1)
    return spread


def chart_fit(patch_linear_rgb: FloatArray) -> float:
    """Share of 24 patches' variance explained by the published colors, 0 to 1.

    Parameters
    ----------
    patch_linear_rgb : (24, 3) float; linear sRGB

    Returns
    -------
    float
        Of the variance of log light, up to a gain and a positive contrast per channel.
    """
    seen, true = _log_colors(patch_linear_rgb, _FLOOR, readable(patch_linear_rgb))
    norms = np.sqrt((seen**2).sum(axis=0) * (true**2).sum(axis=0))
    correlation = (seen * true).sum(axis=0) / np.maximum(norms, 1e-12)
    return float(np.mean(np.maximum(correlation, 0) ** 2))


def most_off(patch_linear_rgb: FloatArray) -> float:
    """Largest deviation of a patch from the published colors, natural log.

    Parameters
    ----------
    patch_linear_rgb : (24, 3) float; linear sRGB
    """
    some = readable(patch_linear_rgb)
    brightest = float(np.max(linear_from_lab(SINCE_2014)[some]))
    exposure = brightest / max(float(np.max(patch_linear_rgb[some])), 1e-12)
    seen, true = _log_colors(patch_linear_rgb * exposure, _FLOOR_OF_ONE, some)
    contrast = (seen * true).sum(axis=0) / (true**2).sum(axis=0)
    return float(np.linalg.norm(seen - contrast * true, axis=1).max())


def readable(patch_linear_rgb: FloatArray) -> BoolArray:
    """(24,) bool; patches that are neither clipped nor black; all of them if too few remain to judge by.

    A saturated patch may have an empty channel and still serve: only its brightest channel matters.
    """
    some = usable(patch_linear_rgb.max(axis=1, keepdims=True))
    return some if some.sum() >= LEAST_PATCHES else np.ones(len(some), bool)


def _log_colors(patch_linear_rgb: FloatArray, floor: float, some: BoolArray) -> tuple[FloatArray, FloatArray]:
    """(n, 3) log light of selected patches, measured and published, each minus its mean."""
    seen, true = (np.log(np.maximum(c[some], 0) + floor) for c in (patch_linear_rgb, linear_from_lab(SINCE_2014)))
    return seen - seen.mean(axis=0), true - true.mean(axis=0)
