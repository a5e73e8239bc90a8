"""Find the gray card in a photo automatically, or ask the user if unsure.

A gray card is plain, even, four-sided, complete, grayer than the wood around it and about as light as 18 % should look
beside it. Each of these is a score from 0 to 1; their product is the confidence. If no candidate reaches
`evidence.SURE`, or two come close to it, the user is asked.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from colormatch.records import ByteArray, Card, CardKind, FloatArray
from colormatch.reference.correction import GRAY_CARD
from colormatch.reference.evidence import CardCandidate, best_of_overlapping, choose, even, grayer, plain, uncast, whole
from colormatch.reference.quadrilaterals import FLOOR, PREVIEW_SIDE, Piece, log_light, plain_pieces, score_between
from colormatch.reference.tone import LEAST_LIGHT

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto

#: Smallest share of the frame: half of the smallest supported card, 3 %.
_SMALLEST = 0.015

# --- further evidence: (rules it out, support, support, rules it out) ------------------------------------------------

#: Stops by which the piece looks lighter or darker than a card can; see `_stops_off`.
_LIGHTER = (-1.6, -1.0, 0.4, 0.9)
#: Reflectance of the rest of the photo if the piece is a card in the same light: from black, dark wood to pale wood,
#: and white; a card in half of the light doubles it.
_REST = (0.04, 0.07, 0.6, 1.1)

#: Automatic exposure, our estimate of its largest effect: exposure is proportional to the scene's reflectance to the
#: power
#: -0.5, and is raised by at most this many stops.
_AUTO_EXPOSURE, _MOST_RAISED = 0.5, 0.8

#: Reason for asking the user, by the failed evidence.
_DOUBTS = {
    "whole": ("What looks like the gray card extends beyond the photo.", "Take the photo again with the whole card."),
    "shape": ("What may be the gray card has no clear four-sided outline.", ""),
    "plain": ("What may be the gray card isn't plain.", ""),
    "even": ("The light on what may be the gray card is very uneven.", ""),
    "gray": ("What may be the gray card isn't gray compared with the rest of the photo.", ""),
    "cast": ("What may be the gray card is strongly colored.", ""),
    "lightness": ("What may be the gray card is lighter or darker than a gray card can look here.", ""),
    "alone": ("What may be the gray card looks like one patch of a chart or of a stepped card.", ""),
}


def find_card(photo: DecodedPhoto) -> Card:
    """The gray card in a photo.

    Returns
    -------
    Card
        Its region lies well inside the card. `check_card` decides whether the card is usable.

    Raises
    ------
    CardNotFound
        None, several, or no sure candidate. ``facts["candidates"]`` holds the proposals, a tuple of `CardCandidate`,
        best first.
    """
    return choose_card(find_card_in(photo.preview(PREVIEW_SIDE)))


def choose_card(candidates: list[CardCandidate]) -> Card:
    """The one candidate accepted as the card; raises `CardNotFound` as `find_card` does."""
    return choose(candidates, CardKind.GRAY, _DOUBTS)


def find_card_in(preview: ByteArray) -> list[CardCandidate]:
    """All candidates in a preview, best first; of two that overlap, only the better.

    Parameters
    ----------
    preview : (h, w, 3) uint8; encoded sRGB, about `PREVIEW_SIDE` pixels on the longest side
    """
    log_rgb = log_light(preview)
    found: list[tuple[Piece, CardCandidate]] = []
    looked_at = [(piece, _scores(piece, log_rgb)) for piece in plain_pieces(log_rgb)]
    for piece, scores in looked_at:
        if piece.area < _SMALLEST * log_rgb[..., 0].size:
            continue
        patches = (other for other, its in looked_at if other is not piece and its["plain"] > 0)
        scores["alone"] = 0.0 if any(piece.is_twin_of(other) for other in patches) else 1.0
        confidence = math.prod(scores.values())
        found.append((piece, CardCandidate(piece.region(preview.shape), confidence, scores)))
    return best_of_overlapping(found)


def _scores(piece: Piece, log_rgb: FloatArray) -> dict[str, float]:
    """Scores of outline, surface and surroundings, each 0 to 1."""
    inside = piece.inside(log_rgb)
    brightness = inside.mean(axis=2)
    color = np.median(inside.reshape(-1, 3), axis=0)
    around = piece.around(log_rgb)
    log_card, log_rest = (math.log(np.exp(log).mean() - FLOOR + LEAST_LIGHT) for log in (color, around))
    return {
        "shape": piece.shape,
        "whole": whole(piece.corners, log_rgb.shape),
        "plain": plain(brightness),
        "even": even(brightness),
        "gray": grayer(color, around),
        "cast": uncast(color),
        "lightness": score_between(_stops_off(log_card, log_card - log_rest), _LIGHTER)
        * score_between(GRAY_CARD * math.exp(log_rest - log_card), _REST),
    }


def _stops_off(log_brightness: float, over_rest: float) -> float:
    """Stops by which a piece looks lighter (above 0) or darker (below 0) than a card can.

    Parameters
    ----------
    log_brightness : natural log of its linear light
    over_rest : the same minus that of the rest of the photo

    Notes
    -----
    With fixed exposure the card is rendered at its reflectance. With automatic exposure it is lighter if the rest is
    darker than the card, and darker if the rest is lighter. A card falls between the two; white paper and black tape
    fall outside.
    """
    stops = (log_brightness - math.log(GRAY_CARD)) / math.log(2)
    low, high = sorted((0.0, min(_AUTO_EXPOSURE * over_rest / math.log(2), _MOST_RAISED)))
    return max(stops - high, 0.0) + min(stops - low, 0.0)
