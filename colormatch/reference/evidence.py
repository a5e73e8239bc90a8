"""Evidence shared by every kind of card that something in a photo is that card, and the decision to accept it or to
ask.

Evidence is a score from 0 (rules a card out) to 1 (supports it); the product is the confidence. If no candidate reaches
:data:`SURE`, or two come close to it, the user is asked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from colormatch.errors import CardNotFound
from colormatch.records import Card, CardKind, FloatArray, Region
from colormatch.reference.quadrilaterals import Piece, light_slope, score, score_between, structure

#: Confidence that the finder accepts without asking, and confidence of a rival from which it asks anyway.
SURE, RIVAL = 0.5, 0.2
#: Least confidence of a candidate proposed to the user, and the number proposed.
_WORTH_PROPOSING, _PROPOSED = 0.02, 3
#: Share of the smaller of two overlapping candidates from which only the better is kept.
_ON_TOP = 0.5

# --- evidence: (full support for a card, rules it out), a straight line between; for a quantity with limits on both
# sides, (rules it out, support, support, rules it out) ---------------------------------------------------------------

#: Preview pixels between a complete card and the edge of the photo.
_WHOLE = (4.0, 2.0)
#: Structure, natural log (about a share of brightness): a printed card stays below 0.016, brush marks begin at 0.025.
_PLAIN = (0.018, 0.028)
#: Change of light from edge to edge, natural log; 0.5 is a hand's shadow across half of the card.
_EVEN = (0.7, 1.2)
#: log(red/green) and log(blue/green) relative to the surroundings. Gray is less red and more blue than wood, by up to
#: 0.85 and 0.9 (simulated); beside only a gray bench it is equal.
_REDDER, _BLUER = (-1.2, -0.95, 0.03, 0.15), (-0.15, -0.03, 1.05, 1.4)
#: The same two of the piece itself: range left by a camera's white balance in bad light.
_CAST = (0.75, 1.0)

_MARK_IT = "Mark the card in the photo yourself, or continue without one."


def whole(corners: FloatArray, shape: tuple[int, ...]) -> float:
    """Score of an outline (n, 2), preview pixels, for its distance from the edges of the preview (h, w)."""
    to_edge = min(float(corners.min()), float((shape[1::-1] - corners).min()))
    return score(to_edge, _WHOLE)


def plain(brightness: FloatArray) -> float:
    """Score of a piece, (h, w) natural log of light, for lack of texture."""
    return score(structure(brightness), _PLAIN)


def even(brightness: FloatArray) -> float:
    """Score of a piece, (h, w) natural log of light, for even light."""
    return score(light_slope(brightness), _EVEN)


def grayer(log_rgb: FloatArray, around_log_rgb: FloatArray) -> float:
    """Score of a color, (3,) natural log, for being grayer than its surroundings, as gray is beside wood."""
    redder, greener, bluer = log_rgb - around_log_rgb
    return score_between(redder - greener, _REDDER) * score_between(bluer - greener, _BLUER)


def uncast(log_rgb: FloatArray) -> float:
    """Score of a color, (3,) natural log, for being a gray within a camera's usual cast."""
    red, green, blue = log_rgb
    return score(max(abs(red - green), abs(blue - green)), _CAST)


@dataclass(frozen=True, eq=False)
class CardCandidate:
    """A possible card in the photo."""

    #: Its region, inset: everything inside may be sampled.
    region: Region
    #: Product of the scores, 0 to 1.
    confidence: float
    #: Scores by name, 0 (rules a card out) to 1 (supports it).
    scores: dict[str, float]

    @property
    def doubt(self) -> str:
        """Name of the lowest score."""
        return min(self.scores, key=self.scores.__getitem__)

    @property
    def is_worth_proposing(self) -> bool:
        """Whether to show it to the user: possible, or ruled out only because it is cut off or in a row."""
        others = math.prod(score for name, score in self.scores.items() if name not in ("whole", "alone"))
        return self.confidence >= _WORTH_PROPOSING or others >= SURE


def best_of_overlapping(found: list[tuple[Piece, CardCandidate]]) -> list[CardCandidate]:
    """Candidates by their outlines, best first; of two that overlap, only the better."""
    ordered = sorted(found, key=lambda pair: (-pair[1].confidence, -sum(pair[1].scores.values())))
    best: list[tuple[Piece, CardCandidate]] = []
    for piece, candidate in ordered:
        if all(piece.overlap(other) < _ON_TOP * min(piece.area, other.area) for other, _ in best):
            best.append((piece, candidate))
    return [candidate for _, candidate in best]


def choose(candidates: list[CardCandidate], kind: CardKind, doubts: Mapping[str, tuple[str, str]]) -> Card:
    """The one candidate that is accepted as the card.

    Parameters
    ----------
    candidates : list of CardCandidate
        Best first.
    kind : CardKind
        Kind of card wanted.
    doubts : mapping
        By the failed evidence: what happened and what to do.

    Raises
    ------
    CardNotFound
        None, several, or no sure candidate. ``facts["candidates"]`` holds the proposals, a tuple of `CardCandidate`,
        best first.
    """
    sure = [candidate for candidate in candidates if candidate.confidence >= SURE]
    rivals = [candidate for candidate in candidates if candidate.confidence >= RIVAL]
    proposed = [candidate for candidate in candidates if candidate.is_worth_proposing][:_PROPOSED]
    if sure and len(rivals) == 1:
        return Card(kind, sure[0].region, "auto", round(sure[0].confidence, 3))
    if len(rivals) > 1:
        what, fix = f"More than one object in the photo may be the {kind} card.", "Mark the right one."
    elif proposed:
        what, fix = doubts[proposed[0].doubt]
    else:
        what, fix = f"No {kind} card was found in the photo.", ""
    raise CardNotFound(what, fix or _MARK_IT, candidates=tuple(proposed))
