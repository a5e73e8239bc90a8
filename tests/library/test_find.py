"""Search, filter and order: by words, by what was painted, and by CIEDE2000 to a color."""

import random

import pytest

from colormatch.color.difference import delta_e
from colormatch.library.find import Sort, find, twins
from colormatch.library.rows import Stored
from colormatch.records import ClearCoatPair, Ground, Lab, OwnCard, Paint, Swatch

GROUND = Lab(70, 5, 20)


def swatch(paint, water, lab, ground="rail", **more):
    return Swatch(paint, 1, water, 1, ground, GROUND, Lab(*lab), **more)


SWATCHES = [
    Stored(n, record)
    for n, record in enumerate(
        [
            swatch("Umber", 3, (50, 2.6772, -79.7751), taken="2025-01-02"),
            swatch("Umber", 0, (50, 0, -82.7485), "Door board", notes="by the window"),
            swatch("café", 3, (60, 0, 0), taken="2025-03-01", extra=(("board", "7"),)),
            swatch("Umber", 7, (61, 0, 0), taken="2024-03-01"),
        ],
        1,
    )
]


def ids(found):
    return [one.stored.id for one in found]


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ("", [1, 2, 3, 4]),
        ("umber", [1, 2, 4]),
        ("CAFE", [3]),
        ("window DOOR", [2]),
        ("7", [3]),
        ("umber door rail", []),
    ],
)
def test_every_word_must_stand_somewhere(text, fits):
    assert ids(find(SWATCHES, text)) == fits


def test_swatches_are_filtered_by_paint_ground_and_ratio():
    assert ids(find(SWATCHES, paint="umber")) == [1, 2, 4]
    assert ids(find(SWATCHES, ground="doorboard")) == [2]
    assert ids(find(SWATCHES, paint_fraction=0.25)) == [1, 3]
    assert ids(find(SWATCHES, paint_fraction=1)) == [2]
    assert ids(find(SWATCHES, paint="umber", paint_fraction=0.2)) == []


def test_orders():
    assert ids(find(SWATCHES, sort=Sort.NAME)) == [3, 2, 1, 4]
    assert ids(find(SWATCHES, sort=Sort.NEWEST)) == [3, 1, 4, 2]


def test_the_nearest_come_first_by_ciede2000():
    """Pair 1 of Sharma, Wu and Dalal (2005), whose ΔE00 is 2.0425."""
    found = find(SWATCHES, near=Lab(50, 0, -82.7485))
    assert ids(found)[:2] == [2, 1]
    assert found[0].delta_e == 0
    assert found[1].delta_e == pytest.approx(2.0425, abs=5e-5)


def test_nearness_against_one_by_one():
    rng = random.Random(1)
    near = Lab(55, 8, 20)
    many = [
        Stored(n, Ground(f"g{n}", Lab(rng.uniform(0, 100), rng.uniform(-60, 60), rng.uniform(-60, 60))))
        for n in range(500)
    ]
    expected = sorted(many, key=lambda one: float(delta_e(one.record.lab, near)))
    assert ids(find(many, near=near)) == [one.id for one in expected]


def test_a_paint_is_as_near_as_its_nearest_swatch_and_what_has_no_color_comes_last():
    paints = [Stored(1, Paint("new")), Stored(2, Paint("café")), Stored(3, Paint("Umber"))]
    found = find(paints, near=Lab(61, 0, 0), swatches=[one.record for one in SWATCHES])
    assert ids(found) == [3, 2, 1]
    assert (found[0].delta_e, found[2].delta_e) == (0, None)
    assert ids(find([Stored(1, OwnCard("gray", "gray"))], near=GROUND)) == [1]
    pair = ClearCoatPair("Shellac", GROUND, Lab(60, 8, 30))
    assert find([Stored(1, pair)], near=Lab(60, 8, 30))[0].delta_e == 0


def test_twins_are_painted_alike_and_of_one_color():
    again = swatch("Umber", 3, (50, 2.6772, -79.7751), "RAIL", taken="2026-01-01", notes="again")
    assert [one.id for one in twins(again, SWATCHES)] == [1]
    assert twins(swatch("Umber", 3, (50, 2.7, -79.7751)), SWATCHES) == ()
