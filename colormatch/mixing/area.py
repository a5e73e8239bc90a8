"""Area of the damage, from its outline in the photo and the card's real size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.errors import BadInput
from colormatch.records import Flag, FlagCode, FloatArray, Region
from colormatch.reference.quadrilaterals import INSET, PREVIEW_SIDE

#: Preview pixels between the finder's outline and the card's edge, beyond the known inset: mean over 48 simulated
#: photos.
_SHY = 2.2
#: Error of one coordinate of a card's corner relative to the card's shorter side, standard deviation: if the program
#: found the card (0.45 % over the same photos, partly common to all corners), and if a person marked it.
_FOUND_ERROR, _HAND_ERROR = 0.007, 0.015
#: Tilt of a camera held straight above, about either axis, radians: standard deviation; our choice.
_TIPPED = math.radians(10)
#: Starting tilts of the search for the most likely camera: a small card looks nearly the same tilted either way.
_STARTS = ((0.0, 0.0), (0.25, 0.25), (0.25, -0.25), (-0.25, 0.25), (-0.25, -0.25))
#: Focal length over the photo's longer side, and the standard deviation of its logarithm: a phone's main camera has
#: 0.72 (26 mm on a frame 36 mm wide), a longer lens 1.4.
_FOCAL, _FOCAL_SPREAD = 1.0, 0.35
#: A card's least width over its length in the photo.
_SLIVER = 0.05
#: Draws for the range, and their seed: equal marks give equal results.
_DRAWS, _SEED = 400, 0
#: Ratio of the marked card's aspect ratio to the real one's from which they don't fit. Our choice: a camera tilted by
#: 30 degrees changes it by 1.15.
_OTHER_SHAPE = 1.25
#: Largest excess of the card over a mark well inside its edges, as a share of each side.
_INSIDE = 0.25


@dataclass(frozen=True)
class MarkedArea:
    """The area of marked regions."""

    cm2: float
    #: 5th and 95th percentile, from the uncertainty of the card's corners.
    low: float
    high: float
    #: Error of a scale without perspective, as a factor: a measure of the camera's tilt.
    perspective: float
    flags: tuple[Flag, ...] = ()


def marked_area(
    regions: Sequence[Region],
    card: Region,
    size: tuple[int, int],
    card_mm: tuple[float, float],
    *,
    found: bool,
) -> MarkedArea:
    """Area of regions in the card's plane.

    Parameters
    ----------
    regions : sequence of Region
        Regions to add up, such as all damage.
    card : Region
        Four corners, in order.
    size : (int, int)
        Width and height of the upright photo, pixels.
    card_mm : (float, float)
        The real card's sides, in any order.
    found : bool
        Whether the program found a gray card, whose outline has a known inset. A person marks it well inside the edges,
        as the page asks, by an unknown share: the range is then wide.

    Raises
    ------
    BadInput
        The card doesn't have four corners, or they span no area.

    Notes
    -----
    Fits the most likely pinhole camera to the card's four corners, with a prior for how people hold a camera. The
    corners of a small card alone say little about tilt, and a plain homography through them is inaccurate far from the
    card. The range covers the uncertainty from the corners. It excludes errors of the drawn outline, and damage outside
    the card's plane.
    """
    if len(card.points) != 4:
        raise BadInput("The mark of the card doesn't have four corners.", "Mark it as a box, or type the area.")
    corners, shapes = card.corners(*size), [region.corners(*size) for region in regions]
    if _turn(corners) < 0:
        corners = corners[::-1]
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    seen = float(sides[0] + sides[2]) / 2, float(sides[1] + sides[3]) / 2
    if _turn(corners) <= (_SLIVER * max(seen)) ** 2:
        raise BadInput("The card's corners lie nearly on one line.", "Mark it again, or type the area.")
    # Order of the real sides: the one that fits the marked shape better.
    real = sorted(card_mm, reverse=seen[0] >= seen[1])
    inside = _SHY * max(size) / PREVIEW_SIDE / (min(seen) / (1 - 2 * INSET)) if found else 0.0
    flat = _inset(real, (INSET + inside) / (1 + 2 * inside) if found else 0.0)
    cameras = _cameras(corners, flat, size, (_FOUND_ERROR if found else _HAND_ERROR) * min(seen))
    areas = np.array([_area(camera, shapes, size) for camera in cameras])
    area, low, high = (float(v) for v in (areas[0], *np.nanpercentile(areas[1:], (5, 95))))
    if not math.isfinite(area):
        raise BadInput("The mark of the card is too slanted to measure by.", "Mark it again, or type the area.")
    flags = []
    if not found:
        low *= (1 - _INSIDE) ** 2
        flags.append(
            Flag(
                FlagCode.CARD_OUTLINE,
                "If the card is marked inside its edges, as for reading colors, the damage is smaller than this.",
            )
        )
    misfit = (max(seen) / min(seen)) / (max(card_mm) / min(card_mm))
    if max(misfit, 1 / misfit) > _OTHER_SHAPE:
        low, high = low / max(misfit, 1 / misfit), high * max(misfit, 1 / misfit)
        flags.append(
            Flag(FlagCode.CARD_SHAPE, "The shape of the marked card doesn't fit its size: check both.", misfit)
        )
    plain = sum(abs(_turn(shape)) for shape in shapes) / _turn(corners) * _turn(flat) / 100
    return MarkedArea(area, min(low, area), max(high, area), plain / area, tuple(flags))


def _inset(sides: Sequence[float], rim: float) -> FloatArray:
    """(4, 2) float; corners of an outline drawn ``rim`` inside the card's edges, mm from the card's center."""
    half = np.asarray(sides) / 2 - rim * min(sides)
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half


def _cameras(corners: FloatArray, flat: FloatArray, size: tuple[int, int], error: float) -> FloatArray:
    """(1 + draws, 7) float; the most likely camera, and draws around it: see :func:`_plane`."""
    from scipy.optimize import least_squares

    doubt = np.array([_TIPPED, _TIPPED, _FOCAL_SPREAD])

    def off(camera: FloatArray) -> FloatArray:
        return np.concatenate([((_through(_plane(camera, size), flat) - corners) / error).ravel(), camera[:3] / doubt])

    along = corners[1] - corners[0]
    scale = math.sqrt(_turn(flat) / _turn(corners))
    near = [0.0, math.atan2(along[1], along[0]), *corners.mean(axis=0), math.log(scale)]
    steps = np.array([0.1, 0.1, 0.3, 0.1, error, error, 0.1])
    fits = [least_squares(off, [*tips, *near], x_scale=steps) for tips in _STARTS]
    fit = min(fits, key=lambda one: float(one.cost))
    spread = np.linalg.inv(fit.jac.T @ fit.jac)
    drawn = np.random.default_rng(_SEED).multivariate_normal(fit.x, spread, _DRAWS)
    return np.vstack([fit.x, drawn])


def _plane(camera: FloatArray, size: tuple[int, int]) -> FloatArray:
    """(3, 3) float; from mm on the card's plane, from its center, to pixels.

    Parameters
    ----------
    camera : (7,) float
        Tilts about the two axes of the photo, radians; log of the focal length over the usual one; rotation of the
        card, radians; its center, pixels; log of mm per pixel there.
    """
    tip_x, tip_y, lens, turn, x, y, scale = camera
    focal = _FOCAL * math.exp(lens) * max(size)
    about_x = np.array([[1, 0, 0], [0, math.cos(tip_x), -math.sin(tip_x)], [0, math.sin(tip_x), math.cos(tip_x)]])
    about_y = np.array([[math.cos(tip_y), 0, math.sin(tip_y)], [0, 1, 0], [-math.sin(tip_y), 0, math.cos(tip_y)]])
    across = about_x @ about_y @ np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)], [0, 0]])
    center = np.array(size) / 2
    depth = focal * math.exp(scale)
    middle = np.array([(x - center[0]) / focal, (y - center[1]) / focal, 1]) * depth
    view = np.column_stack([across, middle])
    view[:2] = focal * view[:2] + center[:, None] * view[2]
    return view


def _through(plane: FloatArray, points: FloatArray) -> FloatArray:
    """(n, 2) points through a (3, 3) homography; NaN behind the camera."""
    x, y, w = plane @ np.column_stack([points, np.ones(len(points))]).T
    w = np.where(w * w[0] > 0, w, np.nan)
    return np.column_stack([x / w, y / w])


def _area(camera: FloatArray, shapes: Sequence[FloatArray], size: tuple[int, int]) -> float:
    """cm² of shapes in the photo, rectified; NaN if the horizon cuts one."""
    back = np.linalg.inv(_plane(camera, size))
    return math.fsum(abs(_turn(_through(back, shape))) for shape in shapes) / 100


def _turn(corners: FloatArray) -> float:
    """Signed area of a polygon by the shoelace formula; the sign is the direction of its corners."""
    x, y = corners.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
