"""How long matching takes: run with ``--benchmark-only``. Brute force runs beside the search, for their ratio."""

import time

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.library.starter import starter_shelf
from colormatch.match.finish import Ending
from colormatch.match.rank import rank_washes
from colormatch.match.search import Stacks
from colormatch.records import Lab, Limits, Task
from colormatch.wash.film import Body, Film, lay
from tests.fitted import fit_paints
from tests.match.brute import brute_force
from tests.match.invented import GROUND, invented_washes

TARGET = (55.6, 11.4, 25.5)


def test_all_single_washes_of_a_hundred_paints(benchmark) -> None:
    """Goal: 7,200 washes in 10 ms."""
    films = Film(*(values.astype(np.float32) for values in invented_washes(100)[0]))
    ground, ending = Body(*(values.astype(np.float32) for values in GROUND)), Ending().as_type(np.float32)
    target = np.array(TARGET, dtype=np.float32)
    benchmark(lambda: delta_e(ending.lab(lay(films, ground)), target))


@pytest.mark.parametrize("paints", [10, 100])
def test_stacks(benchmark, paints) -> None:
    """Goal: 52 million stacks of 100 paints in 4 s."""
    films, _, _ = invented_washes(paints)
    stacks = Stacks(films, films, GROUND, Ending())
    found = benchmark.pedantic(lambda: stacks.nearest(TARGET, 20), rounds=3)
    some = slice(None, None, max(1, paints // 10))
    started = time.perf_counter()
    brute_force(Film(*(values[some] for values in films)), GROUND, Ending(), np.array(TARGET), np.float32)
    brute = (time.perf_counter() - started) * (len(films.cover) / len(films.cover[some])) ** 2
    benchmark.extra_info.update(
        brute_force_seconds=brute, ratio=brute / benchmark.stats.stats.mean, computed=found.computed
    )


@pytest.mark.parametrize("limits", [Limits(), Limits(mix=2), Limits(layers=2)], ids=["one", "mixes", "stacks"])
def test_match_on_the_starter_library(benchmark, limits) -> None:
    """Goal: half a second, the paints being fitted."""
    shelf = starter_shelf()
    models = fit_paints(shelf.swatches)
    task = Task(Lab(*TARGET), Lab(72, 5.8, 19.4), 1.0, 1.0)
    match = lambda: rank_washes(task, shelf, models, limits)  # noqa: E731
    benchmark.pedantic(match, rounds=5, warmup_rounds=1)
