"""The only color converter: encoded sRGB, linear sRGB, XYZ and CIELAB, all for D65 and the 2° observer.

Sources
-------
CIE 15:2018 and ISO/CIE 11664-4 (CIELAB, with the exact fractions 216/24389 and 24389/27); IEC 61966-2-1 (the sRGB
primaries, white and transfer curve). White is x = 0.3127, y = 0.3290 throughout, so that sRGB white is exactly L* 100.
"""

from __future__ import annotations

import numpy as np

from colormatch.records import BoolArray, FloatArray, Lab

#: CIE constants of the lightness function: where the cube root meets the line, and the slope of the line.
EPSILON = 216 / 24389
KAPPA = 24389 / 27

#: Chromaticities of the sRGB primaries (rows R, G, B) and of its white, IEC 61966-2-1.
_PRIMARIES = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
_WHITE_XY = (0.3127, 0.3290)


def _xyz_of_xy(xy: FloatArray) -> FloatArray:
    x, y = np.moveaxis(np.asarray(xy, dtype=float), -1, 0)
    return np.stack([x / y, np.ones_like(x), (1 - x - y) / y], axis=-1)


def rgb_to_xyz_matrix(primaries: FloatArray, white_xyz: FloatArray) -> FloatArray:
    """(3, 3) matrix from linear RGB with the given primaries to XYZ; RGB (1, 1, 1) becomes the white.

    Parameters
    ----------
    primaries : (3, 2) float; xy chromaticities of red, green, blue
    white_xyz : (3,) float; Y = 1
    """
    columns = _xyz_of_xy(primaries).T
    matrix: FloatArray = columns * np.linalg.solve(columns, white_xyz)
    return matrix


#: XYZ of D65 with Y = 1.
WHITE_XYZ: FloatArray = _xyz_of_xy(np.array(_WHITE_XY))
#: Linear sRGB to XYZ (Y of white = 1), applied as ``rgb @ RGB_TO_XYZ.T``.
RGB_TO_XYZ: FloatArray = rgb_to_xyz_matrix(_PRIMARIES, WHITE_XYZ)
XYZ_TO_RGB: FloatArray = np.linalg.inv(RGB_TO_XYZ)
#: XYZ of D50 with Y = 1, the white of the profile connection space (ICC.1:2022, 7.2.16; also ISO 13655).
D50_XYZ: FloatArray = np.array([0.9642, 1.0, 0.8249])
#: Cone responses of the Bradford transform (ICC.1:2022, annex E).
_BRADFORD: FloatArray = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
#: Linear sRGB and XYZ to XYZ relative to white.
_RGB_TO_WHITE: FloatArray = RGB_TO_XYZ / WHITE_XYZ[:, None]
_XYZ_TO_WHITE: FloatArray = np.diag(1 / WHITE_XYZ)
#: From the cube roots f(X), f(Y), f(Z) to L* + 16, a*, b*.
_ROOTS_TO_LAB: FloatArray = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
#: Colors per chunk; intermediate results then fit in a core's cache (16k to 32k were fastest of 2k to 64k).
_CHUNK = 16384
for _constant in (WHITE_XYZ, RGB_TO_XYZ, XYZ_TO_RGB, D50_XYZ, _BRADFORD, _RGB_TO_WHITE, _XYZ_TO_WHITE, _ROOTS_TO_LAB):
    _constant.setflags(write=False)


def adaptation_to_d65(white_xyz: FloatArray) -> FloatArray:
    """(3, 3) Bradford adaptation of XYZ from a white to D65, applied as ``xyz @ matrix.T``.

    An estimate: two reflectances that match under one light need not match under another.

    Parameters
    ----------
    white_xyz : (3,) float; Y = 1
    """
    gain = (_BRADFORD @ WHITE_XYZ) / (_BRADFORD @ white_xyz)
    matrix: FloatArray = np.linalg.solve(_BRADFORD, gain[:, None] * _BRADFORD)
    return matrix


def linear_from_encoded(encoded_rgb: FloatArray) -> FloatArray:
    """Undo the sRGB transfer curve.

    Parameters
    ----------
    encoded_rgb : (..., 3) float; sRGB, 0 to 1. Outside that range: odd extension of the curve.

    Returns
    -------
    (..., 3) float; linear light, same precision as the input
    """
    v = np.asarray(encoded_rgb)
    size = np.abs(v)
    linear: FloatArray = np.where(size <= 0.04045, v / 12.92, np.sign(v) * ((size + 0.055) / 1.055) ** 2.4)
    return linear


def encoded_from_linear(linear_rgb: FloatArray) -> FloatArray:
    """Apply the sRGB transfer curve; the inverse of :func:`linear_from_encoded`."""
    v = np.asarray(linear_rgb)
    size = np.abs(v)
    encoded: FloatArray = np.where(size <= 0.0031308, v * 12.92, np.sign(v) * (1.055 * size ** (1 / 2.4) - 0.055))
    return encoded


def lab_from_xyz(xyz: FloatArray) -> FloatArray:
    """CIELAB of XYZ under D65.

    Parameters
    ----------
    xyz : (..., 3) float; Y of white = 1

    Returns
    -------
    (..., 3) float; L*, a*, b*
    """
    return _lab(np.asarray(xyz), _XYZ_TO_WHITE)


def _lab(colors: FloatArray, to_white: FloatArray) -> FloatArray:
    """CIELAB of colors, by a matrix from those colors to XYZ relative to white."""
    precision = np.result_type(colors, np.float32)
    to_white, to_lab = to_white.T.astype(precision), _ROOTS_TO_LAB.T.astype(precision)
    lab = np.empty(colors.shape, precision)
    flat, out = colors.reshape(-1, 3), lab.reshape(-1, 3)
    for start in range(0, len(flat), _CHUNK):
        t = flat[start : start + _CHUNK] @ to_white
        f = np.cbrt(t)
        dark = t <= EPSILON
        if dark.any():
            f[dark] = (KAPPA * t[dark] + 16) / 116
        np.matmul(f, to_lab, out=out[start : start + _CHUNK])
    lab[..., 0] -= 16
    return lab


def xyz_from_lab(lab: FloatArray) -> FloatArray:
    """XYZ (Y of white = 1) of CIELAB under D65."""
    lab = np.asarray(lab)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    cube = f**3
    xyz: FloatArray = np.where(cube > EPSILON, cube, (116 * f - 16) / KAPPA) * WHITE_XYZ
    return xyz


def d65_from_d50(lab: FloatArray) -> FloatArray:
    """CIELAB under D65 of CIELAB under D50, as reported by instruments (ISO 13655), by :func:`adaptation_to_d65`."""
    xyz = xyz_from_lab(lab) / WHITE_XYZ * D50_XYZ
    return lab_from_xyz(xyz @ adaptation_to_d65(D50_XYZ).T)


def lab_from_linear(linear_rgb: FloatArray) -> FloatArray:
    """CIELAB of linear sRGB.

    Parameters
    ----------
    linear_rgb : (..., 3) float; unitless, 0 to 1 for colors inside sRGB

    Returns
    -------
    (..., 3) float; L*, a*, b*

    Examples
    --------
    A gray of 18 % has L* 49.496 (CIE 15).

    >>> (lab_from_linear(np.full(3, 0.18)).round(3) + 0.0).tolist()
    [49.496, 0.0, 0.0]
    """
    return _lab(np.asarray(linear_rgb), _RGB_TO_WHITE)


def linear_from_lab(lab: FloatArray) -> FloatArray:
    """Linear sRGB of CIELAB. Values outside 0 to 1 lie outside the sRGB gamut."""
    linear: FloatArray = xyz_from_lab(lab) @ XYZ_TO_RGB.T
    return linear


def encoded_from_lab(lab: FloatArray) -> FloatArray:
    """Encoded sRGB of CIELAB, clipped to 0 to 1 for the screen; see :func:`in_gamut`."""
    return np.clip(encoded_from_linear(linear_from_lab(lab)), 0, 1)


def in_gamut(lab: FloatArray, tolerance: float = 1e-4) -> BoolArray:
    """(...) bool; whether the color is inside sRGB (within ``tolerance`` of linear light)."""
    linear = linear_from_lab(lab)
    inside: BoolArray = np.all((linear >= -tolerance) & (linear <= 1 + tolerance), axis=-1)
    return inside


def hex_from_lab(lab: Lab | FloatArray) -> str:
    """The screen color of one CIELAB color as ``#rrggbb``."""
    r, g, b = np.round(encoded_from_lab(np.asarray(lab)) * 255).astype(int)
    return f"#{r:02x}{g:02x}{b:02x}"
