"""Photos of each format whose files tell a great deal of the photographer, all of it invented."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import tifffile
from PIL import Image, PngImagePlugin

from tests.image.dng import dng
from tests.scenes.files import display_p3_profile

#: Stands in everything that must not leave.
SECRET = "Secretperson"
MAKE, MODEL = "Acme", "Phone 9"
_HEIGHT, _WIDTH = 48, 64


def pixels(seed: int = 1) -> np.ndarray:
    """(48, 64, 3) uint8."""
    values = np.random.default_rng(seed).integers(0, 256, (_HEIGHT // 8, _WIDTH // 8, 3), np.uint8)
    return np.kron(values, np.ones((8, 8, 1), np.uint8))


def exif(orientation: int = 6, *, adobe_rgb: bool = False) -> bytes:
    """An EXIF block with location, owner, serials, dates, a maker note and a thumbnail's directory."""
    tags = Image.Exif()
    tags[0x010F], tags[0x0110], tags[0x0112] = MAKE, MODEL, orientation
    tags[0x010E], tags[0x013B], tags[0x8298], tags[0x013C] = (SECRET,) * 4  # description, artist, copyright, host
    tags[0x9C9D] = (SECRET + "\0").encode("utf-16-le")  # XPAuthor
    details = tags.get_ifd(0x8769)
    details[0xA430] = details[0xA431] = details[0xA435] = SECRET  # owner, serials of body and lens
    details[0x9003] = "2025:03:31 12:00:00"
    details[0x927C] = b"Acme\0" + SECRET.encode()  # maker note
    details[0x9286] = b"ASCII\0\0\0" + SECRET.encode()  # user comment
    if adobe_rgb:
        details[0xA005] = {1: "R03"}
    gps = tags.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = "N", (48.0, 12.0, 30.5), "E", (11.0, 34.0, 10.25)
    gps[0x1C] = b"ASCII\0\0\0" + SECRET.encode()  # area
    return tags.tobytes()


def xmp() -> bytes:
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        f'<rdf:Description creator="{SECRET}"/></rdf:RDF></x:xmpmeta>'
    ).encode()


def _saved(format: str, **options: object) -> bytes:
    file = io.BytesIO()
    Image.fromarray(pixels()).save(file, format, **options)
    return file.getvalue()


def _segment(marker: int, payload: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(payload) + 2) + payload


def jpeg(*, progressive: bool = False, orientation: int = 6, **options: object) -> bytes:
    """With EXIF, XMP, IPTC, a comment, a maker's segment, a thumbnail in the JFIF segment, a film behind the end."""
    plain = _saved("JPEG", quality=92, progressive=progressive, icc_profile=display_p3_profile(), **options)
    own = b"".join([
        _segment(0xE1, b"Exif\0\0" + exif(orientation).removeprefix(b"Exif\0\0")),
        _segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + xmp()),
        _segment(0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0" + struct.pack(">I", 40) + SECRET.encode().ljust(40, b"\0")),
        _segment(0xFE, SECRET.encode()),
        _segment(0xE5, SECRET.encode()),
        _segment(0xE0, b"JFXX\0\x10" + SECRET.encode()),
    ])  # fmt: skip
    jfif = plain.index(b"JFIF\0") - 4
    length = struct.unpack_from(">H", plain, jfif + 2)[0]
    thumbnail = _segment(0xE0, plain[jfif + 4 : jfif + 16] + b"\4\1" + SECRET.encode())
    return plain[:2] + thumbnail + own + plain[jfif + 2 + length :] + b"ftyp" + SECRET.encode()


def png(bits: int = 8) -> bytes:
    """With EXIF, texts of each kind, a date, and bytes behind the end."""
    if bits == 16:
        import cv2

        plain = cv2.imencode(".png", pixels().astype(np.uint16) * 257)[1].tobytes()
        plain = plain[:33] + _chunk(b"eXIf", exif().removeprefix(b"Exif\0\0")) + plain[33:]
    else:
        texts = PngImagePlugin.PngInfo()
        texts.add_text("Author", SECRET, zip=True)
        texts.add_text("Comment", SECRET)
        texts.add_itxt("XML:com.adobe.xmp", xmp().decode())
        plain = _saved("PNG", exif=exif(), pnginfo=texts, icc_profile=display_p3_profile())
    return plain[:-12] + _chunk(b"tIME", bytes(7)) + _chunk(b"prVt", SECRET.encode()) + plain[-12:] + SECRET.encode()


def _chunk(name: bytes, payload: bytes) -> bytes:
    return struct.pack(">I4s", len(payload), name) + payload + struct.pack(">I", zlib.crc32(name + payload))


def webp(**options: object) -> bytes:
    return _saved("WebP", exif=exif(), xmp=xmp(), icc_profile=display_p3_profile(), **options)


def tiff(bits: int = 8, *, tiled: bool = False, byteorder: str = "<") -> bytes:
    """With location, artist, description, XMP, IPTC, and a second page."""
    values = pixels() if bits == 8 else pixels().astype(np.uint16) * 257
    words = [(tag, "s", 0, SECRET, True) for tag in (270, 305, 306, 315, 316, 33432)]
    blobs = [(tag, "B", len(data), data, True) for tag, data in ((700, xmp()), (33723, SECRET.encode() * 4))]
    own = [(271, "s", 0, MAKE, True), (272, "s", 0, MODEL, True), (274, "H", 1, 6, True)]
    out = io.BytesIO()
    with tifffile.TiffWriter(out, byteorder=byteorder) as file:
        options = {"photometric": "rgb", "metadata": None, "software": False, **({"tile": (16, 16)} if tiled else {})}
        file.write(values, extratags=[*words, *blobs, *own], iccprofile=display_p3_profile(), **options)
        file.write(values[:16, :16], description=SECRET, **options)
    return out.getvalue()


def tiff_with_exif() -> bytes:
    """A TIFF whose directories of EXIF and location lie in the file."""
    file = io.BytesIO()
    Image.fromarray(pixels()).save(file, "TIFF", exif=exif(1, adobe_rgb=True))
    return file.getvalue()


def heic() -> bytes:
    """With EXIF, XMP, two thumbnails and further metadata."""
    import pillow_heif

    image = pillow_heif.from_pillow(Image.fromarray(pixels()))
    file = io.BytesIO()
    image.info["metadata"] = [{"type": "prvt", "data": SECRET.encode() * 3, "content_type": ""}]
    image.save(file, quality=90, exif=exif(), xmp=xmp(), icc_profile=display_p3_profile(), thumbnails=[32])
    return file.getvalue()


def heic_of_many_items() -> bytes:
    """Items numbered beyond 16 bits, the picture in two pieces, with EXIF and XMP.

    The lists are laid out by hand after ISO/IEC 14496-12 and 23008-12, from memory: ``pitm``, ``iinf`` and ``iref`` of
    version 1, ``infe`` of version 3, ``iloc`` of version 2. What codes the picture is libheif's.
    """
    import pillow_heif

    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels())).save(file, quality=90)
    plain = file.getvalue()
    properties = plain[(start := plain.index(b"ipco") - 4) : start + struct.unpack_from(">I", plain, start)[0]]
    picture = plain[plain.index(b"mdat") + 4 :]
    # The first four bytes of an EXIF item say how many come before the TIFF header.
    data = [(picture[:100], picture[100:]), (struct.pack(">I", 6) + exif(),), (xmp(),)]
    numbers = (70_000, 70_001, 70_002)

    entries = [b"hvc1\0", b"Exif\0", b"mime\0application/rdf+xml\0"]
    items = b"".join(
        _box(b"infe", struct.pack(">IIH", 3 << 24, number, 0) + entry)
        for number, entry in zip(numbers, entries, strict=True)
    )
    described = b"".join(_box(b"cdsc", struct.pack(">IHI", number, 1, numbers[0])) for number in numbers[1:])
    # As libheif counts them: 1 how it is coded and 4 the crop, both essential; 2 color, 3 size, 5 bits.
    associated = struct.pack(">IIIB5B", 1 << 24, 1, numbers[0], 5, 0x81, 2, 3, 5, 0x84)
    ftyp = _box(b"ftyp", b"heic\0\0\0\0mif1heic")

    def meta(base: int) -> bytes:
        # Of each item number, way of construction, file, base; of each piece its index, its offset and its length.
        places, offset = b"", 0
        for number, pieces in zip(numbers, data, strict=True):
            places += struct.pack(">IHHIH", number, 0, 0, base, len(pieces))
            for index, piece in enumerate(pieces, 1):
                places += struct.pack(">III", index, offset, len(piece))
                offset += len(piece)
        return _box(
            b"meta",
            bytes(4)
            + _box(b"hdlr", struct.pack(">II4s12s", 0, 0, b"pict", b"") + b"\0")
            + _box(b"pitm", struct.pack(">II", 1 << 24, numbers[0]))
            + _box(b"iinf", struct.pack(">II", 1 << 24, len(numbers)) + items)
            + _box(b"iref", struct.pack(">I", 1 << 24) + described)
            + _box(b"iprp", properties + _box(b"ipma", associated))
            + _box(b"iloc", struct.pack(">IBBI", 2 << 24, 0x44, 0x44, len(numbers)) + places),
        )

    base = len(ftyp) + len(meta(0)) + 8
    return ftyp + meta(base) + _box(b"mdat", b"".join(piece for pieces in data for piece in pieces))


def _box(kind: bytes, payload: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(payload), kind) + payload


def avif() -> bytes:
    return _saved("AVIF", exif=exif(), xmp=xmp(), icc_profile=display_p3_profile(), quality=90)


def raw() -> bytes:
    """A DNG file with the serial number of its camera, its owner and where it was."""
    words = [(tag, "s", 0, SECRET, True) for tag in (270, 315, 50735, 50827)]
    return dng(pixels() / 255, (0.5, 1.0, 0.7), 1, [*words, (50740, "B", 12, SECRET.encode(), True)])


FORMATS = {
    "jpeg": jpeg,
    "progressive jpeg": lambda: jpeg(progressive=True),
    "jpeg of full chroma": lambda: jpeg(subsampling=0),
    "jpeg with restarts": lambda: jpeg(restart_marker_rows=1),
    "upright jpeg": lambda: jpeg(orientation=1),
    "png": png,
    "png of 16 bits": lambda: png(16),
    "webp": webp,
    "webp without loss": lambda: webp(lossless=True),
    "tiff": tiff,
    "tiff of 16 bits": lambda: tiff(16),
    "tiled tiff": lambda: tiff(tiled=True),
    "tiff, big-endian": lambda: tiff(byteorder=">"),
    "tiff with exif": tiff_with_exif,
    "heic": heic,
    "heic of many items": heic_of_many_items,
    "avif": avif,
    "dng": raw,
}
