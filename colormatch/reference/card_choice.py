"""The user's description of the card in a photo: its kind, its maker's values, its location."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from colormatch.errors import BadInput
from colormatch.records import Box, CardKind, Lab, Region, lab_of


class ChartIssue(StrEnum):
    """The two published issues of a 24-patch chart's values."""

    BEFORE_2014 = "before-2014"
    SINCE_2014 = "since-2014"


@dataclass(frozen=True)
class Settled:
    """Color of a piece that was measured before."""

    lab: Lab
    #: ΔE00, 90 % radius; what is typed is taken as exact.
    uncertainty: float = 0.0


#: Values stated by a card's maker: one reflectance; one color; the reflectances of white, gray and black steps; or, for
#: a chart, its issue or the file of its measured patches.
#: For a piece that stands in for a card, its color.
CardValue = float | Lab | tuple[float, float, float] | ChartIssue | Path | Settled


@dataclass(frozen=True)
class CardChoice:
    """The user's choice of neutral reference."""

    kind: CardKind = CardKind.GRAY
    #: None: the usual value of the kind.
    value: CardValue | None = None
    #: Location in pixels or as a region; without either, the finder looks for it.
    box: Box | None = None
    region: Region | None = None


def parse_card_value(text: str | None, kind: CardKind) -> CardValue | None:
    """Parse the maker's values as people type them.

    Parameters
    ----------
    text : str or None
        ``0.18``, ``18%``, a Lab ``49.5,0,0``, ``0.89/0.18/0.035`` for a three-step card; for a chart its issue,
        ``before-2014`` or ``since-2014``, or the name of a CGATS, CxF3 or CSV file of its measured patches; for a
        piece that stands in for a card a Lab, and behind it the radius by which it is known: ``62,9,24,1.2``.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_card_value("18%", CardKind.GRAY), parse_card_value("0.89/0.18/0.035", CardKind.THREE_STEP)
    (0.18, (0.89, 0.18, 0.035))
    """
    if not text:
        return None
    if kind is CardKind.CHART24:
        return ChartIssue(text) if text in tuple(ChartIssue) else Path(text)
    if kind is CardKind.PIECE:
        return _settled(text)
    try:
        if "," in text:
            return lab_of(text.split(","), "card's color")
        parts = [
            float(part.strip().rstrip("%")) / (100 if part.strip().endswith("%") else 1) for part in text.split("/")
        ]
    except ValueError:
        parts = []
    wanted = 3 if kind is CardKind.THREE_STEP else 1
    if len(parts) != wanted or not all(0 < part <= 1 for part in parts):
        raise BadInput(
            f"'{text}' is not a value of a {kind} card.",
            "Give white/gray/black such as 0.89/0.18/0.035."
            if wanted == 3
            else "Give 0.18, 18% or a Lab such as 49.5,0,0.",
        )
    return (parts[0], parts[1], parts[2]) if wanted == 3 else parts[0]


def _settled(text: str) -> Settled:
    """``L,a,b``, and perhaps the radius by which that color is known."""
    *lab, radius = text.split(",") if text.count(",") == 3 else (*text.split(","), "0")
    try:
        known = float(radius)
    except ValueError:
        known = -1.0
    if not 0 <= known < math.inf:
        raise BadInput(
            f"'{text}' is not a color of a piece.", "Give its Lab such as 62,9,24, with its uncertainty 62,9,24,1.2."
        )
    return Settled(lab_of(lab, "piece's color"), known)


def settled_text(lab: Lab, uncertainty: float) -> str:
    """A color of the library, in the form that `parse_card_value` reads for a piece."""
    return ",".join(f"{value:g}" for value in (*lab, uncertainty))
