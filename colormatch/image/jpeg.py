"""More of a JPEG's color than the 8 bits of a decoder's RGB.

A decoder rounds chroma to whole codes, and then RGB. On a smooth board both roundings fall the same way all over, and
its color is off by 0.2 ΔE00. The second is left out where the decoder hands over Y'CbCr and RGB is worked out in
floating point. The first is halved: what is decoded is proportional to the quantization table, so that with twice the
table any decoder gives twice the chroma, half steps among it. That reaches half as far, beyond woods and most paints.
Where a photo's colors are stronger their chroma is cut; those pixels get theirs in whole codes, from a further decoding
that waits until somebody looks at them.

Sources: ITU-T T.81, A.3.4 (quantization), annex B (markers); ITU-T T.871 (JFIF). Which files are Y'CbCr: libjpeg.txt,
"Special color spaces", of which the doubtful ones are left out.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from PIL import Image, JpegImagePlugin

from colormatch.image.limits import MOST_PIXELS, check_parts

#: Steps to one code of chroma. Two reach to 63 codes; three would reach to 42, which nearly half of our simulated woods
#: exceed by lamp light of 2700 K that the camera leaves as it is.
CHROMA_STEPS = 2
#: Least and largest stored chroma that isn't taken for cut. Where chroma is enlarged a cut value is mixed with those
#: beside it, and comes out below the end of the scale.
UNCUT = 8, 247

#: Every so many pixels each way are looked at for cut chroma: some in each region that can be read, which has 5 x 5.
#: Where the file holds chroma at half the size, a strong color of so few pixels may be mixed down below :data:`UNCUT`
#: and pass for a weaker one, by up to 10 ΔE00 (5 x 5 pixels of strong blue in 9 of 16 places).
_LOOKED_AT = 4

#: Markers (T.81, table B.1): sequential and progressive frames, tables, scan; APP0 and APP14, which tell the color.
_SEQUENTIAL, _PROGRESSIVE, _QUANTIZATION, _SCAN, _APP0, _APP14 = (0xC0, 0xC1), 0xC2, 0xDB, 0xDA, 0xE0, 0xEE
#: Frames of every kind.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
#: Markers without a length, which have no place among the headers.
_BARE = frozenset((0x00, 0x01, 0xFF, *range(0xD0, 0xDA)))
#: Values of one table.
_TABLE_SIZE = 64
#: Sampling with chroma at half the size each way, as phones have it.
_HALF = b"\x22\x11\x11"


@dataclass(frozen=True, eq=False)
class WholeChroma:
    """Chroma of a whole photo in whole codes, decoded when it is first asked for."""

    #: The file.
    data: bytes
    #: Pixels of the photo to one of chroma, each way. Where the file holds chroma at half the size, a decoding of the
    #: photo at half the size has all of it, in half the time and a quarter of the memory.
    scale: int

    @cached_property
    def picture(self) -> Image.Image:
        """A loaded picture of mode "YCbCr"."""
        return _decoded(self.data, self.scale)


class Decoded(NamedTuple):
    """Y'CbCr of a JPEG."""

    #: A loaded picture of mode "YCbCr".
    picture: Image.Image
    #: Steps to one code of its chroma from 128: 1 or :data:`CHROMA_STEPS`.
    chroma_steps: int
    #: Where the finer steps are cut somewhere in the photo: chroma beyond.
    whole: WholeChroma | None


def decode_ycbcr(data: bytes) -> Decoded | None:
    """Y'CbCr of a JPEG, with chroma in finer steps where it can be had; None for one that is not plainly Y'CbCr.

    Raises
    ------
    Exception
        Whatever the decoder raises on damaged files.
    """
    headers = _headers(data)
    frame = _plain_frame(headers)
    if frame is None or not _is_ycbcr(headers, frame):
        return None
    tables = _tables_of_chroma(headers, frame)
    if not tables or _tables_may_change(data, headers, frame):
        return Decoded(_decoded(data), 1, None)
    picture = _decoded(_multiplied(data, tables))
    if not _seems_cut(picture):
        return Decoded(picture, CHROMA_STEPS, None)
    scale = 2 if frame.sampling == _HALF and min(picture.size) > 1 else 1
    return Decoded(picture, CHROMA_STEPS, WholeChroma(data, scale))


def decode_ahead(data: bytes) -> Decoded | None:
    """The same before anything else is known of the file; None also where it is damaged or too large.

    This module imports so little that a command can decode while it imports the rest. What is wrong with the file is
    told by who opens it.
    """
    frame = _plain_frame(_headers(data))
    if frame is None or frame.pixels > MOST_PIXELS:
        return None
    try:
        check_parts(data)
        return decode_ycbcr(data)
    except Exception:  # Decoders raise whatever they like on damaged files.
        return None


def _decoded(data: bytes, scale: int = 1) -> Image.Image:
    picture = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
    picture.draft("YCbCr", (max(1, picture.width // scale), max(1, picture.height // scale)))
    if scale == 1:
        # In one piece: a thread that decodes is not kept waiting between pieces by one that imports.
        picture.decodermaxblock = len(data)
    picture.load()
    return picture


def _seems_cut(picture: Image.Image) -> bool:
    """Whether chroma was cut somewhere, by a look at some of the pixels."""
    size = (max(1, picture.width // _LOOKED_AT), max(1, picture.height // _LOOKED_AT))
    some = picture.resize(size, Image.Resampling.NEAREST)
    least, most = UNCUT
    histograms = [some.getchannel(channel).histogram() for channel in ("Cb", "Cr")]
    return any(any(counts[:least]) or any(counts[most + 1 :]) for counts in histograms)


def _multiplied(data: bytes, tables: list[int]) -> bytes:
    head = bytearray(data[: max(tables) + _TABLE_SIZE])
    for begin in tables:
        head[begin : begin + _TABLE_SIZE] = bytes(CHROMA_STEPS * value for value in head[begin : begin + _TABLE_SIZE])
    return b"".join((head, memoryview(data)[len(head) :]))


# --- headers ---------------------------------------------------------------------------------------------------------


class _Segment(NamedTuple):
    marker: int
    #: Where the content begins in the file.
    begin: int
    content: bytes


class _Frame(NamedTuple):
    marker: int
    pixels: int
    #: Of Y, Cb, Cr.
    names: bytes
    #: How many samples of each in the smallest unit, across and down in one byte.
    sampling: bytes
    #: Names of the quantization tables of Y, Cb, Cr.
    tables: bytes


def _headers(data: bytes) -> list[_Segment]:
    """The segments before the first scan, and its own header; empty if anything is odd."""
    found = []
    at = 2  # behind the marker of the start
    while data[at : at + 1] == b"\xff" and at + 4 <= len(data):
        marker, end = data[at + 1], at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker in _BARE or not at + 4 <= end <= len(data):
            break
        found.append(_Segment(marker, at + 4, data[at + 4 : end]))
        if marker == _SCAN:
            return found
        at = end
    return []


def _plain_frame(headers: list[_Segment]) -> _Frame | None:
    """The frame, if there is one, of three components in 8 bits, sequential or progressive."""
    frames = [segment for segment in headers if segment.marker in _FRAMES]
    if len(frames) != 1 or frames[0].marker not in (*_SEQUENTIAL, _PROGRESSIVE):
        return None
    content = frames[0].content  # depth, height (2), width (2), components; of each its name, sampling, table
    if len(content) != 15 or content[0] != 8 or content[5] != 3:
        return None
    pixels = int.from_bytes(content[1:3], "big") * int.from_bytes(content[3:5], "big")
    return _Frame(frames[0].marker, pixels, content[6::3], content[7::3], content[8::3])


def _is_ycbcr(headers: list[_Segment], frame: _Frame) -> bool:
    """By libjpeg's rules: a JFIF marker says yes; then Adobe's says which; then the names of the components do."""
    if any(s.marker == _APP0 and s.content.startswith(b"JFIF\0") and len(s.content) >= 14 for s in headers):
        return True
    adobe = [s.content for s in headers if s.marker == _APP14 and s.content.startswith(b"Adobe")]
    if adobe:
        return all(len(content) >= 12 and content[11] == 1 for content in adobe)
    return frame.names == b"\1\2\3"


def _tables_of_chroma(headers: list[_Segment], frame: _Frame) -> list[int]:
    """Where in the file the values of each table for chroma begin; none if one can't be multiplied, or not alone."""
    luma, *chroma = frame.tables
    found, defined = [], set()
    for segment in headers:
        if segment.marker != _QUANTIZATION:
            continue
        content = segment.content
        for at in range(0, len(content), 1 + _TABLE_SIZE):
            name, values = content[at], content[at + 1 : at + 1 + _TABLE_SIZE]
            if name > 3 or len(values) != _TABLE_SIZE:  # 16 bits for each value stand in the name's upper half.
                return []
            if name in chroma:
                if max(values) * CHROMA_STEPS > 255:
                    return []
                found.append(segment.begin + at + 1)
                defined.add(name)
    return found if defined == set(chroma) and luma not in defined else []


def _tables_may_change(data: bytes, headers: list[_Segment], frame: _Frame) -> bool:
    """Whether tables may be defined again behind the first scan; not if that holds all there is."""
    scan = headers[-1]
    if frame.marker in _SEQUENTIAL and scan.content[:1] == b"\3":
        return False
    return data.find(bytes((0xFF, _QUANTIZATION)), scan.begin) >= 0
