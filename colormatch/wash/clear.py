"""A clear coat: the effect of a sealer or top coat on bare and on washed wood.

It wets the surface, which removes the haze of bare wood or the air surface of a wash. Its amber absorbs blue light on
the way in and out. Then its own surface lies on top. So it acts on the body below the surface; adding the color change
of bare wood to a wash would count a surface twice.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.solver import Which, least_squares
from colormatch.color.spectra import WAVELENGTHS, lab_from_reflectance, reflectance_from_lab
from colormatch.errors import PaintError
from colormatch.records import SIGMA_PER_RADIUS, ClearCoatPair, Flag, FlagCode, FloatArray
from colormatch.wash.film import Body, covered, saunderson
from colormatch.wash.paint import REFITS

#: Fresnel's normal reflectance of n = 1.5, the coat's outer surface.
CLEAR_OUTER = 0.04
#: Share of light scattered back uncolored by rough bare wood, and removed by a coat. From simulations.
HAZE = 0.03
#: Absorption of an aged binder by wavelength: falls by a factor of e every 60 nm from violet.
_AMBER_SHAPE: FloatArray = np.exp(-(WAVELENGTHS - 400) / 60)
#: Largest inner reflectance of a coat: well above 0.5963, the value for diffuse light below n = 1.5 (Fresnel).
_MOST_INNER = 0.9
#: Prior of (logit of k2 / 0.9, log amber): mean and standard deviation. One standard deviation either way is k2 of 0.19
#: to 0.59 and amber of 0.011 to 0.22.
_PRIOR_MEAN, _PRIOR_SIGMA = np.array([-0.35, -3.0]), np.array([1.0, 1.5])
#: Uncertainty of the difference of a pair, ΔE00 90 % radius: two readings of one spot in one photo.
_PAIR_UNCERTAINTY = 1.75
#: Seed of the refits: equal pairs give an equal coat. Any value works.
_SEED = 20
#: Matches notes about surfaces that a paint or a finish has closed, but not "unpainted" or "unsealed" wood.
_CLOSED = re.compile(r"(?<!un)(wash|paint|glaze|seal|varnish|lacquer|shellac)|top.?coat")
#: Mean ΔE00 of the pairs above which one coat can't explain them all. Our choice.
_POOR_FIT = 2.5


@dataclass(frozen=True, eq=False)
class ClearCoat:
    """Model of a clear coat, learned from pairs."""

    name: str
    #: (2,) inner reflectance of its surface, strength of its amber.
    values: FloatArray
    #: (30, 2) equally likely values.
    draws: FloatArray
    #: (n,) ΔE00 between each sealed color and its prediction.
    residuals: FloatArray
    flags: tuple[Flag, ...] = ()


def seal(values: FloatArray, body: Body) -> FloatArray:
    """Reflectance of a body under a clear coat.

    Parameters
    ----------
    values : (..., 2) float; inner reflectance, amber
    body : Body; (..., 41)

    Returns
    -------
    (..., 41) float; as measured from outside
    """
    haze = HAZE * (1 - body.cover)[..., None]
    inside = np.clip((body.reflectance - haze) / (1 - haze), 0, 1)
    k2, amber = values[..., 0:1], values[..., 1:2]
    return saunderson(inside * np.exp(-2 * amber * _AMBER_SHAPE), CLEAR_OUTER, k2)


def fit_clear(pairs: Sequence[ClearCoatPair]) -> ClearCoat:
    """Learn a clear coat from spots measured before and after it.

    Parameters
    ----------
    pairs : sequence of ClearCoatPair; all of one coat. A spot's surface is closed if ``on`` mentions a wash, a
        paint or a finish.

    Raises
    ------
    PaintError
        No pair, or pairs of different coats.
    """
    names = {p.name for p in pairs}
    if len(names) != 1:
        what = "The clear coat has no pair of colors." if not names else "The pairs belong to different clear coats."
        raise PaintError(what, "Measure one spot before and after the coat.")
    closed = np.array([_CLOSED.search(p.on.lower()) is not None for p in pairs])
    under = covered(reflectance_from_lab(np.array([p.bare_lab for p in pairs])), closed)
    sealed = np.array([p.sealed_lab for p in pairs])
    per_sigma = axis_weights(sealed) / (_PAIR_UNCERTAINTY * SIGMA_PER_RADIUS)
    rng = np.random.default_rng(_SEED)
    moves = np.concatenate([np.zeros((1, 3 * len(pairs) + 2)), rng.standard_normal((REFITS, 3 * len(pairs) + 2))])

    def residuals(p: FloatArray) -> FloatArray:
        data = (lab_from_reflectance(seal(_values(p)[:, None], under)) - sealed) * per_sigma
        return np.concatenate([data.reshape(len(p), -1), (p - _PRIOR_MEAN) / _PRIOR_SIGMA], axis=1)

    def problem(p: FloatArray, which: Which) -> tuple[FloatArray, FloatArray]:
        here, step = residuals(p), 1e-6
        slopes = np.stack([(residuals(p + step * axis) - here) / step for axis in np.eye(2)], axis=-1)
        return here - moves[which], slopes

    found, _ = least_squares(problem, np.tile(_PRIOR_MEAN, (len(moves), 1)), tolerance=1e-5)
    values = _values(found)
    off = np.asarray(delta_e(lab_from_reflectance(seal(values[0], under)), sealed))
    flags = []
    if float(off.mean()) > _POOR_FIT:
        text = f"The pairs of {pairs[0].name} don't agree; check that each is one spot, dry both times."
        flags.append(Flag(FlagCode.CLEAR_COAT_POOR_FIT, text, float(off.mean())))
    return ClearCoat(pairs[0].name, values[0], values[1:], off, tuple(flags))


def _values(p: FloatArray) -> FloatArray:
    return np.stack([_MOST_INNER / (1 + np.exp(-p[..., 0])), np.exp(p[..., 1])], axis=-1)
