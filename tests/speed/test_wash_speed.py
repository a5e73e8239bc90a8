"""How long the wash model takes: run with ``--benchmark-only``."""

import numpy as np

from colormatch.records import Lab, Layer, Part
from colormatch.wash.paint import fit_paint
from colormatch.wash.predict import draw_chances, predict_many
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


def test_two_hundred_finalists(benchmark) -> None:
    """120 draws each."""
    model = fit_paint(study.swatches_of("Ochre", study.FOURTEEN, study.Trial(), np.random.default_rng(0)))
    recipes = [[Layer((Part("Ochre"),), d, n)] for d in np.linspace(0.05, 1, 67) for n in (1, 2, 3)]
    chances = draw_chances(np.random.default_rng(0))
    benchmark.pedantic(lambda: predict_many({"Ochre": model}, recipes, Lab(60, 9, 25), 1.0, chances), rounds=3)
