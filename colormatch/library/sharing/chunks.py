"""JPEG, PNG and WebP: files made of segments or chunks; only the known ones are copied."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator

from colormatch.library.sharing.facts import EXIF_MARK, NotCleaned

_BROKEN = "Its file is damaged."

# --- JPEG (ITU-T T.81, annex B; JFIF, ITU-T T.871) --------------------------------------------------------------------

_SOI, _EOI, _SOS = b"\xff\xd8", 0xD9, 0xDA
_APP0, _APP1, _APP2, _APP14 = 0xE0, 0xE1, 0xE2, 0xEE
#: Frame headers, tables, number of lines, restart interval.
_CODING = {*range(0xC0, 0xD0), 0xDB, 0xDC, 0xDD} - {0xC8}
#: The next marker in entropy-coded data: neither a stuffed byte nor a restart.
_MARKER = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")
_JFIF, _ICC, _ADOBE = b"JFIF\0", b"ICC_PROFILE\0", b"Adobe"
#: Bytes of the JFIF segment before its thumbnail's size, and of Adobe's segment with the color transform.
_JFIF_BYTES, _ADOBE_BYTES = 12, 12


def clean_jpeg(content: bytes, exif: bytes) -> bytes:
    """Clean a JPEG file: keep its first picture and drop all that follows (further pictures, a video).

    Parameters
    ----------
    content : bytes
    exif : bytes
        EXIF block to write; empty: none.

    Raises
    ------
    NotCleaned
        The file is damaged.
    """
    head, body = [_SOI], []
    position = 2
    while True:
        found = _MARKER.match(content, position)
        if found is None:
            raise NotCleaned(_BROKEN)
        marker, position = found.group()[-1], found.end()
        if marker == _EOI:
            break
        if position + 2 > len(content):
            raise NotCleaned(_BROKEN)
        (length,) = struct.unpack_from(">H", content, position)
        payload = content[position + 2 : position + length]
        position += length
        if marker in _CODING:
            body.append(_segment(marker, payload))
        elif marker == _SOS:
            found = _MARKER.search(content, position)
            if found is None:
                raise NotCleaned(_BROKEN)
            body += [_segment(marker, payload), content[position : found.start()]]
            position = found.start()
        elif marker == _APP0 and payload.startswith(_JFIF):
            head = [_SOI, _segment(marker, payload[:_JFIF_BYTES] + b"\0\0")]
        elif marker == _APP2 and payload.startswith(_ICC):
            body.append(_segment(marker, payload))
        elif marker == _APP14 and payload.startswith(_ADOBE):
            body.append(_segment(marker, payload[:_ADOBE_BYTES]))
    stated = [_segment(_APP1, EXIF_MARK + exif)] if exif else []
    return b"".join([*head, *stated, *body, bytes((0xFF, _EOI))])


def _segment(marker: int, payload: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(payload) + 2) + payload


# --- PNG (third edition, 2025) ----------------------------------------------------------------------------------------

_PNG = b"\x89PNG\r\n\x1a\n"
#: Chunks for the pixels and their meaning.
_PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cICP", b"iCCP", b"sRGB", b"gAMA", b"cHRM", b"sBIT", b"bKGD", b"pHYs",
    b"mDCV", b"cLLI",
}  # fmt: skip
#: The name of a color profile is free text, so it is replaced.
_PROFILE_NAME = b"ICC Profile"


def clean_png(content: bytes, exif: bytes) -> bytes:
    """Clean a PNG file: keep its still picture; see :func:`clean_jpeg`."""
    kept = [_PNG]
    for name, payload in _png_chunks(content):
        if name not in _PNG_KEPT:
            continue
        if name == b"iCCP":
            payload = _PROFILE_NAME + payload[payload.find(b"\0") :]
        kept.append(_png_chunk(name, payload))
        if name == b"IHDR" and exif:
            kept.append(_png_chunk(b"eXIf", exif))
    return b"".join(kept)


def _png_chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    position, name = len(_PNG), b""
    while name != b"IEND":
        if position + 12 > len(content):
            raise NotCleaned(_BROKEN)
        length, name = struct.unpack_from(">I4s", content, position)
        yield name, content[position + 8 : position + 8 + length]
        position += 12 + length


def _png_chunk(name: bytes, payload: bytes) -> bytes:
    return struct.pack(">I4s", len(payload), name) + payload + struct.pack(">I", zlib.crc32(name + payload))


# --- WebP (RFC 9649) --------------------------------------------------------------------------------------------------

_WEBP_KEPT = {b"VP8 ", b"VP8L", b"ALPH", b"ICCP"}
#: Flags of the chunk VP8X: a color profile, an alpha channel, an EXIF block.
_HAS_ICC, _HAS_ALPHA, _HAS_EXIF = 0x20, 0x10, 0x08


def clean_webp(content: bytes, exif: bytes) -> bytes:
    """Clean a WebP file: keep its picture; see :func:`clean_jpeg`."""
    kept = []
    for name, payload in _webp_chunks(content):
        if name == b"ANIM":
            raise NotCleaned("It contains a moving picture.")
        if name == b"VP8X" and payload:
            flags = payload[0] & (_HAS_ICC | _HAS_ALPHA) | (_HAS_EXIF if exif else 0)
            kept.append(_webp_chunk(name, bytes((flags, 0, 0, 0)) + payload[4:10]))
        elif name in _WEBP_KEPT:
            kept.append(_webp_chunk(name, payload))
    if exif:
        kept.append(_webp_chunk(b"EXIF", exif))
    body = b"WEBP" + b"".join(kept)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _webp_chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    end = min(len(content), 8 + struct.unpack_from("<I", content, 4)[0])
    position = 12
    while position + 8 <= end:
        name, length = struct.unpack_from("<4sI", content, position)
        yield name, content[position + 8 : position + 8 + length]
        position += 8 + length + length % 2


def _webp_chunk(name: bytes, payload: bytes) -> bytes:
    return struct.pack("<4sI", name, len(payload)) + payload + b"\0" * (len(payload) % 2)
