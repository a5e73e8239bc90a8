"""Optics of a film of paint: thickness, Kubelka-Munk layers, and the surface that the film forms.

Everything broadcasts: any leading axes (draws, candidates); spectra have 41 wavelengths on the last axis.

Sources
-------
P. Kubelka and F. Munk, Zeitschrift für technische Physik 12, 1931; P. Kubelka, Journal of the Optical Society of
America 38(5), 1948 (film over a ground); J. L. Saunderson, Journal of the Optical Society of America 32(12), 1942.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from colormatch.records import FloatArray

#: Share of light reflected from outside by a dried paint's surface. Fresnel's normal reflectance of n = 1.5 is 0.04; a
#: brushed and wiped film is matte and readings avoid glare, so half of that. Our choice.
OUTER_REFLECTANCE = 0.02
#: Film thickness at which 63 % of the paint's air surface has formed; one unit is a full-strength coat. From
#: simulations.
SURFACE_FILM = 0.15
#: Inner reflectance assumed for a surface known only by its color: in the middle of those of matte paints and varnish.
TYPICAL_INNER = 0.45
#: Optical thickness per unit of film below which absorption counts as zero; avoids division by zero.
_NO_ABSORPTION = 1e-9


def thickness(
    paint_fraction: FloatArray | float, coats: FloatArray | int, gamma: FloatArray | float, rho: FloatArray | float
) -> FloatArray:
    """Film thickness of a wash, in units of one full-strength coat.

    Parameters
    ----------
    paint_fraction : (...) float; 0 to 1
    coats : (...) int; 0 or more
    gamma : (...) float
        Exponent: one coat of paint fraction d leaves d ** gamma.
    rho : (...) float; above 0
        Thickness of each coat relative to the one before.

    Returns
    -------
    (...) float; d ** gamma * (1 + rho + ... + rho ** (coats - 1))

    Notes
    -----
    The sum is expm1(coats * log rho) / expm1(log rho), which has a constant cost for any number of coats and stays
    accurate near rho = 1.

    Examples
    --------
    >>> float(thickness(0.25, 2, 1.0, 1.0))
    0.5
    """
    step = np.log(np.asarray(rho, dtype=float))
    even = step == 0
    total = np.where(even, coats, np.expm1(coats * step) / np.expm1(np.where(even, 1.0, step)))
    out: FloatArray = np.asarray(paint_fraction, dtype=float) ** gamma * total
    return out


def thickness_by_log_rho(coats: FloatArray | int, rho: FloatArray | float) -> FloatArray:
    """(...) derivative of the natural log of :func:`thickness` by the natural log of rho.

    Examples
    --------
    Of two even coats the second is half of the film:

    >>> float(thickness_by_log_rho(2, 1.0))
    0.5
    """
    coats = np.asarray(coats, dtype=float)
    step = np.log(np.asarray(rho, dtype=float))
    # Near rho = 1 this is a difference of two large terms; its series is accurate to 1e-9 there.
    near = np.abs(coats * step) < 1e-3
    safe = np.where(near, 1.0, step)
    far = coats * _risen(coats * safe) - _risen(safe)
    out: FloatArray = np.where(near, (coats - 1) / 2 + (coats**2 - 1) * step / 12, far)
    return out


def _risen(t: FloatArray) -> FloatArray:
    """exp(t) / expm1(t), without overflow."""
    over = -1 / np.expm1(-np.abs(t))
    out: FloatArray = np.where(t > 0, over, 1 - over)
    return out


class Film(NamedTuple):
    """A film alone, ready to be laid over any ground."""

    #: (..., 41) reflectance over black.
    reflectance: FloatArray
    #: (..., 41) square of its transmittance: light passes it twice.
    transmittance2: FloatArray
    #: (...) share of its own air surface that has formed, 0 to 1.
    cover: FloatArray
    #: (...) cover times k2, the inner reflectance of the surface.
    inner: FloatArray


class Body(NamedTuple):
    """A ground, with or without films, seen from inside the topmost film."""

    #: (..., 41) reflectance below the surface; for a bare ground, as measured.
    reflectance: FloatArray
    #: (...) share of a paint's air surface that has formed on it, 0 to 1.
    cover: FloatArray
    #: (...) inner reflectance of that surface, times cover.
    inner: FloatArray


def bare(reflectance: FloatArray) -> Body:
    """A ground without paint, (..., 41)."""
    reflectance = np.asarray(reflectance)
    none = np.zeros(reflectance.shape[:-1], dtype=reflectance.dtype)
    return Body(reflectance, none, none)


def covered(
    reflectance: FloatArray, cover: FloatArray | float = 1.0, inner: FloatArray | float = TYPICAL_INNER
) -> Body:
    """A ground whose air surface a finish or a paint has closed, from its measured reflectance (..., 41).

    Parameters
    ----------
    reflectance : (..., 41) float
    cover : (...) float
        Share that is closed: 1 for sealed or painted wood, 0 for bare wood.
    inner : (...) float
        Inner reflectance of that surface.
    """
    shape = np.shape(reflectance)[:-1]
    share = np.broadcast_to(np.asarray(cover, dtype=np.asarray(reflectance).dtype), shape)
    return read_through(reflectance, Body(np.asarray(reflectance), share, inner * share))


def film(K: FloatArray, S: FloatArray, x: FloatArray, k2: FloatArray) -> Film:
    """Make a film from a paint's optics and a thickness.

    Parameters
    ----------
    K, S : (..., 41) float
        Absorption and scattering of one unit of film; zero or more.
    x : (...) float
        Thickness, units of film; zero or more.
    k2 : (...) float
        Inner reflectance of the closed surface, 0 to below 1.

    Returns
    -------
    Film

    Notes
    -----
    Kubelka (1948) writes R0 = sinh(bSx) / (a sinh bSx + b cosh bSx) and T = b / (same), a = 1 + K/S, b = sqrt(a² - 1).
    With decay = exp(-2 bSx) and reach = (1 - decay) / bS these become the lines below. They stay exact for K = 0, for S
    = 0, for zero thickness and for a film that hides everything.
    """
    x = np.asarray(x)[..., None]
    bS = np.sqrt(np.maximum(K * (K + 2 * S), _NO_ABSORPTION**2))
    decay = np.exp(-2 * bS * x)
    reach = -np.expm1(-2 * bS * x) / bS
    below = (K + S) * reach + 1 + decay
    cover = -np.expm1(-x[..., 0] / SURFACE_FILM)
    return Film(S * reach / below, 4 * decay / (below * below), cover, cover * k2)


def lay(top: Film, under: Body) -> Body:
    """Lay a film over a body.

    Light is reflected back and forth between film and ground (Kubelka 1948). The upper film's surface counts as far as
    it has formed, the lower surface elsewhere; a film of zero thickness changes nothing.
    """
    inside = under.reflectance
    return Body(
        top.reflectance + top.transmittance2 * inside / (1 - top.reflectance * inside),
        top.cover + (1 - top.cover) * under.cover,
        top.inner + (1 - top.cover) * under.inner,
    )


def read_through(reflectance: FloatArray, under: Body) -> Body:
    """A body with the surface of `under`, from its reflectance (..., 41) measured through that surface."""
    inside = inside_of(reflectance, OUTER_REFLECTANCE * under.cover[..., None], under.inner[..., None])
    return Body(inside, under.cover, under.inner)


def saunderson(inside: FloatArray, k1: FloatArray | float, k2: FloatArray | float) -> FloatArray:
    """Reflectance outside a surface, gloss excluded (Saunderson 1942).

    Parameters
    ----------
    inside : (...) float; reflectance below the surface
    k1 : share of light reflected by the surface from outside
    k2 : share reflected back inside

    Examples
    --------
    k1 = 0.04 and k2 = 0.6, with the gloss k1 that an integrating sphere adds:

    >>> (0.04 + saunderson(np.array([0.1, 0.5, 0.9]), 0.04, 0.6)).round(6).tolist()
    [0.080851, 0.314286, 0.791304]
    """
    out: FloatArray = (1 - k1) * (1 - k2) * inside / (1 - k2 * inside)
    return out


def inside_of(seen: FloatArray, k1: FloatArray | float, k2: FloatArray | float) -> FloatArray:
    """Inverse of :func:`saunderson`."""
    out: FloatArray = seen / ((1 - k1) * (1 - k2) + k2 * seen)
    return out


def seen(body: Body) -> FloatArray:
    """(..., 41) measured reflectance of a body, through the surface that has formed."""
    return saunderson(body.reflectance, OUTER_REFLECTANCE * body.cover[..., None], body.inner[..., None])
