"""HEIC and AVIF: boxes by ISO/IEC 14496-12, items by ISO/IEC 23008-12.

The items of the main picture stay in place, so that every offset remains valid; their list is rewritten, and all other
data is zeroed.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from colormatch.library.sharing.facts import EXIF_MARK, KeptFacts, NotCleaned

#: Items that are a picture or part of one.
_PICTURES = {b"hvc1", b"hev1", b"av01", b"grid", b"iden", b"iovl"}
#: References kept: derived from, auxiliary to, describes, premultiplied by.
_REFERENCES = {b"dimg", b"auxl", b"cdsc", b"prem"}
#: Properties of a picture: coding, size, color, rotation, crop, type of an auxiliary one.
_PROPERTIES = {
    b"hvcC", b"av1C", b"ispe", b"pixi", b"colr", b"irot", b"imir", b"clap", b"pasp", b"auxC", b"lsel", b"a1op", b"a1lx",
    b"clli", b"mdcv", b"cclv", b"amve", b"reve", b"ndwt",
}  # fmt: skip
_ALPHA = (b"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha", b"urn:mpeg:hevc:2015:auxid:1")
_DAMAGED = "Its file is damaged."
_UNUSUAL = "Its file has an unusual structure."


@dataclass(frozen=True)
class _Box:
    kind: bytes
    start: int
    #: Start of its content.
    inside: int
    end: int


def clean_heif(content: bytes) -> bytes:
    """Clean a HEIC or AVIF file: keep its main picture, at the same length.

    Raises
    ------
    NotCleaned
        It is damaged, or its structure isn't known to be safe.
    """
    try:
        return _Cleaning(content).done()
    except (struct.error, KeyError, IndexError):
        raise NotCleaned(_DAMAGED) from None


def _boxes(content: bytes, start: int, end: int) -> Iterator[_Box]:
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", content, start)
        inside = start + 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", content, inside)
            inside += 8
        stop = end if size == 0 else start + size
        if not inside <= stop <= end:
            raise NotCleaned(_DAMAGED)
        yield _Box(kind, start, inside, stop)
        start = stop


def _boxed(kind: bytes, payload: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(payload), kind) + payload


@dataclass(frozen=True)
class _Place:
    """Location of an item's data: its entry in the list of locations, and its extents in file or ``idat``."""

    packed: bytes
    in_idat: bool
    #: Start and length of each extent.
    extents: tuple[tuple[int, int], ...]


class _Cleaning:
    def __init__(self, content: bytes) -> None:
        self._content = content
        self._top = list(_boxes(content, 0, len(content)))
        metas = [box for box in self._top if box.kind == b"meta"]
        if len(metas) != 1:
            raise NotCleaned(_UNUSUAL)
        self._meta = metas[0]
        self._children = {box.kind: box for box in _boxes(content, self._meta.inside + 4, self._meta.end)}
        self._kinds = dict(self._read_items())
        self._references = list(self._read_references())
        self._head, self._places = self._read_places()
        self._properties = list(_boxes(content, *self._inside(b"ipco", self._children[b"iprp"])))
        self._associations = self._read_associations()
        self._main = self._number(self._children[b"pitm"].inside + 4, self._version(self._children[b"pitm"]) > 0)
        self._kept = self._wanted()

    def done(self) -> bytes:
        kept = bytearray(len(self._content))
        for box in self._top:
            kept[box.start : box.inside] = self._content[box.start : box.inside]
            if box.kind == b"ftyp":
                kept[box.start : box.end] = self._content[box.start : box.end]
            elif box.kind not in (b"mdat", b"meta"):
                kept[box.start + 4 : box.start + 8] = b"free"
        datas = [box for box in self._top if box.kind == b"mdat"]
        for item in self._kept:
            place = self._places[item]
            for start, length in () if place.in_idat else place.extents:
                if not any(box.inside <= start and start + length <= box.end for box in datas):
                    raise NotCleaned(_UNUSUAL)
                kept[start : start + length] = self._data(item, start, length)
        meta = self._new_meta()
        kept[self._meta.start : self._meta.end] = meta
        return bytes(kept)

    # --- read --------------------------------------------------------------------------------------------------------

    def _version(self, box: _Box) -> int:
        return self._content[box.inside]

    def _number(self, place: int, is_long: bool) -> int:
        return int(struct.unpack_from(">I" if is_long else ">H", self._content, place)[0])

    def _inside(self, kind: bytes, parent: _Box) -> tuple[int, int]:
        found = next((box for box in _boxes(self._content, parent.inside, parent.end) if box.kind == kind), None)
        if found is None:
            raise NotCleaned(_UNUSUAL)
        return found.inside, found.end

    def _item_boxes(self) -> Iterator[tuple[int, _Box]]:
        box = self._children[b"iinf"]
        start = box.inside + (8 if self._version(box) else 6)
        for entry in _boxes(self._content, start, box.end):
            if entry.kind != b"infe" or self._version(entry) not in (2, 3):
                raise NotCleaned(_UNUSUAL)
            yield self._number(entry.inside + 4, self._version(entry) == 3), entry

    def _type_place(self, entry: _Box) -> int:
        return entry.inside + (10 if self._version(entry) == 3 else 8)

    def _read_items(self) -> Iterator[tuple[int, bytes]]:
        for item, entry in self._item_boxes():
            place = self._type_place(entry)
            yield item, self._content[place : place + 4]

    def _read_references(self) -> Iterator[tuple[bytes, int, list[int]]]:
        if b"iref" not in self._children:
            return
        box = self._children[b"iref"]
        is_long = self._version(box) > 0
        step = 4 if is_long else 2
        for entry in _boxes(self._content, box.inside + 4, box.end):
            count = self._number(entry.inside + step, False)
            starts = range(entry.inside + step + 2, entry.inside + step + 2 + count * step, step)
            yield entry.kind, self._number(entry.inside, is_long), [self._number(one, is_long) for one in starts]

    def _read_places(self) -> tuple[bytes, dict[int, _Place]]:
        box, content = self._children[b"iloc"], self._content
        version, sizes = self._version(box), struct.unpack_from(">H", content, box.inside + 4)[0]
        offset_size, length_size, base_size, index_size = (sizes >> shift & 0xF for shift in (12, 8, 4, 0))
        place = box.inside + 6
        head = content[box.inside : place]
        count, place = self._number(place, version == 2), place + (4 if version == 2 else 2)
        places = {}
        for _ in range(count):
            start = place
            item, place = self._number(place, version == 2), place + (4 if version == 2 else 2)
            method = 0
            if version in (1, 2):
                method, place = self._number(place, False) & 0xF, place + 2
            source, place = self._number(place, False), place + 2
            base, place = self._sized(place, base_size), place + base_size
            pieces, place = self._number(place, False), place + 2
            extents = []
            for _ in range(pieces):
                place += index_size if version in (1, 2) else 0
                offset, place = self._sized(place, offset_size), place + offset_size
                length, place = self._sized(place, length_size), place + length_size
                extents.append((base + offset, length))
            if place > box.end or method > 1 or source:
                raise NotCleaned(_UNUSUAL)
            places[item] = _Place(content[start:place], method == 1, tuple(extents))
        return head, places

    def _sized(self, place: int, size: int) -> int:
        return int.from_bytes(self._content[place : place + size], "big")

    def _association_boxes(self) -> Iterator[_Box]:
        parent = self._children[b"iprp"]
        return (box for box in _boxes(self._content, parent.inside, parent.end) if box.kind == b"ipma")

    def _read_associations(self) -> dict[int, tuple[bytes, list[tuple[bool, int]]]]:
        """Of each item its entry, and each of its properties: whether it is essential, and its number from 1."""
        found = {}
        for box in self._association_boxes():
            version, is_wide = self._version(box), self._content[box.inside + 3] & 1
            count, place = self._number(box.inside + 4, True), box.inside + 8
            for _ in range(count):
                start = place
                item, place = self._number(place, version > 0), place + (4 if version else 2)
                number, place = self._content[place], place + 1
                properties = []
                for _ in range(number):
                    value, place = self._sized(place, 1 + is_wide), place + 1 + is_wide
                    top = 0x8000 if is_wide else 0x80
                    properties.append((bool(value & top), value & (top - 1)))
                found[item] = (self._content[start:place], properties)
        return found

    # --- choose ------------------------------------------------------------------------------------------------------

    def _wanted(self) -> list[int]:
        """Items of the main picture, in the order of their list."""
        wanted, rest = {self._main}, [self._main]
        while rest:
            item = rest.pop()
            if self._kinds[item] not in _PICTURES:
                raise NotCleaned(_UNUSUAL)
            further = {one for kind, of, to in self._references if kind == b"dimg" and of == item for one in to}
            further |= {
                of for kind, of, to in self._references if kind == b"auxl" and item in to and self._is_alpha(of)
            }
            rest += further - wanted
            wanted |= further
        for item in wanted:
            for essential, number in self._associations.get(item, (b"", []))[1]:
                if essential and number and self._properties[number - 1].kind not in _PROPERTIES:
                    raise NotCleaned(_UNUSUAL)
        described = [of for kind, of, to in self._references if kind == b"cdsc" and self._main in to]
        exif = next((of for of in described if self._kinds.get(of) == b"Exif" and self._exif(of)), None)
        return [item for item in self._kinds if item in wanted or item == exif]

    def _is_alpha(self, item: int) -> bool:
        numbers = [number for _, number in self._associations.get(item, (b"", []))[1] if number]
        boxes = [self._properties[number - 1] for number in numbers]
        return any(box.kind == b"auxC" and self._content[box.inside + 4 : box.end].startswith(_ALPHA) for box in boxes)

    def _exif(self, item: int) -> bytes:
        """Replacement of an item's EXIF at the same length; empty if there is nothing to state or no space."""
        place = self._places[item]
        if place.in_idat or len(place.extents) != 1:
            return b""
        start, length = place.extents[0]
        was = self._content[start : start + length]
        tiff = KeptFacts.of(was[4 + self._number(start, True) :]).exif()
        stated = struct.pack(">I", len(EXIF_MARK)) + EXIF_MARK + tiff
        return stated.ljust(length, b"\0") if tiff and len(stated) <= length else b""

    def _data(self, item: int, start: int, length: int) -> bytes:
        return self._exif(item) if self._kinds[item] == b"Exif" else self._content[start : start + length]

    # --- write -------------------------------------------------------------------------------------------------------

    def _new_meta(self) -> bytes:
        """The box that lists the items, padded to its old length with an empty box."""
        written = {
            b"hdlr": self._handler,
            b"pitm": lambda: self._copied(b"pitm"),
            b"iinf": self._new_items,
            b"iref": self._new_references,
            b"iloc": self._new_places,
            b"iprp": self._new_properties,
            b"idat": self._new_idat,
        }
        parts = [(kind, written[kind]()) for kind in self._children if kind in written]
        prefix = self._content[self._meta.inside : self._meta.inside + 4]
        spare = self._meta.end - self._meta.start - 8 - len(prefix) - sum(len(part) for _, part in parts)
        if spare < 0:
            raise NotCleaned(_UNUSUAL)
        if 0 < spare < 8:  # too little for a box: lengthen the empty handler name instead
            parts = [(kind, _boxed(kind, part[8:] + bytes(spare)) if kind == b"hdlr" else part) for kind, part in parts]
            spare = 0
        meta = _boxed(b"meta", prefix + b"".join(part for _, part in parts))
        return meta + (_boxed(b"free", bytes(spare - 8)) if spare else b"")

    def _copied(self, kind: bytes) -> bytes:
        return self._content[self._children[kind].start : self._children[kind].end]

    def _handler(self) -> bytes:
        box = self._children[b"hdlr"]
        return _boxed(b"hdlr", self._content[box.inside : box.inside + 24] + bytes(box.end - box.inside - 24))

    def _new_items(self) -> bytes:
        box = self._children[b"iinf"]
        entries = []
        for item, entry in self._item_boxes():
            if item in self._kept:  # without its name
                entries.append(_boxed(b"infe", self._content[entry.inside : self._type_place(entry) + 4] + b"\0"))
        count = struct.pack(">I" if self._version(box) else ">H", len(entries))
        return _boxed(b"iinf", self._content[box.inside : box.inside + 4] + count + b"".join(entries))

    def _new_references(self) -> bytes:
        box = self._children[b"iref"]
        form = "I" if self._version(box) else "H"
        entries = []
        for kind, of, to in self._references:
            kept = [one for one in to if one in self._kept]
            if kind in _REFERENCES and of in self._kept and kept:
                entries.append(_boxed(kind, struct.pack(f">{form}H{len(kept)}{form}", of, len(kept), *kept)))
        return _boxed(b"iref", self._content[box.inside : box.inside + 4] + b"".join(entries)) if entries else b""

    def _new_places(self) -> bytes:
        packed = [self._places[item].packed for item in self._places if item in self._kept]
        count = struct.pack(">I" if self._version(self._children[b"iloc"]) == 2 else ">H", len(packed))
        return _boxed(b"iloc", self._head + count + b"".join(packed))

    def _new_properties(self) -> bytes:
        """Their order stays, since items refer to them by number."""
        properties = [
            self._content[box.start : box.end]
            if box.kind in _PROPERTIES
            else _boxed(b"free", bytes(box.end - box.start - 8))
            for box in self._properties
        ]
        parts = [_boxed(b"ipco", b"".join(properties))]
        for box in self._association_boxes():
            entries = [packed for item, (packed, _) in self._associations.items() if item in self._kept]
            head = self._content[box.inside : box.inside + 4] + struct.pack(">I", len(entries))
            parts.append(_boxed(b"ipma", head + b"".join(entries)))
            if len(list(self._association_boxes())) > 1:
                raise NotCleaned(_UNUSUAL)
        return _boxed(b"iprp", b"".join(parts))

    def _new_idat(self) -> bytes:
        box = self._children[b"idat"]
        kept = bytearray(box.end - box.inside)
        for item in self._kept:
            place = self._places[item]
            for start, length in place.extents if place.in_idat else ():
                kept[start : start + length] = self._content[box.inside + start : box.inside + start + length]
        if len(kept) != box.end - box.inside:
            raise NotCleaned(_DAMAGED)
        return _boxed(b"idat", bytes(kept))
