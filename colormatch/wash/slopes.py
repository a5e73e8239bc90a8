"""Colors of washes with their derivatives: the inner loop of a paint's fit.

Memory dominates the time: a fit of sixty swatches with thirty refits has arrays of 74,000 values (washes by
wavelengths), and fresh memory for each intermediate result takes longer than the arithmetic. The work is therefore done
in place, in blocks that fit in the processor's cache.
"""

from __future__ import annotations

import numpy as np

from colormatch.color.space import lab_from_xyz
from colormatch.color.spectra import WAVELENGTHS, XYZ_WEIGHTS, lab_slopes
from colormatch.records import FloatArray
from colormatch.wash import film as physics
from colormatch.wash import optics

#: Washes per block: 168 kB for each of its arrays.
_BLOCK = 512
#: Arrays needed per block.
_ARRAYS = 7


def washes_with_slopes(
    theta: FloatArray, log_thickness: FloatArray, fraction: FloatArray, coats: FloatArray, ground: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Colors of washes, and their derivatives by the paint's parameters.

    Parameters
    ----------
    theta : (b, 13) float
    log_thickness : (b, n) float; natural log of each film's thickness over its nominal thickness
    fraction, coats : (n,)
    ground : (n, 41) float
        Its precision sets that of the computation: with float32, colors are accurate to about 1e-4, in a third of the
        time.

    Returns
    -------
    lab : (b, n, 3)
    by_theta : (b, n, 3, 13)
    by_log_thickness : (b, n, 3)
    """
    precision = ground.dtype
    paint = optics.Optics(*(values[:, None].astype(precision, copy=False) for values in optics.optics_of(theta)))
    gamma, rho, k2 = paint.gamma, paint.rho, paint.k2
    x = (physics.thickness(fraction, coats, gamma, rho) * np.exp(log_thickness)).astype(precision, copy=False)
    cover = -np.expm1(-x / physics.SURFACE_FILM)
    inner = cover * k2
    to_xyz, K_to_xyz, S_to_xyz = (
        matrix.astype(precision, copy=False) for matrix in (XYZ_WEIGHTS, _K_TO_XYZ, _S_TO_XYZ)
    )

    # Light inside the film, block by block: XYZ of u = R / (1 - inner R) and of u², and of the derivatives of u.
    batch, count = x.shape
    rows = max(1, _BLOCK // max(1, count))
    work = np.empty((_ARRAYS, min(rows, batch), count, WAVELENGTHS.size), precision)
    u, u2, by_film = (np.empty((batch, count, 3), precision) for _ in range(3))
    by_K, by_S = (np.empty((batch, count, matrix.shape[1]), precision) for matrix in (K_to_xyz, S_to_xyz))
    for first in range(0, batch, rows):
        some = slice(first, first + rows)
        R, of_K, of_S, w, spare, *_ = block = work[:, : len(x[some])]
        _inside(paint.K[some], paint.S[some], x[some], ground, block)
        np.multiply(inner[some, :, None], R, out=w)
        np.subtract(1, w, out=w)
        np.divide(1, w, out=w)
        R *= w
        np.matmul(R, to_xyz, out=u[some])
        R *= R
        np.matmul(R, to_xyz, out=u2[some])
        w *= w
        of_K *= w
        of_S *= w
        np.matmul(of_K, K_to_xyz, out=by_K[some])
        np.matmul(of_S, S_to_xyz, out=by_S[some])
        np.matmul(np.add(of_K, of_S, out=spare), to_xyz, out=by_film[some])

    # Through the surface, whose outer and inner reflectance grow with its cover.
    k1 = physics.OUTER_REFLECTANCE
    enters, leaves = (1 - k1 * cover)[..., None], (1 - inner)[..., None]
    xyz = enters * leaves * u
    by_inner = enters * (leaves * u2 - u)
    by_cover = k2[..., None] * by_inner - k1 * leaves * u
    by_x = enters * leaves * by_film + by_cover * ((1 - cover) * x / physics.SURFACE_FILM)[..., None]

    slopes = np.empty((*xyz.shape, optics.SIZE), precision)
    through = (enters * leaves)[..., None]
    slopes[..., optics.LOG_K] = through * by_K.reshape(*xyz.shape, -1)
    slopes[..., optics.OF_S] = through * by_S.reshape(*xyz.shape, -1)
    slopes[..., optics.LOGIT_K2] = by_inner * (inner * (1 - k2 / optics.MOST_INNER))[..., None]
    slopes[..., optics.GAMMA] = by_x * np.log(fraction)[:, None].astype(precision, copy=False)
    slopes[..., optics.LOG_RHO] = by_x * physics.thickness_by_log_rho(coats, rho)[..., None]
    to_lab = lab_slopes(xyz)
    return lab_from_xyz(xyz), to_lab @ slopes, (to_lab @ by_x[..., None])[..., 0]


def _to_xyz(basis: FloatArray) -> FloatArray:
    """(41, 3 m): matrix to XYZ for curves that are sums of (41, m) basis curves."""
    return (XYZ_WEIGHTS[:, :, None] * basis[:, None]).reshape(len(basis), -1)


_K_TO_XYZ = _to_xyz(optics.knot_basis())
_S_TO_XYZ = _to_xyz(optics.SCATTERING_BASIS)


def _inside(K: FloatArray, S: FloatArray, x: FloatArray, ground: FloatArray, out: FloatArray) -> None:
    """Reflectance inside films over grounds, and its derivatives by log K and by log S at each wavelength.

    Parameters
    ----------
    K, S : (b, 1, 41) float
    x : (b, n) float
    ground : (n, 41) float
    out : (7, b, n, 41) float
        The first three receive reflectance and its derivatives by log K and by log S; the others are scratch space.

    Notes
    -----
    :func:`colormatch.wash.film.film` laid over a ground Rg is one fraction (Kubelka 1948), with decay E, reach
    q = (1 - E) / c and c² = K (K + 2 S)::

        R = (S q + Rg (1 + E - (K + S) q)) / ((K + S) q + 1 + E - S Rg q)

    K enters directly, through q and through E: dq = -(q - 2 x E) (K + S) / c² dK, dE = -2 x E (K + S) / c dK. Thickness
    enters through the differential equation of Kubelka and Munk, dR / dx = S - 2 (K + S) R + S R². R depends only on K
    x and S x, so its derivatives by log K and log S add up to that by log x.
    """
    R, of_K, of_S, below, spare, decay, reach = out
    a = K + S
    # A floor for absorption whose effect on R is below the precision; avoids division by zero.
    c2 = np.maximum(K * (K + 2 * S), np.finfo(out.dtype).eps)
    c = np.sqrt(c2)
    thick = x[..., None]

    np.multiply(-2 * c, thick, out=reach)
    np.exp(reach, out=decay)
    np.subtract(1, decay, out=reach)
    reach *= 1 / c
    np.multiply(a, reach, out=of_S)
    of_S += 1
    of_S += decay  # (K + S) q + 1 + E
    np.multiply(S, reach, out=spare)
    np.multiply(2, decay, out=R)
    R += 2
    R -= of_S
    R *= ground
    R += spare
    spare *= ground
    np.subtract(of_S, spare, out=below)
    R /= below

    # By log K, times the denominator: (Rg + R) K q minus dq (S (1 + Rg R) - (K + S)(Rg + R)) minus dE (Rg - R).
    decay *= 2 * thick
    np.multiply(ground, R, out=of_K)
    of_K += 1
    of_K *= S
    np.add(ground, R, out=of_S)
    np.multiply(a, of_S, out=spare)
    of_K -= spare
    np.subtract(reach, decay, out=spare)
    of_K *= spare
    of_K *= K * a / c2
    np.subtract(ground, R, out=spare)
    spare *= decay
    spare *= K * a / c
    of_K += spare
    of_S *= reach
    of_S *= K
    of_K += of_S
    np.negative(below, out=below)
    of_K /= below

    # By log thickness, minus the one by log K: by log S.
    np.multiply(R, R, out=of_S)
    of_S += 1
    of_S *= S
    np.multiply(2 * a, R, out=spare)
    of_S -= spare
    of_S *= thick
    of_S -= of_K
