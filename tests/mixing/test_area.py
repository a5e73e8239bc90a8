"""The size of the damage in the photo, with the card as the scale: against geometry that is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colormatch.errors import BadInput
from colormatch.image.photo import open_photo
from colormatch.library.starter import example
from colormatch.mixing.area import MarkedArea, marked_area
from colormatch.records import Region, RegionKind
from colormatch.reference.gray_card_find import find_card
from colormatch.reference.quadrilaterals import INSET, PREVIEW_SIDE
from tests.scenes import demo
from tests.scenes.scene import project, rectangle, tilt

SIZE = (2400, 1800)


#: Pixels by which the finder's outline lies inside the edges of a card of 65 mm at 4 pixels to the mm; see `marked`.
SHY = 2.2 * max(SIZE) / PREVIEW_SIDE
RIM = SHY + INSET * (65 * 4 - 2 * SHY)


def region(kind: RegionKind, corners: np.ndarray) -> Region:
    return Region(kind, tuple((float(x), float(y)) for x, y in corners / SIZE))


def seen(pitch: float, yaw: float, turn: float, at: tuple[float, float] = (800, 1200)) -> tuple[Region, Region]:
    """A card of 100 x 65 mm as the finder outlines it, and damage of 60 x 40 mm (24 cm²), through a tipped pinhole."""
    view = tilt(*SIZE, pitch, yaw)
    card = project(view, rectangle((1700, 600), (400 - 2 * RIM, 260 - 2 * RIM), turn))
    return region(RegionKind.CARD, card), region(RegionKind.DAMAGE, project(view, rectangle(at, (240, 160), 20)))


def measured(card: Region, *damage: Region, found: bool = True) -> MarkedArea:
    return marked_area(damage, card, SIZE, (100, 65), found=found)


def test_straight_from_above_it_is_plain_proportion() -> None:
    assert measured(*seen(0, 0, 12)).cm2 == pytest.approx(24, rel=0.01)


@settings(max_examples=10, deadline=None)
@given(st.floats(-15, 15), st.floats(-15, 15), st.floats(-80, 80))
def test_perspective_is_taken_out(pitch: float, yaw: float, turn: float) -> None:
    found = measured(*seen(pitch, yaw, turn))
    assert found.low <= 24 <= found.high
    assert abs(found.cm2 / 24 - 1) < 0.12


def test_the_range_holds_the_truth_nine_times_in_ten() -> None:
    """Cameras tipped by 8 degrees (standard deviation), corners off as the finder's are."""
    rng, held, ours, plain = np.random.default_rng(4), 0, [], []
    for _ in range(80):
        at = rng.uniform((400, 900), (1400, 1400))
        card, damage = seen(*rng.normal(0, 8, 2), rng.uniform(-60, 60), tuple(at))
        corners = card.corners(*SIZE)
        corners = corners + rng.normal(0, 1.3, (4, 2)) + (corners - corners.mean(axis=0)) * rng.normal(0, 0.004)
        found = measured(region(RegionKind.CARD, corners), damage)
        held += found.low <= 24 <= found.high
        ours.append(found.cm2 / 24 - 1)
        plain.append(found.cm2 * found.perspective / 24 - 1)
    rms = [100 * float(np.sqrt(np.mean(np.square(errors)))) for errors in (ours, plain)]
    print(f"error {rms[0]:.1f} %, without perspective {rms[1]:.1f} %; the range holds {held} of 80")
    assert held >= 0.8 * 80  # 90 % stated, less three standard deviations of 80 draws
    assert rms[0] < 0.6 * rms[1]


def test_which_way_the_card_is_given_does_not_matter() -> None:
    card, damage = seen(10, -5, 12)
    turned = Region(RegionKind.CARD, card.points[1:] + card.points[:1])
    mirrored = Region(RegionKind.CARD, card.points[::-1])
    usual = measured(card, damage)
    assert marked_area([damage], card, SIZE, (65, 100), found=True) == usual
    for other in (turned, mirrored):
        assert measured(other, damage).cm2 == pytest.approx(usual.cm2, rel=1e-3)


def test_several_damages_add_up() -> None:
    card, damage = seen(0, 0, 0)
    assert measured(card, damage, damage).cm2 == pytest.approx(2 * measured(card, damage).cm2)


def test_the_simulated_example_is_measured_as_its_scene_says() -> None:
    """The demo's scene: the table top's plane, the card 420 x 280 of its units; say a unit is 0.25 mm."""
    view = np.linalg.inv(tilt(demo.WIDTH, demo.HEIGHT, 6.0, -2.0) @ demo._turned(1.2))
    flat = project(view, np.array(demo.OUTLINE, float)) * 0.25 / 10
    x, y = flat.T
    truth = abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
    card = find_card(open_photo(example().photo))
    found = marked_area([example().outline], card.region, SIZE, (105, 70), found=True)
    print(f"true {truth:.1f} cm², found {found.cm2:.1f} ({found.low:.1f} to {found.high:.1f})")
    assert found.low <= truth <= found.high


def test_a_hand_s_mark_is_trusted_less_and_a_wrong_size_is_told() -> None:
    card, damage = seen(0, 0, 0)
    by_hand = measured(card, damage, found=False)
    assert [flag.code for flag in by_hand.flags] == ["card-outline"]
    assert by_hand.low < 24 < by_hand.cm2
    wrong = marked_area([damage], card, SIZE, (100, 30), found=True)
    assert [flag.code for flag in wrong.flags] == ["card-shape"]


@pytest.mark.parametrize(
    "points",
    [
        ((0.1, 0.1), (0.2, 0.1), (0.2, 0.2)),
        ((0.1, 0.1), (0.2, 0.1), (0.3, 0.1), (0.4, 0.1)),
        ((0.1, 0.1), (0.1, 0.1), (0.1, 0.1), (0.1, 0.1)),
    ],
    ids=["three corners", "a line", "a point"],
)
def test_a_card_that_spans_nothing_is_refused(points) -> None:
    _, damage = seen(0, 0, 0)
    with pytest.raises(BadInput):
        measured(Region(RegionKind.CARD, points), damage)
