"""Patches beside one another and beside their board: which one is off, too even, or impossibly light."""

from __future__ import annotations

import numpy as np
import pytest

from colormatch.color.space import lab_from_linear
from colormatch.records import Box, CardKind, Flag, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import read_photo
from colormatch.sampling.patch_doubts import patch_doubts, same_surface
from colormatch.sampling.sample import sample_region
from tests.sampling.test_sample import FIELD, HEIGHT, LINE, WIDTH, photo_of, streaks

BOXES = ((10, 20, 110, 80), (150, 110, 110, 80), (280, 200, 110, 80))


def marks(kind: RegionKind = RegionKind.SOUND, boxes: tuple[tuple[int, ...], ...] = BOXES) -> list[Region]:
    named = enumerate(boxes, 1)
    return [Region.from_box(kind, Box(*box), WIDTH, HEIGHT, f"{kind} {number}") for number, box in named]


def doubts(linear_rgb: np.ndarray, regions: list[Region]) -> list[tuple[Flag, ...]]:
    photo = photo_of(linear_rgb)
    samples = {region: sample_region(photo, region, lab_from_linear, 1.0) for region in regions}
    return list(patch_doubts(photo, samples, lab_from_linear).values())


def codes(linear_rgb: np.ndarray, regions: list[Region]) -> list[list[str]]:
    return [[flag.code for flag in flags] for flags in doubts(linear_rgb, regions)]


def highlight(box: tuple[int, ...], peak: float) -> np.ndarray:
    """A broad one over a patch."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    away = np.hypot(x - box[0] - box[2] / 2, y - box[1] - box[3] / 2) / 60
    return streaks() + peak * np.exp(-0.5 * away**2)[..., None]


def test_like_patches_raise_no_doubt() -> None:
    assert codes(streaks(), marks()) == [[], [], []]


@pytest.mark.parametrize(
    ("odd", "where"),
    [(0, "'sound 1' at the upper left"), (1, "'sound 2' in the middle"), (2, "'sound 3' at the lower right")],
)
def test_the_patch_in_a_highlight_is_named(odd: int, where: str) -> None:
    told = doubts(highlight(BOXES[odd], 0.15), marks())
    assert [[flag.code for flag in flags] for flags in told] == [["patch-off"] if i == odd else [] for i in range(3)]
    assert where in told[odd][0].text
    assert "lighter than" in told[odd][0].text


def test_the_patch_in_a_shadow_is_named() -> None:
    shaded = streaks()
    shaded[:, 270:] *= 0.6
    (flag,) = doubts(shaded, marks())[2]
    assert flag.code == "patch-off"
    assert "darker than" in flag.text


def test_a_patch_on_another_piece_is_named_by_its_distance_only() -> None:
    redder = streaks()
    redder[:, 270:] *= [1.3, 0.9, 0.7]
    (flag,) = doubts(redder, marks())[2]
    assert "away from" in flag.text


def test_two_patches_can_not_tell_which_is_off() -> None:
    assert codes(highlight(BOXES[0], 0.15), marks()[:2]) == [[], []]


def test_patches_that_all_differ_have_no_odd_one() -> None:
    """Sound wood that varies by as much everywhere: the spread tells it, no patch is to blame."""
    stepped = (
        streaks() * np.where(np.arange(WIDTH) < 135, 1.0, np.where(np.arange(WIDTH) < 270, 0.8, 0.62))[None, :, None]
    )
    assert codes(stepped, marks()) == [[], [], []]


def test_places_of_damage_may_differ() -> None:
    assert codes(highlight(BOXES[0], 0.15), marks(RegionKind.DAMAGE)) == [[], [], []]


def test_what_belongs_together() -> None:
    sound, damage, repair = (marks(kind) for kind in (RegionKind.SOUND, RegionKind.DAMAGE, RegionKind.REPAIR))
    named = [Region(RegionKind.PATCH, sound[0].points, name) for name in ("a", "b", "a")]
    assert same_surface([*sound, *damage, *repair, *named]) == [sound, repair, named[::2], named[1:2]]


# --- too even a spot ---

#: Of linear sRGB (IEC 61966-2-1).
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
#: Coarse grain, and a patch between two of its lines.
COARSE, BETWEEN = streaks(period=90, angle=90), (195, 100, 44, 60)


def test_a_spot_between_the_grain_lines_is_told() -> None:
    (flag,) = doubts(COARSE, marks(boxes=(BETWEEN,)))[0]
    assert flag.code == "patch-too-even"
    assert "'sound 1' in the middle is too even for this varied board" in flag.text


@pytest.mark.parametrize("share", [0.2, 0.4])
def test_how_even_a_spot_is_is_its_range_of_light_by_that_of_the_board(share: float) -> None:
    """Two tones each: the logarithms of their ratios, one divided by the other."""
    x, y, w, h = BETWEEN
    of_board = np.log((FIELD @ LUMINANCE) / (LINE @ LUMINANCE))
    board = COARSE.copy()
    board[y : y + h, x : x + w] = FIELD
    board[y : y + h, x : x + w : 8] = FIELD * np.exp(-share * of_board)
    (flag,) = doubts(board, marks(boxes=(BETWEEN,)))[0]
    assert flag.code == "patch-too-even"
    assert flag.value == pytest.approx(share, abs=0.006)


def test_even_patches_of_an_even_panel_among_coarse_grain_are_not() -> None:
    """What lies around them is another piece; their surface is as even as they are."""
    noise = np.random.default_rng(1).normal(1, 0.02, COARSE.shape)
    panels, boxes = COARSE * noise, ((195, 30, 44, 40), (195, 130, 44, 40), (195, 230, 44, 40))
    assert codes(panels, marks(boxes=boxes[:1])) == [["patch-too-even"]]
    assert codes(panels, marks(boxes=boxes)) == [[], [], []]


def test_the_even_one_of_three_patches_is_told() -> None:
    boxes = (BETWEEN, (20, 20, 200, 60), (120, 220, 200, 60))
    assert codes(COARSE, marks(boxes=boxes)) == [["patch-too-even"], [], []]


def test_dried_paint_is_not_taken_for_a_spot_of_the_board_around_it() -> None:
    for kind in (RegionKind.REPAIR, RegionKind.PATCH):
        assert codes(COARSE, marks(kind, boxes=(BETWEEN,))) == [[]]


def test_a_patch_across_the_grain_lines_is_not() -> None:
    assert codes(COARSE, marks(boxes=((100, 100, 200, 60),))) == [[]]


def test_an_even_spot_of_an_even_board_is_not() -> None:
    assert codes(np.broadcast_to(FIELD, (HEIGHT, WIDTH, 3)), marks()) == [[], [], []]


def test_what_lies_around_counts_only_as_far_as_it_looks_like_the_board() -> None:
    """A plain offcut on a bench of another color, and beside other marks."""
    offcut = np.where(streaks(period=7) == FIELD, [0.02, 0.03, 0.05], [0.06, 0.08, 0.1])
    offcut[90:170, 180:260] = FIELD
    assert codes(offcut, marks(boxes=((185, 95, 70, 70),))) == [[]]


# --- lighter than can be ---


def test_wood_lighter_than_paper_is_asked_about() -> None:
    light = np.full((HEIGHT, WIDTH, 3), 0.9)
    for kind in (RegionKind.SOUND, RegionKind.DAMAGE, RegionKind.PATCH):
        assert codes(light, marks(kind, BOXES[:1])) == [["lighter-than-paper"]]
    for kind in (RegionKind.WHITE, RegionKind.CHIP):
        assert codes(light, marks(kind, BOXES[:1])) == [[]]
    assert codes(np.full((HEIGHT, WIDTH, 3), 0.8), marks(boxes=BOXES[:1])) == [[]]


# --- in a reading ---


@pytest.mark.parametrize("odd", [1, 2])
def test_a_reading_tells_all_of_it_a_highlight_in_mixed_light_too(odd: int) -> None:
    """The highlight on the last patch is as white as the bulb is yellow, and hides it."""
    across = np.linspace(0, 1, WIDTH)[None, :, None]
    shining = np.clip(highlight(BOXES[odd], 0.3) * (1 + across * [0.35, 0.0, -0.35]), 0, 1)
    reading = read_photo(photo_of(shining), marks(), CardChoice(CardKind.NONE))
    assert "patch-off" in {flag.code for flag in reading.samples[odd].flags}
    assert "light-mixed" in {flag.code for flag in reading.light.flags}
