"""Ratio by coats: what the washes of one paint dry to over one wood, how sure that is, and which were painted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.match.candidates import merged_fractions
from colormatch.match.problem import MatchProblem
from colormatch.records import Lab, Layer, Part, Swatch

#: Paint to water of the rows that are always there: halved from step to step, as far as a tint is worth having.
USUAL_FRACTIONS = (1.0, 1 / 2, 1 / 4, 1 / 8, 1 / 16)
#: Columns that are always there: more coats fill the grain (common practice, no source).
USUAL_COATS = (1, 2, 3)


@dataclass(frozen=True)
class GridCell:
    """One wash over the wood."""

    layer: Layer
    #: What it is expected to dry to.
    lab: Lab
    #: ΔE00 that holds nine in ten of the outcomes, brush and reading of the wood included.
    uncertainty: float
    #: Swatches of just this wash on a wood like this one; none: the cell is computed only.
    measured: tuple[Swatch, ...]


@dataclass(frozen=True)
class WashGrid:
    """Rows of one ratio each, the strongest first; in each the same numbers of coats, the fewest first."""

    rows: tuple[tuple[GridCell, ...], ...]

    @property
    def least_sure(self) -> GridCell:
        """The cell of which least is known."""
        return max((cell for row in self.rows for cell in row), key=lambda cell: cell.uncertainty)


def wash_grid(job: MatchProblem, paint: str) -> WashGrid:
    """The washes of one paint over the ground of a job, as the ranking expects them.

    Parameters
    ----------
    job : MatchProblem
        Its target plays no part.
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
