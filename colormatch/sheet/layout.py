"""Layout of the printed sheet for many swatches, in millimeters, and the meaning of its markers.

Eight square markers are along the edges. Each encodes its place on the sheet and the sheet's paper, rows and columns,
so that any one of them gives the whole geometry. A ninth, the name mark, distinguishes sheets with other names.
Swatches can be painted on the paper, or the cells can be cut out as one window and laid on a board of wood.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from colormatch.errors import BadInput
from colormatch.records import FloatArray, name_key

#: Width and height, mm. A4: ISO 216. Letter: ANSI/ASME Y14.1, 8.5 x 11 inches.
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
#: Most rows and columns for cells that a 1/2-inch brush can fill. 2 papers x 10 x 6 = 120 geometries.
MOST_ROWS, MOST_COLUMNS = 10, 6
_GEOMETRIES = len(PAPERS) * MOST_ROWS * MOST_COLUMNS
#: Markers along the edges; 8 x 120 numbers encode place and geometry, the dictionary's other 40 are name marks.
PLACES = 8
_NAME_MARKS = 1000 - PLACES * _GEOMETRIES
#: Name of the unpainted column; every sheet has one, at the left.
BARE = "bare"
_FORMAT = "swatch sheet 1"

# --- geometry, mm; our choice --------------------------------------------------------------------------------------

#: Side of a marker: 7 modules of 2 mm. A margin of two more modules stays white.
MARKER = 14.0
#: Distance from the edge of the paper to the markers: more than the 5 mm or so left white by printers (common
#: practice).
_EDGE = 8.0
#: Margins around the cells (left, right, top, bottom), from the edges of the paper.
_GRID_LEFT, _GRID_RIGHT, _GRID_TOP, _GRID_BOTTOM = 48.0, 26.0, 42.0, 75.0
#: Gap between cells, where bare paper or wood shows the light.
GAP = 4.0
#: Size of the place for the gray card: a bank card (ISO/IEC 7810 ID-1, 85.60 x 53.98).
_CARD = (85.6, 53.98)
_CARD_RIGHT, _CARD_BOTTOM = 27.0, 8.0
#: Side of the blank places in the margin that show the paper, and their distance from a marker.
_BLANK, _CLEAR = 5.0, 3.0


class Rect(NamedTuple):
    """A rectangle on the sheet, mm from its top left corner."""

    left: float
    top: float
    right: float
    bottom: float

    def inset(self, share: float) -> Rect:
        """Without a share of its width and height along each edge."""
        x, y = share * (self.right - self.left), share * (self.bottom - self.top)
        return Rect(self.left + x, self.top + y, self.right - x, self.bottom - y)

    def part(self, x0: float, y0: float, x1: float, y1: float) -> Rect:
        """A part of it, in shares of its width and height; values beyond 0 to 1 are outside."""
        w, h = self.right - self.left, self.bottom - self.top
        return Rect(self.left + x0 * w, self.top + y0 * h, self.left + x1 * w, self.top + y1 * h)

    @property
    def corners(self) -> FloatArray:
        """(4, 2) float; clockwise from the top left."""
        return np.array(
            [(self.left, self.top), (self.right, self.top), (self.right, self.bottom), (self.left, self.bottom)]
        )

    @property
    def center(self) -> tuple[float, float]:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2


class Cell(NamedTuple):
    """One place for a swatch."""

    row: str
    #: :data:`BARE` for the unpainted cell.
    column: str
    rect: Rect


class Geometry(NamedTuple):
    """Geometry encoded in the markers."""

    paper: str
    rows: int
    #: Number of painted cells per row, without the bare one.
    columns: int

    @property
    def number(self) -> int:
        """Number of the geometry, 0 to 119."""
        paper = list(PAPERS).index(self.paper)
        return (paper * MOST_ROWS + self.rows - 1) * MOST_COLUMNS + self.columns - 1

    @classmethod
    def of_number(cls, number: int) -> Geometry:
        rest, columns = divmod(number, MOST_COLUMNS)
        paper, rows = divmod(rest, MOST_ROWS)
        return cls(list(PAPERS)[paper], rows + 1, columns + 1)


@dataclass(frozen=True)
class Plan:
    """A sheet: its paper, and the wash for each cell."""

    paper: str
    #: Paints, top to bottom.
    rows: tuple[str, ...]
    #: Ratio and coats, left to right, such as ``1:3x2``; without the bare column.
    columns: tuple[str, ...]

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise BadInput(f"The paper {self.paper} is unknown.", f"Choose {' or '.join(PAPERS)}.")
        for what, names, most in (("row", self.rows, MOST_ROWS), ("column", self.columns, MOST_COLUMNS)):
            if not 1 <= len(names) <= most or not all(name.strip() for name in names):
                raise BadInput(
                    f"The sheet has {len(names)} {what}s, or one of them has no name.",
                    f"Name 1 to {most} {what}s, with commas between them.",
                )
            if not all(name.isprintable() for name in names):
                raise BadInput(f"A {what} of the sheet contains a line break or a control character.", "Type it again.")
            if len({name_key(name) for name in names}) < len(names):
                raise BadInput(f"Two {what}s of the sheet have the same name.", f"Name each {what} once.")

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the paper, mm."""
        return PAPERS[self.paper]

    @property
    def geometry(self) -> Geometry:
        return Geometry(self.paper, len(self.rows), len(self.columns))

    @property
    def window(self) -> Rect:
        """Area around all cells, which may be cut out."""
        w, h = self.size
        return Rect(_GRID_LEFT, _GRID_TOP, w - _GRID_RIGHT, h - _GRID_BOTTOM)

    @property
    def cells(self) -> tuple[Cell, ...]:
        """Cells row by row, the bare one first."""
        names = (BARE, *self.columns)
        window = self.window
        step_x = (window.right - window.left - GAP) / len(names)
        step_y = (window.bottom - window.top - GAP) / len(self.rows)
        return tuple(
            Cell(row, name, Rect(x + GAP, y + GAP, x + step_x, y + step_y))
            for i, row in enumerate(self.rows)
            for j, name in enumerate(names)
            for x, y in ((window.left + j * step_x, window.top + i * step_y),)
        )

    @property
    def card_place(self) -> Rect:
        w, h = self.size
        right, bottom = w - _CARD_RIGHT, h - _CARD_BOTTOM
        return Rect(right - _CARD[0], bottom - _CARD[1], right, bottom)

    @property
    def markers(self) -> dict[int, Rect]:
        """Position of the marker with each number; the first eight encode the geometry, the last is the name mark."""
        w, h = self.size
        xs = (_EDGE, (w - MARKER) / 2, w - _EDGE - MARKER)
        ys = (_EDGE, (h - MARKER) / 2, h - _EDGE - MARKER)
        # The card is centered on the lower edge; the markers of that edge make room for it.
        left_of_card = self.card_place.left - MARKER - 6
        spots = [(xs[i], ys[j]) for j, i in ((0, 0), (0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 2))]
        spots += [(left_of_card, ys[2]), (left_of_card - 2 * MARKER, ys[2])]
        numbers = [place * _GEOMETRIES + self.geometry.number for place in range(PLACES)] + [self.name_mark]
        return {n: Rect(x, y, x + MARKER, y + MARKER) for n, (x, y) in zip(numbers, spots, strict=True)}

    @property
    def name_mark(self) -> int:
        """Number of the marker that distinguishes sheets with other names; one in 40 coincides."""
        names = "\n".join((*self.rows, "", *self.columns)).casefold()
        return PLACES * _GEOMETRIES + zlib.crc32(names.encode()) % _NAME_MARKS

    @property
    def blanks(self) -> tuple[Rect, ...]:
        """Places in the margin, on all four sides, where the paper stays white and shows the light."""
        w, h = self.size
        window = self.window
        side = _EDGE + MARKER / 2
        down = np.linspace(_EDGE + MARKER / 2, h - _EDGE - MARKER / 2, 16)
        along = np.linspace(window.left, window.right, 9)
        spots = [(x, y) for x in (side, w - side) for y in down] + [(x, side) for x in along]
        spots += [(x, window.bottom + 8) for x in along]
        half = _BLANK / 2
        places = [Rect(x - half, y - half, x + half, y + half) for x, y in spots]
        taken = [*self.markers.values(), self.card_place]
        return tuple(p for p in places if not any(_meet(p, other) for other in taken))

    def to_json(self) -> str:
        """Content of the layout file saved beside the printed sheet."""
        document = {"format": _FORMAT, "paper": self.paper, "rows": self.rows, "columns": self.columns}
        return json.dumps(document, ensure_ascii=False, indent=2) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Plan:
        """Parse a layout file.

        Raises
        ------
        BadInput
            It is not a layout, or its names are invalid for a sheet.
        """
        try:
            document = json.loads(text)
        except (ValueError, RecursionError):
            document = None
        if not isinstance(document, Mapping) or document.get("format") != _FORMAT:
            raise BadInput(
                "The layout file does not describe a printed sheet.",
                "Choose the .json file saved with the sheet's PDF.",
            )
        return cls(str(document.get("paper")), _names(document, "rows"), _names(document, "columns"))


def is_name_mark(number: int) -> bool:
    """Whether a marker's number is a name mark's."""
    return number >= PLACES * _GEOMETRIES


def geometry_of_marker(number: int) -> Geometry:
    """Decode the geometry from a marker along the edge."""
    return Geometry.of_number(number % _GEOMETRIES)


def _names(document: Mapping[str, Any], key: str) -> tuple[str, ...]:
    names = document.get(key)
    if not isinstance(names, Sequence) or isinstance(names, str) or not all(isinstance(name, str) for name in names):
        raise BadInput(f"The layout file has no list of {key}.", "Choose the .json file saved with the sheet's PDF.")
    return tuple(names)


def _meet(one: Rect, other: Rect) -> bool:
    return (
        one.left < other.right + _CLEAR
        and one.right > other.left - _CLEAR
        and one.top < other.bottom + _CLEAR
        and one.bottom > other.top - _CLEAR
    )
