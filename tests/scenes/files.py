"""Photographs as files: JPEG, PNG, TIFF, WebP and HEIC, with orientation and color profile."""

import io
import struct

import cv2
import numpy as np
from PIL import Image

from tests.scenes.scene import Photograph
from tests.scenes.spectra import FloatArray

#: EXIF tags.
_ORIENTATION, _MAKE, _MODEL = 0x0112, 0x010F, 0x0110
#: XYZ of red, green and blue of Display P3 (SMPTE EG 432-1, white D65), adapted to the D50 of ICC profiles (Bradford).
_P3_COLORANTS = ((0.515121, 0.241196, -0.001053), (0.291977, 0.692245, 0.041885), (0.157104, 0.066574, 0.784073))
#: Parameters g, a, b, c, d of the sRGB curve (IEC 61966-2-1) in an ICC parametric curve of type 3.
_SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def display_p3_profile() -> bytes:
    """A minimal ICC version 4 profile of Display P3 (ICC.1:2010: a header of 128 bytes, a tag table, the tags)."""

    def fixed(*values: float) -> bytes:
        return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))

    def text(content: str) -> bytes:
        return (
            b"mluc"
            + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, 2 * len(content), 28)
            + content.encode("utf-16-be")
        )

    curve = b"para" + struct.pack(">IHH", 0, 3, 0) + fixed(*_SRGB_CURVE)
    d50 = (0.9642, 1.0, 0.8249)
    tags = {b"desc": text("Display P3"), b"cprt": text("None, made for tests"), b"wtpt": b"XYZ \0\0\0\0" + fixed(*d50)}
    for name, column in zip(b"rgb", _P3_COLORANTS, strict=True):
        tags[bytes([name]) + b"XYZ"] = b"XYZ \0\0\0\0" + fixed(*column)
        tags[bytes([name]) + b"TRC"] = curve
    table, body = struct.pack(">I", len(tags)), b""
    for name, content in tags.items():
        table += name + struct.pack(">II", 128 + 4 + 12 * len(tags) + len(body), len(content))
        body += content + b"\0" * (-len(content) % 4)
    header = struct.pack(">I4sI4s4s4s12s4s4sI4sII8s", 132 + 12 * len(tags) + len(body), b"\0" * 4, 0x04000000, b"mntr",
                         b"RGB ", b"XYZ ", b"\0" * 12, b"acsp", b"\0" * 4, 0, b"\0" * 4, 0, 0, b"\0" * 8)  # fmt: skip
    header += struct.pack(">I", 0) + fixed(*d50) + b"\0" * 44
    return header + table + body


def stored(encoded_rgb: FloatArray, orientation: int) -> FloatArray:
    """The pixels as a camera held that way stores them: EXIF `orientation` (1 to 8) turns them upright again."""
    transforms = {
        1: lambda rgb: rgb,
        2: lambda rgb: rgb[:, ::-1],
        3: lambda rgb: rgb[::-1, ::-1],
        4: lambda rgb: rgb[::-1],
        5: lambda rgb: rgb.swapaxes(0, 1),
        6: lambda rgb: np.rot90(rgb, 1),
        7: lambda rgb: rgb[::-1, ::-1].swapaxes(0, 1),
        8: lambda rgb: np.rot90(rgb, -1),
    }
    return np.ascontiguousarray(transforms[orientation](encoded_rgb))


def encoded(photograph: Photograph, format: str, *, quality: int = 92, orientation: int = 1) -> bytes:
    """The bytes of a file.

    Parameters
    ----------
    format : "JPEG", "PNG", "TIFF", "WebP" or "HEIC"; 16 bit photographs go into PNG or TIFF
    quality : of JPEG, WebP and HEIC
    orientation : EXIF orientation with which it is stored; not for 16 bit
    """
    pixels = photograph.encoded_rgb
    p3 = photograph.camera.gamut == "Display P3"
    profile = display_p3_profile() if p3 else None
    if pixels.dtype == np.uint16:
        return _encoded_16_bit(pixels, format, profile)
    if pixels.dtype != np.uint8:
        raise TypeError("Only photographs of 8 or 16 bit can be written; a raw-like one stays an array.")
    picture = Image.fromarray(stored(pixels, orientation))
    exif = Image.Exif()
    exif[_ORIENTATION], exif[_MAKE], exif[_MODEL] = orientation, "Simulated", f"{photograph.camera.name} phone"
    options: dict[str, object] = {"exif": exif.tobytes()}
    if profile is not None:
        options["icc_profile"] = profile
    if format == "HEIC":
        import pillow_heif

        pillow_heif.register_heif_opener()
        format = "HEIF"
    if format in ("JPEG", "WebP", "HEIF"):
        options["quality"] = quality
    if format == "JPEG":
        options["subsampling"] = "4:2:0"
    file = io.BytesIO()
    picture.save(file, format, **options)
    return file.getvalue()


def _encoded_16_bit(pixels: FloatArray, format: str, profile: bytes | None) -> bytes:
    if format == "PNG" and profile is None:
        return cv2.imencode(".png", pixels[..., ::-1])[1].tobytes()
    if format == "TIFF":
        import tifffile

        file = io.BytesIO()
        tifffile.imwrite(file, pixels, photometric="rgb", iccprofile=profile)
        return file.getvalue()
    raise ValueError("16 bit photographs are written as PNG in sRGB or as TIFF.")
