"""Color profiles: from a file's encoding to linear light with sRGB primaries.

A profile is three curves and a matrix. They are taken exactly from a matrix-based ICC profile, from the
coding-independent code points of PNG, HEIF and AVIF, or from a PNG's gamma.

Sources
-------
ICC.1:2022 (tags ``curv``, ``para``, ``XYZ``, ``desc``, ``mluc``; connection space D50); ITU-T H.273 (code points);
IEC 61966-2-1 (sRGB); SMPTE EG 432-1 (the primaries of P3) with the sRGB curve and D65 for Display P3; Adobe RGB (1998)
Color Image Encoding; ITU-R BT.2020; PNG 3rd edition (W3C 2025) for ``gAMA`` and ``cHRM``.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from colormatch.color.space import (
    D50_XYZ,
    WHITE_XYZ,
    XYZ_TO_RGB,
    adaptation_to_d65,
    linear_from_encoded,
    rgb_to_xyz_matrix,
)
from colormatch.records import FloatArray

#: Encoded 0 to 1 in, linear light 0 to 1 out.
Curve = Callable[[FloatArray], FloatArray]

#: Largest deviation of a profile's white from 1; a larger one means damage. Valid profiles stay within 0.005. Our
#: choice.
_WHITE_TOLERANCE = 0.05
#: Largest condition of the matrix; a larger one means that the colorants are degenerate. ProPhoto, the widest in use,
#: has 2.4. Our choice.
_MOST_CONDITION = 100


class NotMatrix(Exception):
    """The ICC profile is valid but not made of three curves and a matrix."""


class ProfileBroken(Exception):
    """The ICC profile is damaged."""


@dataclass(frozen=True, eq=False)
class Profile:
    """Meaning of RGB values: a curve per channel, then a matrix."""

    #: Name shown to people, such as "Display P3".
    name: str
    #: Curves of red, green and blue.
    curves: tuple[Curve, Curve, Curve]
    #: (3, 3) matrix from the file's linear RGB to linear sRGB, applied as ``rgb @ to_srgb.T``.
    to_srgb: FloatArray

    def tables(self, levels: int) -> FloatArray:
        """(3, levels) float32; linear light of each code value; 256 or 65536 levels."""
        codes = np.linspace(0, 1, levels)
        return np.stack([curve(codes) for curve in self.curves]).astype(np.float32)


def _of_primaries(name: str, primaries: object, curve: Curve, white_xyz: FloatArray = WHITE_XYZ) -> Profile:
    to_xyz = rgb_to_xyz_matrix(np.asarray(primaries, dtype=float), white_xyz)
    return Profile(name, (curve,) * 3, XYZ_TO_RGB @ adaptation_to_d65(white_xyz) @ to_xyz)


def _power(exponent: float) -> Curve:
    return lambda v: v**exponent


def _bt709_curve(v: FloatArray) -> FloatArray:
    """Inverse of the camera curve of ITU-R BT.709 (BT.2020 gives its constants with more digits)."""
    alpha, beta = 1.09929682680944, 0.018053968510807
    linear: FloatArray = np.where(v < 4.5 * beta, v / 4.5, ((v + alpha - 1) / alpha) ** (1 / 0.45))
    return linear


#: H.273 table 2: color primaries, all with the white D65.
_PRIMARIES = {
    1: ("sRGB", ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))),
    9: ("BT.2020", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))),
    12: ("Display P3", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))),
}
#: H.273 table 3: transfer characteristics. 16 and 18, for high dynamic range, are left out on purpose.
_TRANSFER: dict[int, Curve] = {
    1: _bt709_curve,
    4: _power(2.2),
    5: _power(2.8),
    6: _bt709_curve,
    8: _power(1.0),
    13: linear_from_encoded,
    14: _bt709_curve,
    15: _bt709_curve,
}
#: H.273: "unspecified", by convention sRGB.
_UNSPECIFIED = 2

SRGB = Profile("sRGB", (linear_from_encoded,) * 3, np.eye(3))
#: Gamma 2 51/256, from the specification.
ADOBE_RGB = _of_primaries("Adobe RGB", ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), _power(563 / 256))
#: Linear light with sRGB primaries, the output requested from the raw developer.
LINEAR_SRGB = Profile("linear sRGB", (_power(1.0),) * 3, np.eye(3))


def from_code_points(primaries: int, transfer: int) -> Profile | None:
    """Profile of a pair of H.273 code points; None for unsupported ones, including high dynamic range.

    Examples
    --------
    >>> from_code_points(12, 13).name
    'Display P3'
    """
    primaries = 1 if primaries == _UNSPECIFIED else primaries
    transfer = 13 if transfer == _UNSPECIFIED else transfer
    if primaries not in _PRIMARIES or transfer not in _TRANSFER:
        return None
    if (primaries, transfer) == (1, 13):
        return SRGB
    name, xy = _PRIMARIES[primaries]
    return _of_primaries(name, xy, _TRANSFER[transfer])


def from_gamma(gamma: float, chromaticities: tuple[float, ...] | None) -> Profile:
    """Profile of a PNG's ``gAMA`` and ``cHRM`` chunks.

    Parameters
    ----------
    gamma : float
        Exponent from linear to encoded, such as 0.45455.
    chromaticities : 8 floats or None
        xy of white, red, green, blue.
    """
    name = f"gamma {1 / gamma:.3g}"
    if chromaticities is None:
        return _of_primaries(name, _PRIMARIES[1][1], _power(1 / gamma))
    (x, y), *primaries = np.reshape(chromaticities, (4, 2))
    white = np.array([x / y, 1, (1 - x - y) / y])
    return _of_primaries(name, primaries, _power(1 / gamma), white)


# --- ICC -------------------------------------------------------------------------------------------------------------


def from_icc(icc: bytes) -> Profile:
    """Profile from an embedded ICC profile of the matrix or gray kind.

    Raises
    ------
    NotMatrix
        It holds look-up tables only, or is not for RGB or gray.
    ProfileBroken
        It is damaged.
    """
    try:
        profile = _parse(icc)
        if _is_sane(profile):
            return profile
    except (struct.error, IndexError, ValueError, OverflowError, ZeroDivisionError) as error:
        raise ProfileBroken(str(error)) from error
    raise ProfileBroken("its curves or colorants are impossible")


def _is_sane(profile: Profile) -> bool:
    with np.errstate(all="ignore"):
        table = profile.tables(256)
        rises = np.all(np.diff(table, axis=1) >= 0) and np.all(np.abs(table[:, -1] - 1) < _WHITE_TOLERANCE)
    # The colorants of red, green and blue add up to the white of the connection space (ICC.1:2022, F.3).
    keeps_white = np.all(np.abs(profile.to_srgb.sum(axis=1) - 1) < _WHITE_TOLERANCE)
    return bool(rises and keeps_white and np.linalg.cond(profile.to_srgb) < _MOST_CONDITION)


def _parse(icc: bytes) -> Profile:
    if icc[36:40] != b"acsp":
        raise ProfileBroken("no ICC signature")
    tags = _tags(icc)
    name = _description(tags.get(b"desc", b""))
    space = icc[16:20]
    in_xyz = icc[20:24] == b"XYZ "
    if space == b"GRAY" and in_xyz and b"kTRC" in tags:
        return Profile(name, (_curve(tags[b"kTRC"]),) * 3, np.eye(3))
    wanted = (b"rTRC", b"gTRC", b"bTRC", b"rXYZ", b"gXYZ", b"bXYZ")
    if space != b"RGB " or not in_xyz or any(tag not in tags for tag in wanted):
        raise NotMatrix(name)
    red, green, blue = (_curve(tags[tag]) for tag in wanted[:3])
    to_xyz = np.stack([_xyz(tags[tag]) for tag in wanted[3:]], axis=-1)
    return Profile(name, (red, green, blue), XYZ_TO_RGB @ adaptation_to_d65(D50_XYZ) @ to_xyz)


def _tags(icc: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", icc, 128)
    tags = {}
    for index in range(min(count, 200)):  # 200: far more than in any profile; a damaged count must not loop for long.
        signature, offset, size = struct.unpack_from(">4sII", icc, 132 + 12 * index)
        tags[signature] = icc[offset : offset + size]
    return tags


def _description(tag: bytes) -> str:
    if tag[:4] == b"desc":
        (length,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + length].decode("latin-1")
    elif tag[:4] == b"mluc":
        length, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + length].decode("utf-16-be", "replace")
    else:
        text = ""
    text = text.split("\0")[0].strip()
    # Readers see "sRGB IEC61966-2.1" and its variants as one name.
    return "sRGB" if text.startswith("sRGB") else text or "unnamed profile"


def _fixed(tag: bytes, offset: int, count: int) -> list[float]:
    """Numbers of type s15Fixed16."""
    return [v / 65536 for v in struct.unpack_from(f">{count}i", tag, offset)]


def _xyz(tag: bytes) -> list[float]:
    return _fixed(tag, 8, 3)


def _curve(tag: bytes) -> Curve:
    if tag[:4] == b"curv":
        return _sampled_curve(tag)
    if tag[:4] == b"para":
        return _parametric_curve(tag)
    raise ProfileBroken("unknown kind of curve")


def _sampled_curve(tag: bytes) -> Curve:
    """ICC.1:2022, 10.6: no entry means a straight line, one entry a power, more entries are samples."""
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return _power(1.0)
    if count == 1:
        return _power(struct.unpack_from(">H", tag, 12)[0] / 256)
    samples = np.array(struct.unpack_from(f">{count}H", tag, 12)) / 65535
    return lambda v: np.interp(v, np.linspace(0, 1, count), samples)


def _parametric_curve(tag: bytes) -> Curve:
    """ICC.1:2022, 10.18, table 68: function types 0 to 4, each converted to type 4."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    if kind > 4:
        raise ProfileBroken("unknown parametric curve")
    given = _fixed(tag, 12, (1, 3, 4, 5, 7)[kind])
    if kind == 0:
        return _power(given[0])
    if kind < 3:
        g, a, b = given[:3]
        flat = given[3] if kind == 2 else 0.0
        return _two_piece(g, a, b, 0.0, -b / a, flat, flat)
    return _two_piece(*given, *(0.0,) * (7 - len(given)))


def _two_piece(g: float, a: float, b: float, c: float, d: float, e: float, f: float) -> Curve:
    """(a v + b)^g + e from d up, c v + f below."""
    return lambda v: np.where(v >= d, np.maximum(a * v + b, 0) ** g + e, c * v + f)
