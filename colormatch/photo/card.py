"""Find the gray card in a photo without help, and ask where it can't be told.

A gray card is plain, even, four-sided, whole, grayer than the wood around it and about as light as 18 % should look
beside it. Each of these is a score from 0 to 1; their product is the confidence. Where nothing reaches :data:`SURE`, or
two things come near it, the person is asked. All of it happens on a small preview, in the logarithm of linear light:
there the step at an edge, a cast and a brightness are differences that the exposure doesn't change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, cached_property, reduce
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.space import linear_from_encoded
from colormatch.errors import CardNotFound
from colormatch.records import BoolArray, ByteArray, Card, CardKind, FloatArray, Region, RegionKind

if TYPE_CHECKING:
    from colormatch.photo.read import DecodedPhoto

#: Longest side of the preview that is searched, pixels: a card of 3 % of the frame is still over 100 pixels wide.
PREVIEW_SIDE = 800
#: Confidence from which the finder goes on without asking; that of a rival because of which it asks all the same.
SURE, RIVAL = 0.5, 0.2
#: Confidence from which a candidate is worth proposing when asking, and how many are proposed.
_WORTH_PROPOSING, _PROPOSED = 0.02, 3
#: Part of the shorter side left out along each edge: bevel, blur and a worn rim are never sampled.
INSET = 0.08

# --- segmentation: a piece is plain where the blurred logarithm of RGB is nearly level -------------------------------

#: Added to linear light before the logarithm, so that noise near black doesn't count as structure.
_FLOOR = 0.01
#: Least linear light of which a logarithm is taken.
_LEAST = 1e-4
#: Standard deviations of the blur, preview pixels: fine for faint edges, coarse for noisy photos.
_BLURS = (1.2, 2.4)
#: Steepest slope inside a piece, natural log per pixel: from a dull edge on a gray bench to a card under a shadow.
_SLOPES = (0.02, 0.03, 0.045, 0.065, 0.09, 0.13)
#: Share of the frame: half of the smallest card promised (3 %), and nearly all of it; smaller pieces are only looked at
#: because they may be patches of a chart, to which a larger one then belongs.
_SMALLEST, _LARGEST, _SMALLEST_PATCH = 0.015, 0.9, 0.006
#: Preview pixels across a piece; in less there is no telling texture from noise.
_NARROWEST = 24
#: Two outlines are one thing where their overlap is this share of their union; one lies on the other where it is this
#: share of the smaller.
_SAME, _ON_TOP = 0.6, 0.5

# --- evidence: (speaks fully for a card, rules it out), a straight line between; where it is a matter of too little and
# too much, (rules it out, speaks for it, speaks for it, rules it out) ------------------------------------------------

#: Preview pixels between a whole card and the edge of the photo.
_WHOLE = (4.0, 2.0)
#: Share of the outline that the piece fills; a card gives 0.97 to 0.99 at this size.
_FOUR_SIDED = (0.95, 0.90)
#: Degrees off a right angle at the worst corner; a camera tipped by 30 degrees gives about 20.
_SQUARE = (25.0, 40.0)
#: Longer over shorter side: cards have up to 1.6, a tipped camera adds a factor of 1.3; rulers and tapes have over 4.
_ASPECT = (2.1, 2.8)
#: Structure, natural log (about a share of brightness): a printed card stays below 0.016, brush marks begin at 0.025.
_PLAIN = (0.018, 0.028)
#: Change of light from edge to edge, natural log; 0.5 is a hand's shadow over half of the card.
_EVEN = (0.7, 1.2)
#: log(red/green) and log(blue/green) less those of the surroundings. Beside wood, which is red and yellow, gray is less
#: red and more blue, by up to 0.85 and 0.9 (simulated); beside a gray bench and nothing else it is the same.
_REDDER, _BLUER = (-1.2, -0.95, 0.03, 0.15), (-0.15, -0.03, 1.05, 1.4)
#: Either of them, of the piece itself: what a camera's white balance may leave in a bad light.
_CAST = (0.75, 1.0)
#: Stops by which the piece looks lighter or darker than a card may; see `_stops_off`.
_LIGHTER = (-1.6, -1.0, 0.4, 0.9)
#: Reflectance of the rest of the photo if the piece is a card in the same light: from black over dark wood to pale wood
#: and to white; the card in half of the light makes it look twice as light.
_REST = (0.04, 0.07, 0.6, 1.1)
#: Two pieces are patches of one chart or stepped card when their sides differ by less than this factor, their ways
#: by less than these degrees, and the step from one to the other, in sides, goes this little sideways and this far.
_TWIN_SIDES, _TWIN_TURN, _TWIN_SIDESTEP, _TWIN_DISTANCE = 1.3, 8.0, 0.2, 1.7
#: Distance of two points whose structure is compared, preview pixels: beyond it the noise of a preview is independent.
_LAG = 4
#: Light over a piece changes over more than this share of its shorter side, structure over less.
_LIGHT_SCALE = 1 / 12
#: The surroundings are taken from every this many pixels of the preview, each way; for speed.
_THINNED = 4

#: Reflectance of the card that is looked for.
_REFLECTANCE = 0.18
#: How far automatic exposure follows the scene, our estimate of its most: exposure goes with the scene's reflectance to
#: the power of -0.5, and is never raised by more than this many stops.
_AUTO_EXPOSURE, _MOST_RAISED = 0.5, 0.8

#: Why the person is asked, by the evidence that fell short.
_DOUBTS = {
    "whole": ("What looks like the gray card reaches out of the photo.", "Take the photo again with the whole card."),
    "shape": ("What may be the gray card has no clear four-sided outline.", ""),
    "plain": ("What may be the gray card isn't plain.", ""),
    "even": ("The light on what may be the gray card is very uneven.", ""),
    "gray": ("What may be the gray card isn't gray beside the rest of the photo.", ""),
    "cast": ("What may be the gray card is strongly colored.", ""),
    "lightness": ("What may be the gray card is lighter or darker than such a card can look here.", ""),
    "alone": ("What may be the gray card looks like one patch of a chart or of a stepped card.", ""),
}
_MARK_IT = "Mark the card in the photo yourself, or go on without one."


@dataclass(frozen=True, eq=False)
class CardCandidate:
    """Something in the photo that may be the gray card."""

    #: Where it lies, inset: everything inside may be sampled.
    region: Region
    #: 0 to 1, the product of the scores.
    confidence: float
    #: Each piece of evidence by name, 0 (rules a card out) to 1 (speaks for it).
    scores: dict[str, float]

    @property
    def doubt(self) -> str:
        """Name of the evidence that speaks most against a card."""
        return min(self.scores, key=self.scores.__getitem__)

    @property
    def is_worth_proposing(self) -> bool:
        """Whether a person who is asked should be shown it: possible, or ruled out only by being cut or in a row."""
        others = math.prod(score for name, score in self.scores.items() if name not in ("whole", "alone"))
        return self.confidence >= _WORTH_PROPOSING or others >= SURE


def find_card(photo: DecodedPhoto) -> Card:
    """The gray card in a photo.

    Returns
    -------
    Card
        Its region lies well inside the card. Whether the card can be used is another question: `check_card`.

    Raises
    ------
    CardNotFound
        There is none, there are several, or the finder isn't sure. ``facts["candidates"]`` holds what it would propose,
        a tuple of `CardCandidate`, best first.
    """
    return choose_card(find_card_in(photo.preview(PREVIEW_SIDE)))


def choose_card(candidates: list[CardCandidate]) -> Card:
    """The candidate that is surely the card; otherwise `CardNotFound`, as `find_card` raises it."""
    sure = [candidate for candidate in candidates if candidate.confidence >= SURE]
    rivals = [candidate for candidate in candidates if candidate.confidence >= RIVAL]
    proposed = [candidate for candidate in candidates if candidate.is_worth_proposing][:_PROPOSED]
    if sure and len(rivals) == 1:
        return Card(CardKind.GRAY, sure[0].region, "auto", round(sure[0].confidence, 3))
    if len(rivals) > 1:
        what, fix = "More than one thing in the photo may be the gray card.", "Mark the right one."
    elif proposed:
        what, fix = _DOUBTS[proposed[0].doubt]
    else:
        what, fix = "No gray card was found in the photo.", ""
    raise CardNotFound(what, fix or _MARK_IT, candidates=tuple(proposed))


def find_card_in(preview: ByteArray) -> list[CardCandidate]:
    """Everything in a preview that was looked at, best first; of two things that overlap, the better.

    Parameters
    ----------
    preview : (h, w, 3) uint8; encoded sRGB, about `PREVIEW_SIDE` pixels on the longest side
    """
    log_rgb = _log_table()[preview]
    found: list[tuple[_Piece, CardCandidate]] = []
    looked_at = [(piece, piece.scores(log_rgb)) for piece in _plain_pieces(log_rgb)]
    for piece, scores in looked_at:
        if piece.area < _SMALLEST * log_rgb[..., 0].size:
            continue
        patches = (other for other, its in looked_at if other is not piece and its["plain"] > 0)
        scores["alone"] = 0.0 if any(piece.is_twin_of(other) for other in patches) else 1.0
        confidence = math.prod(scores.values())
        found.append((piece, CardCandidate(piece.region(preview.shape), confidence, scores)))
    found.sort(key=lambda pair: (-pair[1].confidence, -sum(pair[1].scores.values())))
    best: list[tuple[_Piece, CardCandidate]] = []
    for piece, candidate in found:
        if all(piece.overlap(other) < _ON_TOP * min(piece.area, other.area) for other, _ in best):
            best.append((piece, candidate))
    return [candidate for _, candidate in best]


@dataclass(frozen=True, eq=False)
class _Piece:
    """A plain piece of the preview, by the quadrilateral around it."""

    #: (4, 2) float32; preview pixels, in order around the outline.
    corners: FloatArray
    #: Share of the quadrilateral that the piece fills.
    filled: float

    @property
    def area(self) -> float:
        """Square preview pixels."""
        return _area(self.corners)

    @property
    def size(self) -> tuple[float, float]:
        """Preview pixels along the first side and along the second, mean of opposite sides."""
        lengths = np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1)
        return float(lengths[0] + lengths[2]) / 2, float(lengths[1] + lengths[3]) / 2

    @cached_property
    def shape(self) -> float:
        """How well the outline speaks for a card, 0 to 1."""
        ahead = np.roll(self.corners, -1, axis=0) - self.corners
        ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
        cosines = np.abs((ahead * np.roll(ahead, 1, axis=0)).sum(axis=1))
        off_square = float(np.degrees(np.arcsin(np.minimum(cosines, 1))).max())
        aspect = max(self.size) / min(self.size)
        return _score(self.filled, _FOUR_SIDED) * _score(off_square, _SQUARE) * _score(aspect, _ASPECT)

    def is_twin_of(self, other: _Piece) -> bool:
        """Whether the two stand in one row and are alike, as the patches of a chart do."""
        sides = np.stack([self.corners[1] - self.corners[0], self.corners[3] - self.corners[0]], axis=1)
        way = np.linalg.solve(sides, other.corners.mean(axis=0) - self.corners.mean(axis=0))
        sidestep, distance = np.sort(np.abs(way))
        turned = (other.direction - self.direction + 45) % 90 - 45
        factors = np.sort(self.size) / np.sort(other.size)
        alike = bool(np.all((factors < _TWIN_SIDES) & (factors > 1 / _TWIN_SIDES)))
        return alike and abs(turned) < _TWIN_TURN and sidestep < _TWIN_SIDESTEP and distance < _TWIN_DISTANCE

    @property
    def direction(self) -> float:
        """Of the first side, degrees."""
        x, y = self.corners[1] - self.corners[0]
        return math.degrees(math.atan2(y, x))

    def scores(self, log_rgb: FloatArray) -> dict[str, float]:
        """What outline, surface and surroundings say, each 0 to 1."""
        frame = np.array(log_rgb.shape[1::-1])
        to_edge = float(min(self.corners.min(), (frame - self.corners).min()))
        inside = self._inside(log_rgb)
        brightness = inside.mean(axis=2)
        color = np.median(inside.reshape(-1, 3), axis=0)
        around = self._around(log_rgb)
        redder, greener, bluer = color - around
        red, green, blue = color
        log_card, log_rest = (math.log(np.exp(log).mean() - _FLOOR + _LEAST) for log in (color, around))
        return {
            "shape": self.shape,
            "whole": _score(to_edge, _WHOLE),
            "plain": _score(structure(brightness), _PLAIN),
            "even": _score(_slope(brightness), _EVEN),
            "gray": _score_between(redder - greener, _REDDER) * _score_between(bluer - greener, _BLUER),
            "cast": _score(max(abs(red - green), abs(blue - green)), _CAST),
            "lightness": _score_between(_stops_off(log_card, log_card - log_rest), _LIGHTER)
            * _score_between(_REFLECTANCE * math.exp(log_rest - log_card), _REST),
        }

    def region(self, shape: tuple[int, ...]) -> Region:
        """The piece without its rim, in fractions of the photo."""
        import cv2

        width, height = self.size
        rim = INSET * min(width, height)
        flat = self._flat_corners()
        inner = np.clip(flat, rim, np.array([width - rim, height - rim])).astype(np.float32)
        corners = cv2.perspectiveTransform(inner[None], cv2.getPerspectiveTransform(flat, self.corners))[0]
        # Whole coordinates are pixel centers to OpenCV; a photo's fractions count from its edge.
        corners = (corners + 0.5) / (shape[1], shape[0])
        return Region(RegionKind.CARD, tuple((float(x), float(y)) for x, y in np.clip(corners, 0, 1)), "gray card")

    def _flat_corners(self) -> FloatArray:
        width, height = self.size
        return np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)

    def _inside(self, log_rgb: FloatArray) -> FloatArray:
        """(h, w, 3) the piece seen from straight above, without its rim."""
        import cv2

        width, height = (round(side) for side in self.size)
        rim = round(INSET * min(width, height))
        warp = cv2.getPerspectiveTransform(self.corners, self._flat_corners())
        flat: FloatArray = cv2.warpPerspective(log_rgb, warp, (width, height))
        return flat[rim : height - rim, rim : width - rim]

    def _around(self, log_rgb: FloatArray) -> FloatArray:
        """(3,) median log RGB of the rest of the photo."""
        import cv2

        thin = log_rgb[::_THINNED, ::_THINNED]
        rest = np.ones(thin.shape[:2], np.uint8)
        cv2.fillConvexPoly(rest, np.round(self.corners / _THINNED).astype(np.int32), 0)
        median: FloatArray = np.median(thin[rest > 0], axis=0)
        return median

    def overlap(self, other: _Piece) -> float:
        """Square preview pixels that lie in both."""
        import cv2

        return float(cv2.intersectConvexConvex(self.corners, other.corners)[0])


def _plain_pieces(log_rgb: FloatArray) -> list[_Piece]:
    """The plain four-sided pieces of a preview, each once, by its clearest outline."""
    import cv2

    found = []
    for blur in _BLURS:
        soft = cv2.GaussianBlur(log_rgb, (0, 0), blur)
        # A Sobel kernel's weights add up to 8 for a slope of 1 per pixel.
        across, down = (cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx, scale=1 / 8) for dx in (1, 0))
        steepest = reduce(cv2.max, cv2.split(across * across + down * down))
        for limit in _SLOPES:
            found += _quadrilaterals((steepest < limit * limit).astype(np.uint8))
    found.sort(key=lambda piece: -piece.filled)
    distinct: list[_Piece] = []
    for piece in found:
        if not any(_is_same(piece, other) for other in distinct):
            distinct.append(piece)
    return distinct


def _quadrilaterals(plain: ByteArray) -> list[_Piece]:
    """The connected pieces of a mask (h, w) that fill a quadrilateral well enough."""
    import cv2

    pieces = []
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(plain, connectivity=4)
    for label, (x, y, w, h, count) in enumerate(boxes):
        if label == 0 or count < _SMALLEST_PATCH * plain.size:
            continue
        mask = (labels[y : y + h, x : x + w] == label).astype(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE, offset=(int(x), int(y)))
        outline = max(outlines, key=cv2.contourArea)
        hull, area = cv2.convexHull(outline), cv2.contourArea(outline)
        if len(hull) < 4 or area < _FOUR_SIDED[1] * cv2.contourArea(hull):
            continue
        corners = cv2.approxPolyN(hull.astype(np.float32), 4, ensure_convex=False).reshape(-1, 2)
        if len(corners) == 4 and _area(corners) < _LARGEST * plain.size:
            pieces.append(_Piece(corners, area / _area(corners)))
    return [piece for piece in pieces if piece.shape > 0 and min(piece.size) >= _NARROWEST]


def _is_same(piece: _Piece, other: _Piece) -> bool:
    shared = piece.overlap(other)
    return shared > _SAME * (piece.area + other.area - shared)


def _area(corners: FloatArray) -> float:
    import cv2

    return float(cv2.contourArea(corners))


def _score(value: float, limits: tuple[float, float]) -> float:
    """1 up to the first limit, 0 from the second on, a straight line between; the limits may run either way."""
    good, bad = limits
    return float(min(1.0, max(0.0, (bad - value) / (bad - good))))


def _score_between(value: float, limits: tuple[float, float, float, float]) -> float:
    """The same from both sides: rises between the first two limits, falls between the last two."""
    return _score(value, (limits[1], limits[0])) * _score(value, (limits[2], limits[3]))


def structure(brightness: FloatArray, inside: BoolArray | None = None) -> float:
    """Standard deviation of what is neither light nor noise on a piece, natural log.

    Light changes slowly and is taken off. Noise has forgotten itself some pixels on; brush marks, weave and grain have
    not: it is the covariance at that distance, in the direction in which it is largest, less what chance gives it.

    Parameters
    ----------
    brightness : (h, w) float32; natural log of linear light
    inside : (h, w) bool, optional
        Which pixels belong to the piece; all by default.
    """
    import cv2

    inside = np.ones(brightness.shape, bool) if inside is None else inside
    weight = inside.astype(np.float32)
    scale = _LIGHT_SCALE * min(brightness.shape)
    light = cv2.GaussianBlur(brightness * weight, (0, 0), scale) / cv2.GaussianBlur(weight, (0, 0), scale)
    fine = np.where(inside, brightness - light, 0)
    # A speck of dust or a printed word is no texture: 3 robust standard deviations are the most that counts.
    most = 3 * 1.4826 * float(np.median(np.abs(fine[inside])))
    fine = np.clip(fine, -most, most)
    covariance = max(
        float((here * there).sum() / (kept_here * kept_there).sum())
        for down, across in ((0, _LAG), (_LAG, 0), (_LAG, _LAG), (_LAG, -_LAG))
        for (here, there), (kept_here, kept_there) in [(_apart(fine, down, across), _apart(weight, down, across))]
    )
    by_chance = 2 * float(fine[inside].var()) / math.sqrt(inside.sum())
    return math.sqrt(max(covariance - by_chance, 0.0))


def _apart(values: FloatArray, down: int, across: int) -> tuple[FloatArray, FloatArray]:
    """The parts of (h, w) values whose pixels lie that far from each other."""
    h, w = values.shape
    left, right = max(across, 0), max(-across, 0)
    return values[down:, left : w - right], values[: h - down, right : w - left]


def _slope(brightness: FloatArray) -> float:
    """Change of light from one edge of a piece to the other along the steepest way, natural log."""
    h, w = brightness.shape
    down, across = np.linspace(-0.5, 0.5, h), np.linspace(-0.5, 0.5, w)
    # Least squares of a plane; on a full grid the two slopes are independent.
    slopes = (brightness.mean(axis=1) @ down / (down @ down), brightness.mean(axis=0) @ across / (across @ across))
    return float(np.hypot(*slopes))


def _stops_off(log_brightness: float, over_rest: float) -> float:
    """Stops by which a piece looks lighter (above 0) or darker (below 0) than a card can.

    Parameters
    ----------
    log_brightness : natural log of its linear light
    over_rest : the same less that of the rest of the photo

    Notes
    -----
    A camera that doesn't follow the scene renders the card at its reflectance. One that does renders it lighter where
    the rest is darker than the card, and darker where the rest is lighter. Between the two lies the range of a card;
    white paper and black tape lie beyond it.
    """
    stops = (log_brightness - math.log(_REFLECTANCE)) / math.log(2)
    low, high = sorted((0.0, min(_AUTO_EXPOSURE * over_rest / math.log(2), _MOST_RAISED)))
    return max(stops - high, 0.0) + min(stops - low, 0.0)


@cache
def _log_table() -> FloatArray:
    """(256,) float32 natural log of linear light, for each encoded byte."""
    table: FloatArray = np.log(linear_from_encoded(np.arange(256) / 255) + _FLOOR).astype(np.float32)
    return table
