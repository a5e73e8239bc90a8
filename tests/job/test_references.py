"""Each neutral reference through the job's calls, on simulated photographs of one wood, against its true color."""

import numpy as np
import pytest

from colormatch.errors import BadInput, CardNotFound
from colormatch.image.photo import open_photo
from colormatch.records import Box, CardKind, Lab, Region, RegionKind, ShopChip
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import read_photo
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Photograph, Scene, Thing, rectangle
from tests.scenes.spectra import delta_e
from tests.scenes.woods import MIDDLE_WOOD, board

SIZE = (900, 600)
WOOD_BOX = (60, 380, 300, 180)
CARD_CENTER, CARD_SIZE = (620, 220), (420, 280)


def photograph(card: str, seed: int = 4) -> tuple[Photograph, Scene]:
    surface = {"gray": things.gray_card, "three-step": things.three_step_card, "chart24": things.chart}[card]()
    size = (420, 140) if card == "three-step" else CARD_SIZE
    rng = np.random.default_rng(seed)
    scene = Scene(
        *SIZE,
        (
            Thing("wood", "wood", board(MIDDLE_WOOD, SIZE[::-1], rng), rectangle((450, 300), SIZE)),
            Thing("card", card, surface, rectangle(CARD_CENTER, size)),
        ),
    )
    camera = Camera("shifted", (0.04, 0.0, -0.06), white_level=0.8, s_curve=0.15, blur=0.6, noise=0.004)
    return scene.photograph(Lighting("D50"), camera, rng), scene


def wood_region() -> Region:
    x, y, w, h = WOOD_BOX
    corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    return Region(RegionKind.PATCH, tuple((a / SIZE[0], b / SIZE[1]) for a, b in corners), "wood")


def marked(size: tuple[int, int], scale: float = 0.96) -> Region:
    quad = rectangle(CARD_CENTER, tuple(scale * side for side in size))
    return Region(RegionKind.CARD, tuple((float(x) / SIZE[0], float(y) / SIZE[1]) for x, y in quad))


@pytest.mark.parametrize(
    ("kind", "choice"),
    [
        ("gray", CardChoice()),
        ("three-step", CardChoice(CardKind.THREE_STEP)),
        ("three-step", CardChoice(CardKind.THREE_STEP, region=marked((420, 140)))),
        ("chart24", CardChoice(CardKind.CHART24)),
        ("chart24", CardChoice(CardKind.CHART24, region=marked(CARD_SIZE))),
    ],
    ids=["gray found", "three-step found", "three-step marked", "chart found", "chart marked"],
)
def test_true_color_lies_within_what_is_stated(kind: str, choice: CardChoice) -> None:
    photo, scene = photograph(kind)
    reading = read_photo(encoded(photo, "JPEG", quality=95), [wood_region()], choice)
    sample = reading.samples[0]
    assert reading.card.kind == kind
    assert reading.steps
    assert float(delta_e(np.array(sample.lab), scene.lab(WOOD_BOX))) <= sample.uncertainty


def test_better_references_state_less_doubt() -> None:
    doubts = []
    for kind, choice in (
        ("gray", CardChoice()),
        ("three-step", CardChoice(CardKind.THREE_STEP, region=marked((420, 140)))),
        ("chart24", CardChoice(CardKind.CHART24)),
    ):
        photo, _ = photograph(kind)
        opened = open_photo(encoded(photo, "JPEG", quality=95))
        doubts.append(read_photo(opened, [wood_region()], choice).samples[0].systematic)
    assert doubts == sorted(doubts, reverse=True)


@pytest.mark.parametrize("kind", ["three-step", "chart24"])
def test_another_reference_than_was_looked_for_is_named(kind: str) -> None:
    photo, _ = photograph(kind)
    with pytest.raises(CardNotFound, match=f"--card-kind {kind}"):
        read_photo(encoded(photo, "PNG"), [wood_region()])


def test_the_reflectances_of_three_steps_are_looked_for() -> None:
    photo, _ = photograph("three-step")
    with pytest.raises(CardNotFound, match="three-step card"):
        read_photo(encoded(photo, "PNG"), [wood_region()], CardChoice(CardKind.THREE_STEP, (0.9, 0.7, 0.5)))
    with pytest.raises(BadInput, match="One value was given"):
        read_photo(encoded(photo, "PNG"), [wood_region()], CardChoice(CardKind.THREE_STEP, 0.18))


def test_what_a_photo_does_to_all_its_colors_cancels_in_their_difference() -> None:
    """The correction's error is one part, shared; each spot's own is another. Against the simulator's truth."""
    photo, scene = photograph("gray")
    boxes = {"one": WOOD_BOX, "other": (100, 60, 120, 80)}
    regions = [Region.from_box(RegionKind.PATCH, Box(*box), *SIZE, name) for name, box in boxes.items()]
    reading = read_photo(encoded(photo, "JPEG", quality=95), regions)
    one, other = reading.samples
    assert one.systematic == other.systematic
    assert one.uncertainty == pytest.approx(np.hypot(one.random, one.systematic))
    assert reading.difference.figure < one.systematic / 2
    found, true = (np.array([s.lab for s in reading.samples]), np.array([scene.lab(box) for box in boxes.values()]))
    off = delta_e(found, true)
    left = float(delta_e(true[0] + found[1] - found[0], true[1]))
    assert off.min() > 1
    assert left < 0.5 * off.min()
    assert left <= np.hypot(reading.difference.radius(float(delta_e(*found))), np.hypot(one.random, other.random))


def test_no_chart_where_there_is_none() -> None:
    photo, _ = photograph("gray")
    with pytest.raises(CardNotFound):
        read_photo(encoded(photo, "PNG"), [wood_region()], CardChoice(CardKind.CHART24))


def test_a_shop_chip_of_settled_color_brings_the_reading_nearer() -> None:
    photo, scene = photograph("gray")
    data, chip_box = encoded(photo, "JPEG", quality=95), (100, 60, 120, 80)
    x, y, w, h = chip_box
    corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    chip = Region(RegionKind.CHIP, tuple((a / SIZE[0], b / SIZE[1]) for a, b in corners), "offcut")
    settled = [ShopChip("offcut", Lab(*(float(v) for v in scene.lab(chip_box))))]
    without = read_photo(data, [wood_region()]).samples[0]
    tied = read_photo(data, [wood_region(), chip], settled=settled).samples[0]
    true = scene.lab(WOOD_BOX)
    assert float(delta_e(np.array(tied.lab), true)) < float(delta_e(np.array(without.lab), true))
    with pytest.raises(BadInput, match="is unknown"):
        read_photo(data, [wood_region(), chip])
