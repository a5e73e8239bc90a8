"""Photos for other people: nothing personal in their bytes, the same picture to read."""

from __future__ import annotations

import io
import re
import zlib

import numpy as np
import pytest
from PIL import Image

from colormatch.image.photo import open_photo
from colormatch.library.sharing.facts import NotCleaned
from colormatch.library.sharing.photo import cleaned
from colormatch.records import Box
from tests.library import private_photos
from tests.library.private_photos import FORMATS, MAKE, MODEL, SECRET

#: The EXIF pointer to the directory of the location.
_GPS_IFD = 0x8825


def unpacked(content: bytes) -> bytes:
    """The bytes and, of PNG, the texts that are packed in them."""
    found = [content]
    for start in re.finditer(rb"\x78[\x01\x5e\x9c\xda]", content):
        try:
            found.append(zlib.decompressobj().decompress(content[start.start() :], 10**6))
        except zlib.error:
            continue
    return b"".join(found)


def tells(content: bytes) -> list[str]:
    """What the file still tells that it must not."""
    everything = unpacked(content)
    return [
        name
        for name, sought in {
            "a name": SECRET.encode(),
            "a name in UTF-16": SECRET.encode("utf-16-le"),
            "a date": b"2025:03:31",
            "XMP": b"xmpmeta",
        }.items()
        if sought in everything
    ]


@pytest.mark.parametrize("name", FORMATS)
def test_what_is_personal_is_gone_and_the_picture_reads_the_same(name):
    content = FORMATS[name]()
    assert tells(content)
    clean = cleaned(content)
    assert tells(clean) == []
    before, after = open_photo(content), open_photo(clean)
    assert (after.facts.width, after.facts.height) == (before.facts.width, before.facts.height)
    assert (after.facts.camera, after.facts.profile) == (before.facts.camera, before.facts.profile)
    box = Box(0, 0, before.facts.width, before.facts.height)
    assert np.array_equal(before.linear(box), after.linear(box))
    assert cleaned(clean) == clean


@pytest.mark.parametrize("name", sorted(set(FORMATS) - {"dng", "heic", "heic of many items"}))
def test_no_location_is_left_for_another_reader(name):
    with Image.open(io.BytesIO(FORMATS[name]())) as before:
        known = before.getexif()
        if name not in ("tiff", "tiff of 16 bits", "tiled tiff", "tiff, big-endian"):
            assert known.get_ifd(_GPS_IFD)
    with Image.open(io.BytesIO(cleaned(FORMATS[name]()))) as after:
        assert not after.getexif().get_ifd(_GPS_IFD)
        assert not {"xmp", "photoshop", "comment"} & {key.lower() for key in after.info}
        if name != "tiff with exif":
            assert (after.getexif().get(271), after.getexif().get(272)) == (MAKE, MODEL)


def test_heic_keeps_its_camera_and_loses_its_thumbnails():
    import pillow_heif

    before, after = (
        pillow_heif.open_heif(io.BytesIO(one)) for one in (private_photos.heic(), cleaned(private_photos.heic()))
    )
    assert before.info["thumbnails"]
    assert before.info.get("xmp")
    assert not after.info["thumbnails"]
    assert not after.info.get("xmp")
    tags = Image.Exif()
    tags.load(after.info["exif"])
    assert (tags[271], tags[272]) == (MAKE, MODEL)
    assert not tags.get_ifd(_GPS_IFD)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_stays(orientation):
    content = private_photos.jpeg(orientation=orientation)
    before, after = open_photo(content), open_photo(cleaned(content))
    assert np.array_equal(before.linear(), after.linear())


def test_adobe_rgb_that_only_exif_tells_of_stays():
    file = io.BytesIO()
    Image.fromarray(private_photos.pixels()).save(file, "JPEG", exif=private_photos.exif(1, adobe_rgb=True))
    before, after = open_photo(file.getvalue()), open_photo(cleaned(file.getvalue()))
    assert before.facts.profile == after.facts.profile
    assert "Adobe" in after.facts.profile


def test_an_orientation_that_only_xmp_tells_of_stays():
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description tiff:Orientation="6"/></x:xmpmeta>'
    file = io.BytesIO()
    Image.fromarray(private_photos.pixels()).save(file, "JPEG", xmp=xmp)
    before, after = open_photo(file.getvalue()), open_photo(cleaned(file.getvalue()))
    assert before.facts.width == after.facts.width == 48


def test_a_photo_that_tells_nothing_stays_as_it_is():
    file = io.BytesIO()
    Image.fromarray(private_photos.pixels()).save(file, "JPEG")
    assert cleaned(file.getvalue()) == file.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"a photo",
        b"\xff\xd8\xff\xd9",
        private_photos.jpeg()[:400],
        private_photos.png()[:200],
        private_photos.webp()[:100],
        private_photos.tiff()[:300],
        private_photos.heic()[:600],
        private_photos.avif()[:300],
        private_photos.raw()[:500],
        b"II*\0\x08\0\0\0\xff\xff" + bytes(60),
        b"FUJIFILMCCD-RAW" + bytes(400),
    ],
    ids=lambda content: ascii(content[:12]),
)
def test_what_is_damaged_or_no_picture_is_refused(content):
    with pytest.raises(NotCleaned):
        cleaned(content)


def test_a_moving_picture_is_refused():
    frames = [Image.fromarray(private_photos.pixels(seed)) for seed in (1, 2)]
    file = io.BytesIO()
    frames[0].save(file, "WebP", save_all=True, append_images=frames[1:])
    with pytest.raises(NotCleaned, match="moving"):
        cleaned(file.getvalue())


def test_damaged_files_of_each_kind_are_cleaned_or_refused():
    """Bytes turned at random: a sentence or a file without secrets, never a fault."""
    chance = np.random.default_rng(2025)
    for name, made in FORMATS.items():
        content = made()
        for _ in range(10):
            spoiled = bytearray(content)
            for place in chance.integers(0, min(len(content), 1500), 3):
                spoiled[place] = chance.integers(0, 256)
            try:
                clean = cleaned(bytes(spoiled))
            except NotCleaned:
                continue
            assert b"xmpmeta" not in clean, name
