"""Predictions: their limits, their vectorization, and their goals on paints of another physics."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colormatch.color.difference import axis_weights, delta_e
from colormatch.errors import PaintError
from colormatch.records import ClearCoatPair, Lab, Layer, Part
from colormatch.wash.carried import Carried, model_error
from colormatch.wash.clear import fit_clear
from colormatch.wash.optics import GAMMA
from colormatch.wash.paint import REFITS, WATER_ERROR, PaintModel, fit_paint, hand_scatter
from colormatch.wash.predict import MOST_LAYERS, draw_normals, no_luck, predict, predict_many
from tests.scenes import woods
from tests.scenes.paints import PAINTS, Wash, washed_board
from tests.scenes.spectra import reflectance_to_lab
from tests.studies import wash as study

GROUND = Lab(60, 9, 25)
CHANCES = draw_normals(np.random.default_rng(0), 60)


@pytest.fixture(scope="module")
def models() -> dict[str, PaintModel]:
    """Every simulated paint, from six swatches."""
    return study.fitted(study.Trial(), 0, study.SWATCH_SETS["6: mixed"])


def test_no_layer_is_the_ground_as_read(models: dict[str, PaintModel]) -> None:
    lab, draws = predict(models, [], GROUND, 1.5, CHANCES)
    np.testing.assert_allclose(lab, GROUND, atol=1e-6)
    # The 90 % radius that was stated comes out again; 60 draws tell it to about 15 %.
    assert np.percentile(delta_e(draws, np.array(GROUND)), 90) == pytest.approx(1.5, rel=0.3)


def test_a_vanishing_wash_is_the_ground(models: dict[str, PaintModel]) -> None:
    lab, _ = predict(models, [Layer((Part("Red Oxide"),), 1e-6)], GROUND, 0.0, CHANCES)
    np.testing.assert_allclose(lab, GROUND, atol=1e-2)


def test_an_endless_film_hides_the_ground(models: dict[str, PaintModel]) -> None:
    thick = [Layer((Part("Cream"),), 1.0, 200)] * 3
    over = [predict(models, thick, ground, 0.0, CHANCES)[0] for ground in (GROUND, Lab(20, 5, 5))]
    np.testing.assert_allclose(over[0], over[1], atol=1e-3)


def test_a_mix_of_one_paint_is_that_paint(models: dict[str, PaintModel]) -> None:
    alone = predict(models, [Layer((Part("Ochre"),), 0.25, 2)], GROUND, 1.0, CHANCES)
    mixed = predict(models, [Layer((Part("Ochre", 2), Part("Ochre", 3)), 0.25, 2)], GROUND, 1.0, CHANCES)
    for one, other in zip(alone, mixed, strict=True):
        np.testing.assert_allclose(one, other, atol=1e-9)


def test_many_at_once_are_each_as_if_alone(models: dict[str, PaintModel]) -> None:
    one, two = Layer((Part("Ochre"),), 0.25, 2), Layer((Part("Raw Umber"), Part("Cream", 3)), 0.1)
    recipes = [[one], [], [one, two], [two], [two, one], [Layer((Part("Dull Blue"),), 1.0, 3)]] * 8
    lab, draws = predict_many(models, recipes, GROUND, 1.0, CHANCES)
    assert lab.shape == (48, 3)
    assert draws.shape == (48, 60, 3)
    for i, recipe in enumerate(recipes[:6]):
        lab_alone, draws_alone = predict(models, recipe, GROUND, 1.0, CHANCES)
        np.testing.assert_allclose(lab[i], lab_alone, atol=1e-9)
        np.testing.assert_allclose(draws[i], draws_alone, atol=1e-9)


def test_same_chances_same_answer(models: dict[str, PaintModel]) -> None:
    recipe = [Layer((Part("Ochre"),), 0.25)]
    first = predict(models, recipe, GROUND, 1.0, draw_normals(np.random.default_rng(4), 30))
    again = predict(models, recipe, GROUND, 1.0, draw_normals(np.random.default_rng(4), 30))
    np.testing.assert_array_equal(first[1], again[1])


def test_what_can_not_be_predicted(models: dict[str, PaintModel]) -> None:
    with pytest.raises(PaintError, match="Nobody's has no swatch"):
        predict(models, [Layer((Part("Nobody's"),), 0.25)], GROUND, 1.0, CHANCES)
    with pytest.raises(PaintError, match="layers"):
        predict(models, [Layer((Part("Ochre"),), 0.25)] * (MOST_LAYERS + 1), GROUND, 1.0, CHANCES)


def test_one_swatch_leaves_wider_draws_than_six(models: dict[str, PaintModel]) -> None:
    rng = np.random.default_rng(1)
    one = fit_paint(study.swatches_of("Ochre", study.SWATCH_SETS["1: 1:1 on light wood"], study.Trial(), rng))
    recipe = [Layer((Part("Ochre"),), 0.25, 3)]
    radii = []
    for known in ({"Ochre": one}, models):
        lab, draws = predict(known, recipe, GROUND, 0.5, CHANCES)
        radii.append(np.percentile(delta_e(draws, lab), 90))
    assert radii[0] > 1.3 * radii[1]


def test_a_clear_coat_deepens_bare_wood(models: dict[str, PaintModel]) -> None:
    """Sealed wood is darker and stronger in color: common practice, no source."""
    clear = fit_clear([ClearCoatPair("shellac", Lab(70, 8, 25), Lab(60, 12, 36), "bare wood")])
    bare, _ = predict(models, [], GROUND, 0.0, CHANCES)
    sealed, draws = predict(models, [], GROUND, 0.0, CHANCES, clear)
    assert sealed[0] < bare[0]
    assert np.hypot(*sealed[1:]) > np.hypot(*bare[1:])
    assert draws.std(axis=0).max() > 0.05  # what one pair leaves open


# --- what chance decides ----------------------------------------------------------------------------------------------


def test_a_wash_comes_out_by_the_same_luck_whatever_lies_below_it(models: dict[str, PaintModel]) -> None:
    """A trace of paint below it changes nothing, in any draw: the luck is that of the topmost layer (limit)."""
    models = {
        "Ochre": replace(models["Ochre"], carried=Carried.nothing(REFITS))
    }  # what swatches show of one wash alone
    wash, trace = Layer((Part("Ochre"),), 0.25, 2), Layer((Part("Ochre"),), 1e-7)
    _, alone = predict(models, [wash], GROUND, 1.0, CHANCES)
    _, above = predict(models, [trace, wash], GROUND, 1.0, CHANCES)
    np.testing.assert_allclose(above, alone, atol=0.02)
    # A trace on top takes that luck itself, and the wash another.
    _, below = predict(models, [wash, trace], GROUND, 1.0, CHANCES)
    assert np.abs(below - alone).max() > 0.2


def test_a_wash_twice_as_thick_by_luck_is_one_of_twice_the_film(models: dict[str, PaintModel]) -> None:
    """With one coat, and a paint that leaves as much as it holds, twice the film is twice the paint (dimensions)."""
    theta = models["Ochre"].theta.copy()
    theta[GAMMA] = 1.0
    nothing = Carried.nothing(REFITS)
    sure = {"Ochre": replace(models["Ochre"], theta=theta, draws=np.tile(theta, (30, 1)), carried=nothing)}
    luck = no_luck(60)
    luck.thickness[:, 0] = np.log(2) / hand_scatter(0.2)
    _, draws = predict(sure, [Layer((Part("Ochre"),), 0.2)], GROUND, 0.0, luck)
    lab, _ = predict(sure, [Layer((Part("Ochre"),), 0.4)], GROUND, 0.0, CHANCES)
    np.testing.assert_allclose(draws, np.tile(lab, (60, 1)), atol=1e-6)


@pytest.mark.parametrize("mixed", [True, False])
def test_a_recipe_is_no_surer_than_its_least_known_paint(models: dict[str, PaintModel], mixed: bool) -> None:
    """However well the other is known, and in whichever order they are named."""
    still = {
        name: replace(model, draws=np.tile(model.theta, (30, 1)), carried=Carried.nothing(REFITS), spread=spread)
        for name, model, spread in (("Ochre", models["Ochre"], 1.0), ("Cream", models["Cream"], 5.0))
    }
    luck = replace(no_luck(60), model=CHANCES.model)

    def factor(*paints: str) -> float:
        """Scatter as a multiple of the error of a model that is known well."""
        recipe = [Layer(tuple(map(Part, paints)), 0.3)] if mixed else [Layer((Part(paint),), 0.3) for paint in paints]
        lab, draws = predict(still, recipe, GROUND, 0.0, luck)
        scatter = np.sqrt(np.mean(((draws - lab) * axis_weights(lab)) ** 2) / np.mean(CHANCES.model**2))
        return float(scatter / model_error(delta_e(lab, np.array(GROUND))))

    assert factor("Ochre") == pytest.approx(1.0)
    for paints in (("Cream",), ("Ochre", "Cream"), ("Cream", "Ochre")):
        assert factor(*paints) == pytest.approx(5.0)


# --- goals, on paints that are not made by the model (simulated) ------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("label", ["1: 1:1 on light wood", "2: full, 1:7 on light wood", "6: mixed"])
def test_error_on_unseen_woods(label: str) -> None:
    recipe = study.SWATCH_SETS[label]
    errors = np.concatenate(list(study.single_errors(PAINTS, recipe, study.Trial(), 4).values()))
    mean, percentile = study.GOALS[len(recipe)]
    assert errors.mean() <= mean
    assert np.percentile(errors, 95) <= percentile


@pytest.mark.slow
@pytest.mark.parametrize("label", ["1: 1:1 on light wood", "2: full, 1:7 on light wood", "6: mixed"])
def test_stated_uncertainty_covers_the_truth(label: str) -> None:
    covered, _ = study.coverage(list(PAINTS), study.SWATCH_SETS[label], study.Trial(water=WATER_ERROR), 2)
    low, high = study.COVERAGE_GOAL
    assert low <= covered <= high


def test_clear_coat_over_a_wash_beats_adding_the_change_of_bare_wood(models: dict[str, PaintModel]) -> None:
    errors = study.clear_errors(models, study.Trial(), learned_on_wash=False)
    assert errors.bare.mean() <= 1.0  # goal of the design: about 1.0 from one pair
    assert errors.washed.mean() < 0.3 * errors.shifted.mean()


def test_a_wash_over_a_dried_wash_counts_the_surface_that_is_there(models: dict[str, PaintModel]) -> None:
    """Against paints of another physics: what a second wash dries to over a first, of which the color is read."""
    rng = np.random.default_rng(1)
    known, taken_as_bare = [], []
    for _ in range(40):
        wood = woods.any_wood(rng)
        lower, upper = (Layer((Part(str(rng.choice(list(PAINTS)))),), float(rng.uniform(0.1, 0.6))) for _ in range(2))
        washes = [Wash(PAINTS[layer.paints[0].paint], layer.paint_fraction, 1) for layer in (lower, upper)]
        now = Lab(*reflectance_to_lab(washed_board(wood, washes[:1])))
        truth = reflectance_to_lab(washed_board(wood, washes))
        for errors, painted in ((known, [lower]), (taken_as_bare, [])):
            found, _ = predict_many(models, [[upper]], now, 0.0, CHANCES, painted=painted)
            errors.append(float(delta_e(found[0], truth)))
    # As well as what is stated for stacks of two washes from six swatches each (1.20), the reading's spectrum besides.
    assert np.mean(known) < 1.4
    assert np.mean(known) < 0.8 * np.mean(taken_as_bare)


def test_a_painted_ground_left_alone_is_the_ground_as_read(models: dict[str, PaintModel]) -> None:
    painted = [Layer((Part("Ochre"),), 0.25, 2)]
    lab, _ = predict_many(models, [[]], GROUND, 0.0, CHANCES, painted=painted)
    np.testing.assert_allclose(lab[0], GROUND, atol=1e-6)


LAB = st.builds(Lab, st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))
PAINTED = st.builds(
    Layer, st.just((Part("Ochre"),)) | st.just((Part("Ochre"), Part("Carbon Black", 1e-6))),
    st.floats(1e-9, 1), st.integers(1, 1000),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(LAB, st.floats(0, 50), st.lists(PAINTED, max_size=3), st.lists(PAINTED, max_size=2))
def test_any_recipe_over_any_ground_dries_to_a_color(
    models: dict[str, PaintModel], ground: Lab, radius: float, recipe: list[Layer], painted: list[Layer]
) -> None:
    """Black, white and impossible grounds, a trace of paint, a thousand coats: finite, and no brighter than white."""
    lab, draws = predict_many(models, [recipe], ground, radius, CHANCES, painted=painted)
    for color in (lab, draws):
        assert np.isfinite(color).all()
    assert -1e-6 <= lab[0, 0] <= 100 + 1e-6
