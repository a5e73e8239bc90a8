"""What swatches differ by, carried to their neighbors: closed forms of a Gaussian process, and its limits."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from colormatch.color.difference import axis_weights, delta_e
from colormatch.records import Lab, Layer, Part, Swatch
from colormatch.wash.carried import CARRIED_ERROR, MODEL_ERROR, Carried, covariance, model_error, place_of
from colormatch.wash.paint import REFITS, fit_paint, hand_scatter
from colormatch.wash.predict import draw_normals, no_luck, predict

WOOD = Lab(70, 8, 25)
HERE = place_of(0.25, 1, WOOD)
MISSED = np.array([2.0, -1.0, 0.5])


def carried(count: int, noise: float, amplitude: float = 0.5) -> Carried:
    """From equal swatches at one place, with the best estimate and one draw that misses them twice as much."""
    missed = np.tile(MISSED, (2, count, 1)) * np.array([1, 2])[:, None, None]
    return Carried.of(np.array([HERE] * count), missed, np.full(count, amplitude), np.full(count, noise))


@pytest.mark.parametrize(("count", "noise", "amplitude"), [(1, 0.5, 0.5), (1, 0.2, 0.7), (3, 0.4, 0.5), (20, 1.0, 0.3)])
def test_swatches_of_one_place_weigh_as_a_normal_mean_does(count: int, noise: float, amplitude: float) -> None:
    """A normal prior and n normal readings: the mean is weighed by A² / (A² + s² / n), what is left of A² is the rest.

    Textbook form of Bayes's rule for a normal mean.
    """
    shift, left = carried(count, noise, amplitude).at(HERE)
    weight = amplitude**2 / (amplitude**2 + noise**2 / count)
    np.testing.assert_allclose(amplitude * shift, np.outer([1, 2], weight * MISSED), rtol=1e-9)
    assert left == pytest.approx((1 - weight) ** 0.5)


def test_a_swatch_that_is_known_exactly_leaves_nothing_open_at_its_place() -> None:
    shift, left = carried(1, 1e-6).at(HERE)
    np.testing.assert_allclose(0.5 * shift[0], MISSED, rtol=1e-6)
    assert left < 1e-5


def test_nothing_is_carried_far() -> None:
    """Hundred times the film, or from a white ground to a black one eight scales away, and from no swatch at all."""
    known = carried(5, 0.1)
    for shift, left in (known.at(place_of(0.25, 100_000, WOOD)), Carried.nothing(1).at(HERE)):
        np.testing.assert_allclose(shift, np.zeros((2, 3)), atol=1e-12)
        assert left == pytest.approx(1)


def test_the_nearer_the_more() -> None:
    known = carried(1, 0.1)
    reach = [known.at(place_of(0.25, coats, WOOD))[0][0, 0] for coats in (1, 2, 4, 8)]
    assert reach == sorted(reach, reverse=True)
    # Twice the film over the same wood is one place, whichever way it came about.
    assert place_of(0.25, 2, WOOD) == pytest.approx(place_of(0.5, 1, WOOD))
    darker = [known.at(place_of(0.25, 1, Lab(L, 8, 25)))[0][0, 0] for L in (70, 50, 30)]
    assert darker == sorted(darker, reverse=True)


def test_three_swatches_are_conditioned_as_a_joint_normal_is() -> None:
    """Against SciPy's joint normal of three swatches and one wash: the density of the wash given the swatches."""
    places = [place_of(1.0, 1, WOOD), place_of(0.25, 1, WOOD), place_of(0.125, 2, Lab(40, 10, 20))]
    amplitude, noise, own = np.array([0.9, 0.5, 0.3]), np.array([0.2, 0.3, 0.4]), 0.6
    missed = np.array([1.0, -0.4, 0.3])
    wash = place_of(0.5, 1, Lab(60, 9, 25))
    shift, left = Carried.of(np.array(places), np.repeat(missed[None, :, None], 3, axis=2), amplitude, noise).at(wash)
    where, size = np.array([*places, wash]), np.array([*amplitude, own])
    apart = ((where[:, None] - where) / [1.0, 25.0]) ** 2
    both = np.exp(-0.5 * apart.sum(axis=-1)) * np.outer(size, size) + np.diag([*noise**2, 0])
    np.testing.assert_allclose(covariance(where[:3], amplitude, noise), both[:3, :3])
    joint, seen = stats.multivariate_normal(cov=both), stats.multivariate_normal(cov=both[:3, :3])
    given = [joint.logpdf([*missed, x]) - seen.logpdf(missed) for x in (-0.5, 0.0, 0.7)]
    expected = stats.norm(own * shift[0, 0], own * left)
    np.testing.assert_allclose(given, [expected.logpdf(x) for x in (-0.5, 0.0, 0.7)], rtol=1e-6)


def test_the_error_of_the_model_grows_with_what_the_paint_does() -> None:
    assert float(model_error(0.0)) == MODEL_ERROR
    assert float(model_error(1000.0)) == pytest.approx(1000 * CARRIED_ERROR, rel=1e-3)


def test_a_swatch_draws_its_own_wash_toward_itself() -> None:
    """More swatches more, never beyond their color; other washes less."""
    colors = {3: Lab(60, 14, 30), 0: Lab(42, 16, 24), 7: Lab(66, 10, 28)}
    swatches = [Swatch("umber", 1, water, 1, "wood", WOOD, lab, 0.3) for water, lab in colors.items()]
    model = fit_paint(swatches)
    layer = Layer((Part("umber"),), 0.25)
    plain = {"umber": replace(model, carried=Carried.nothing(REFITS))}
    alone, corrected = (predict(some, [layer], WOOD, 0.0, no_luck(30))[0] for some in (plain, {"umber": model}))
    wanted = np.array(colors[3])
    assert float(delta_e(corrected, wanted)) < float(delta_e(alone, wanted))
    again = [replace(swatches[0], lab=wanted_lab(i)) for i in range(40)]
    often = fit_paint([*again, *swatches[1:]])
    assert float(delta_e(predict({"umber": often}, [layer], WOOD, 0.0, no_luck(30))[0], wanted)) < 0.3


def wanted_lab(number: int) -> Lab:
    """The color of one wash, read again and again."""
    return Lab(60 + number / 1e6, 14, 30)


def test_water_counts_as_far_as_a_wash_is_water() -> None:
    """Against the definition: the spread of log p / (p + w) where w is off by 15 %, and a film off by 12 % besides."""
    rng = np.random.default_rng(0)
    for fraction in (1.0, 0.5, 0.1):
        water = (1 - fraction) * np.exp(0.15 * rng.standard_normal(200_000))
        film = np.log(fraction / (fraction + water)) + 0.12 * rng.standard_normal(200_000)
        assert float(hand_scatter(fraction)) == pytest.approx(film.std(), rel=0.02)


def test_a_mix_is_less_sure_than_its_paints_and_one_paint_is_no_mix() -> None:
    """A mix comes out between its paints whatever their parts count for; a paint mixed with itself stays itself."""
    light = [Swatch("cream", 1, w, 1, "wood", WOOD, lab) for w, lab in ((0, Lab(88, 2, 14)), (3, Lab(79, 5, 20)))]
    dark = [Swatch("umber", 1, w, 1, "wood", WOOD, lab) for w, lab in ((0, Lab(35, 10, 14)), (3, Lab(52, 11, 22)))]
    models = {"cream": fit_paint(light), "umber": fit_paint(dark)}
    luck = replace(no_luck(60), parts=draw_normals(np.random.default_rng(1), 60).parts)

    def spread(*paints: str) -> float:
        lab, draws = predict(models, [Layer(tuple(map(Part, paints)), 1.0)], WOOD, 0.0, luck)
        _, sure = predict(models, [Layer(tuple(map(Part, paints)), 1.0)], WOOD, 0.0, no_luck(60))
        return float(np.abs((draws - sure) * axis_weights(lab)).mean())

    assert spread("cream", "cream") == pytest.approx(0, abs=1e-9)
    assert spread("cream", "umber") > 1.0
    bounds = [predict(models, [Layer((Part(p),), 1.0)], WOOD, 0.0, no_luck(60))[0][0] for p in ("umber", "cream")]
    _, draws = predict(models, [Layer((Part("cream"), Part("umber")), 1.0)], WOOD, 0.0, luck)
    assert bounds[0] - 3 < draws[:, 0].min() < draws[:, 0].max() < bounds[1] + 3
