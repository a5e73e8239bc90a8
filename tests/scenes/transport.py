"""A second truth: paints whose films follow radiative transfer in six directions instead of Kubelka and Munk.

It judges the wash model beside `tests.scenes.paints`. Paints of odd seeds helped to choose the sizes of the model's
errors and its prior of hiding; nothing may be tuned on even ones, which the studies report. Its law:

* Light inside a film runs in three directions down and three up (double-Gauss quadrature of the cosine) and is
  scattered alike into all of them: the equation of transfer, solved by doubling thin slices (van de Hulst's method:
  H. C. van de Hulst, Multiple Light Scattering, 1980; S. Chandrasekhar, Radiative Transfer, 1950).
* A dried film lies in islands. Over their share of the area light enters and leaves through a surface of refractive
  index 1.5 as Fresnel has it: of the three directions only the steepest gets out. Between them there is no surface.
  Both areas' light adds up. A matte share of the islands' surface lets light through without bending it.
* Absorption and scattering have other shapes: bands and edges over photon energy, scattering with a hump.
* A wash of paint fraction d leaves d (v + (1 - v) d), n coats leave n ** p; the brush leaves 0.25 of unevenness.

Every paint is invented by a seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.scenes.paints import BOARD_SHARES, HELD_BY_TONES, Wash
from tests.scenes.spectra import WAVELENGTHS, FloatArray
from tests.scenes.woods import Wood

#: Cosines and weights of Gauss's quadrature on 0 to 1, three points, and what each carries of a diffuse flux.
_COSINES = 0.5 + 0.5 * np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)])
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18
_FLUX = 2 * _COSINES * _WEIGHTS
#: Fresnel's reflectance from inside at n = 1.5: total beyond a cosine of 0.745, 4 % at the steepest direction.
_INSIDE, _OUTSIDE = np.array([1.0, 1.0, 0.04]), 0.04
#: Optical thickness of the slices that are doubled.
_THIN = 1e-4
#: Unevenness of a brushed film within one patch: nodes of a normal number, and their weights.
_UNEVEN, _NODES, _NODE_WEIGHTS = 0.25, np.sqrt(3) * np.array([-1.0, 0.0, 1.0]), np.array([1, 4, 1]) / 6
_EYE = np.eye(3)


@dataclass(frozen=True, eq=False)
class Paint:
    """One unit of film is what one full-strength coat leaves."""

    name: str
    #: (81,) optical depth of one unit of film by absorption and by scattering.
    absorption: FloatArray
    scattering: FloatArray
    #: Share that stays of the film a wash should leave, where it is very thin: v.
    stays: float
    #: Power of the number of coats: p.
    later: float
    #: Film at which 63 % of the area is covered by islands, how sharply, and the matte share of their surface.
    islands: float
    order: float
    matte: float

    def film(self, paint_fraction: float, coats: int) -> float:
        """Thickness on a ground that holds nothing back."""
        return float(paint_fraction * (self.stays + (1 - self.stays) * paint_fraction) * coats**self.later)


def invented_paint(name: str, rng: np.random.Generator) -> Paint:
    """A paint that nobody has seen."""
    energy = 1239.8 / WAVELENGTHS  # electronvolts
    strength = float(np.exp(rng.uniform(np.log(0.15), np.log(4.0))))
    absorption = 0.01 + strength * (
        rng.uniform(0.0, 0.15)
        + rng.uniform(0.5, 1.0) / (1 + np.exp(-(energy - rng.uniform(2.0, 3.0)) / rng.uniform(0.03, 0.2)))
        + rng.uniform(0.0, 0.8) * np.exp(-0.5 * ((energy - rng.uniform(1.8, 2.8)) / rng.uniform(0.1, 0.3)) ** 2)
    )
    hump, steep = rng.uniform(380, 650), rng.uniform(0.5, 3.0)
    relative = WAVELENGTHS / hump
    scattering = float(np.exp(rng.uniform(np.log(0.15), np.log(5.0)))) * 2 / (relative**steep + relative**-steep)
    return Paint(
        name, absorption, scattering, rng.uniform(0.7, 1.0), rng.uniform(0.85, 1.0),
        float(np.exp(rng.uniform(np.log(0.05), np.log(0.25)))), rng.uniform(0.8, 1.6), rng.uniform(0.1, 0.7),
    )  # fmt: skip


def slab(absorption: FloatArray, scattering: FloatArray, film: float) -> tuple[FloatArray, FloatArray]:
    """(81, 3, 3) reflection and transmission of a film: intensities out of intensities in."""
    depth = (absorption + scattering) * film
    doublings = max(0, int(np.ceil(np.log2(depth.max() / _THIN)))) if depth.max() > 0 else 0
    thin = (depth / 2**doublings)[:, None, None] / _COSINES[:, None]
    albedo = (scattering / (absorption + scattering))[:, None, None]
    back = -np.expm1(-thin) * albedo / 2 * _WEIGHTS
    through = _EYE * np.exp(-thin) + back
    for _ in range(doublings):
        again = np.linalg.inv(_EYE - back @ back)
        back, through = back + through @ again @ back @ through, through @ again @ through
    return back, through


def dried(
    ground: FloatArray, washes: Sequence[Wash] = (), *, held: FloatArray | float = HELD_BY_TONES[0]
) -> FloatArray:
    """Reflectance of a ground (..., 81) after washes, lowest first; parameters as of `tests.scenes.paints.dried`."""
    ground = np.asarray(ground)
    if ground.ndim == 2:
        amounts = np.broadcast_to(held, len(ground))
        if np.ptp(amounts):
            return np.stack([dried(one, washes, held=float(h)) for one, h in zip(ground, amounts, strict=True)])
        held = float(amounts[0])
    total = np.zeros_like(ground)
    for node, weight in zip(_NODES, _NODE_WEIGHTS, strict=True):
        factor = np.exp(_UNEVEN * node - _UNEVEN**2 / 2)
        # A matte ground sends what falls on it into all directions alike.
        body, open_share, matte = ground[..., None, None] * np.broadcast_to(_FLUX, (3, 3)), 1.0, 0.0
        for wash in washes:
            paint = wash.paint
            film = paint.film(wash.paint_fraction, wash.coats) * wash.thickness * factor
            film *= 1 + float(held) * (1 - wash.paint_fraction)
            back, through = slab(paint.absorption, paint.scattering, film)
            body = back + through @ np.linalg.solve(_EYE - body @ back, body @ through)
            open_share, matte = open_share * np.exp(-((film / paint.islands) ** paint.order)), paint.matte
        diffuse = body.sum(axis=-1) @ _FLUX
        source = (1 - _OUTSIDE) / _FLUX[-1] * body[..., -1]
        up = np.linalg.solve(_EYE - body * _INSIDE, source[..., None])[..., 0]
        closed = _FLUX[-1] * (1 - _INSIDE[-1]) * up[..., -1]
        covered = matte * (1 - _OUTSIDE) * diffuse + (1 - matte) * closed
        total = total + weight * (open_share * diffuse + (1 - open_share) * covered)
    return total


def washed_board(wood: Wood, washes: Sequence[Wash] = ()) -> FloatArray:
    """(81,) mean reflectance of a washed board."""
    return BOARD_SHARES @ dried(wood.tones, washes, held=HELD_BY_TONES)
