"""Metadata of a picture file: EXIF, color profile, and oddities worth a flag.

Thousands of devices write EXIF, many of them wrongly. No photo is refused for it: unreadable entries count as missing.
"""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from PIL import Image

from colormatch.errors import PhotoUnreadable
from colormatch.image import icc as profiles
from colormatch.image.icc import Profile
from colormatch.records import Flag, FlagCode

#: Tags of TIFF 6.0, EXIF 3.0 and DNG 1.7.
NEW_SUBFILE_TYPE, BITS_PER_SAMPLE, PHOTOMETRIC, MAKE, MODEL, ORIENTATION = 254, 258, 262, 271, 272, 274
DNG_VERSION = 50706
_INTEROP_IFD, _INTEROP_INDEX = 0xA005, 1
_EXIF_IFD, _LENS_MODEL = 0x8769, 0xA434

GAIN_MAP = Flag(
    FlagCode.HDR_GAIN_MAP,
    "The phone took an HDR photo and added a brightness map to it. The program ignores the map and reads the plain "
    "picture, whose tones HDR may have changed from place to place; for more reliable colors, switch HDR off.",
)
#: What tells of a gain map in XMP: its properties (Adobe's and Apple's name spaces), or its picture in a container
#: directory.
_OF_GAIN_MAP = re.compile(
    rb"ns\.adobe\.com/hdr-gain-map/|hdrgm:|hdrgainmap|semantic\s*(?:=\s*[\"']|>\s*)gainmap", re.IGNORECASE
)


#: What a JPEG's segment of XMP begins with (XMP specification, part 3, 1.1.3).
_XMP_IN_JPEG = re.compile(rb"http://ns\.adobe\.com/(?:xap/1\.0/|xmp/extension/)\0")
#: What the segment of ISO 21496-1 begins with.
_ISO_GAIN_MAP = b"urn:iso:std:iso:ts:21496"


def announces_gain_map(info: Mapping[Any, Any], data: bytes) -> bool:
    """Whether a picture file tells of an HDR gain map: in its XMP, or in the segment that ISO 21496-1 gives a JPEG."""
    packets = [info.get("xmp") or b""]
    if data.startswith(b"\xff\xd8"):
        # Of all its pictures: some phones tell of the map only in the map's own XMP, at the end of the file.
        packets = [data[found.end() : found.end() + 2**16] for found in _XMP_IN_JPEG.finditer(data)]
    texts = (packet.encode() if isinstance(packet, str) else packet for packet in packets)
    return any(map(_OF_GAIN_MAP.search, texts)) or _ISO_GAIN_MAP in data


def several_pictures(count: int) -> Flag:
    return Flag(
        FlagCode.SEVERAL_PICTURES, f"The file contains {count} pictures; the program reads the first.", float(count)
    )


def halved(width: int, height: int) -> Flag:
    text = f"The photo has {width} x {height} pixels; to spare memory it is read at half its width and height."
    return Flag(FlagCode.READ_HALVED, text, 2.0)


@dataclass(frozen=True)
class Exif:
    """The few EXIF facts that the program uses."""

    #: 1 to 8; 1 is upright.
    orientation: int = 1
    #: Maker and model, or empty.
    camera: str = ""
    #: Model of the lens, or empty; phones have several.
    lens: str = ""
    #: DCF's "R03": written with Adobe RGB, often without an ICC profile.
    adobe_rgb: bool = False


NO_EXIF = Exif()


def exif_of(source: Image.Image | bytes | None) -> Exif:
    """EXIF of an open picture or of a bare EXIF block."""
    try:
        if isinstance(source, Image.Image):
            exif = source.getexif()
        else:
            exif = Image.Exif()
            exif.load(source or b"")
        adobe = str(exif.get_ifd(_INTEROP_IFD).get(_INTEROP_INDEX, "")).startswith("R03")
        orientation = exif.get(ORIENTATION)
        if not (isinstance(orientation, int) and 1 <= orientation <= 8):
            orientation = 1
        lens = str(exif.get_ifd(_EXIF_IFD).get(_LENS_MODEL, "")).strip(" \0")
        return Exif(orientation, camera_name(exif), lens, adobe)
    except Exception:  # Whatever Pillow's parser trips over.
        return NO_EXIF


def camera_name(tags: Mapping[int, Any]) -> str:
    """Make and model from a picture's tags, without repetition."""
    make, model = (str(tags.get(tag, "")).strip(" \0") for tag in (MAKE, MODEL))
    return model if model.startswith(make) else f"{make} {model}".strip()


def tiff_tags(data: bytes) -> Mapping[int, Any]:
    """Tags of the first picture of a TIFF or TIFF-like raw; empty if there are none."""
    from PIL import TiffImagePlugin

    try:
        is_big = 43 in data[2:4]
        directory = TiffImagePlugin.ImageFileDirectory_v2(data[: 16 if is_big else 8])
        stream = io.BytesIO(data)
        stream.seek(directory.next)
        directory.load(stream)
        return dict(directory)
    except Exception:  # Anything Pillow's parser raises.
        return {}


def png_code_points(data: bytes) -> tuple[int, int] | None:
    """Color primaries and transfer from a PNG's ``cICP`` chunk, which precedes the first ``IDAT``."""
    for name, begin, end in _png_chunks(data):
        if name == b"cICP" and end - begin == 4:
            return data[begin], data[begin + 1]
        if name == b"IDAT":
            return None
    return None


def png_exif(data: bytes) -> bytes:
    """Content of a PNG's ``eXIf`` chunk, at any position, or empty."""
    return next((data[begin:end] for name, begin, end in _png_chunks(data) if name == b"eXIf"), b"")


def _png_chunks(data: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Name of each complete chunk, with the start and end of its content."""
    position = 8
    while position + 12 <= len(data):
        length, name = struct.unpack_from(">I4s", data, position)
        if position + 12 + length <= len(data):
            yield name, position + 8, position + 8 + length
        position += 12 + length


def profile_of(icc: bytes | None, code_points: tuple[int, int] | None, info: Mapping[Any, Any], exif: Exif) -> Profile:
    """The profile to use: the most exact statement in the file wins.

    Parameters
    ----------
    icc : bytes or None
        An embedded ICC profile.
    code_points : (int, int) or None
        Primaries and transfer by H.273.
    info : mapping
        Pillow's ``info``: ``srgb``, ``gamma``, ``chromaticity`` of a PNG.
    exif : Exif

    Raises
    ------
    PhotoUnreadable
        Unsupported code points, including high dynamic range.
    ProfileBroken, NotMatrix
        From :func:`colormatch.image.icc.from_icc`.
    """
    if icc:
        return profiles.from_icc(icc)
    if code_points is not None:
        profile = profiles.from_code_points(*code_points)
        if profile is None:
            raise PhotoUnreadable(
                "The picture is encoded for a high-dynamic-range or an unusual screen "
                f"(color code points {code_points[0]} and {code_points[1]}).",
                "Open it in the app it came from and save it as a plain JPEG, then choose that file.",
            )
        return profile
    if exif.adobe_rgb:
        return profiles.ADOBE_RGB
    gamma = info.get("gamma")
    # 0.45455 without a profile was the way to write sRGB before it had a chunk of its own (PNG 3rd edition, 11.3.2.5).
    if gamma and "srgb" not in info and abs(gamma - 0.45455) > 1e-4:
        return profiles.from_gamma(gamma, info.get("chromaticity"))
    return profiles.SRGB
