"""Small files that cost a careless reader much memory or time; each is of honest form."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterable

import numpy as np
from PIL import Image


def png_chunk(name: bytes, content: bytes) -> bytes:
    """A chunk with its length and checksum."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png_of_zeros(width: int, height: int, bits: int, color: int, channels: int) -> bytes:
    """A PNG of one value, in as few bytes as zeros can be packed into; `color` as in PNG 3rd edition, 11.2.1."""
    packer = zlib.compressobj(9)
    row = bytes(1 + (width * bits * channels + 7) // 8)
    rows = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, color, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + png_chunk(b"IDAT", rows) + png_chunk(b"IEND", b"")


def png_of_chunks(count: int) -> bytes:
    """A tiny PNG with that many empty chunks before its pixels."""
    tiny = png_of_zeros(8, 8, 8, 2, 3)
    return tiny[:33] + count * png_chunk(b"teSt", b"") + tiny[33:]


def jpeg(width: int, height: int, *, progressive: bool = False, exif: bytes = b"") -> bytes:
    """A smooth gray JPEG."""
    out = io.BytesIO()
    Image.new("RGB", (width, height), (120, 110, 100)).save(out, "JPEG", progressive=progressive, exif=exif)
    return out.getvalue()


def jpeg_of_scans(width: int, height: int, scans: int) -> bytes:
    """A progressive JPEG whose last scan, which refines one coefficient, stands there that many times."""
    good = jpeg(width, height, progressive=True)
    begin, end = good.rindex(b"\xff\xda"), len(good) - 2
    return good[:begin] + scans * good[begin:end] + good[end:]


def jpeg_of_segments(segments: Iterable[tuple[int, bytes]]) -> bytes:
    """A tiny JPEG with such segments, each a marker and a content, behind its start."""
    tiny = jpeg(64, 48)
    packed = b"".join(struct.pack(">BBH", 0xFF, marker, 2 + len(content)) + content for marker, content in segments)
    return tiny[:2] + packed + tiny[2:]


def tiff_block(entries: int, size: int) -> bytes:
    """A TIFF directory of which each entry names the same `size` bytes, as a JPEG's EXIF or a file by itself."""
    data = 8 + 2 + 12 * entries + 4
    tags = b"".join(struct.pack("<HHII", 0x8000 + tag % 0x4000, 7, size, data) for tag in range(entries))
    return b"II*\0" + struct.pack("<IH", 8, entries) + tags + struct.pack("<I", 0) + bytes(size)


def tiff_of_directories(count: int) -> bytes:
    """A tiny TIFF that holds its one picture under that many further directories."""
    out = io.BytesIO()
    Image.fromarray(np.full((8, 8, 3), 99, np.uint8)).save(out, "TIFF")
    good = bytearray(out.getvalue())
    first = struct.unpack_from("<I", good, 4)[0]
    size = 2 + 12 * struct.unpack_from("<H", good, first)[0]
    directory, begin = good[first : first + size], len(good) + len(good) % 2
    struct.pack_into("<I", good, first + size, begin)
    good += bytes(begin - len(good))
    for number in range(1, count + 1):
        good += directory + struct.pack("<I", begin + number * (size + 4) if number < count else 0)
    return bytes(good)
