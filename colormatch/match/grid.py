"""Grid of ratio by coats: dried colors of one paint's washes over one wood, their uncertainty, and the swatches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.match.candidates import merged_fractions
from colormatch.match.problem import MatchProblem
from colormatch.records import Lab, Layer, Part, Swatch

#: Paint fractions of the standard rows: halved from row to row, down to the weakest useful tint.
USUAL_FRACTIONS = (1.0, 1 / 2, 1 / 4, 1 / 8, 1 / 16)
#: Standard columns; more coats fill the grain (common practice, no source).
USUAL_COATS = (1, 2, 3)


@dataclass(frozen=True)
class GridCell:
    """One wash over the wood."""

    layer: Layer
    #: Expected dried color.
    lab: Lab
    #: ΔE00, 90 % radius, including brushing and the reading of the wood.
    uncertainty: float
    #: Swatches of exactly this wash on similar wood; empty: the cell is only computed.
    measured: tuple[Swatch, ...]


@dataclass(frozen=True)
class WashGrid:
    """Rows of one ratio each, strongest first; each with the same numbers of coats, fewest first."""

    rows: tuple[tuple[GridCell, ...], ...]

    @property
    def least_sure(self) -> GridCell:
        """The least certain cell."""
        return max((cell for row in self.rows for cell in row), key=lambda cell: cell.uncertainty)


def wash_grid(job: MatchProblem, paint: str) -> WashGrid:
    """Washes of one paint over the ground of a job, predicted as in the ranking.

    Parameters
    ----------
    job : MatchProblem
        Its target is ignored.
    paint : str; one with a model
    """
    swatches = job.shelf.of(paint)
    fractions = merged_fractions(USUAL_FRACTIONS, [swatch.paint_fraction for swatch in swatches])
    coats = sorted({*USUAL_COATS, *(swatch.coats for swatch in swatches)})
    layers = [Layer((Part(paint),), float(fraction), count) for fraction in fractions for count in coats]
    outcomes = job.outcomes([(layer,) for layer in layers])
    radius = np.percentile(delta_e(outcomes.draws, outcomes.lab[:, None]), 90, axis=1)
    cells = [
        GridCell(layer, Lab.from_array(lab), float(reach), job.measured((layer,)))
        for layer, lab, reach in zip(layers, outcomes.lab, radius, strict=True)
    ]
    wide = len(coats)
    return WashGrid(tuple(tuple(cells[start : start + wide]) for start in range(0, len(cells), wide)))
