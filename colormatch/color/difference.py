"""The only implementation of CIEDE2000.

Sources
-------
CIE 142-2001 / ISO/CIE 11664-6 define the formula; G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference
formula: implementation notes, supplementary test data, and mathematical observations", Color Research and Application
30(1), 2005, settle its branches (equation numbers below are theirs).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from colormatch.records import BoolArray, FloatArray

#: Pairs per chunk; the kernel's temporaries then fit in a core's cache (8k was fastest of 1k to 128k).
_CHUNK = 8192
_25_TO_7TH = 25.0**7


def delta_e(lab: FloatArray | tuple[float, ...], other: FloatArray | tuple[float, ...]) -> FloatArray:
    """CIEDE2000 between colors (kL = kC = kH = 1).

    Parameters
    ----------
    lab, other : (..., 3) float; CIELAB. Shapes broadcast against each other.

    Returns
    -------
    (...) float; ΔE00. Single precision when both inputs are, otherwise double. Single errs by less than 1e-4 below
        ΔE00 20 and among woods, and by up to 0.004 between nearly opposite hues.

    Examples
    --------
    Pair 1 of Sharma, Wu and Dalal (2005):

    >>> print(f"{float(delta_e((50, 2.6772, -79.7751), (50, 0, -82.7485))):.4f}")
    2.0425
    """
    first, second = np.asarray(lab), np.asarray(other)
    single = first.dtype == np.float32 and second.dtype == np.float32
    dtype = np.float32 if single else np.float64
    return _in_chunks(first.astype(dtype, copy=False), second.astype(dtype, copy=False))


def _in_chunks(lab: FloatArray, other: FloatArray) -> FloatArray:
    shape = np.broadcast_shapes(lab.shape, other.shape)[:-1]
    if math.prod(shape) <= _CHUNK:
        return _kernel(lab, other)
    rows = max(1, _CHUNK // math.prod(shape[1:]))
    if shape[0] == 1:
        return _in_chunks(lab.reshape(lab.shape[-len(shape) :]), other.reshape(other.shape[-len(shape) :]))[None]
    out: FloatArray = np.empty(shape, dtype=lab.dtype)

    def part(colors: FloatArray, start: int) -> FloatArray:
        runs_along = colors.ndim == len(shape) + 1 and colors.shape[0] > 1
        piece: FloatArray = colors[start : start + rows] if runs_along else colors
        return piece

    for start in range(0, shape[0], rows):
        out[start : start + rows] = _in_chunks(part(lab, start), part(other, start))
    return out


def _cos_sin(degrees: float, like: np.dtype[Any]) -> tuple[Any, Any]:
    return like.type(math.cos(math.radians(degrees))), like.type(math.sin(math.radians(degrees)))


def _kernel(lab: FloatArray, other: FloatArray) -> FloatArray:
    """CIEDE2000 with hue terms from unit vectors, which leaves only one arctangent."""
    real = lab.dtype.type
    L1, a1, b1 = lab[..., 0], lab[..., 1], lab[..., 2]
    L2, a2, b2 = other[..., 0], other[..., 1], other[..., 2]

    # (2)-(5): a* stretched near the gray axis.
    chroma = (np.sqrt(a1 * a1 + b1 * b1) + np.sqrt(a2 * a2 + b2 * b2)) * real(0.5)
    stretch = real(1.5) - real(0.5) * _root_of_seventh(chroma)
    a1, a2 = a1 * stretch, a2 * stretch
    C1, C2 = np.sqrt(a1 * a1 + b1 * b1), np.sqrt(a2 * a2 + b2 * b2)

    # Unit vector of the mean hue (14): the bisector of the two hue vectors, or the only hue if one color is gray.
    safe1, safe2 = np.maximum(C1, real(1e-12)), np.maximum(C2, real(1e-12))
    x, y = a1 / safe1 + a2 / safe2, b1 / safe1 + b2 / safe2
    length = np.sqrt(x * x + y * y)
    nearly_opposite = length < real(1e-3)
    safe_length = np.maximum(length, real(1e-12))
    cos1: FloatArray = x / safe_length
    sin1: FloatArray = y / safe_length
    if np.any(nearly_opposite):
        cos1, sin1 = _mean_hue_of_opposites(cos1, sin1, nearly_opposite, a1, b1, a2, b2)

    # (11): ΔH' = 2 sqrt(C1 C2) sin(Δh/2). With cos(Δh/2) = length/2 this is the cross product over sqrt(C1 C2) and
    # length/2, which keeps its digits for near hues; the dot product keeps them for far ones.
    product = C1 * C2
    cross = a1 * b2 - a2 * b1
    far = np.sqrt(np.maximum(2 * (product - (a1 * a2 + b1 * b2)), 0))
    near = 2 * cross / (np.sqrt(np.maximum(product, real(1e-12))) * safe_length)
    hue_difference = np.where(length > 1, near, np.where(cross < 0, -far, far))

    # (15): T from multiples of the mean hue, by the addition theorems.
    cos2, sin2 = cos1 * cos1 - sin1 * sin1, 2 * sin1 * cos1
    cos3, sin3 = cos1 * cos2 - sin1 * sin2, sin1 * cos2 + cos1 * sin2
    cos4, sin4 = cos2 * cos2 - sin2 * sin2, 2 * sin2 * cos2
    (c30, s30), (c6, s6), (c63, s63) = (_cos_sin(angle, lab.dtype) for angle in (30, 6, 63))
    T = (
        1
        - real(0.17) * (cos1 * c30 + sin1 * s30)
        + real(0.24) * cos2
        + real(0.32) * (cos3 * c6 - sin3 * s6)
        - real(0.20) * (cos4 * c63 + sin4 * s63)
    )

    # (16)-(21): weights and the rotation in the blue.
    lightness = (L1 + L2) * real(0.5) - 50
    lightness = lightness * lightness
    chroma = (C1 + C2) * real(0.5)
    SL = 1 + real(0.015) * lightness / np.sqrt(20 + lightness)
    SC = 1 + real(0.045) * chroma
    SH = 1 + real(0.015) * chroma * T
    hue = np.arctan2(sin1, cos1) * real(180 / np.pi)
    hue = np.where(hue < 0, hue + 360, hue)
    bell = (hue - 275) / 25
    RT = -2 * _root_of_seventh(chroma) * np.sin(real(math.radians(60)) * np.exp(-bell * bell))

    dL, dC, dH = (L2 - L1) / SL, (C2 - C1) / SC, hue_difference / SH
    out: FloatArray = np.sqrt(np.maximum(dL * dL + dC * dC + dH * dH + RT * dC * dH, 0))
    return out


def _root_of_seventh(chroma: FloatArray) -> FloatArray:
    """sqrt(C^7 / (C^7 + 25^7))."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    out: FloatArray = np.sqrt(seventh / (seventh + chroma.dtype.type(_25_TO_7TH)))
    return out


def _mean_hue_of_opposites(
    cos: FloatArray, sin: FloatArray, which: BoolArray, a1: FloatArray, b1: FloatArray, a2: FloatArray, b2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean hue by (14) for opposite hues, whose bisector is undefined."""
    shape = np.broadcast_shapes(which.shape, a1.shape, a2.shape)
    picked = np.broadcast_to(which, shape)
    a1, b1, a2, b2 = (np.broadcast_to(v, shape)[picked] for v in (a1, b1, a2, b2))
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    total = h1 + h2
    mean = np.where(np.abs(h1 - h2) <= 180, total / 2, np.where(total < 360, total / 2 + 180, total / 2 - 180))
    gray = (a1 * a1 + b1 * b1) * (a2 * a2 + b2 * b2) == 0
    mean = np.radians(np.where(gray, total, mean))
    cos, sin = np.broadcast_to(cos, shape).copy(), np.broadcast_to(sin, shape).copy()
    cos[picked], sin[picked] = np.cos(mean), np.sin(mean)
    return cos, sin


def axis_weights(lab: FloatArray) -> FloatArray:
    """Size of a unit step of L*, a*, b* near a color, in ΔE00 (diagonal approximation).

    Scales CIELAB residuals to about ΔE00 for least squares; the square root in CIEDE2000 has no gradient at zero.

    Parameters
    ----------
    lab : (..., 3) float; CIELAB

    Returns
    -------
    (..., 3) float; ΔE00 per unit. Lightness from SL; a* and b* share 1 / (1 + 0.035 C*), halfway between SC's 0.045
    and SH's 0.015 T for wood-like hues (T about 1.6 / 2), our choice.
    """
    lab = np.asarray(lab)
    lightness = (lab[..., 0] - 50) ** 2
    SL = 1 + 0.015 * lightness / np.sqrt(20 + lightness)
    S = 1 + 0.035 * np.hypot(lab[..., 1], lab[..., 2])
    return np.stack([1 / SL, 1 / S, 1 / S], axis=-1)
