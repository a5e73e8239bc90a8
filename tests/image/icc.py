"""A tiny writer of ICC profiles for tests (ICC.1:2022): a description, three curves, three colorants."""

import struct

import numpy as np

from tests.scenes.spectra import colour_science

#: ICC.1:2022, 6.3.4.3, and the Bradford matrix of its annex E.
D50 = np.array([0.9642, 1.0, 0.8249])
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def fixed(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def xyz(values) -> bytes:
    return b"XYZ \0\0\0\0" + fixed(*values)


def parametric(kind: int, *parameters: float) -> bytes:
    return b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + fixed(*parameters)


def sampled(*samples: int) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(f">I{len(samples)}H", len(samples), *samples)


def text_v4(words: str) -> bytes:
    coded = words.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(coded), 28) + coded


def text_v2(words: str) -> bytes:
    coded = words.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(coded)) + coded + b"\0" * 78


#: The sRGB curve as a parametric curve of type 3 (IEC 61966-2-1).
SRGB_CURVE = parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def profile(tags: dict[bytes, bytes], space: bytes = b"RGB ", pcs: bytes = b"XYZ ", kind: bytes = b"mntr") -> bytes:
    directory, body, offset = b"", b"", 128 + 4 + 12 * len(tags)
    for name, tag in tags.items():
        tag += b"\0" * (-len(tag) % 4)
        directory += struct.pack(">4sII", name, offset + len(body), len(tag))
        body += tag
    size = offset + len(body)
    header = struct.pack(">I4sI4s4s4s12s4s", size, b"none", 0x04300000, kind, space, pcs, b"\0" * 12, b"acsp")
    header += b"\0" * (68 - len(header)) + fixed(*D50)
    return header + b"\0" * (128 - len(header)) + struct.pack(">I", len(tags)) + directory + body


def matrix_profile(name: str, to_xyz, white_xyz, curve: bytes = SRGB_CURVE) -> bytes:
    """Profile of a space with a (3, 3) matrix to XYZ under its own white, adapted to D50 as ICC asks."""
    gain = (BRADFORD @ D50) / (BRADFORD @ np.asarray(white_xyz))
    colorants = np.linalg.solve(BRADFORD, gain[:, None] * BRADFORD) @ to_xyz
    curves = dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve)
    columns = {tag: xyz(column) for tag, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants.T, strict=True)}
    return profile({b"desc": text_v4(name), b"wtpt": xyz(D50)} | curves | columns)


def named(name: str, curve: bytes = SRGB_CURVE) -> bytes:
    """Profile of a space as colour-science defines it (`colour.RGB_COLOURSPACES`)."""
    colour = colour_science()
    space = colour.RGB_COLOURSPACES[name]
    white = colour.xy_to_XYZ(space.whitepoint)
    # From the primaries, as the published matrices are rounded.
    matrix = colour.models.normalised_primary_matrix(space.primaries, space.whitepoint)
    return matrix_profile(name, matrix, white, curve)


def table_profile(lab_of_corners) -> bytes:
    """RGB profile of a table alone (``mft2``, ICC.1:2022, 10.10): (2, 2, 2, 3) CIELAB at the corners of the cube."""
    # The 16-bit encoding of CIELAB in this tag: L* 100 is 0xFF00, a* and b* 0 are 0x8000.
    codes = np.round(np.asarray(lab_of_corners) * (652.8, 256, 256) + (0, 0x8000, 0x8000)).astype(int).ravel()
    line = (0, 0xFFFF) * 3
    table = b"mft2\0\0\0\0" + struct.pack(">BBBx", 3, 3, 2) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    table += struct.pack(">38H", 2, 2, *line, *codes, *line)
    return profile({b"desc": text_v2("tables"), b"wtpt": xyz(D50), b"A2B0": table}, pcs=b"Lab ")
