"""Ratio by coats over one wood."""

import numpy as np
import pytest
from coloraide import Color

from colormatch.match.grid import wash_grid
from colormatch.match.problem import MatchProblem
from colormatch.records import Lab, Limits, Shelf, Task
from tests.fitted import fit_paints

LIGHT_WOOD = Lab(78.0, 5.0, 21.0)


def grid_of(shelf, models, ground, uncertainty=0.0, paint="Burnt Umber"):
    return wash_grid(
        MatchProblem.of(Task(ground, ground, ground_uncertainty=uncertainty), shelf, models, Limits()), paint
    )


@pytest.fixture(scope="module")
def ground(shelf):
    return next(s.ground_lab for s in shelf.swatches if s.ground == "light wood")


def test_every_painted_wash_has_its_cell_and_no_other_is_marked(shelf, models, ground):
    grid = grid_of(shelf, models, ground)
    marked = {(c.layer.paint_fraction, c.layer.coats) for row in grid.rows for c in row if c.measured}
    own = [s for s in shelf.of("Burnt Umber") if s.ground == "light wood"]
    assert marked == {(s.paint_fraction, s.coats) for s in own}
    assert {s for row in grid.rows for c in row for s in c.measured} <= set(shelf.of("Burnt Umber"))


def test_an_umber_darkens_with_paint_and_with_coats(shelf, models, ground):
    """Common practice, no source: more paint and more coats of a dark paint are darker on light wood."""
    lightness = np.array([[cell.lab.L for cell in row] for row in grid_of(shelf, models, ground).rows])
    assert (np.diff(lightness, axis=0) > -0.5).all()
    assert (np.diff(lightness, axis=1) < 0.5).all()
    assert lightness[0, -1] < lightness[-1, 0] - 10


def test_the_stated_radius_holds_the_brush_and_the_reading_of_the_wood(shelf, models, ground):
    sure, unsure = grid_of(shelf, models, ground), grid_of(shelf, models, ground, 5.0)
    for known, guessed in zip(sure.rows[-1], unsure.rows[-1], strict=True):
        assert guessed.uncertainty > known.uncertainty
        assert guessed.lab == known.lab
    # A thin wash hardly covers: the doubt about the wood shows through nearly whole.
    assert unsure.rows[-1][0].uncertainty > 3.5


def test_measured_cells_are_near_their_swatches(shelf, models, ground):
    """CIEDE2000 by another implementation (coloraide)."""
    cells = [c for row in grid_of(shelf, models, ground).rows for c in row if c.measured]
    off = [
        Color("lab-d65", list(c.lab)).delta_e(Color("lab-d65", list(s.lab)), method="2000")
        for c in cells
        for s in c.measured
    ]
    assert np.mean(off) < 2.0


def test_the_least_sure_cell_is_the_widest(shelf, ground):
    few = Shelf(shelf.paints, tuple(s for s in shelf.of("Burnt Umber") if s.water_parts == 0)[:1])
    grid = grid_of(few, fit_paints(few.swatches), ground)
    assert grid.least_sure.uncertainty == max(c.uncertainty for row in grid.rows for c in row)
    assert not grid.least_sure.measured
