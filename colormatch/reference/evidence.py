"""Something in a photo that may be a card: the evidence that every kind of card shares, and the choice or the question.

Evidence is a score from 0 (rules a card out) to 1 (speaks for it); the product is the confidence. Where nothing reaches
:data:`SURE`, or two things come near it, the person is asked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from colormatch.errors import CardNotFound
from colormatch.records import Card, CardKind, FloatArray, Region
from colormatch.reference.quadrilaterals import Piece, light_slope, score, score_between, structure

#: Confidence from which the finder goes on without asking; that of a rival because of which it asks all the same.
SURE, RIVAL = 0.5, 0.2
#: Confidence from which a candidate is worth proposing when asking, and how many are proposed.
_WORTH_PROPOSING, _PROPOSED = 0.02, 3
#: Of two things that overlap by this share of the smaller, only the better is considered.
_ON_TOP = 0.5

# --- evidence: (speaks fully for a card, rules it out), a straight line between; where it is a matter of too little and
# too much, (rules it out, speaks for it, speaks for it, rules it out) ------------------------------------------------

#: Preview pixels between a whole card and the edge of the photo.
_WHOLE = (4.0, 2.0)
#: Structure, natural log (about a share of brightness): a printed card stays below 0.016, brush marks begin at 0.025.
_PLAIN = (0.018, 0.028)
#: Change of light from edge to edge, natural log; 0.5 is a hand's shadow over half of the card.
_EVEN = (0.7, 1.2)
#: log(red/green) and log(blue/green) less those of the surroundings. Beside wood, which is red and yellow, gray is less
#: red and more blue, by up to 0.85 and 0.9 (simulated); beside a gray bench and nothing else it is the same.
_REDDER, _BLUER = (-1.2, -0.95, 0.03, 0.15), (-0.15, -0.03, 1.05, 1.4)
#: Either of them, of the piece itself: what a camera's white balance may leave in a bad light.
_CAST = (0.75, 1.0)

_MARK_IT = "Mark the card in the photo yourself, or go on without one."


def whole(corners: FloatArray, shape: tuple[int, ...]) -> float:
    """Whether an outline (n, 2), preview pixels, keeps clear of the edges of its preview (h, w)."""
    to_edge = min(float(corners.min()), float((shape[1::-1] - corners).min()))
    return score(to_edge, _WHOLE)


def plain(brightness: FloatArray) -> float:
    """Whether a piece, (h, w) natural log of light, is free of texture."""
    return score(structure(brightness), _PLAIN)


def even(brightness: FloatArray) -> float:
    """Whether the light on a piece, (h, w) natural log, is even enough."""
    return score(light_slope(brightness), _EVEN)


def grayer(log_rgb: FloatArray, around_log_rgb: FloatArray) -> float:
    """Whether a color, (3,) natural log, is as much grayer than its surroundings as gray is beside wood."""
    redder, greener, bluer = log_rgb - around_log_rgb
    return score_between(redder - greener, _REDDER) * score_between(bluer - greener, _BLUER)


def uncast(log_rgb: FloatArray) -> float:
    """Whether a color, (3,) natural log, is a gray that a camera's white balance may leave."""
    red, green, blue = log_rgb
    return score(max(abs(red - green), abs(blue - green)), _CAST)


@dataclass(frozen=True, eq=False)
class CardCandidate:
    """Something in the photo that may be the card."""

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


def best_of_overlapping(found: list[tuple[Piece, CardCandidate]]) -> list[CardCandidate]:
    """Candidates by their outlines, best first; of two that overlap, only the better."""
    ordered = sorted(found, key=lambda pair: (-pair[1].confidence, -sum(pair[1].scores.values())))
    best: list[tuple[Piece, CardCandidate]] = []
    for piece, candidate in ordered:
        if all(piece.overlap(other) < _ON_TOP * min(piece.area, other.area) for other, _ in best):
            best.append((piece, candidate))
    return [candidate for _, candidate in best]


def choose(candidates: list[CardCandidate], kind: CardKind, doubts: Mapping[str, tuple[str, str]]) -> Card:
    """The candidate that is surely the card.

    Parameters
    ----------
    candidates : list of CardCandidate
        Best first.
    kind : CardKind
        What is looked for.
    doubts : mapping
        By the evidence that fell short: what happened and what to do.

    Raises
    ------
    CardNotFound
        There is none, there are several, or none is sure. ``facts["candidates"]`` holds what would be proposed, a tuple
        of `CardCandidate`, best first.
    """
    sure = [candidate for candidate in candidates if candidate.confidence >= SURE]
    rivals = [candidate for candidate in candidates if candidate.confidence >= RIVAL]
    proposed = [candidate for candidate in candidates if candidate.is_worth_proposing][:_PROPOSED]
    if sure and len(rivals) == 1:
        return Card(kind, sure[0].region, "auto", round(sure[0].confidence, 3))
    if len(rivals) > 1:
        what, fix = f"More than one thing in the photo may be the {kind} card.", "Mark the right one."
    elif proposed:
        what, fix = doubts[proposed[0].doubt]
    else:
        what, fix = f"No {kind} card was found in the photo.", ""
    raise CardNotFound(what, fix or _MARK_IT, candidates=tuple(proposed))
