"""TIFF and DNG: directories of tags that point into the file.

Kept parts stay in place, so that every offset remains valid; everything else is zeroed.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from colormatch.library.sharing.facts import NotCleaned

#: Bytes of a value of each type (TIFF 6.0, section 2).
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_WHOLE = {1: "B", 3: "H", 4: "I", 13: "I"}
#: Most directories in one file. Our choice.
_MOST_DIRECTORIES = 32
_SUBFILE_TYPE, _SUB_IFDS, _EXIF_IFD, _INTEROP_IFD, _DNG_VERSION = 254, 330, 34665, 40965, 50706
#: Tags with the location of pixels, and the tags with their sizes.
_PLACES = {273: 279, 324: 325, 513: 514}
#: Strips, tiles and an old-style JPEG: the parts of a reduced picture.
_PICTURE = {273, 278, 279, 322, 323, 324, 325, 513, 514}
#: A reduced picture (bit 0 of NewSubfileType).
_REDUCED = 1
#: TIFF 6.0 with its supplements, and ICC.1: size, format and meaning of the pixels; make, model and orientation.
_PIXEL_TAGS = {
    *(254, 255, 256, 257, 258, 259, 262, 263, 266, 271, 272, 273, 274, 277, 278, 279, 280, 281, 282, 283, 284, 290),
    *(291, 292, 293, 296, 301, 317, 318, 319, 320, 322, 323, 324, 325, 332, 334, 338, 339, 340, 341, 342, 347),
    *(512, 513, 514, 515, 517, 518, 519, 520, 521, 529, 530, 531, 532, 34675, _SUB_IFDS, _EXIF_IFD),
}
#: DNG 1.7: the sensor's layout, levels, colors, corrections; no tag that identifies a person or a single camera.
_DNG_TAGS = {
    *(33421, 33422, 50706, 50707, 50708, *range(50710, 50735), 50736, 50737, 50738, 50739, 50778, 50779, 50780, 50829),
    *(50830, 50831, 50832, 50833, 50834, 50879, 50931, 50932, 50934, *range(50936, 50942), 50964, 50965, 50981, 50982),
    *(51008, 51009, 51022, 51041, 51089, 51090, 51091, 51107, 51108, 51109, 51110, 51112, 51125),
    *range(52525, 52554),
}
_ALLOWED = {0: _PIXEL_TAGS | _DNG_TAGS, _SUB_IFDS: _PIXEL_TAGS | _DNG_TAGS, _EXIF_IFD: {40961, _INTEROP_IFD},
            _INTEROP_IFD: {1, 2}}  # fmt: skip


@dataclass(frozen=True)
class _Entry:
    tag: int
    type: int
    count: int
    #: Location of its value.
    place: int
    size: int
    #: Its twelve bytes.
    packed: bytes


def clean_tiff(content: bytes) -> bytes:
    """Clean a TIFF or DNG file: keep its first or raw picture, at the same length.

    Raises
    ------
    NotCleaned
        It is damaged, or its structure isn't known to be safe.
    """
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(content[:4])
    if order is None:
        raise NotCleaned("It is a TIFF file of an unusual kind.")
    try:
        return _Cleaning(content, order).done()
    except (struct.error, KeyError, RecursionError):
        raise NotCleaned("Its file is damaged.") from None


class _Cleaning:
    def __init__(self, content: bytes, order: str) -> None:
        self._content, self._order = content, order
        self._kept = bytearray(len(content))
        self._directories = 0

    def done(self) -> bytes:
        self._keep(0, 8)
        (first,) = struct.unpack_from(f"{self._order}I", self._content, 4)
        # In a raw, the first directory often holds only a small picture beside the tags of the whole file.
        is_raw = any(entry.tag == _DNG_VERSION for entry in self._entries(first))
        self._directory(first, 0, without_picture=is_raw and self._is_reduced(first))
        return bytes(self._kept)

    def _keep(self, start: int, length: int) -> None:
        if start + length > len(self._content):
            raise NotCleaned("Its file is incomplete.")
        self._kept[start : start + length] = self._content[start : start + length]

    def _entries(self, offset: int) -> list[_Entry]:
        (count,) = struct.unpack_from(f"{self._order}H", self._content, offset)
        entries = []
        for start in range(offset + 2, offset + 2 + 12 * count, 12):
            tag, type, number = struct.unpack_from(f"{self._order}HHI", self._content, start)
            size = _SIZES.get(type, 1) * number
            place = start + 8 if size <= 4 else struct.unpack_from(f"{self._order}I", self._content, start + 8)[0]
            entries.append(_Entry(tag, type, number, place, size, self._content[start : start + 12]))
        return entries

    def _numbers(self, entry: _Entry) -> tuple[int, ...]:
        if entry.count > len(self._content):
            raise NotCleaned("Its file is damaged.")
        found: tuple[int, ...] = struct.unpack_from(
            f"{self._order}{entry.count}{_WHOLE[entry.type]}", self._content, entry.place
        )
        return found

    def _is_reduced(self, offset: int) -> bool:
        return any(e.tag == _SUBFILE_TYPE and self._numbers(e)[0] & _REDUCED for e in self._entries(offset))

    def _directory(self, offset: int, of: int, *, without_picture: bool = False) -> None:
        """Keep a directory: its known tags, their values, the data they point to, and no further directory."""
        self._directories += 1
        if self._directories > _MOST_DIRECTORIES:
            raise NotCleaned("It contains too many pictures.")
        allowed = _ALLOWED[of] - (_PICTURE if without_picture else set())
        entries = {entry.tag: entry for entry in self._entries(offset) if entry.tag in allowed}
        packed = []
        for tag, entry in entries.items():
            if tag == _SUB_IFDS:
                packed += self._sub_directories(entry)
                continue
            packed.append(entry.packed)
            if entry.size > 4:
                self._keep(entry.place, entry.size)
            if tag in (_EXIF_IFD, _INTEROP_IFD):
                self._directory(self._numbers(entry)[0], tag)
            elif tag in _PLACES:
                sizes = self._numbers(entries[_PLACES[tag]])
                for start, length in zip(self._numbers(entry), sizes, strict=False):
                    self._keep(start, length)
        written = struct.pack(f"{self._order}H", len(packed)) + b"".join(packed) + bytes(4)
        self._kept[offset : offset + len(written)] = written

    def _sub_directories(self, entry: _Entry) -> list[bytes]:
        """The entry, with only the directories that aren't reduced pictures."""
        kept = [offset for offset in self._numbers(entry) if not self._is_reduced(offset)]
        for offset in kept:
            self._directory(offset, _SUB_IFDS)
        if not kept:
            return []
        place = kept[0] if len(kept) == 1 else entry.place
        if len(kept) > 1:
            struct.pack_into(f"{self._order}{len(kept)}I", self._kept, entry.place, *kept)
        return [struct.pack(f"{self._order}HHII", entry.tag, 4, len(kept), place)]
