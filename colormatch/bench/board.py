"""From the cells of a read board to swatches for the library."""

from __future__ import annotations

import re
from dataclasses import dataclass

from colormatch.errors import BadInput
from colormatch.photo.board import BoardReading, CellReading
from colormatch.records import Flag, Lab, SurfaceState, Swatch
from colormatch.wash.ratio import Ratio, parse_ratio

_COATS = re.compile(r"(.*?)\s*[x×]\s*(\d{1,2})")


@dataclass(frozen=True)
class Proposal:
    """A swatch as it was read, with the doubts about it."""

    swatch: Swatch
    reading: CellReading

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.reading.sample.flags


def parse_column(text: str) -> tuple[Ratio, int]:
    """Ratio and coats of a column.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_column("1:3x2")
    (Ratio(paint=1.0, water=3.0), 2)
    >>> parse_column("full")
    (Ratio(paint=1.0, water=0.0), 1)
    """
    found = _COATS.fullmatch(text.strip())
    ratio, coats = (found[1], int(found[2])) if found else (text, 1)
    if coats < 1:
        raise BadInput(f"'{text}' has no coat.", "Give one or more coats, such as 1:3x2.")
    return parse_ratio(ratio), coats


def swatches_of(
    board: BoardReading,
    ground: str,
    state: SurfaceState = SurfaceState.BARE,
    taken: str = "",
    photo: str = "",
) -> list[Proposal]:
    """A swatch for each cell that looks painted.

    Parameters
    ----------
    board : BoardReading
        Its rows are paints, its columns ratios and coats.
    ground : str
        Name of what was painted on.
    state, taken, photo
        As a :class:`Swatch` has them.

    Raises
    ------
    BadInput
        A column's name is no ratio.
    """
    proposals = []
    for reading in board.cells:
        if not reading.painted:
            continue
        ratio, coats = parse_column(reading.cell.column)
        swatch = Swatch(
            reading.cell.row,
            ratio.paint,
            ratio.water,
            coats,
            ground,
            _no_lighter_than_white(board.ground.lab),
            _no_lighter_than_white(reading.sample.lab),
            round(reading.sample.uncertainty, 2),
            state,
            taken,
            photo,
            " ".join(flag.text for flag in reading.sample.flags),
        )
        proposals.append(Proposal(swatch, reading))
    return proposals


def _no_lighter_than_white(lab: Lab) -> Lab:
    """A gray card alone can't undo a camera's tone curve, which may lift white paper above white."""
    return lab._replace(L=min(lab.L, 100.0))
