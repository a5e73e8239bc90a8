"""Find the three-step card in a photo automatically, or ask the user if unsure.

A white, a gray and a black piece of equal size lie in a row without a fourth, in any order and orientation, possibly
seen at an angle. Their light has the card's ratios, within a camera's tone curve, and all three have the same cast.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from colormatch.records import ByteArray, Card, CardKind, FloatArray
from colormatch.reference.evidence import CardCandidate, best_of_overlapping, choose, even, grayer, plain, uncast, whole
from colormatch.reference.quadrilaterals import (
    FLOOR,
    PREVIEW_SIDE,
    Piece,
    log_light,
    plain_pieces,
    score,
    score_between,
)
from colormatch.reference.three_step import THREE_STEPS, check_steps

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto

#: Largest relative difference between the two distances from step to step; a view at an angle gives 0.1.
_LINE = 0.2
#: Share of a piece inside the strip from which the piece belongs to it.
_INSIDE = 0.5
#: Distances tried between a piece's rim and its step's joint, in steps: the blur at a joint, or a printed gap.
_GAPS = np.linspace(0, 0.2, 11)
#: Distance of the pieces' twelve corners from three equal steps in a row, root mean square in shorter sides: full
#: support for a card, rules it out.
_UNEQUAL = (0.03, 0.07)
#: Contrast of white to gray and of gray to black over that of the reflectances, in logs: flare and a flat curve remove
#: a third, clipping more; S-shaped curves add a half (simulated).
_CONTRAST = (0.45, 0.62, 1.6, 2.0)
#: Difference in cast of a step from the gray one, natural log, and the share of the gray's own cast added to it: a tone
#: curve strengthens a cast in the middle and weakens it at the ends (simulated).
_OTHER_CAST, _CAST_SHARE = (0.2, 0.35), 0.6
#: Cast of the white step, natural log: common cameras leave up to 0.5 (simulated); the tone curve weakens it there.
_WHITE_CAST = (0.5, 0.62)
#: Least linear light for a logarithm: below it a black step of 8 bits is all noise.
_LEAST = 2e-3

#: Reason for asking the user, by the failed evidence.
_DOUBTS = {
    "whole": (
        "What looks like the three-step card extends beyond the photo.",
        "Take the photo again with the whole card.",
    ),
    "shape": ("What may be the three-step card has no clear four-sided steps.", ""),
    "equal": ("The steps of what may be the three-step card have different sizes; part of it may be covered.", ""),
    "plain": ("A step of what may be the three-step card isn't plain.", ""),
    "even": ("The light on what may be the three-step card is very uneven.", ""),
    "gray": ("What may be the three-step card isn't gray compared with the rest of the photo.", ""),
    "cast": ("The steps of what may be the three-step card aren't all gray.", ""),
    "contrast": ("What may be the three-step card doesn't have the brightness of white, gray and black.", ""),
    "alone": ("What may be the three-step card is part of a longer row or of a chart.", ""),
}


class _Row(NamedTuple):
    """Three pieces in a row, forming a strip."""

    #: In order along the strip.
    steps: tuple[Piece, Piece, Piece]
    strip: Piece
    #: Root mean square distance of the corners from three equal steps, in shorter sides of a step.
    unequal: float


def find_three_steps(photo: DecodedPhoto, reflectances: Sequence[float] = THREE_STEPS) -> Card:
    """The three-step card in a photo.

    Parameters
    ----------
    photo : DecodedPhoto
    reflectances : three floats; unitless, 0 to 1
        White, gray and black.

    Returns
    -------
    Card
        Its region covers the three steps without their rim.

    Raises
    ------
    CardNotFound
        None, several, or no sure candidate; for ``facts`` see `evidence.choose`.
    BadInput
        See `check_steps`.
    """
    return choose_three_steps(find_three_steps_in(photo.preview(PREVIEW_SIDE), reflectances))


def choose_three_steps(candidates: list[CardCandidate]) -> Card:
    """The one candidate accepted as the card; raises `CardNotFound` as `find_three_steps` does."""
    return choose(candidates, CardKind.THREE_STEP, _DOUBTS)


def find_three_steps_in(preview: ByteArray, reflectances: Sequence[float] = THREE_STEPS) -> list[CardCandidate]:
    """All rows of three similar pieces in a preview, best first; of two that overlap, only the better.

    Parameters
    ----------
    preview : (h, w, 3) uint8; encoded sRGB, about `PREVIEW_SIDE` pixels on the longest side
    reflectances : three floats; unitless, 0 to 1
        White, gray and black.
    """
    log_rgb = log_light(preview)
    pieces = plain_pieces(log_rgb)
    wanted = -np.diff(np.log(check_steps(reflectances)))
    found = []
    for row in _rows(pieces):
        scores = _scores(row, pieces, log_rgb, wanted)
        candidate = CardCandidate(row.strip.region(preview.shape), math.prod(scores.values()), scores)
        found.append((row.strip, candidate))
    return best_of_overlapping(found)


def _rows(pieces: list[Piece]) -> list[_Row]:
    """Each piece with a twin on both sides."""
    rows = []
    for middle in pieces:
        beside = [other for other in pieces if other is not middle and middle.is_twin_of(other)]
        for index, first in enumerate(beside):
            for last in beside[index + 1 :]:
                there, on = (middle.center - first.center, last.center - middle.center)
                # On one line and about equally far apart.
                if np.linalg.norm(there - on) < _LINE * np.linalg.norm(there + on):
                    rows.append(_row((first, middle, last)))
    return rows


def _row(steps: tuple[Piece, Piece, Piece]) -> _Row:
    """Fit a strip to the corners of three pieces: equal steps on a plane, in perspective."""
    along = steps[2].center - steps[0].center
    across = np.array([-along[1], along[0]])
    corners = []
    for step in steps:
        by_way = step.corners[np.argsort(step.corners @ along)]
        near, far = (pair[np.argsort(pair @ across)] for pair in (by_way[:2], by_way[2:]))
        corners += [near[0], far[0], far[1], near[1]]
    seen = np.array(corners, np.float32)
    fits = [_fit(seen, gap) for gap in _GAPS]
    unequal, outline = min(fits, key=lambda fit: fit[0])
    return _Row(steps, Piece(outline, 1.0), unequal / min(min(step.size) for step in steps))


def _fit(seen: FloatArray, gap: float) -> tuple[float, FloatArray]:
    """Distance of twelve corners from steps with such gaps, root mean square pixels, and the strip's (4, 2) outline."""
    import cv2

    ends = [(gap, 0), (1 - gap, 0), (1 - gap, 1), (gap, 1)]
    flat = np.array([(step + along, across) for step in range(3) for along, across in ends], np.float32)
    plane, _ = cv2.findHomography(flat, seen)
    if plane is None:
        return math.inf, seen[:4]
    off = cv2.perspectiveTransform(flat[None], plane)[0] - seen
    rim = np.array([[(gap, 0), (3 - gap, 0), (3 - gap, 1), (gap, 1)]], np.float32)
    return float(np.sqrt((off**2).sum(axis=1).mean())), cv2.perspectiveTransform(rim, plane)[0]


def _scores(row: _Row, pieces: list[Piece], log_rgb: FloatArray, wanted: FloatArray) -> dict[str, float]:
    """Scores of outlines, surfaces and surroundings, each 0 to 1."""
    views = [step.inside(log_rgb) for step in row.steps]
    brightness = [view.mean(axis=2) for view in views]
    colors = np.array([np.median(view.reshape(-1, 3), axis=0) for view in views])
    colors = colors[np.argsort(-colors.mean(axis=1))]  # white, gray, black
    light = np.log(np.maximum(np.exp(colors) - FLOOR, _LEAST))
    contrast = -np.diff(light.mean(axis=1)) / wanted
    # Cast of red and blue relative to green. The black step is left out: noise and flare tint it.
    white_cast, gray_cast = light[:2] - light[:2, 1:2]
    other_cast = np.abs(white_cast - gray_cast).max() - _CAST_SHARE * np.abs(gray_cast).max()
    elsewhere = [piece for piece in pieces if piece.overlap(row.strip) < _INSIDE * piece.area]
    return {
        "whole": whole(row.strip.corners, log_rgb.shape),
        "shape": min(step.shape for step in row.steps),
        "equal": score(row.unequal, _UNEQUAL),
        "plain": min(plain(one) for one in brightness),
        "even": min(even(one) for one in brightness),
        "gray": grayer(colors[1], row.strip.around(log_rgb)),
        "cast": uncast(colors[1])
        * score(float(np.abs(white_cast).max()), _WHITE_CAST)
        * score(float(other_cast), _OTHER_CAST),
        "contrast": min(score_between(one, _CONTRAST) for one in contrast),
        "alone": 0.0 if any(step.is_twin_of(one) for step in row.steps for one in elsewhere) else 1.0,
    }
