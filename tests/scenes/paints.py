"""Ten invented paints, and the colors to which their washes dry.

This is the truth that the product's model is measured against, so it is deliberately another model: absorption and
scattering of other shapes, films of uneven thickness, grain that holds thin washes back, another law for the surface
that forms. The pigment names are generic; no maker's paint is meant.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tests.scenes.spectra import FloatArray, bump, edge, flat
from tests.scenes.surface import Surface
from tests.scenes.woods import Wood

#: Spread (coefficient of variation) of the film's thickness within one brushed patch.
BRUSH_SPREAD = 0.18
#: Spread between two applications of the same wash by the same hand.
APPLICATION_SCATTER = 0.12
#: How much more of a thin wash the field, the grain lines and the pores hold back when it is wiped.
HELD_BY_TONES = np.array([0.10, 0.30, 0.60])
#: Share of field, grain lines and pores in a board seen as a whole.
BOARD_SHARES = np.array([0.72, 0.25, 0.03])
#: Of the light on rough bare wood, the part that its surface scatters back uncolored.
BARE_HAZE = 0.035
#: Film thickness at which half of the paint's own surface has formed, and how sharply.
SURFACE_FILM, SURFACE_ORDER = 0.09, 1.3
#: Gauss-Hermite nodes over the thickness.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)


@dataclass(frozen=True, eq=False)
class Paint:
    """One unit of film is what one full-strength coat, brushed and wiped, leaves on the field of a wood."""

    name: str
    #: (81,) absorption and scattering of one unit of film.
    absorption: FloatArray
    scattering: FloatArray
    #: Film left is the paint fraction to this power.
    thinning: float = 1.05
    #: A later coat leaves 1 / (1 + this * coats below).
    later_coats: float = 0.10
    #: Light that the dried surface reflects: from outside, and back inwards from below (0 is perfectly matte).
    outer: float = 0.025
    inner: float = 0.40

    def film(self, paint_fraction: float, coats: int) -> float:
        """Thickness on a ground that holds nothing back."""
        return float(paint_fraction**self.thinning * (1 / (1 + self.later_coats * np.arange(coats))).sum())


def _paints() -> dict[str, Paint]:
    # Levels and edges follow the looks of such pigments: white scatters, umbers fall slowly, oxides have edges.
    paints = (
        Paint("Warm White", 0.015 + 1.8 * edge(402, 7) + 0.03 * edge(480, 30), 3.8 * (0.8 + 0.35 * edge(500, 70)),
              1.02, 0.08, 0.025, 0.30),
        Paint("Cream", 0.04 + 1.5 * edge(410, 9) + 0.30 * edge(500, 24), 3.1 * (0.8 + 0.4 * edge(510, 60)),
              1.05, 0.10, 0.02, 0.35),
        Paint("Ochre", 0.09 + 3.0 * edge(515, 17) + 0.22 * bump(650, 50), 2.1 * (0.8 + 0.25 * bump(560, 60)),
              1.10, 0.10, 0.02, 0.42),
        Paint("Raw Umber", 0.7 + 2.9 * edge(485, 55) + 0.4 * bump(600, 80), 1.0 * (0.7 + 0.5 * edge(520, 60)),
              1.08, 0.12, 0.02, 0.45),
        Paint("Burnt Umber", 0.45 + 2.4 * edge(572, 26) + 1.5 * edge(455, 45), 0.95 * (0.75 + 0.4 * edge(540, 70)),
              1.12, 0.11, 0.02, 0.45),
        Paint("Red Oxide", 0.12 + 4.0 * edge(578, 14) + 0.2 * bump(690, 50), 1.7 * (0.85 + 0.3 * bump(620, 45)),
              1.10, 0.09, 0.025, 0.42),
        Paint("Oxide Green", 0.30 + 2.0 * bump(430, 42) + 1.9 * bump(608, 46), 1.25 * (0.8 + 0.3 * bump(530, 50)),
              1.06, 0.10, 0.02, 0.40),
        Paint("Dull Blue", 0.25 + 2.4 * bump(595, 55) + 0.6 * bump(540, 40), 0.8 * (0.7 + 0.5 * edge(510, 50)),
              1.04, 0.10, 0.02, 0.38),
        Paint("Carbon Black", 4.2 + 0.9 * edge(510, 90), 0.22 * (0.8 + 0.4 * edge(500, 60)),
              1.15, 0.13, 0.025, 0.45),
        Paint("Brown Glaze", 0.12 + 1.7 * edge(458, 34) + 0.45 * bump(520, 48), 0.13 * (0.7 + 0.6 * edge(500, 70)),
              1.00, 0.05, 0.035, 0.55),
    )  # fmt: skip
    return {paint.name: paint for paint in paints}


#: By name.
PAINTS = _paints()


def invented_paint(name: str, rng: np.random.Generator, body: tuple[float, float] = (0.15, 3.5)) -> Paint:
    """A paint of the same physics that nobody has seen: any edge, any thinning, scattering between two bounds."""
    strength = float(np.exp(rng.uniform(np.log(0.4), np.log(4.0))))
    absorption = (
        rng.uniform(0.02, 0.4)
        + strength * edge(rng.uniform(430, 600), rng.uniform(10, 60))
        + strength * rng.uniform(0, 0.5) * bump(rng.uniform(430, 690), rng.uniform(35, 80))
    )
    scattering = float(np.exp(rng.uniform(*np.log(body)))) * (
        rng.uniform(0.7, 0.85) + rng.uniform(0.2, 0.5) * edge(rng.uniform(490, 550), rng.uniform(50, 90))
    )
    return Paint(
        name, absorption, scattering, rng.uniform(1.0, 1.15), rng.uniform(0.05, 0.13), rng.uniform(0.02, 0.035),
        rng.uniform(0.3, 0.55),
    )  # fmt: skip


def mixed(parts: Mapping[str, float]) -> Paint:
    """Paints stirred together by volume: every property is the mean by parts."""
    share = np.array(list(parts.values())) / sum(parts.values())
    paints = [PAINTS[name] for name in parts]

    def mean(attribute: str) -> FloatArray:
        return np.tensordot(share, np.array([getattr(paint, attribute) for paint in paints]), 1)

    return Paint(
        " + ".join(parts), mean("absorption"), mean("scattering"),
        *(float(mean(name)) for name in ("thinning", "later_coats", "outer", "inner")),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Wash:
    """A paint, thinned, in a number of coats."""

    paint: Paint
    #: Paint over paint and water: 1:3 is 0.25.
    paint_fraction: float
    coats: int
    #: Factor on the film: how this application came out.
    thickness: float = 1.0

    def scattered(self, rng: np.random.Generator, spread: float = APPLICATION_SCATTER, water: float = 0.0) -> "Wash":
        """The same wash mixed and applied once more, its parts of water off by the standard deviation ``water``."""
        thickness = float(np.exp(rng.normal(0, spread)))
        fraction = self.paint_fraction
        if water:
            fraction = fraction / (fraction + (1 - fraction) * float(np.exp(rng.normal(0, water))))
        return Wash(self.paint, fraction, self.coats, thickness)


def layer(ground: FloatArray, absorption: FloatArray, scattering: FloatArray, film: FloatArray) -> FloatArray:
    """Reflectance of a film over a ground, inside the film.

    Kubelka 1948, J. Opt. Soc. Am. 38(5): reflectance and transmittance of the free film, then all the light that goes
    to and fro between film and ground. Arrays broadcast.
    """
    a = 1 + absorption / scattering
    b = np.sqrt(a * a - 1)
    # Beyond 300 a film hides all; hyperbolic functions would overflow.
    optical = np.minimum(b * scattering * film, 300)
    below = a * np.sinh(optical) + b * np.cosh(optical)
    free, through = np.sinh(optical) / below, b / below
    return free + through**2 * ground / (1 - free * ground)


def surface(inside: FloatArray, outer: FloatArray | float, inner: FloatArray | float) -> FloatArray:
    """What leaves through a surface (Saunderson 1942, gloss excluded)."""
    return (1 - outer) * (1 - inner) * inside / (1 - inner * inside)


@dataclass(frozen=True)
class ClearCoat:
    """A clear sealer or top coat, in one closed film."""

    name: str
    #: Strength of its amber tint.
    amber: float
    outer: float = 0.04
    inner: float = 0.45

    def over(self, inside: FloatArray) -> FloatArray:
        """Light passes the tinted film twice and leaves through its surface."""
        return surface(inside * np.exp(-2 * self.amber * (edge(465, 28) + 0.08)), self.outer, self.inner)


def dried(
    ground: FloatArray,
    washes: Sequence[Wash] = (),
    *,
    held: FloatArray | float = HELD_BY_TONES[0],
    clear: ClearCoat | None = None,
) -> FloatArray:
    """Reflectance of a ground after washes, lowest first, and a clear coat.

    Parameters
    ----------
    ground : (81,) or (tones, 81); bare, as measured
    held : scalar or (tones,); how much more of a thin wash the ground holds back when wiped

    Returns
    -------
    Of the shape of `ground`.
    """
    held = np.asarray(held)[..., None]
    spread = np.exp(BRUSH_SPREAD * _NODES - BRUSH_SPREAD**2 / 2)
    total = np.zeros_like(ground)
    for factor, weight in zip(spread, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        inside, film, outer, inner = ground, np.zeros(1), 0.0, 0.0
        for wash in washes:
            paint = wash.paint
            own = paint.film(wash.paint_fraction, wash.coats) * wash.thickness * factor
            own = own * (1 + held * (1 - wash.paint_fraction))
            inside = layer(inside, paint.absorption, paint.scattering, own)
            film, outer, inner = film + own, paint.outer, paint.inner
        formed = film**SURFACE_ORDER / (film**SURFACE_ORDER + SURFACE_FILM**SURFACE_ORDER)
        if clear is None:
            total = total + weight * surface(inside, outer * formed, inner * formed)
        else:
            haze = BARE_HAZE * (1 - formed)
            total = total + weight * clear.over(np.clip((inside - haze) / (1 - haze), 0, 1))
    return total


def washed_board(wood: Wood, washes: Sequence[Wash] = (), clear: ClearCoat | None = None) -> FloatArray:
    """(81,) mean reflectance of a washed board: each tone dries for itself, their light mixes by area."""
    return BOARD_SHARES @ dried(wood.tones, washes, held=HELD_BY_TONES, clear=clear)


def washed(surface: Surface, washes: Sequence[Wash] = (), clear: ClearCoat | None = None) -> Surface:
    """A piece of board (field, grain lines, pores) after washes and a clear coat, its grain still showing."""
    return surface.coated(lambda tones: dried(tones, washes, held=HELD_BY_TONES, clear=clear))


#: Grounds that aren't wood: a sized white card and a black card.
WHITE_CARD, BLACK_CARD = flat(0.87) - 0.25 * edge(412, 9), flat(0.045)
#: By name: one sealer and two top coats.
CLEAR_COATS = {
    coat.name: coat
    for coat in (
        ClearCoat("Pale Shellac", 0.10),
        ClearCoat("Matte Water Varnish", 0.015, 0.03, 0.30),
        ClearCoat("Amber Oil Varnish", 0.22, 0.04, 0.50),
    )
}
