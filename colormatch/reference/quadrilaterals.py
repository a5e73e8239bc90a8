"""Find plain four-sided pieces in a small preview: candidates for a card or one of its steps.

Everything uses the logarithm of linear light, where edges, casts and brightness are differences independent of
exposure.
Evidence is a score from 0 (rules it out) to 1 (supports it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, cached_property, reduce

import numpy as np

from colormatch.color.space import linear_from_encoded
from colormatch.records import BoolArray, ByteArray, FloatArray, Region, RegionKind

#: Longest side of the preview to search, pixels; a card of 3 % of the frame is still over 100 pixels wide.
PREVIEW_SIDE = 800
#: Share of the shorter side left out along each edge: bevel, blur and a worn rim are never sampled.
INSET = 0.08
#: Added to linear light before the logarithm, so that noise near black is not structure.
FLOOR = 0.01
#: Standard deviation of the blur, pixels, for faint edges; and the scale of a smaller preview where the same blur is
#: twice as coarse, for noisy photos.
_BLUR, _COARSE = 1.2, 0.5
#: Steepest slope inside a piece, natural log per pixel: from a dull edge on a gray bench to a card under a shadow.
_SLOPES = (0.02, 0.03, 0.045, 0.065, 0.09, 0.13)
#: Share of the frame: from a patch of a chart, or a third of the smallest stepped card, to nearly all of it.
_SMALLEST, _LARGEST = 0.006, 0.9
#: Fewest preview pixels across a piece; with fewer, texture and noise look alike.
_NARROWEST = 24
#: Overlap over union from which two outlines are the same object.
_SAME = 0.6
#: Share of the outline filled by the piece; a card gives 0.97 to 0.99 at this size.
_FOUR_SIDED = (0.95, 0.90)
#: Deviation of the worst corner from a right angle, degrees; a camera tilted by 30 degrees gives about 20.
_SQUARE = (25.0, 40.0)
#: Aspect ratio: cards have up to 1.6, a tilted camera adds a factor of 1.3; rulers and tapes have over 4.
_ASPECT = (2.1, 2.8)
#: Limits for two pieces to be patches of one chart or stepped card: ratio of sides, difference in direction (degrees),
#: sideways offset and distance from one to the other (in sides).
_TWIN_SIDES, _TWIN_TURN, _TWIN_SIDESTEP, _TWIN_DISTANCE = 1.3, 8.0, 0.2, 1.7
#: Distance of two points to compare structure, preview pixels; beyond it the noise of a preview is independent.
_LAG = 4
#: Smallest scale of light on a piece, relative to its shorter side; structure is finer.
_LIGHT_SCALE = 1 / 12
#: Standard deviation over median absolute deviation of normal errors: 1 / normal quantile(0.75).
ROBUST = 1.4826
#: Stride, each way, for sampling surroundings and counting pixels; for speed.
_THINNED = 4


@dataclass(frozen=True, eq=False)
class Piece:
    """A plain piece of the preview, described by its quadrilateral."""

    #: (4, 2) float32; preview pixels, in order around the outline.
    corners: FloatArray
    #: Share of the quadrilateral that the piece fills.
    filled: float

    @property
    def area(self) -> float:
        """Area, square preview pixels."""
        return _area(self.corners)

    @property
    def center(self) -> FloatArray:
        """(2,) center, preview pixels; mean of the corners."""
        center: FloatArray = self.corners.mean(axis=0)
        return center

    @property
    def size(self) -> tuple[float, float]:
        """Lengths of the first and second side, preview pixels; means of opposite sides."""
        lengths = np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1)
        return float(lengths[0] + lengths[2]) / 2, float(lengths[1] + lengths[3]) / 2

    @cached_property
    def shape(self) -> float:
        """Score of the outline as a card's, 0 to 1."""
        ahead = np.roll(self.corners, -1, axis=0) - self.corners
        ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
        cosines = np.abs((ahead * np.roll(ahead, 1, axis=0)).sum(axis=1))
        off_square = float(np.degrees(np.arcsin(np.minimum(cosines, 1))).max())
        aspect = max(self.size) / min(self.size)
        return score(self.filled, _FOUR_SIDED) * score(off_square, _SQUARE) * score(aspect, _ASPECT)

    def is_twin_of(self, other: Piece) -> bool:
        """Whether both are alike and in one row, like patches of a chart."""
        sides = np.stack([self.corners[1] - self.corners[0], self.corners[3] - self.corners[0]], axis=1)
        way = np.linalg.solve(sides, other.center - self.center)
        sidestep, distance = np.sort(np.abs(way))
        turned = (other.direction - self.direction + 45) % 90 - 45
        factors = np.sort(self.size) / np.sort(other.size)
        alike = bool(np.all((factors < _TWIN_SIDES) & (factors > 1 / _TWIN_SIDES)))
        return alike and abs(turned) < _TWIN_TURN and sidestep < _TWIN_SIDESTEP and distance < _TWIN_DISTANCE

    @property
    def direction(self) -> float:
        """Direction of the first side, degrees."""
        x, y = self.corners[1] - self.corners[0]
        return math.degrees(math.atan2(y, x))

    def region(self, shape: tuple[int, ...]) -> Region:
        """The piece without its rim, in fractions of the photo."""
        import cv2

        width, height = self.size
        rim = INSET * min(width, height)
        flat = self._flat_corners()
        inner = np.clip(flat, rim, np.array([width - rim, height - rim])).astype(np.float32)
        corners = cv2.perspectiveTransform(inner[None], cv2.getPerspectiveTransform(flat, self.corners))[0]
        # OpenCV puts integer coordinates at pixel centers; fractions of a photo count from its edge.
        corners = (corners + 0.5) / (shape[1], shape[0])
        return Region(RegionKind.CARD, tuple((float(x), float(y)) for x, y in np.clip(corners, 0, 1)), "card")

    def _flat_corners(self) -> FloatArray:
        width, height = self.size
        return np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)

    def inside(self, log_rgb: FloatArray) -> FloatArray:
        """(h, w, 3) the rectified piece, without its rim."""
        import cv2

        width, height = (round(side) for side in self.size)
        rim = round(INSET * min(width, height))
        warp = cv2.getPerspectiveTransform(self.corners, self._flat_corners())
        flat: FloatArray = cv2.warpPerspective(log_rgb, warp, (width, height))
        return flat[rim : height - rim, rim : width - rim]

    def around(self, log_rgb: FloatArray) -> FloatArray:
        """(3,) median log RGB of the rest of the photo."""
        import cv2

        thin = log_rgb[::_THINNED, ::_THINNED]
        rest = np.ones(thin.shape[:2], np.uint8)
        cv2.fillConvexPoly(rest, np.round(self.corners / _THINNED).astype(np.int32), 0)
        median: FloatArray = np.median(thin[rest > 0], axis=0)
        return median

    def overlap(self, other: Piece) -> float:
        """Area common to both, square preview pixels."""
        import cv2

        return float(cv2.intersectConvexConvex(self.corners, other.corners)[0])


def plain_pieces(log_rgb: FloatArray) -> list[Piece]:
    """Plain four-sided pieces of a preview, each once, with its clearest outline."""
    import cv2

    if min(log_rgb.shape[:2]) < _NARROWEST:
        return []
    found = []
    coarse = cv2.resize(log_rgb, None, fx=_COARSE, fy=_COARSE, interpolation=cv2.INTER_AREA)
    for size, small in ((1.0, log_rgb), (_COARSE, coarse)):
        steepest = reduce(cv2.max, (_slope(cv2.extractChannel(small, channel), size) for channel in range(3)))
        for limit in _SLOPES:
            found += _quadrilaterals((steepest < limit).view(np.uint8), size)
    found.sort(key=lambda piece: -piece.filled)
    distinct: list[Piece] = []
    for piece in found:
        if not any(_is_same(piece, other) for other in distinct):
            distinct.append(piece)
    return distinct


def _slope(plane: FloatArray, size: float) -> FloatArray:
    """(h, w) float32; steepness of a blurred plane that is `size` times the preview; per preview pixel."""
    import cv2

    soft = cv2.GaussianBlur(plane, (0, 0), _BLUR)
    # The weights of a Sobel kernel add up to 8 for a slope of 1 per pixel.
    across, down = (cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx, scale=size / 8) for dx in (1, 0))
    slope: FloatArray = cv2.magnitude(across, down, soft)
    return slope


def _quadrilaterals(plain: ByteArray, size: float) -> list[Piece]:
    """Connected parts of a mask (h, w), `size` times the preview, that fill a quadrilateral well enough."""
    import cv2

    pieces = []
    _, labels = cv2.connectedComponents(plain, connectivity=4)
    thin = labels[::_THINNED, ::_THINNED]
    for label in np.flatnonzero(np.bincount(thin.ravel()) >= _SMALLEST * thin.size):
        if label == 0:
            continue
        mask = (labels == label).view(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        outline = max(outlines, key=cv2.contourArea)
        hull, area = cv2.convexHull(outline), cv2.contourArea(outline)
        if len(hull) < 4 or area < _FOUR_SIDED[1] * cv2.contourArea(hull):
            continue
        corners = cv2.approxPolyN(hull.astype(np.float32), 4, ensure_convex=False).reshape(-1, 2)
        if len(corners) == 4 and _area(corners) < _LARGEST * plain.size:
            # OpenCV puts integer coordinates at pixel centers.
            pieces.append(Piece((corners + 0.5) / np.float32(size) - 0.5, area / _area(corners)))
    return [piece for piece in pieces if piece.shape > 0 and min(piece.size) >= _NARROWEST]


def _is_same(piece: Piece, other: Piece) -> bool:
    shared = piece.overlap(other)
    return shared > _SAME * (piece.area + other.area - shared)


def _area(corners: FloatArray) -> float:
    import cv2

    return float(cv2.contourArea(corners))


def score(value: float, limits: tuple[float, float]) -> float:
    """Linear score: 1 up to the first limit, 0 from the second; the limits may run either way."""
    good, bad = limits
    return float(min(1.0, max(0.0, (bad - value) / (bad - good))))


def score_between(value: float, limits: tuple[float, float, float, float]) -> float:
    """Two-sided score: rises between the first two limits, falls between the last two."""
    return score(value, (limits[1], limits[0])) * score(value, (limits[2], limits[3]))


def structure(brightness: FloatArray, inside: BoolArray | None = None) -> float:
    """Standard deviation of a piece's structure (neither light nor noise), natural log.

    Light changes slowly and is subtracted. Noise decorrelates within a few pixels; brush marks, weave and grain do not.
    The result is the covariance at that distance, in the direction of its maximum, minus its expected chance value.

    Parameters
    ----------
    brightness : (h, w) float32; natural log of linear light
    inside : (h, w) bool, optional
        Mask of the piece; all pixels by default.
    """
    import cv2

    inside = np.ones(brightness.shape, bool) if inside is None else inside
    weight = inside.astype(np.float32)
    scale = _LIGHT_SCALE * min(brightness.shape)
    light = cv2.GaussianBlur(brightness * weight, (0, 0), scale)
    if not inside.all():
        # Far from an irregular piece the weight vanishes; those pixels don't count.
        light /= np.maximum(cv2.GaussianBlur(weight, (0, 0), scale), np.finfo(np.float32).tiny)
    fine = np.where(inside, brightness - light, 0)
    # A speck of dust or a printed word is not texture: values are clipped at 3 robust standard deviations.
    most = 3 * ROBUST * float(np.median(np.abs(fine[inside])))
    fine = np.clip(fine, -most, most)
    covariance = max(
        float((here * there).sum() / (kept_here * kept_there).sum())
        for down, across in ((0, _LAG), (_LAG, 0), (_LAG, _LAG), (_LAG, -_LAG))
        for (here, there), (kept_here, kept_there) in [(_apart(fine, down, across), _apart(weight, down, across))]
    )
    by_chance = 2 * float(fine[inside].var()) / math.sqrt(inside.sum())
    return math.sqrt(max(covariance - by_chance, 0.0))


def _apart(values: FloatArray, down: int, across: int) -> tuple[FloatArray, FloatArray]:
    """The parts of (h, w) values whose pixels are that far apart."""
    h, w = values.shape
    left, right = max(across, 0), max(-across, 0)
    return values[down:, left : w - right], values[: h - down, right : w - left]


def light_slope(brightness: FloatArray) -> float:
    """Change of light from edge to edge of a piece along the steepest direction, natural log."""
    h, w = brightness.shape
    down, across = np.linspace(-0.5, 0.5, h), np.linspace(-0.5, 0.5, w)
    # Least squares of a plane; on a full grid the two slopes are independent.
    slopes = (brightness.mean(axis=1) @ down / (down @ down), brightness.mean(axis=0) @ across / (across @ across))
    return float(np.hypot(*slopes))


def log_light(preview: ByteArray) -> FloatArray:
    """(h, w, 3) float32 natural log of the linear light of an encoded preview, with `FLOOR` added."""
    import cv2

    light: FloatArray = cv2.LUT(np.ascontiguousarray(preview), _log_table())
    return light


@cache
def _log_table() -> FloatArray:
    """(256,) float32 natural log of linear light, for each encoded byte."""
    table: FloatArray = np.log(linear_from_encoded(np.arange(256) / 255) + FLOOR).astype(np.float32)
    return table
