"""Turn the cells of a board into swatches for the library."""

from __future__ import annotations

import re
from dataclasses import dataclass

from colormatch.errors import BadInput
from colormatch.records import Flag, Lab, Region, Sample, SurfaceState, Swatch
from colormatch.sheet.cells import BoardReading, CellReading
from colormatch.wash.ratio import Ratio, parse_ratio

_COATS = re.compile(r"(.*?)\s*[x×]\s*(\d{1,2})")


@dataclass(frozen=True)
class Proposal:
    """A swatch as read, with its flags."""

    swatch: Swatch
    reading: CellReading

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.reading.sample.flags


def parse_column(text: str) -> tuple[Ratio, int]:
    """Parse the ratio and coats of a column.

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
        raise BadInput(f"'{text}' has no coats.", "Give one or more coats, such as 1:3x2.")
    return parse_ratio(ratio), coats


def swatches_of(
    board: BoardReading,
    ground: str,
    state: SurfaceState = SurfaceState.BARE,
    taken: str = "",
    photo: str = "",
) -> list[Proposal]:
    """Make a swatch of each cell that looks painted.

    Parameters
    ----------
    board : BoardReading
        Its rows are paints, its columns ratios and coats.
    ground : str
        Name of the ground.
    state, taken, photo
        As in :class:`Swatch`.

    Raises
    ------
    BadInput
        A column's name is not a ratio.
    """
    proposals = []
    for reading in board.cells:
        if reading.painted:
            ratio, coats = parse_column(reading.cell.column)
            wash = PaintedPatch(reading.cell.row, ratio, coats, ground, state, taken)
            swatch = swatch_of(wash, board.ground.lab, reading.sample, photo, reading.region)
            proposals.append(Proposal(swatch, reading))
    return proposals


@dataclass(frozen=True)
class PaintedPatch:
    """The user's description of a painted patch."""

    paint: str
    ratio: Ratio
    coats: int
    #: Name and state of the ground.
    ground: str
    state: SurfaceState = SurfaceState.BARE
    #: ISO 8601 date, or empty.
    taken: str = ""


def swatch_of(
    wash: PaintedPatch, ground_lab: Lab, sample: Sample, photo: str = "", region: Region | None = None
) -> Swatch:
    """Make a swatch from the description and the reading of a patch.

    Parameters
    ----------
    wash : PaintedPatch
    ground_lab : Lab
        Color of the bare ground.
    sample : Sample
        Reading of the dried wash.
    photo : str
        SHA-256 of the photo it was read from.
    region : Region, optional
        Spot in that photo.
    """
    return Swatch(
        wash.paint,
        wash.ratio.paint,
        wash.ratio.water,
        wash.coats,
        wash.ground,
        no_lighter_than_white(ground_lab),
        no_lighter_than_white(sample.lab),
        round(sample.uncertainty, 2),
        wash.state,
        wash.taken,
        photo,
        " ".join(flag.text for flag in sample.flags),
        measured="photo",
        region=region.points if region else (),
    )


def no_lighter_than_white(lab: Lab) -> Lab:
    """Limit L* to 100: a gray card alone can't undo a camera's tone curve, which may lift white paper above white."""
    return lab._replace(L=min(lab.L, 100.0))
