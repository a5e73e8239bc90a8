"""Nothing depends on the order in which somebody marks a photo."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from colormatch.errors import RegionError
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.library.starter import example
from colormatch.records import Box, Limits, Region, RegionKind, ShopChip
from colormatch.repair import match_grain, match_repair, read_photo, task_of
from colormatch.workshop import Workshop, starter_workshop


@pytest.fixture(scope="module")
def photo() -> DecodedPhoto:
    return open_photo(example().photo)


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return starter_workshop()


@pytest.mark.parametrize(
    "order", [lambda regions: regions[::-1], lambda regions: random.Random(5).sample(regions, len(regions))]
)
def test_regions_in_any_order_give_the_same_wash(
    photo: DecodedPhoto, workshop: Workshop, order: Callable[[list[Region]], list[Region]]
) -> None:
    """To the last digit: target, ground, uncertainty, every wash, and the doubts."""
    size = photo.facts.width, photo.facts.height

    def region(kind: RegionKind, place: tuple[int, ...], name: str = "") -> Region:
        return Region.from_box(kind, Box(*place), *size, name)

    marked = [
        *(one for one in example().regions if one.kind is not RegionKind.CARD),
        region(RegionKind.SOUND, (430, 320, 90, 70)),
        region(RegionKind.DAMAGE, (860, 1160, 60, 60)),
        region(RegionKind.CHIP, (260, 520, 60, 60), "offcut"),
        region(RegionKind.CHIP, (900, 330, 60, 60), "other offcut"),
        region(RegionKind.PATCH, (840, 180, 60, 60)),
    ]
    chips = [replace(one, kind=RegionKind.PATCH) for one in marked if one.kind is RegionKind.CHIP]
    settled = [ShopChip(one.name, one.lab, 0.5) for one in read_photo(photo, chips).samples]
    first, again = (read_photo(photo, regions, settled=settled) for regions in (marked, order(marked)))
    assert [sample.region for sample in first.samples] == marked
    by_region = {sample.region: sample for sample in again.samples}
    assert [by_region[sample.region] for sample in first.samples] == list(first.samples)
    assert again.light == first.light
    assert task_of(again) == task_of(first)
    assert match_repair(again, workshop).washes == match_repair(first, workshop).washes
    layers = match_repair(first, workshop, Limits(coats=1)).washes[0].layers
    assert match_grain(again, layers, workshop) == match_grain(first, layers, workshop)


def test_a_sample_says_where_it_was_read(photo: DecodedPhoto) -> None:
    """Sound wood and damage cannot be exchanged: the kind comes with the color."""
    reading = read_photo(photo, example().regions)
    for kind in (RegionKind.SOUND, RegionKind.DAMAGE):
        for sample in reading.of_kind(kind):
            assert sample.region is not None
            x, y = np.mean(sample.region.corners(photo.facts.width, photo.facts.height), axis=0)
            assert sample.region.mask(photo.facts.width, photo.facts.height)[0].w > 0
            assert 0 < x < photo.facts.width
            assert 0 < y < photo.facts.height
    swapped = replace(reading, samples=reading.samples[::-1])
    assert task_of(swapped) == task_of(reading)
    with pytest.raises(RegionError, match="sound wood"):
        task_of(replace(reading, samples=reading.of_kind(RegionKind.DAMAGE)))
