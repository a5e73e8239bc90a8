"""White places through the job's calls, on simulated photographs in uneven light."""

from pathlib import Path

import numpy as np
import pytest

from colormatch.cli.main import main
from colormatch.color.difference import delta_e
from colormatch.image.photo import open_photo
from colormatch.records import Box, CardKind, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.neutral import find_neutral
from colormatch.repair import read_photo
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.studies.light import CARD, SPOT, SPOTS, WAYS, WOOD, costs, marked, scene

BARE, CARDS, PAPER = WAYS[0], WAYS[1], WAYS[4]


@pytest.mark.slow
def test_ten_percent_cost_two_and_white_places_win_most_of_it_back() -> None:
    bare, cards, paper = (costs(way, 0.10, 4) for way in (BARE, CARDS, PAPER))
    assert bare.mean() > 2
    assert cards.mean() < 0.15 * bare.mean()
    assert paper.mean() < 0.35 * bare.mean()


@pytest.fixture(scope="module")
def uneven(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rng = np.random.default_rng(3)
    photo = scene(rng, things.white_paper()).photograph(Lighting("D65", (0.45, 0.0)), Camera(white_level=0.65), rng)
    path = tmp_path_factory.mktemp("light") / "uneven.jpg"
    path.write_bytes(encoded(photo, "JPEG", quality=95))
    return path


def test_what_was_divided_out_is_told(uneven: Path) -> None:
    white = [marked(RegionKind.WHITE, Box(*spot, *SPOT)) for spot in SPOTS]
    sound = marked(RegionKind.SOUND, WOOD)
    choice = CardChoice(region=marked(RegionKind.CARD, CARD))
    reading = read_photo(uneven, [sound, *white], choice)
    assert reading.steps[0].startswith("light evened by the white places")
    assert reading.light.evenness == pytest.approx(1.4, abs=0.15)
    assert "light-uneven" not in [flag.code for flag in reading.light.flags]
    (doubt,) = (flag for flag in reading.samples[0].flags if flag.code == "other-light")
    assert doubt.value == pytest.approx(1.3, abs=0.1)
    assert len(reading.samples) == 5
    plain = read_photo(uneven, [sound], choice)
    assert delta_e(plain.samples[0].lab, reading.samples[0].lab) > 4


def test_an_overexposed_white_place_is_left_out_and_told(uneven: Path) -> None:
    photo = open_photo(uneven)
    blown = np.array(photo.preview(1200))
    x, y = SPOTS[0]
    blown[y : y + SPOT[1], x : x + SPOT[0]] = 255
    from tests.image.test_photo import file_of

    photo = open_photo(file_of(blown, "PNG"))
    white = [marked(RegionKind.WHITE, Box(*spot, *SPOT)) for spot in SPOTS]
    choice = CardChoice(region=marked(RegionKind.CARD, CARD))
    neutral, others = find_neutral(photo, choice, white), find_neutral(photo, choice, white[1:])
    assert "white-place-clipped" in [flag.code for flag in neutral.light.flags]
    assert neutral.plane is not None
    assert others.plane is not None
    np.testing.assert_array_equal(neutral.plane.slope, others.plane.slope)
    alone = find_neutral(photo, choice, white[:1])
    assert alone.plane is None


def test_white_places_help_without_a_card_too(uneven: Path) -> None:
    white = [marked(RegionKind.WHITE, Box(*spot, *SPOT)) for spot in SPOTS]
    places = [Region.from_box(RegionKind.PATCH, Box(x, 530, 80, 80), 1200, 800, str(x)) for x in (100, 1000)]
    none = CardChoice(CardKind.NONE)
    apart = [
        float(delta_e(*(sample.lab for sample in read_photo(uneven, [*places, *marks], none).samples[:2])))
        for marks in ([], white)
    ]
    assert apart[1] < apart[0] - 4


def test_the_command_takes_white_boxes(uneven: Path, capsys: pytest.CaptureFixture[str]) -> None:
    boxes = [f"{x},{y},{SPOT[0]},{SPOT[1]}" for x, y in SPOTS]
    card = ",".join(map(str, CARD))
    patch = "wood=" + ",".join(map(str, WOOD))
    assert (
        main(["read", str(uneven), "--card", card, "--patch", patch, "--white", *boxes[:2], "--white", boxes[2]]) == 0
    )
    shown = capsys.readouterr().out
    assert "Correction: light evened by the white places" in shown
    assert "times the light of the card" in shown
