"""How long the wash model takes: run with ``--benchmark-only``."""

import time
from dataclasses import replace

import numpy as np
import pytest

from colormatch.records import Lab, Layer, Paint, Part, Shelf
from colormatch.wash.paint import fit_paint
from colormatch.wash.predict import draw_normals, predict_many
from colormatch.workshop import fitted_models
from tests.fitted import fit_paints
from tests.scenes.large_shelf import large_shelf
from tests.scenes.paints import PAINTS
from tests.studies import wash as study


def test_ten_paints_of_fourteen_swatches(benchmark) -> None:
    """Goal: 2 s, thirty refits each included."""
    rng = np.random.default_rng(0)
    swatches = [study.swatches_of(name, study.FOURTEEN, study.Trial(), rng) for name in PAINTS]
    benchmark.pedantic(lambda: [fit_paint(some) for some in swatches], rounds=3)


def test_a_hundred_paints_of_six_swatches(benchmark) -> None:
    """Goal: 60 s."""
    _, swatches = large_shelf(100)
    benchmark.pedantic(lambda: fit_paints(swatches), rounds=1)


@pytest.fixture(scope="module")
def sixty_each() -> Shelf:
    """500 paints and 30,000 swatches: twenty paints, each twenty-five times under another name."""
    tins, swatches = large_shelf(20, each=60)
    names = [f"{tin.name} {copy}" for copy in range(25) for tin in tins]
    again = (replace(s, paint=f"{s.paint} {copy}") for copy in range(25) for s in swatches)
    return Shelf(tuple(Paint(name) for name in names), tuple(again))


def test_a_shelf_of_thirty_thousand_swatches(benchmark, sixty_each) -> None:
    """Goal: 20 s of one processor; twice the paints take about twice the time, and twice the swatches of each too."""

    def seconds(paints: int, each: int) -> float:
        tins = sixty_each.paints[:paints]
        few = Shelf(tins, tuple(swatch for tin in tins for swatch in sixty_each.of(tin.name)[:each]))
        started = time.process_time()
        fitted_models(few)
        return time.process_time() - started

    taken = benchmark.pedantic(lambda: seconds(500, 60), rounds=1)
    by_paints, by_swatches = taken / seconds(250, 60), taken / seconds(500, 30)
    benchmark.extra_info.update(processor_seconds=taken, twice_the_paints=by_paints, twice_the_swatches=by_swatches)
    assert by_paints < 3
    assert by_swatches < 3


def test_two_hundred_finalists(benchmark) -> None:
    """120 draws each."""
    model = fit_paint(study.swatches_of("Ochre", study.FOURTEEN, study.Trial(), np.random.default_rng(0)))
    recipes = [[Layer((Part("Ochre"),), d, n)] for d in np.linspace(0.05, 1, 67) for n in (1, 2, 3)]
    chances = draw_normals(np.random.default_rng(0))
    benchmark.pedantic(lambda: predict_many({"Ochre": model}, recipes, Lab(60, 9, 25), 1.0, chances), rounds=3)
