"""What a dried repair teaches of a paint."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from colormatch.check.learn import Before, lesson, swatch_from
from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.records import Lab, Layer, Part
from colormatch.wash.paint import fit_paint
from colormatch.wash.predict import draw_normals, predict
from colormatch.workshop import Workshop
from tests.check.dried import layer, photographed
from tests.scenes import demo
from tests.scenes.paints import washed_board
from tests.scenes.spectra import reflectance_to_lab
from tests.scenes.woods import LIGHT_WOOD


def test_sound_wood_ties_the_photo_of_the_damage_to_that_of_the_repair() -> None:
    photo = photographed(Lab(55, 10, 27), Lab(57, 11, 28))
    before = Before(Lab(72, 6, 19), Lab(56, 11, 25))
    swatch = swatch_from(photo.samples[0], photo, before, [layer("Ochre", 0.25)], "door", taken=str(date(2026, 1, 2)))
    assert swatch.lab == pytest.approx(Lab(54, 10, 24))
    assert swatch.ground_lab == before.damage
    assert (swatch.paint_parts, swatch.water_parts) == (1.0, 3.0)
    # Both readings, what the correction leaves in their difference, and half of what it leaves in a single color.
    assert swatch.uncertainty == pytest.approx(np.sqrt(0.5**2 + 0.5**2 + 1.0**2 + (0.5 * 6.7) ** 2), abs=0.01)


@pytest.mark.parametrize(
    "layers",
    [
        [],
        [layer("Ochre", 0.25), layer("Cream", 0.1)],
        [Layer((Part("Ochre"), Part("Cream")), 0.25)],
    ],
)
def test_what_is_not_one_wash_of_one_paint_is_no_swatch(layers: list[Layer]) -> None:
    photo = photographed(Lab(55, 10, 27), Lab(57, 11, 28))
    with pytest.raises(BadInput, match="one paint"):
        swatch_from(photo.samples[0], photo, Before(Lab(72, 6, 19)), layers, "door")


def test_a_kept_swatch_brings_the_next_prediction_nearer_to_the_truth(workshop: Workshop) -> None:
    """Truth by another physics; the paint is known from one swatch only."""
    shelf = workshop.shelf
    first = [s for s in shelf.of("Raw Umber") if s.ground == "white card"][:1]
    ground = Lab(*reflectance_to_lab(washed_board(LIGHT_WOOD)))
    dried = Lab(*reflectance_to_lab(washed_board(LIGHT_WOOD, [demo.wash("Raw Umber", 0.25)])))
    kept = replace(first[0], paint_parts=1.0, water_parts=3.0, ground="veneer", ground_lab=ground, lab=dried)
    learned = lesson(kept, first)
    assert learned.missed == pytest.approx(float(delta_e(dried, _given(first, ground))), abs=1e-6)
    assert learned.before is not None
    assert learned.after < 0.9 * learned.before
    assert lesson(kept, []).missed is None


def test_a_paint_s_doubt_is_that_of_one_coat_of_its_usual_washes(workshop: Workshop) -> None:
    """1:1, 1:3 and 1:7, each predicted by itself: the mean of their 90 % radii."""
    one, two = workshop.shelf.of("Raw Umber")[:2]
    model, chances = fit_paint([one, two]), draw_normals(np.random.default_rng(0))
    radii = []
    for water in (1, 3, 7):
        lab, draws = predict({"Raw Umber": model}, [layer("Raw Umber", 1 / (1 + water))], two.ground_lab, 0.0, chances)
        radii.append(np.percentile(delta_e(draws, lab), 90))
    assert lesson(two, [one]).after == pytest.approx(np.mean(radii), rel=1e-6)


def _given(swatches, ground: Lab):
    chances = draw_normals(np.random.default_rng(1))
    return predict({"Raw Umber": fit_paint(swatches)}, [layer("Raw Umber", 0.25)], ground, 0.0, chances)[0]
