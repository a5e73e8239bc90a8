"""Clear coats learned from pairs."""

import numpy as np
import pytest

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
from colormatch.errors import PaintError
from colormatch.records import SIGMA_PER_RADIUS, ClearCoatPair, Lab
from colormatch.wash.clear import HAZE, fit_clear, seal
from colormatch.wash.film import bare, covered, film, lay, seen

BARE = np.array([[72.0, 7, 24], [58, 10, 27], [40, 9, 15]])


def pairs_from(values: tuple[float, float], on: str = "bare wood") -> list[ClearCoatPair]:
    """Pairs that the model itself would give."""
    sealed = lab_from_reflectance(seal(np.array(values), covered(reflectance_from_lab(BARE), float("washed" in on))))
    return [ClearCoatPair("coat", Lab(*b), Lab(*s), on) for b, s in zip(BARE, sealed, strict=True)]


@pytest.mark.parametrize("on", ["bare wood", "washed wood"])
@pytest.mark.parametrize("values", [(0.45, 0.08), (0.3, 0.02), (0.55, 0.2)])
def test_brings_back_what_the_pairs_were_made_of(values: tuple[float, float], on: str) -> None:
    coat = fit_clear(pairs_from(values, on))
    assert coat.residuals.max() < 0.5
    assert coat.values[0] == pytest.approx(values[0], abs=0.06)
    assert coat.values[1] == pytest.approx(values[1], abs=0.03)
    assert not coat.flags


def test_unpainted_wood_is_not_painted() -> None:
    bare_wood, unpainted, *closed = (
        fit_clear([ClearCoatPair("coat", p.bare_lab, p.sealed_lab, on) for p in pairs_from((0.45, 0.08))]).values
        for on in ("bare wood", "Unpainted door, unwashed, unsealed", "painted door", "sealed wood", "under varnish")
    )
    np.testing.assert_array_equal(unpainted, bare_wood)
    for values in closed:
        assert not np.allclose(values, bare_wood, rtol=0.05)


def test_a_further_coat_changes_closed_wood_little_and_wets_bare_wood() -> None:
    """A coat without amber over wood that is sealed: below ΔE00 1.5 (common practice: later coats change little)."""
    wood = reflectance_from_lab(BARE)
    np.testing.assert_allclose(seen(covered(wood)), wood, atol=1e-12)  # as it was measured
    for k2 in (0.4, 0.45, 0.5):
        over_closed, over_bare = (
            np.asarray(delta_e(lab_from_reflectance(seal(np.array([k2, 0.0]), body)), BARE))
            for body in (covered(wood, inner=k2), bare(wood))
        )
        assert over_closed.max() < 1.5
        assert over_bare.min() > 4


def test_amber_takes_blue_only() -> None:
    under = bare(np.full((1, 41), 0.4))
    pale, amber = (seal(np.array([0.45, strength]), under)[0] for strength in (0.0, 0.3))
    assert amber[0] < 0.75 * pale[0]
    assert amber[-1] == pytest.approx(pale[-1], rel=0.01)


def test_a_closed_film_has_no_haze_to_lose() -> None:
    """Fresh out of the equation: without amber, only the surface's two numbers count."""
    paint = film(np.ones(41), np.ones(41), np.array(50.0), np.array(0.4))
    body = lay(paint, bare(np.full(41, 0.5)))
    k1, k2 = 0.04, 0.45
    expected = (1 - k1) * (1 - k2) * body.reflectance / (1 - k2 * body.reflectance)
    np.testing.assert_allclose(seal(np.array([k2, 0.0]), body), expected, rtol=1e-9)
    hazy = bare(np.full(41, 0.5))
    inside = (0.5 - HAZE) / (1 - HAZE)
    np.testing.assert_allclose(seal(np.array([k2, 0.0]), hazy), (1 - k1) * (1 - k2) * inside / (1 - k2 * inside))


def test_refuses_and_flags() -> None:
    with pytest.raises(PaintError, match="no pair"):
        fit_clear([])
    with pytest.raises(PaintError, match="different"):
        fit_clear([ClearCoatPair(n, Lab(60, 5, 20), Lab(50, 8, 28)) for n in ("one", "other")])
    green = ClearCoatPair("odd", Lab(60, 5, 20), Lab(70, -30, 10))
    assert [flag.code for flag in fit_clear([green]).flags] == ["clear-coat-poor-fit"]


def test_what_one_pair_teaches_is_stated_as_surely_as_two_readings_of_one_spot_allow() -> None:
    """Pairs read with the stated error, 1.75 ΔE00 as a 90 % radius: it holds its share of the truths."""
    rng, truths = np.random.default_rng(7), [(0.45, 0.08), (0.3, 0.03), (0.5, 0.15)] * 12
    held, radii = [], []
    for values in truths:
        (pair,) = pairs_from(values)[:1]
        sealed = np.asarray(pair.sealed_lab)
        read = sealed + rng.standard_normal(3) * 1.75 * SIGMA_PER_RADIUS / axis_weights(sealed)
        coat = fit_clear([ClearCoatPair("coat", pair.bare_lab, Lab(*read))])
        body = bare(reflectance_from_lab(BARE[:1]))
        found, draws = (lab_from_reflectance(seal(v, body)) for v in (coat.values[None], coat.draws))
        radii.append(np.percentile(delta_e(draws, found), 90))
        held.append(delta_e(found[0], sealed) <= radii[-1])
    assert np.mean(held) >= 0.75
    # What was known beforehand helps: the radius is below that of the reading itself.
    assert np.mean(radii) < 1.75
