"""The library in a notebook: in memory, short to look at, and clear where it is used wrongly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

import colormatch as cm

WOOD, BARE = (150, 110, 80), (205, 180, 150)


def board() -> np.ndarray:
    """Sound wood at the left, damage at the right, a gray card below; 8 bits, encoded sRGB."""
    pixels = np.empty((300, 400, 3), np.uint8)
    pixels[:, :200], pixels[:, 200:], pixels[200:, 100:300] = WOOD, BARE, 118
    return pixels


def marked(kind: cm.RegionKind, box: tuple[int, int, int, int]) -> cm.Region:
    return cm.Region.from_box(kind, cm.Box(*box), 400, 300)


REGIONS = [marked(cm.RegionKind.SOUND, (20, 20, 150, 150)), marked(cm.RegionKind.DAMAGE, (230, 20, 150, 150))]
NO_CARD = cm.CardChoice(cm.CardKind.NONE)
SHELF = cm.Shelf(
    (cm.Paint("Ochre"), cm.Paint("Umber")),
    (
        cm.Swatch("Ochre", 1, 3, 1, "light wood", cm.Lab(75, 6, 20), cm.Lab(66, 12, 34)),
        cm.Swatch("Umber", 1, 3, 1, "light wood", cm.Lab(75, 6, 20), cm.Lab(45, 9, 18)),
    ),
)


@pytest.fixture(scope="module")
def reading() -> cm.Reading:
    return cm.read_photo(board(), REGIONS, NO_CARD)


@pytest.fixture(scope="module")
def workshop() -> cm.Workshop:
    return cm.Workshop.of(SHELF)


def test_an_array_is_read_as_the_file_that_holds_it(reading: cm.Reading) -> None:
    """Without a card the colors are those of sRGB itself; scikit-image's, whose white differs in the fourth digit."""
    for sample, color in zip(reading.samples, (WOOD, BARE), strict=True):
        assert np.allclose(sample.lab, rgb2lab(np.array(color) / 255), atol=0.02)
    deep = cm.read_photo(board().astype(np.uint16) * 257, REGIONS, NO_CARD)
    assert np.allclose([s.lab for s in deep.samples], [s.lab for s in reading.samples], atol=1e-3)


def test_changing_the_array_later_changes_no_photo() -> None:
    pixels = board()
    photo = cm.open_photo(pixels)
    pixels[:] = 0
    assert photo.encoded().max() > 0.5


def test_a_shelf_in_memory_is_ranked_and_no_library_is_made(
    reading: cm.Reading, workshop: cm.Workshop, tmp_path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(tmp_path / "library"))
    match = cm.match_repair(reading, workshop)
    assert {part.paint for wash in match.washes for layer in wash.layers for part in layer.paints} <= {"Ochre", "Umber"}
    assert list(tmp_path.iterdir()) == []


def test_what_is_shown_is_short_and_a_table(reading: cm.Reading, workshop: cm.Workshop) -> None:
    match = cm.match_repair(reading, workshop)
    for thing in (cm.open_photo(board()), workshop, workshop.shelf):
        assert len(repr(thing)) < 100
    assert reading._repr_html_().count("<tr>") == 1 + len(reading.samples)
    assert match._repr_html_().count("<tr>") == 1 + len(match.washes)
    named = cm.Shelf(
        (cm.Paint("<b>x</b>"),), (cm.Swatch("<b>x</b>", 1, 1, 1, "w", cm.Lab(75, 6, 20), cm.Lab(55, 9, 9)),)
    )
    assert "<b>" not in cm.match_repair(reading, cm.Workshop.of(named))._repr_html_()


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: cm.open_photo(3),
        lambda: cm.open_photo(np.zeros((3, 3, 3))),
        lambda: cm.open_photo(np.zeros((3, 3, 4), np.uint8)),
        lambda: cm.open_photo(np.zeros((0, 3, 3), np.uint8)),
        lambda: cm.read_photo(board(), [(1, 2, 3, 4)], NO_CARD),
        lambda: cm.match_repair([cm.Lab(1, 2, 3)], cm.Workshop.of(SHELF)),
        lambda: cm.match_repair(cm.read_photo(board(), REGIONS, NO_CARD), SHELF),
        lambda: cm.surface("wood", cm.RegionKind.SOUND),
        lambda: cm.Workshop.of([cm.Paint("Ochre")]),
    ],
)
def test_what_is_passed_wrongly_is_told_in_our_words(wrong: Callable[[], object]) -> None:
    with pytest.raises(cm.ColorMatchError) as error:
        wrong()
    assert error.value.what
    assert error.value.fix


def test_the_dried_repair_can_be_judged_and_learned_from(workshop: cm.Workshop) -> None:
    pixels = board()
    before = cm.before_painting(cm.read_photo(pixels, REGIONS, NO_CARD))
    pixels[20:170, 230:380] = (155, 114, 84)
    dried = cm.read_photo(pixels, [REGIONS[0], marked(cm.RegionKind.REPAIR, (230, 20, 150, 150))], NO_CARD)
    judged = cm.judge_repair([dried])
    # The same difference as scikit-image's CIEDE2000 of the two colors.
    labs = [rgb2lab(np.array(color) / 255) for color in ((155, 114, 84), WOOD)]
    assert judged.worse.delta_e == pytest.approx(float(deltaE_ciede2000(*labs)), abs=0.01)
    layer = cm.Layer((cm.Part("Ochre"),), 0.25)
    swatch = cm.swatch_from(dried.of_kind(cm.RegionKind.REPAIR)[0], dried, before, [layer], "door")
    assert swatch.paint == "Ochre"
    assert cm.advise(judged, cm.what_next(dried, workshop))
