"""Limits on the cost of a photo file: a small file can be made to take hours or all of the memory.

All limits on photos are here. Each is far above the output of cameras and editors, and is checked before decoding. This
module imports little, so that a command can decode while it imports everything else.

Sources: ITU-T T.81, annex B (markers of JPEG); PNG 3rd edition, 5.3 (chunks); TIFF 6.0, section 2 (directories).
"""

from __future__ import annotations

import math
import re
import struct

from colormatch.errors import PhotoTooLarge, PhotoUnreadable

#: Most pixels of a photo that is decoded whole. Medium-format cameras have 102 megapixels; larger pictures are those of
#: a few phones, stitched panoramas, scans, and files made to exhaust the memory. 120 megapixels in 8 bits take 480 MB.
MOST_PIXELS = 120_000_000
#: Most pixels of a photo whose format gives half its width and height while it is decoded. Phones reach 200 megapixels.
MOST_HALVED_PIXELS = 250_000_000
#: Most bytes of 16-bit pixels: MOST_PIXELS in three channels. The decoder holds them twice.
MOST_DEEP_BYTES = 720_000_000
#: Most bytes of a file: MOST_PIXELS in uncompressed 16-bit RGB, plus a margin.
MOST_BYTES = 800_000_000
#: Most scans of a JPEG. Progressive files have about ten; one for each bit of each coefficient would be some hundreds.
MOST_SCANS = 200
#: Most pixels of all scans together, since each passes over the whole picture: 20 scans of the largest photo, which
#: take about ten seconds.
MOST_SCANNED_PIXELS = 20 * MOST_PIXELS
#: Most segments of a JPEG, or chunks of a PNG beyond those of ordinary size; and most bytes of a JPEG's metadata, which
#: Pillow keeps. Our choice: depth maps and sound stored there by phones take a few megabytes.
MOST_SEGMENTS, MOST_DESCRIBED_BYTES = 10_000, 64 * 2**20
#: Bytes of a PNG that allow one more chunk beyond :data:`MOST_SEGMENTS`. Encoders write pixels in chunks of 8 KB or
#: more.
_CHUNK_BYTES = 2048
#: Most EXIF segments of a JPEG. The standard has one; some programs split a longer one.
MOST_EXIF_SEGMENTS = 64
#: Most directories of a TIFF. Our choice: a scanned book has some hundreds.
MOST_PICTURES = 1000

_SAVE_AGAIN = "Open it in a picture editor, save it as a plain JPEG, and choose that file."


def check_size(width: int, height: int, most: int = MOST_PIXELS) -> None:
    """Raise for a picture without pixels or with more than ``most``.

    Raises
    ------
    PhotoUnreadable, PhotoTooLarge
    """
    if width < 1 or height < 1:
        raise PhotoUnreadable("The picture has no pixels.", "Choose another photo.")
    if width * height > most:
        raise PhotoTooLarge(
            f"The photo has {width} x {height} pixels, more than the {most // 1_000_000} megapixels that the program "
            "reads.",
            "Save it at half its size, or crop it to the wood and the card.",
            width=width,
            height=height,
        )


def check_deep(pixels: int, channels: int) -> None:
    """Raise for a 16-bit picture that takes too much memory.

    Raises
    ------
    PhotoTooLarge
    """
    if (size := 2 * pixels * channels) > MOST_DEEP_BYTES:
        raise PhotoTooLarge(
            f"The photo needs {size / 1e6:.0f} MB of memory, more than the {MOST_DEEP_BYTES / 1e6:.0f} MB that the "
            "program allows.",
            "Save it without transparency, in 8 bits, or at half its size.",
        )


def check_parts(data: bytes) -> None:
    """Raise for a file with more parts than any camera writes. Other faults are left to the decoders.

    Raises
    ------
    PhotoTooLarge
    """
    if data.startswith(b"\xff\xd8"):
        _check_jpeg(data)
    elif data.startswith(b"\x89PNG"):
        _check_png(data)
    elif data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") and pictures_of_tiff(data) > MOST_PICTURES:
        raise _too_many("pictures", MOST_PICTURES)


def _too_many(parts: str, most: int) -> PhotoTooLarge:
    return PhotoTooLarge(f"The photo's file has more than {most:,} {parts}, more than any camera writes.", _SAVE_AGAIN)


# --- JPEG ------------------------------------------------------------------------------------------------------------

#: A marker: in coded pixels, 0xFF is followed by 0 or a restart (T.81, B.1.1.5).
_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
_END, _SCAN, _APP1 = 0xD9, 0xDA, 0xE1
_DESCRIPTIONS = frozenset((*range(0xE0, 0xF0), 0xFE))
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
#: Frames decoded in several scans: progressive ones.
_PROGRESSIVE = frozenset((0xC2, 0xC6, 0xCA, 0xCE))
#: Markers without a length: temporary, start and end.
_BARE = frozenset((0x01, 0xD8, _END))


def _check_jpeg(data: bytes) -> None:
    at, segments, described, exif, scans, components, progressive = 2, 0, 0, 0, 0, 0, False
    largest = 1, 1
    while found := _MARKER.search(data, at):
        marker, at = data[found.start() + 1], found.end()
        segments += 1
        if marker == _END or segments > MOST_SEGMENTS:
            break
        if marker in _BARE:
            continue
        begin, at = at + 2, at + max(2, int.from_bytes(data[at : at + 2], "big"))
        if marker in _DESCRIPTIONS:
            described += at - begin
            exif += marker == _APP1 and data[begin : begin + 6] == b"Exif\0\0"
        elif marker in _FRAMES and len(data) >= begin + 6:
            _, height, width, components = struct.unpack_from(">BHHB", data, begin)
            largest, progressive = max(largest, (width, height), key=math.prod), marker in _PROGRESSIVE
        elif marker == _SCAN:
            scans += 1
            if not progressive and data[begin : begin + 1] == bytes((components,)):
                break  # All components in one scan of a sequential file: decoders stop after it.
            check_size(*largest)  # With several scans the decoder holds the whole picture, even where it halves it.
            pixels = math.prod(largest)
            if scans > MOST_SCANS:
                raise _too_many("scans", MOST_SCANS)
            if scans * pixels > max(pixels, MOST_SCANNED_PIXELS):
                raise _too_many(f"scans of {pixels / 1e6:.0f} megapixels", MOST_SCANNED_PIXELS // pixels)
    for count, most, parts in (
        (segments, MOST_SEGMENTS, "segments"),
        (exif, MOST_EXIF_SEGMENTS, "EXIF segments"),
        (described, MOST_DESCRIBED_BYTES, "bytes of descriptions"),
    ):
        if count > most:
            raise _too_many(parts, most)


# --- PNG and TIFF ----------------------------------------------------------------------------------------------------


def _check_png(data: bytes) -> None:
    most = MOST_SEGMENTS + len(data) // _CHUNK_BYTES
    at = 8
    for _ in range(most):
        if at + 8 > len(data) or data[at + 4 : at + 8] == b"IEND":
            return
        at += 12 + int.from_bytes(data[at : at + 4], "big")
    raise _too_many("chunks", most)


def pictures_of_tiff(data: bytes) -> int:
    """Number of directories in the chain of a TIFF; counting stops just above :data:`MOST_PICTURES`."""
    order = "<" if data.startswith(b"II") else ">"
    # Offset of the pointer to the first directory; struct formats of an offset and of an entry count; bytes of an
    # entry.
    start, place, number, entry = (8, "Q", "Q", 20) if 43 in data[2:4] else (4, "I", "H", 12)
    count = 0
    try:
        (at,) = struct.unpack_from(order + place, data, start)
        while at and count <= MOST_PICTURES:
            (entries,) = struct.unpack_from(order + number, data, at)
            count += 1
            (at,) = struct.unpack_from(order + place, data, at + struct.calcsize(order + number) + entries * entry)
    except (struct.error, OverflowError):
        pass  # The chain ends outside the file.
    return count
