"""The card in another light than the wood: asked about, and not where all is well."""

from __future__ import annotations

import numpy as np
import pytest

from colormatch.color.space import lab_from_linear
from colormatch.records import Box, Region, RegionKind
from colormatch.sampling.surroundings import around_card
from tests.sampling.test_sample import photo_of
from tests.studies.light import BENCHES, CASES, WAYS, noticed

GRAY_CARD = WAYS[0]
HEIGHT, WIDTH = 300, 400
CARD = Region.from_box(RegionKind.CARD, Box(150, 120, 60, 40), WIDTH, HEIGHT)
Y, X = np.mgrid[:HEIGHT, :WIDTH]
AWAY = np.hypot(X - 180, Y - 140)


def codes(light: np.ndarray | float, far: tuple[float, float, float] = (0.2, 0.19, 0.17)) -> list[str]:
    """Doubts about a card on a gray bench in that light, which is of another color farther away."""
    ground = (
        np.where((AWAY > 70)[..., None], far, (0.2, 0.19, 0.17)) * np.broadcast_to(light, (HEIGHT, WIDTH))[..., None]
    )
    noisy = ground * np.random.default_rng(2).normal(1, 0.03, ground.shape)
    return [flag.code for flag in around_card(photo_of(noisy), CARD, [], lab_from_linear)]


def test_a_shadow_about_the_card_is_asked_about_on_whatever_it_lies() -> None:
    assert codes(1 - 0.6 * np.exp(-0.5 * (AWAY / 80) ** 2)) == ["card-in-shadow"]
    # A lamp over the card, a lamp at one side, and the lens' fall to the corners make no such shadow.
    assert codes(1 + 0.6 * np.exp(-0.5 * (AWAY / 80) ** 2)) == []
    assert codes(np.exp(X / WIDTH - 0.5)) == []
    assert codes(1 - 0.3 * np.hypot(X / WIDTH - 0.5, Y / HEIGHT - 0.5) ** 2) == []


def test_a_lighter_thing_of_another_hue_is_no_light() -> None:
    assert codes(1.0, (0.5, 0.38, 0.25)) == []


def test_a_black_frame_is_no_shadow() -> None:
    """A gray patch in the black frame of a chart that lies on a gray bench; a shadow over all of it still is one."""

    def framed(light: np.ndarray | float) -> list[str]:
        frame = np.where((AWAY > 70)[..., None], (0.2, 0.19, 0.17), (0.035, 0.033, 0.031))
        on_card = (np.abs(X - 180) < 30) & (np.abs(Y - 140) < 20)
        scene = np.where(on_card[..., None], 0.18, frame) * np.broadcast_to(light, (HEIGHT, WIDTH))[..., None]
        noisy = scene * np.random.default_rng(2).normal(1, 0.03, scene.shape)
        return [flag.code for flag in around_card(photo_of(noisy), CARD, [], lab_from_linear)]

    assert framed(1.0) == []
    # The same step from a dark bench, as dark as a shadow makes it, is asked about.
    assert codes(np.where(AWAY > 70, 1.0, 0.55)) == ["card-in-shadow"]


#: What the card lies on, and the wood, at the right.
GROUND = np.array([0.2, 0.15, 0.1])
WOOD = Region.from_box(RegionKind.SOUND, Box(320, 60, 60, 180), WIDTH, HEIGHT)


def beside(wood: tuple[float, float, float], over: float) -> list[str]:
    """Doubts about a card on `GROUND` that goes over to the wood within so many pixels."""
    share = np.clip((X - 270) / over + 0.5, 0, 1)[..., None]
    ground = GROUND * np.asarray(wood) ** share
    noisy = ground * np.random.default_rng(2).normal(1, 0.03, ground.shape)
    return [flag.code for flag in around_card(photo_of(noisy), CARD, [WOOD], lab_from_linear)]


@pytest.mark.parametrize(
    ("wood", "over", "told"),
    [
        # A shadow leaves the hue, sharp or soft; and fades where it doesn't.
        ((1.8, 1.8, 1.8), 4, ["wood-other-light"]),
        ((0.5, 0.5, 0.5), 100, ["wood-other-light"]),
        ((0.5, 0.5, 0.6), 140, ["wood-other-light"]),
        # Another piece begins at an edge.
        ((1.8, 1.62, 1.55), 4, []),
        ((0.5, 0.5, 0.6), 4, []),
        # The same of a second lamp.
        ((1.1, 1.0, 0.8), 200, ["light-mixed"]),
        ((1.1, 1.0, 0.8), 4, []),
    ],
)
def test_another_piece_is_no_other_light(wood: tuple[float, float, float], over: float, told: list[str]) -> None:
    assert beside(wood, over) == told


@pytest.mark.parametrize(("grain", "told"), [(0.03, ["wood-other-light"]), (0.1, [])])
def test_where_light_and_grain_change_at_an_edge_another_piece_begins(grain: float, told: list[str]) -> None:
    """Gray fiberboard beside wood that is as gray, and darker."""
    depth = np.where(X < 270, 0.03, grain)[..., None] * np.random.default_rng(3).normal(0, 1, (HEIGHT, WIDTH, 1))
    ground = GROUND * np.where((X < 270)[..., None], 1.0, 0.6) * np.exp(depth)
    assert [flag.code for flag in around_card(photo_of(ground), CARD, [WOOD], lab_from_linear)] == told


def test_a_chip_on_the_way_is_no_edge_of_the_wood() -> None:
    ground = np.broadcast_to(np.where((X < 270)[..., None], GROUND, 1.8 * GROUND), (HEIGHT, WIDTH, 3)).copy()
    ground[110:190, 230:260] = (0.1, 0.2, 0.4)
    chip = Region.from_box(RegionKind.CHIP, Box(230, 110, 30, 80), WIDTH, HEIGHT)
    assert [flag.code for flag in around_card(photo_of(ground), CARD, [WOOD, chip], lab_from_linear)] == [
        "wood-other-light"
    ]
    assert around_card(photo_of(ground), CARD, [WOOD], lab_from_linear) == ()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "code", "share"),
    [
        ("wood in a shadow that takes a third", "wood-other-light", 0.7),
        ("wood in a shadow that takes four fifths", "wood-other-light", 1),
        ("card in a shadow that takes a third", "wood-other-light", 0.5),
        ("card in a shadow that takes four fifths", "wood-other-light", 1),
        ("bulb and daylight, 30 % at one edge", "light-mixed", 0.9),
    ],
)
def test_card_and_wood_in_different_light(case: str, code: str, share: float) -> None:
    counts, _ = noticed(GRAY_CARD, case, photos=6, seed=5)
    assert round(counts[code], 6) >= share


@pytest.mark.slow
@pytest.mark.parametrize("case", [case for case in CASES if case.startswith(("ordinary", "local"))])
def test_no_question_where_the_light_is_one(case: str) -> None:
    counts, _ = noticed(GRAY_CARD, case, photos=6, seed=5)
    assert counts["wood-other-light"] == counts["light-mixed"] == 0


@pytest.mark.slow
def test_a_card_in_shade_on_a_gray_bench() -> None:
    counts, _ = noticed(GRAY_CARD, "card in a shadow that takes four fifths", 4, seed=5, bench=BENCHES["concrete"])
    assert counts["any"] == pytest.approx(1)
    ordinary, _ = noticed(GRAY_CARD, "ordinary, light slopes by 10 %", 4, seed=5, bench=BENCHES["concrete"])
    assert ordinary["card-in-shadow"] == ordinary["lighter-than-paper"] == ordinary["local-tones"] == 0
