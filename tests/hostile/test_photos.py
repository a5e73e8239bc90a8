"""Files that are no photos, damaged or made to harm: one clear sentence, one fix, no traceback, no memory."""

import io
import os
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from colormatch.errors import PhotoError, PhotoTooLarge, PhotoUnreadable
from colormatch.image.limits import MOST_PIXELS
from colormatch.image.photo import open_photo
from tests.hostile.bombs import png_of_zeros
from tests.image.dng import dng
from tests.image.test_photo import corners_picture, file_of
from tests.library.private_photos import heic_of_many_items

TEXTURE = cv2.GaussianBlur(np.random.default_rng(3).integers(0, 256, (300, 400, 3)).astype(np.uint8), (0, 0), 1)
GOOD = {kind: file_of(TEXTURE, kind) for kind in ("JPEG", "PNG", "TIFF", "WEBP", "AVIF", "HEIF")}
GOOD["PNG 16"] = cv2.imencode(".png", TEXTURE.astype(np.uint16) * 257)[1].tobytes()
GOOD["TIFF 16"] = cv2.imencode(".tiff", TEXTURE.astype(np.uint16) * 257)[1].tobytes()
GOOD["DNG"] = dng(TEXTURE / 255)


def refused(source: Path | bytes) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        open_photo(source)
    error = caught.value
    for sentence in (error.what, error.fix):
        assert sentence.endswith(".")
        assert sentence[0].isupper() or sentence[0] == "/"
        assert "\n" not in sentence
        assert "Error" not in sentence
    return error


def png_claiming(width: int, height: int) -> bytes:
    """A PNG of honest form whose header claims a size, of one bit for each pixel."""
    return png_of_zeros(width, height, bits=1, color=0, channels=1)


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
def test_a_bomb_is_refused_without_the_memory(tmp_path: Path) -> None:
    bomb = tmp_path / "bomb.png"
    bomb.write_bytes(png_claiming(24000, 24000))
    assert bomb.stat().st_size < 200_000
    # Decoded it would take 1.7 GB in RGB. A child process, so that only this is measured.
    code = (
        "import sys; from pathlib import Path; from colormatch.image.photo import open_photo\n"
        "from colormatch.errors import PhotoTooLarge\n"
        "def peak(): return int(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])\n"
        "before = peak()\n"
        "try: open_photo(Path(sys.argv[1]))\n"
        "except PhotoTooLarge: print(peak() - before)"
    )
    out = subprocess.run([sys.executable, "-c", code, str(bomb)], capture_output=True, text=True, check=True)
    assert out.stderr == ""
    assert int(out.stdout) < 40_000  # kilobytes


@pytest.mark.parametrize(("width", "height"), [(12_000, 10_001), (13_000, 13_000), (60_000, 60_000)])
def test_the_limit_counts_pixels_before_decoding(width: int, height: int) -> None:
    assert width * height > MOST_PIXELS
    tiny = bytearray(png_claiming(8, 8))
    tiny[16:24] = struct.pack(">II", width, height)
    tiny[29:33] = struct.pack(">I", zlib.crc32(bytes(tiny[12:29])))
    with pytest.raises(PhotoTooLarge, match="120 megapixels"):
        open_photo(bytes(tiny))


def test_below_the_limit_pillow_does_not_warn() -> None:
    # Pillow warns from 89 megapixels on; warnings are errors in these tests. 100 megapixels of one bit.
    photo = open_photo(png_claiming(10_000, 10_000))
    assert photo.facts.width == 10_000


def test_an_empty_or_sizeless_file() -> None:
    assert "empty" in refused(b"").what
    sizeless = bytearray(png_claiming(8, 8))
    sizeless[16:24] = bytes(8)
    sizeless[29:33] = struct.pack(">I", zlib.crc32(bytes(sizeless[12:29])))
    refused(bytes(sizeless))


def of_unreadable_mime_type(photo: bytes) -> bytes:
    return photo.replace(b"application/rdf", b"applic\xc4tion/rdf", 1)


def with_a_long_entry(photo: bytes) -> bytes:
    """The size of the last item's entry in 64 bits behind its name, as any box may have it (ISO/IEC 14496-12, 4.2)."""
    start = photo.rindex(b"infe") - 4
    (size,) = struct.unpack_from(">I", photo, start)
    longer = bytearray(photo[:start] + struct.pack(">I4sQ", 1, b"infe", size + 8) + photo[start + 8 :])
    for kind in (b"meta", b"iinf"):  # they hold it
        place = photo.index(kind) - 4
        struct.pack_into(">I", longer, place, struct.unpack_from(">I", longer, place)[0] + 8)
    return bytes(longer)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda photo: photo.replace(b"Exif", b"\xff\xfe\xfd\xfc", 1),
        of_unreadable_mime_type,
        lambda photo: with_a_long_entry(of_unreadable_mime_type(photo)),
    ],
    ids=["kind", "MIME type", "MIME type in a long entry"],
)
def test_an_item_of_unreadable_kind_is_refused(spoil: Callable[[bytes], bytes]) -> None:
    """A child opens it: over some the decoder ends its process."""
    photo = spoil(heic_of_many_items())
    code = (
        "import sys; from colormatch.errors import PhotoUnreadable; from colormatch.image.photo import open_photo\n"
        "try: open_photo(sys.stdin.buffer.read())\n"
        "except PhotoUnreadable: print('refused')"
    )
    out = subprocess.run([sys.executable, "-c", code], input=photo, capture_output=True, check=True)
    assert out.stdout == b"refused\n"


@pytest.mark.parametrize(
    "data",
    [
        b"Dear friend, this is no photo at all. " * 40,
        b"\0" * 5000,
        b"%PDF-1.7 and so on" + bytes(500),
        b"GIF89a" + bytes(500),
        b"\xff\xd8",
        b"\xff\xd8\xff\xe0",
        b"\x89PNG\r\n\x1a\n",
        b"II*\0",
        b"II*\0\xff\xff\xff\x7f",
        b"MM\0+" + bytes(12),
        b"RIFF\x10\0\0\0WEBP",
        b"\0\0\0\x18ftypheic" + bytes(60),
        b"\0\0\0\x18ftypavif" + bytes(60),
        b"\0\0\0\x18ftypcrx " + bytes(60),
        b"\0\0\0\x18ftypmp42" + bytes(60),
        b"FUJIFILMCCD-RAW 0201" + bytes(500),
        b"IIRO\x08\0\0\0" + bytes(100),
    ],
    ids=lambda data: repr(data[:12]),
)
def test_what_is_no_picture(data: bytes) -> None:
    assert isinstance(refused(data), PhotoUnreadable)


def test_text_renamed_to_jpg(tmp_path: Path) -> None:
    path = tmp_path / "wood.jpg"
    path.write_text("not a photo")
    assert "not a picture" in refused(path).what


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    assert "doesn't exist" in refused(tmp_path / "gone.jpg").what
    assert "folder" in refused(tmp_path).what
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        assert "a pipe, not a file" in refused(tmp_path / "pipe.jpg").what


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "locked.jpg"
    path.write_bytes(GOOD["JPEG"])

    def denied(*_: object) -> bytes:  # Stands in for chmod, which does not stop an administrator.
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", denied)
    assert "have permission to read" in refused(path).what


def test_a_failing_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(GOOD["JPEG"])

    def broken(*_: object) -> bytes:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "open", broken)
    assert "failed: " in refused(path).what


@pytest.mark.parametrize("kind", list(GOOD))
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.97])
def test_half_a_photo_is_no_photo(kind: str, share: float, capfd: pytest.CaptureFixture[str]) -> None:
    data = GOOD[kind]
    refused(data[: int(share * len(data))])
    # LibRaw, and libpng inside OpenCV, print a line of their own that nothing turns off; no one else may.
    if kind not in ("DNG", "PNG 16"):
        assert capfd.readouterr().err == ""


def test_cmyk_is_refused_with_words() -> None:
    out = io.BytesIO()
    Image.fromarray(corners_picture()).convert("CMYK").save(out, "JPEG")
    error = refused(out.getvalue())
    assert "CMYK" in error.what
    assert "RGB" in error.fix


def test_floating_point_tiff_is_refused_with_words() -> None:
    out = io.BytesIO()
    Image.fromarray(np.ones((8, 8), np.float32)).save(out, "TIFF")
    assert "32 bits" in refused(out.getvalue()).what


@pytest.mark.parametrize("orientation", [0, 9, 77, "six", (6, 6), b"\xff"])
def test_odd_exif_does_not_refuse_a_photo(orientation: object) -> None:
    exif = Image.Exif()
    exif[0x010F] = "Acme"
    block = exif.tobytes()
    if isinstance(orientation, int):
        exif[274] = orientation
        block = exif.tobytes()
    else:  # A tag of the wrong kind, count and place.
        block = block[:10] + b"\xfe\xed" + block[12:-3]
    photo = open_photo(file_of(corners_picture(), "JPEG", exif=block))
    assert (photo.facts.width, photo.facts.height) == (64, 48)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    kind=st.sampled_from([k for k in GOOD if k != "DNG"]),
    places=st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), min_size=1, max_size=6),
)
def test_any_damage_is_read_or_refused_in_words(kind: str, places: list[tuple[float, int]]) -> None:
    data = bytearray(GOOD[kind])
    for where, value in places:
        data[int(where * len(data))] = value
    try:
        photo = open_photo(bytes(data))
    except PhotoError:
        return  # Refused in words; anything else fails the test.
    assert photo.linear().shape == (photo.facts.height, photo.facts.width, 3)
