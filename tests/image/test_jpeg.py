"""JPEGs of every kind against OpenCV's decoding of the same file, which rounds to 8 bits."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from colormatch.color.space import lab_from_linear
from colormatch.errors import PhotoError
from colormatch.image.photo import open_photo
from colormatch.records import Box
from tests.image import icc
from tests.image.test_photo import exif_block, file_of, turned_for

HEIGHT, WIDTH = 149, 211  # no whole number of blocks
QUALITY = {"quality": 95, "subsampling": 2}


def calm_picture() -> np.ndarray:
    """Browns and grays with some texture, none of them strong."""
    rng = np.random.default_rng(5)
    coarse = rng.uniform((90, 70, 50), (200, 160, 130), (6, 8, 3))
    smooth = cv2.resize(coarse, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    return np.clip(smooth + rng.normal(0, 2, smooth.shape), 0, 255).round().astype(np.uint8)


def strong_picture() -> np.ndarray:
    picture = calm_picture()
    picture[40:80, 60:120] = (10, 40, 250)
    picture[90:120, 20:60] = (250, 20, 30)
    return picture


def by_opencv(data: bytes) -> np.ndarray:
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    return cv2.imdecode(np.frombuffer(data, np.uint8), flags).astype(float)


def assert_read_as_by_opencv(data: bytes) -> None:
    """The same color of each pixel but for its rounding, and no drift of the whole."""
    photo = open_photo(data)
    difference = photo.encoded() * 255 - by_opencv(data)
    # The decoder's chroma is the same; of the RGB that OpenCV makes of it each code is rounded, in whole-number steps.
    assert np.abs(difference).max() < 0.5 + 0.1
    assert np.abs(difference.mean((0, 1))).max() < 0.15
    box = Box(63, 31, 80, 60)
    np.testing.assert_array_equal(photo.linear(box), photo.linear()[31:91, 63:143])
    np.testing.assert_array_equal(photo.linear(box, 3), photo.linear(box)[::3, ::3])
    look = photo.preview(99_999).astype(float)
    assert np.abs(look - by_opencv(data)).max() <= 2
    same = open_photo(file_of(by_opencv(data).astype(np.uint8), "PNG"))
    off = photo.preview(64).astype(float) - same.preview(64)
    # Chroma is rounded up to three times while it is shrunk, by half a code, of which blue takes 1.772; RGB once.
    assert np.abs(off).max() <= 4
    assert np.abs(off.mean((0, 1))).max() < 0.5


SAMPLINGS = {name: getattr(cv2, f"IMWRITE_JPEG_SAMPLING_FACTOR_{name}") for name in ("411", "420", "422", "440", "444")}


@pytest.mark.parametrize("more", ["", "progressive", "restarts", "both"])
@pytest.mark.parametrize("sampling", SAMPLINGS)
def test_samplings_progressive_and_restarts(sampling: str, more: str) -> None:
    options = [cv2.IMWRITE_JPEG_QUALITY, 95, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, SAMPLINGS[sampling]]
    if more in ("progressive", "both"):
        options += [cv2.IMWRITE_JPEG_PROGRESSIVE, 1]
    if more in ("restarts", "both"):
        options += [cv2.IMWRITE_JPEG_RST_INTERVAL, 3]
    data = cv2.imencode(".jpg", calm_picture()[..., ::-1], options)[1].tobytes()
    assert_read_as_by_opencv(data)


def test_several_pictures_in_one_file() -> None:
    out = io.BytesIO()
    Image.fromarray(calm_picture()).save(
        out, "MPO", save_all=True, append_images=[Image.new("RGB", (80, 60), "white")], **QUALITY
    )
    assert_read_as_by_opencv(out.getvalue())


@pytest.mark.parametrize("sampling", SAMPLINGS)
def test_strong_colors_are_those_of_the_file(sampling: str) -> None:
    options = [cv2.IMWRITE_JPEG_QUALITY, 95, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, SAMPLINGS[sampling]]
    data = cv2.imencode(".jpg", strong_picture()[..., ::-1], options)[1].tobytes()
    assert_read_as_by_opencv(data)


def test_coarse_tables() -> None:
    assert_read_as_by_opencv(file_of(calm_picture(), "JPEG", quality=20, subsampling=2))


def test_one_table_for_luma_and_chroma() -> None:
    data = file_of(calm_picture(), "JPEG", qtables=[[4] * 64], quality=-1, subsampling=2)
    assert_read_as_by_opencv(data)


def with_tables_before_second_scan(data: bytes) -> bytes:
    table = data.index(b"\xff\xdb")
    length = 2 + int.from_bytes(data[table + 2 : table + 4], "big")
    second = data.index(b"\xff\xda", data.index(b"\xff\xda") + 2)
    return data[:second] + data[table : table + length] + data[second:]


def test_tables_that_come_again() -> None:
    data = file_of(calm_picture(), "JPEG", progressive=True, **QUALITY)
    assert_read_as_by_opencv(with_tables_before_second_scan(data))


def without_jfif(data: bytes) -> bytes:
    assert data[2:4] == b"\xff\xe0"
    return data[:2] + data[4 + int.from_bytes(data[4:6], "big") :]


def adobe(transform: int) -> bytes:
    return b"\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00" + bytes([transform])


@pytest.mark.parametrize("names", [b"\1\2\3", b"RGB"])
@pytest.mark.parametrize("marker", ["JFIF", "Adobe 0", "Adobe 1", "Adobe 2", "none"])
def test_which_files_are_ycbcr(marker: str, names: bytes) -> None:
    data = bytearray(file_of(calm_picture(), "JPEG", quality=95, subsampling=0))
    frame, scan = data.index(b"\xff\xc0"), data.index(b"\xff\xda")
    for i, name in enumerate(names):
        data[frame + 10 + 3 * i] = data[scan + 5 + 2 * i] = name
    data = bytes(data) if marker == "JFIF" else without_jfif(bytes(data))
    if marker.startswith("Adobe"):
        data = data[:2] + adobe(int(marker[-1])) + data[2:]
    photo = open_photo(data)
    sure = marker in ("JFIF", "Adobe 1") or (marker == "none" and names == b"\1\2\3")
    assert (photo.pixels.stored.mode == "YCbCr") == sure
    assert np.abs(photo.encoded() * 255 - by_opencv(data)).max() < 1.5


def test_rgb_without_transform() -> None:
    data = file_of(calm_picture(), "JPEG", quality=95, keep_rgb=True)
    np.testing.assert_array_equal(open_photo(data).encoded(), np.float32(by_opencv(data)) * np.float32(1 / 255))


def test_gray() -> None:
    out = io.BytesIO()
    Image.fromarray(calm_picture()).convert("L").save(out, "JPEG", quality=95)
    np.testing.assert_allclose(open_photo(out.getvalue()).encoded() * 255, by_opencv(out.getvalue()), atol=1e-4)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_so_many_pixels_of_strong_colors_are_those_of_the_whole(orientation: int) -> None:
    turned = turned_for(strong_picture(), orientation)
    photo = open_photo(file_of(turned, "JPEG", exif=exif_block(orientation), quality=95, subsampling=2))
    whole = photo.pixels.crop()
    for box, every in ((Box(0, 0, WIDTH, HEIGHT), 7), (Box(31, 22, 97, 83), 2), (Box(50, 30, 40, 61), 5)):
        part = whole[box.y : box.y + box.h, box.x : box.x + box.w]
        np.testing.assert_array_equal(photo.pixels.crop(box, every), part[::every, ::every])


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation(orientation: int) -> None:
    upright = calm_picture()
    data = file_of(turned_for(upright, orientation), "JPEG", exif=exif_block(orientation), quality=95, subsampling=2)
    photo = open_photo(data)
    assert np.abs(photo.encoded() * 255 - upright).mean() < 2.5
    assert np.abs(photo.preview(99_999).astype(float) - photo.encoded() * 255).max() < 1.5


def test_white_and_black_are_the_ends() -> None:
    picture = np.zeros((64, 64, 3), np.uint8)
    picture[:, 32:] = 255
    encoded = open_photo(file_of(picture, "JPEG", quality=95)).encoded()
    assert encoded[5, 5] == pytest.approx(0)
    assert encoded[5, 60] == pytest.approx(1)


def test_a_profile_of_tables_takes_the_decoders_rgb() -> None:
    lightness = np.mean(np.indices((2, 2, 2)), axis=0)[..., None] * 100
    codes = np.full((32, 32, 3), (150, 130, 110), np.uint8)
    photo = open_photo(file_of(codes, "JPEG", icc_profile=icc.table_profile(lightness * (1, 0, 0))))
    assert [flag.code for flag in photo.facts.flags] == ["profile-converted"]
    # L* of the mean of the codes, worked by hand: 100 (150 + 130 + 110) / 3 / 255 = 51.0.
    assert lab_from_linear(photo.linear()[5, 5]) == pytest.approx([51.0, 0, 0], abs=0.5)


def test_every_cut_and_every_wrong_byte_of_the_headers() -> None:
    whole = file_of(calm_picture()[:24, :24], "JPEG", quality=95, subsampling=2)
    end = whole.index(b"\xff\xda") + 16
    for at in range(2, end):
        with pytest.raises(PhotoError):
            open_photo(whole[:at])
        for wrong in (0x00, 0xFF, whole[at] ^ 0x01, whole[at] ^ 0x10):
            try:
                open_photo(whole[:at] + bytes([wrong]) + whole[at + 1 :]).linear()
            except PhotoError:
                continue
