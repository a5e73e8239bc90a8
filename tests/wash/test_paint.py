"""A paint's fit: derivatives, the truth it came from, what it refuses, what it flags."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
from colormatch.errors import BadInput, PaintError
from colormatch.records import SIGMA_PER_RADIUS, Lab, Layer, Part, Swatch
from colormatch.wash import film, optics
from colormatch.wash import paint as wash_paint
from colormatch.wash.carried import CARRIED_ERROR, MODEL_ERROR, covariance, place_of
from colormatch.wash.doubts import birge_ratio
from colormatch.wash.paint import (
    PRIOR_MEAN,
    PRIOR_SIGMA,
    REFITS,
    PaintModel,
    _Fit,
    fit_key,
    fit_paint,
    hand_scatter,
    is_transparent,
    washes_with_slopes,
)
from colormatch.wash.predict import draw_normals, no_luck, predict, predict_many
from tests.studies import wash as study

GROUNDS = (Lab(70, 8, 25), Lab(90, 0, 2), Lab(30, 3, 4))
#: (paint, water, coats, ground): six swatches of all kinds.
PLAN = ((1, 0, 1, 0), (1, 1, 1, 1), (1, 3, 2, 0), (1, 7, 1, 2), (1, 3, 1, 2), (1, 1, 3, 0))


def swatches_from(theta: np.ndarray, name: str = "umber", uncertainty: float = 0.1) -> list[Swatch]:
    """Swatches that the model itself would give, without any error."""
    made = []
    for paint, water, coats, ground in PLAN:
        lab, _, _ = washes_with_slopes(
            theta[None],
            np.zeros((1, 1)),
            np.array([paint / (paint + water)]),
            np.array([coats]),
            reflectance_from_lab(np.array([GROUNDS[ground]])),
        )
        made.append(Swatch(name, paint, water, coats, "wood", GROUNDS[ground], Lab(*lab[0, 0]), uncertainty))
    return made


THETA = np.array([0.6, 0.5, 0.2, -0.3, -0.9, -1.1, 0.3, -0.5, 0.2, -0.1, 0.4, 1.08, -0.1])


def test_slopes_are_differences() -> None:
    rng = np.random.default_rng(0)
    theta = PRIOR_MEAN + 0.4 * PRIOR_SIGMA * rng.standard_normal((4, optics.SIZE))
    scatter = rng.normal(0, 0.1, (4, 3))
    washes = (np.array([1, 0.25, 0.5]), np.array([1, 2, 3]), reflectance_from_lab(np.array(GROUNDS)))
    _, by_theta, by_thickness = washes_with_slopes(theta, scatter, *washes)
    step = 1e-5

    def lab(move: np.ndarray | float, thicker: float) -> np.ndarray:
        return washes_with_slopes(theta + move, scatter + thicker, *washes)[0]

    differences = [(lab(step * e, 0) - lab(-step * e, 0)) / (2 * step) for e in np.eye(optics.SIZE)]
    np.testing.assert_allclose(by_theta, np.stack(differences, axis=-1), atol=1e-4)
    np.testing.assert_allclose(by_thickness, (lab(0, step) - lab(0, -step)) / (2 * step), atol=1e-5)


def test_colors_are_those_of_the_film() -> None:
    """One fraction in place against the film by itself, laid over its ground; in either precision."""
    rng = np.random.default_rng(1)
    theta = PRIOR_MEAN + PRIOR_SIGMA * rng.standard_normal((700, optics.SIZE))
    fraction, coats = np.array([1, 0.25, 0.5]), np.array([1, 2, 3])
    ground, thicker = reflectance_from_lab(np.array(GROUNDS)), rng.normal(0, 0.1, (700, 3))
    paint = optics.Optics(*(values[:, None] for values in optics.optics_of(theta)))
    x = film.thickness(fraction, coats, paint.gamma, paint.rho) * np.exp(thicker)
    expected = lab_from_reflectance(film.seen(film.lay(film.film(paint.K, paint.S, x, paint.k2), film.bare(ground))))
    np.testing.assert_allclose(washes_with_slopes(theta, thicker, fraction, coats, ground)[0], expected, atol=1e-6)
    single = washes_with_slopes(theta, thicker, fraction, coats, ground.astype(np.float32))[0]
    np.testing.assert_allclose(single, expected, atol=2e-3)


def test_many_swatches_are_fitted_as_closely_as_few(monkeypatch: pytest.MonkeyPatch) -> None:
    """The short way for many against the long one: the same colors, and the same radius stated for them.

    The draws of the two ways are independent, hence many of them: the spread of 400 is known to about 4 %.
    """
    monkeypatch.setattr(wash_paint, "REFITS", 400)
    rng = np.random.default_rng(2)
    recipe = tuple(
        (ground, 1.0, water, coats) for ground in study.GROUNDS for water in (0, 1, 3) for coats in (1, 2, 3)
    )
    swatches = study.swatches_of("Ochre", recipe, study.Trial(), rng)
    assert len(swatches) > wash_paint._MANY
    short = fit_paint(swatches)
    monkeypatch.setattr(wash_paint, "_MANY", 1000)
    long = fit_paint(swatches)
    recipes = [[Layer((Part("Ochre"),), d, n)] for d, n in ((1.0, 1), (0.25, 2), (0.5, 3))]
    chances = draw_normals(np.random.default_rng(3), 400)
    for ground in GROUNDS:
        found = [predict_many({"Ochre": model}, recipes, ground, 0.0, chances) for model in (short, long)]
        assert np.asarray(delta_e(found[0][0], found[1][0])).max() < 0.05
        radii = [np.percentile(delta_e(draws, lab[:, None]), 90, axis=1) for lab, draws in found]
        np.testing.assert_allclose(radii[0], radii[1], rtol=0.1)


def test_finds_the_colors_of_a_paint_of_its_own_kind() -> None:
    model = fit_paint(swatches_from(THETA))
    assert model.residuals.max() < 0.5
    assert not model.flags


def test_the_fit_is_the_one_scipy_finds() -> None:
    """The same least-squares problem given to scipy, from the same start."""
    swatches = swatches_from(THETA, uncertainty=1.0)
    problem = _Fit(swatches, np.random.default_rng(0))
    theta, *_ = problem.solve()

    def residuals(p: np.ndarray) -> np.ndarray:
        parts = problem._residuals(p[None], np.array([0]))
        return np.concatenate([parts.data.ravel(), parts.prior.ravel(), parts.film.ravel()])

    found = optimize.least_squares(residuals, np.concatenate([PRIOR_MEAN, np.zeros(len(swatches))]), xtol=1e-12)
    np.testing.assert_allclose(theta, found.x[: optics.SIZE], atol=0.02)


def test_order_does_not_matter() -> None:
    swatches = swatches_from(THETA)
    forward, backward = fit_paint(swatches), fit_paint(swatches[::-1])
    assert forward.key == backward.key
    np.testing.assert_array_equal(forward.theta, backward.theta)
    np.testing.assert_array_equal(forward.draws, backward.draws)
    np.testing.assert_array_equal(forward.residuals, backward.residuals[::-1])


def test_key_follows_what_the_fit_depends_on() -> None:
    swatches = swatches_from(THETA)
    key = fit_key(swatches)
    assert fit_key([replace(swatches[0], notes="by the window"), *swatches[1:]]) == key
    assert fit_key([replace(swatches[0], paint_parts=2.0), *swatches[1:]]) == key  # full is full
    assert fit_key([replace(swatches[0], uncertainty=0.2), *swatches[1:]]) != key
    assert fit_key([replace(swatches[0], coats=2), *swatches[1:]]) != key
    assert fit_key(swatches[1:]) != key


def test_a_copy_is_no_evidence() -> None:
    swatches = swatches_from(THETA)
    once, often = fit_paint(swatches), fit_paint([*swatches, *swatches[:2] * 3])
    assert often.key == once.key
    np.testing.assert_array_equal(often.draws, once.draws)
    assert len(often.residuals) == len(swatches)
    # Noted as less certain the second time: the same spot, and the cautious note counts.
    unsure = replace(swatches[0], uncertainty=3.0, notes="copied")
    assert fit_key([*swatches, unsure]) == fit_key([unsure, *swatches[1:]]) != once.key
    assert "one-swatch" in {flag.code for flag in fit_paint(swatches[:1] * 4).flags}
    # Painted anew it comes out a little different, and tells more.
    anew = replace(swatches[0], lab=swatches[0].lab._replace(L=swatches[0].lab.L + 0.1))
    assert len(fit_paint([*swatches, anew]).residuals) == len(swatches) + 1


@pytest.mark.parametrize(
    "change",
    [
        {"coats": 0},
        {"coats": 1001},
        {"coats": 1.5},
        {"coats": float("nan")},
        {"paint_parts": 1e308, "water_parts": 1e308},
        {"coats": -1},
        {"paint_parts": 0.0},
        {"paint_parts": -1.0},
        {"paint_parts": float("nan")},
        {"water_parts": -0.5},
        {"water_parts": float("inf")},
        {"uncertainty": -1.0},
        {"lab": Lab(101, 0, 0)},
        {"lab": Lab(50, 0, float("nan"))},
        {"ground_lab": Lab(50, 130, 0)},
    ],
)
def test_a_swatch_that_can_not_be(change: dict[str, Any]) -> None:
    with pytest.raises(BadInput) as caught:
        replace(swatches_from(THETA)[0], **change)
    assert "umber" in caught.value.what
    assert caught.value.what.endswith(".")
    assert caught.value.fix.endswith(".")


def test_a_swatch_with_the_color_of_its_ground_is_learned_as_no_paint() -> None:
    """Full strength and nothing to see: the paint is taken for nearly transparent, or its film for a slip."""
    nothing = replace(swatches_from(THETA)[0], lab=GROUNDS[0])
    model = fit_paint([nothing])
    assert np.isfinite(model.draws).all()
    assert model.residuals[0] < 3


def test_a_tin_that_is_called_a_glaze_is_expected_to_hide_little() -> None:
    """One swatch fits a glaze and a paint that hides; the word on the tin tells them apart."""
    one = swatches_from(THETA)[1:2]
    unnamed, glaze = fit_paint(one), fit_paint(one, kind="Oil Glaze")
    assert glaze.draws[:, optics.LOG_S].mean() < unnamed.draws[:, optics.LOG_S].mean() - 0.5
    assert glaze.residuals[0] < 1.0
    assert fit_key(one, "Oil Glaze") == glaze.key != unnamed.key
    assert fit_key(one, "acrylic") == unnamed.key
    named = [replace(one[0], paint="Brown Glaze")]
    assert fit_paint(named).draws[:, optics.LOG_S].mean() < unnamed.draws[:, optics.LOG_S].mean() - 0.5
    assert not is_transparent("Glazier's White", "matte paint")
    # Swatches count for more than the word.
    many = swatches_from(THETA)
    assert abs(fit_paint(many, "stain").theta[optics.LOG_S] - fit_paint(many).theta[optics.LOG_S]) < 0.2


def test_stored_and_read_again() -> None:
    model = fit_paint(swatches_from(THETA)[:1])
    again = PaintModel.from_bytes(model.to_bytes())
    assert (again.name, again.key, again.flags) == (model.name, model.key, model.flags)
    for name in ("theta", "draws", "residuals"):
        np.testing.assert_array_equal(getattr(again, name), getattr(model, name))
    for kept, had in zip(again.carried, model.carried, strict=True):
        np.testing.assert_array_equal(kept, had)
    for damaged in (b"", b"PK nothing", model.to_bytes()[:200]):
        with pytest.raises(PaintError):
            PaintModel.from_bytes(damaged)


def test_more_swatches_narrow_the_draws() -> None:
    swatches = swatches_from(THETA)
    one, six = fit_paint(swatches[:1]), fit_paint(swatches)
    assert one.draws.shape == six.draws.shape == (REFITS, optics.SIZE)
    assert six.draws[:, optics.LOG_S].std() < 0.7 * one.draws[:, optics.LOG_S].std()


def test_refuses_what_can_not_be_modeled() -> None:
    with pytest.raises(PaintError, match="no swatch"):
        fit_paint([])
    with pytest.raises(PaintError, match="different paints"):
        fit_paint([*swatches_from(THETA, "umber"), *swatches_from(THETA, "ochre")])


def test_flags_one_swatch_and_what_a_second_ground_would_tell() -> None:
    """A single film over a single ground: hiding and absorbing can't be told apart, over a second ground they can."""
    one, _, _, _, dark, _ = swatches_from(THETA)
    only = fit_paint([one]).flags
    assert [flag.code for flag in only] == ["one-swatch", "opacity-unknown"]
    assert not fit_paint([one, dark]).flags


def test_flags_a_contradiction_and_an_impossible_ground() -> None:
    swatches = swatches_from(THETA)
    wrong = replace(swatches[2], lab=Lab(swatches[2].lab.L + 18, -15, swatches[2].lab.b))
    flags = fit_paint([*swatches[:2], wrong, *swatches[3:]]).flags
    assert "contradictory-swatch" in {flag.code for flag in flags}
    assert any("1:3, 2 coats" in flag.text for flag in flags)
    impossible = replace(swatches[0], ground_lab=Lab(30, 0, 90))
    assert "impossible-ground" in {flag.code for flag in fit_paint([impossible]).flags}


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 60), st.floats(1.04, 50))
def test_the_birge_ratio_begins_where_chance_ends(freedom: float, beyond: float) -> None:
    """Against SciPy's chi-square at 0.1 %, of which the quantile without SciPy may miss 4 %."""
    each = np.full(60, float(stats.chi2.ppf(0.999, freedom)) / 60)
    assert birge_ratio(0.96 * each, freedom) == 1
    assert birge_ratio(beyond * each, freedom) == pytest.approx((beyond * each.sum() / freedom) ** 0.5)
    # One swatch may stand out where the sum does not.
    alone = np.array([float(stats.chi2.ppf(0.9991, 3)), 0.0])
    assert birge_ratio(alone, freedom) == pytest.approx(max(1.0, (alone[0] / freedom) ** 0.5))


def test_degrees_of_freedom_are_the_mean_of_chi_square() -> None:
    """Paints, films and readings drawn just as the fit expects them: chi-square over its degrees is 1 on average."""
    rng = np.random.default_rng(4)
    ratios = []
    for _ in range(120):
        theta = THETA + 0.1 * PRIOR_SIGMA * rng.standard_normal(optics.SIZE)
        fraction = np.array([paint / (paint + water) for paint, water, _, _ in PLAN])
        coats = np.array([coats for _, _, coats, _ in PLAN])
        grounds = np.array([GROUNDS[ground] for *_, ground in PLAN])
        films = hand_scatter(fraction) * rng.standard_normal((1, len(PLAN)))
        lab = washes_with_slopes(theta[None], films, fraction, coats, reflectance_from_lab(grounds))[0][0]
        own = np.full(len(PLAN), np.hypot(1.0 * SIGMA_PER_RADIUS, MODEL_ERROR))
        shared = CARRIED_ERROR * np.asarray(delta_e(lab, grounds))
        places = np.array([place_of(d, int(n), Lab(*g)) for d, n, g in zip(fraction, coats, grounds, strict=True)])
        missed = rng.multivariate_normal(np.zeros(len(PLAN)), covariance(places, shared, own), size=3).T
        lab += missed / axis_weights(lab)
        swatches = [
            Swatch("umber", paint, water, n, "wood", GROUNDS[ground], Lab(*color), 1.0)
            for (paint, water, n, ground), color in zip(PLAN, lab, strict=True)
        ]
        problem = _Fit(swatches, rng)
        surprise, freedom = problem._surprise(problem._best())
        ratios.append(surprise.sum() / freedom)
    assert np.mean(ratios) == pytest.approx(1, abs=0.1)


def test_swatches_that_contradict_each_other_widen_what_is_expected() -> None:
    """Two swatches of one recipe on one ground, eight ΔE apart: which one is right nobody knows."""
    one = swatches_from(THETA, uncertainty=1.0)[1]
    agrees, contradicts = (replace(one, lab=one.lab._replace(a=one.lab.a + off)) for off in (0.5, 8.0))
    calm, torn = fit_paint([one, agrees]), fit_paint([one, contradicts])
    assert calm.spread == 1
    assert {flag.code for flag in calm.flags} == {"opacity-unknown"}
    assert torn.spread > 2
    assert {"swatches-disagree", "contradictory-swatch"} <= {flag.code for flag in torn.flags}
    assert PaintModel.from_bytes(torn.to_bytes()).spread == torn.spread
    chances = replace(draw_normals(np.random.default_rng(0)), thickness=no_luck(120).thickness)  # a steady hand
    layer = Layer((Part("umber"),), 0.5, 1)
    radius = []
    for model in (calm, torn):
        best, draws = predict({"umber": model}, [layer], GROUNDS[1], 0.0, chances)
        radius.append(np.percentile(np.asarray(delta_e(draws, best)), 90))
    assert radius[1] > 2 * radius[0]


LAB = st.builds(Lab, st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


@settings(max_examples=30, deadline=None)
@given(LAB, LAB, st.floats(0.002, 500), st.integers(1, 12), st.floats(0, 10))
@example(Lab(72, 0, 47), Lab(0, 0, 0), 225.0, 1, 0.0)  # slopes whose squares differ by forty powers of ten
def test_any_swatch_gives_finite_numbers(ground: Lab, lab: Lab, water: float, coats: int, uncertainty: float) -> None:
    model = fit_paint([Swatch("odd", 1, water, coats, "any", ground, lab, uncertainty)])
    assert np.isfinite(model.theta).all()
    assert np.isfinite(model.draws).all()
    assert np.isfinite(model.residuals).all()
