"""The whole job, and how ranking grows with the shelf."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from colormatch.image.photo import open_photo
from colormatch.library.starter import example, starter_shelf
from colormatch.match.rank import rank_washes
from colormatch.records import Lab, Limits, Shelf, Task
from colormatch.reference.neutral import balanced, find_neutral
from colormatch.render.preview import to_screen
from colormatch.repair import match_repair, picture, read_photo, surface
from colormatch.wash.paint import PaintModel
from colormatch.workshop import starter_workshop
from tests.fitted import fit_paints
from tests.speed.test_photo_speed import SIZES, enlarged

TASK = Task(Lab(55.6, 11.4, 25.5), Lab(72, 5.8, 19.4), 1.0, 1.0)


@pytest.fixture(scope="module")
def fitted() -> dict[str, PaintModel]:
    return fit_paints(starter_shelf().swatches)


def large_shelf(count: int, fitted: dict[str, PaintModel]) -> tuple[Shelf, dict[str, PaintModel]]:
    """The starter's paints again and again, each a little different."""
    starter, rng = starter_shelf(), np.random.default_rng(0)
    paints, swatches, models = [], [], {}
    for number in range(count):
        paint = starter.paints[number % len(starter.paints)]
        name = f"{paint.name} {number}"
        moved = 0.1 * rng.standard_normal(fitted[paint.name].theta.shape)
        model = fitted[paint.name]
        models[name] = replace(model, name=name, theta=model.theta + moved, draws=model.draws + moved)
        paints.append(replace(paint, name=name))
        swatches += [replace(swatch, paint=name) for swatch in starter.of(paint.name)]
    return Shelf(tuple(paints), tuple(swatches), starter.clear_coats), models


@pytest.mark.benchmark(group="ranking single washes of a shelf")
@pytest.mark.parametrize("count", [100, 1_000, 10_000])
def test_rank(measure: Callable[..., Any], fitted: dict[str, PaintModel], count: int) -> None:
    shelf, models = large_shelf(count, fitted)
    measure(lambda: rank_washes(TASK, shelf, models, Limits()), rounds=3)


@pytest.mark.benchmark(group="the whole job on 12 megapixels: photo to ranking, fits remembered")
def test_photo_to_ranking(measure: Callable[..., Any]) -> None:
    jpeg, workshop, regions = enlarged(SIZES["12 megapixels"]), starter_workshop(), example().regions
    measure(lambda: match_repair(read_photo(jpeg, regions), workshop), goal="1500 ms with the command's start")


@pytest.mark.benchmark(group="picturing a repair")
@pytest.mark.parametrize("side", [2_000, 4_000], ids=["screen", "12 megapixels"])
def test_picture(measure: Callable[..., Any], side: int) -> None:
    photo, workshop, shown = open_photo(enlarged(SIZES["12 megapixels"])), starter_workshop(), example()
    neutral = find_neutral(photo)
    reading = read_photo(photo, shown.regions)
    ground = surface(reading, shown.outline.kind).lab
    wash = match_repair(reading, workshop).washes[0]
    linear_rgb = balanced(photo, neutral, side)

    def work() -> None:
        to_screen(picture(linear_rgb, [shown.outline], ground, wash.layers, workshop))

    measure(work, goal="500 ms")
