"""Opening photos: formats, facts, orientation, crops, masks, previews."""

import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from colormatch.color.space import encoded_from_linear, lab_from_linear, linear_from_encoded
from colormatch.errors import PhotoUnreadable, RegionError
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import Box, Region, RegionKind
from colormatch.sampling.surroundings import some_pixels
from tests.image import icc
from tests.image.dng import dng

ORIENTATION, MAKE, MODEL = 274, 271, 272


def corners_picture(height: int = 48, width: int = 64) -> np.ndarray:
    """Four quarters of different colors: no two turns look alike."""
    picture = np.zeros((height, width, 3), np.uint8)
    picture[: height // 2, : width // 2] = (200, 60, 40)
    picture[: height // 2, width // 2 :] = (60, 160, 90)
    picture[height // 2 :, : width // 2] = (70, 80, 190)
    picture[height // 2 :, width // 2 :] = (130, 120, 110)
    return picture


def turned_for(upright: np.ndarray, orientation: int) -> np.ndarray:
    """How a camera that writes this orientation stores the upright picture (EXIF 3.0, tag 0x0112, row and column 0)."""
    rows_columns = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.swapaxes(0, 1),
        6: np.rot90(upright, 1),  # stored turned left; the viewer turns it 90 degrees to the right
        7: upright[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(upright, -1),
    }
    return np.ascontiguousarray(rows_columns[orientation])


def exif_block(orientation: object = 1) -> bytes:
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKE], exif[MODEL] = orientation, "Acme", "Phone 1"
    return exif.tobytes()


def file_of(picture: np.ndarray, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    if kind == "HEIF":
        pillow_heif.register_heif_opener()
    if kind in ("JPEG", "HEIF"):
        options = {"quality": 98, "subsampling": 0, "chroma": 444} | options
    elif kind in ("WEBP", "AVIF"):
        options = {"quality": 100, "lossless": True} | options
    Image.fromarray(picture).save(out, kind, **options)
    return out.getvalue()


def sixteen_bit_tiff(picture: np.ndarray, orientation: int) -> bytes:
    import tifffile

    out = io.BytesIO()
    tags = [(ORIENTATION, "H", 1, orientation, True)]
    tifffile.imwrite(out, picture.astype(np.uint16) * 257, photometric="rgb", extratags=tags, metadata=None)
    return out.getvalue()


def with_chunk(png: bytes, name: bytes, content: bytes) -> bytes:
    """A chunk put behind a PNG's header."""
    chunk = struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
    return png[:33] + chunk + png[33:]


def whole_codes(photo: DecodedPhoto) -> np.ndarray:
    return photo.encoded() * 255


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "AVIF", "HEIF"])
def test_every_orientation_of_every_format_comes_upright(kind: str, orientation: int) -> None:
    upright = corners_picture()
    photo = open_photo(file_of(turned_for(upright, orientation), kind, exif=exif_block(orientation)))
    assert (photo.facts.width, photo.facts.height) == (64, 48)
    assert photo.facts.camera == "Acme Phone 1"
    assert np.abs(whole_codes(photo) - upright).mean() < 3
    box = Box(34, 2, 20, 10)
    np.testing.assert_array_equal(photo.linear(box), photo.linear()[2:12, 34:54])
    preview = photo.preview(32)
    assert preview.shape == (24, 32, 3)
    assert np.abs(preview.astype(int) - upright[::2, ::2])[2:10, 2:14].max() < 8


@pytest.mark.parametrize("orientation", range(1, 9))
def test_sixteen_bits_come_upright_too(orientation: int) -> None:
    upright = corners_picture()
    photo = open_photo(sixteen_bit_tiff(turned_for(upright, orientation), orientation))
    np.testing.assert_allclose(whole_codes(photo), upright, atol=1e-3)
    stored = turned_for(upright, orientation).astype(np.uint16) * 257
    png = cv2.imencode(".png", stored[..., ::-1])[1].tobytes()
    png = with_chunk(png, b"eXIf", exif_block(orientation).removeprefix(b"Exif\0\0"))
    np.testing.assert_allclose(whole_codes(open_photo(png)), upright, atol=1e-3)


def test_facts_of_a_photo() -> None:
    data = file_of(corners_picture(), "JPEG", exif=exif_block(), icc_profile=icc.named("Display P3"))
    facts = open_photo(data).facts
    assert (facts.format, facts.profile, facts.raw, facts.flags) == ("JPEG", "Display P3", False, ())
    import hashlib

    assert facts.sha256 == hashlib.sha256(data).hexdigest()


def test_sixteen_bits_keep_their_depth() -> None:
    ramp = np.linspace(0, 65535, 64 * 64).astype(np.uint16).reshape(64, 64)
    for suffix in (".png", ".tiff"):
        photo = open_photo(cv2.imencode(suffix, ramp)[1].tobytes())
        expected = linear_from_encoded(ramp[..., None].repeat(3, 2) / 65535)
        np.testing.assert_allclose(photo.linear(), expected, atol=1e-6)


@pytest.mark.parametrize("mode", ["L", "P", "1", "LA", "RGBA", "PA"])
def test_gray_and_palette_pictures_are_rgb_to_the_reader(mode: str) -> None:
    gray = Image.fromarray(np.full((30, 40), 120, np.uint8)).convert("RGB")
    out = io.BytesIO()
    picture = (
        gray.quantize(4).convert("PA") if mode == "PA" else gray.quantize(4) if mode == "P" else gray.convert(mode)
    )
    picture.save(out, "TIFF" if mode == "PA" else "PNG")
    photo = open_photo(out.getvalue())
    assert photo.linear().shape == (30, 40, 3)
    assert photo.facts.flags == ()
    if mode != "1":
        assert np.abs(whole_codes(photo) - 120).max() < 3


@pytest.mark.parametrize("depth", [8, 16])
def test_see_through_parts_are_laid_on_white_and_flagged(depth: int) -> None:
    full = 2**depth - 1
    rgba = np.full((20, 40, 4), full, np.uint8 if depth == 8 else np.uint16)
    rgba[..., :3] = full // 5
    rgba[:, :10, 3] = 0
    photo = open_photo(cv2.imencode(".png", rgba)[1].tobytes())
    assert photo.encoded()[0, 0] == pytest.approx(1)
    assert photo.encoded()[0, 30] == pytest.approx(0.2, abs=1e-4)
    (flag,) = photo.facts.flags
    assert flag.code == "see-through"
    assert flag.value == pytest.approx(0.25)


def test_png_statements_of_color() -> None:
    png = file_of(np.full((8, 8, 3), 128, np.uint8), "PNG")
    half = 128 / 255
    srgb = linear_from_encoded(np.array(half))
    assert open_photo(png).linear()[0, 0, 0] == pytest.approx(srgb, abs=1e-6)
    gamma_1 = with_chunk(png, b"gAMA", struct.pack(">I", 100000))
    assert open_photo(gamma_1).linear()[0, 0, 0] == pytest.approx(half, abs=1e-6)
    said_srgb = with_chunk(gamma_1, b"sRGB", b"\0")
    assert open_photo(said_srgb).linear()[0, 0, 0] == pytest.approx(srgb, abs=1e-6)
    usual = with_chunk(png, b"gAMA", struct.pack(">I", 45455))
    assert open_photo(usual).facts.profile == "sRGB"
    p3 = with_chunk(png, b"cICP", bytes((12, 13, 0, 1)))
    assert open_photo(p3).facts.profile == "Display P3"
    with pytest.raises(PhotoUnreadable, match="high-dynamic-range"):
        open_photo(with_chunk(png, b"cICP", bytes((9, 16, 0, 1))))


def test_p3_of_a_heic_by_code_points_and_by_icc() -> None:
    picture = np.full((64, 64, 3), (200, 100, 60), np.uint8)
    by_icc = open_photo(file_of(picture, "HEIF", icc_profile=icc.named("Display P3")))
    assert by_icc.facts.profile == "Display P3"
    by_points = open_photo(
        file_of(
            picture, "HEIF", color_primaries=12, transfer_characteristics=13, matrix_coefficients=1, full_range_flag=1
        )
    )
    assert by_points.facts.profile == "Display P3"
    np.testing.assert_allclose(by_icc.linear().mean((0, 1)), by_points.linear().mean((0, 1)), atol=0.01)


@pytest.mark.parametrize("chroma", [420, 422, 444])
@pytest.mark.parametrize("matrix", [1, 6])
def test_a_heic_is_libheifs(matrix: int, chroma: int) -> None:
    picture = cv2.GaussianBlur(np.random.default_rng(3).integers(0, 256, (90, 110, 3)).astype(np.uint8), (0, 0), 1)
    data = file_of(
        picture, "HEIF", chroma=chroma, color_primaries=1, transfer_characteristics=13, matrix_coefficients=matrix,
        full_range_flag=1,
    )  # fmt: skip
    photo = open_photo(data)
    by_libheif = np.asarray(pillow_heif.open_heif(io.BytesIO(data))).astype(float)
    np.testing.assert_allclose(whole_codes(photo), by_libheif, atol=1e-3)


def test_adobe_rgb_by_the_camera_rule() -> None:
    # DCF 2.0: interoperability index "R03" means Adobe RGB, with no ICC profile.
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA005] = {1: "R03"}
    photo = open_photo(file_of(corners_picture(), "JPEG", exif=exif.tobytes()))
    assert photo.facts.profile == "Adobe RGB"


@pytest.mark.parametrize("depth", [8, 16])
def test_profiles_of_tables_go_through_the_color_engine(depth: int) -> None:
    # A table that swaps nothing but takes every corner of the cube to a gray of its mean.
    lightness = np.mean(np.indices((2, 2, 2)), axis=0)[..., None] * 100
    table = icc.table_profile(lightness * (1, 0, 0))
    codes = np.full((20, 30, 3), (250, 130, 10), np.uint8)
    if depth == 8:
        data = file_of(codes, "PNG", icc_profile=table)
    else:
        deep = cv2.imencode(".png", codes[..., ::-1].astype(np.uint16) * 257)[1].tobytes()
        data = with_chunk(deep, b"iCCP", b"tables\0\0" + zlib.compress(table))
    photo = open_photo(data)
    assert [flag.code for flag in photo.facts.flags] == ["profile-converted"]
    # L* of the mean of the codes, worked by hand: 100 (250 + 130 + 10) / 3 / 255 = 51.0.
    assert lab_from_linear(photo.linear()[0, 0]) == pytest.approx([51.0, 0, 0], abs=0.3)


def test_a_profile_for_something_else_is_flagged() -> None:
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    photo = open_photo(file_of(corners_picture(), "PNG", icc_profile=lab))
    assert photo.facts.flags[0].code == "profile-unusable"
    assert photo.facts.profile == "sRGB"


def test_a_damaged_profile_is_flagged() -> None:
    photo = open_photo(file_of(corners_picture(), "JPEG", icc_profile=icc.named("Display P3")[:200]))
    assert [f.code for f in photo.facts.flags] == ["profile-unusable"]


def test_brightness_maps_and_more_pictures_are_flagged() -> None:
    xmp = b'<x xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" hdrgm:Version="1.0"/>'
    photo = open_photo(file_of(corners_picture(), "JPEG", xmp=xmp))
    assert [f.code for f in photo.facts.flags] == ["hdr-gain-map"]
    first, second = Image.fromarray(corners_picture()), Image.new("RGB", (64, 48), "white")
    for kind in ("WEBP", "TIFF", "PNG"):
        out = io.BytesIO()
        first.save(out, kind, save_all=True, append_images=[second], **({"lossless": True} if kind == "WEBP" else {}))
        photo = open_photo(out.getvalue())
        assert [f.code for f in photo.facts.flags] == ["several-pictures"]
        np.testing.assert_allclose(whole_codes(photo), corners_picture(), atol=1e-3)


# --- camera raw ---


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_raw_is_linear_light_with_srgb_primaries_upright(orientation: int) -> None:
    upright = np.zeros((160, 240, 3))
    upright[:80, :120], upright[:80, 120:] = (0.40, 0.25, 0.12), (0.18, 0.18, 0.18)
    upright[80:, :120], upright[80:, 120:] = (0.20, 0.125, 0.06), (0.09, 0.09, 0.09)
    photo = open_photo(dng(turned_for(upright, orientation), balance=(0.5, 1, 0.7), orientation=orientation))
    facts = photo.facts
    assert (facts.format, facts.camera, facts.raw, facts.width, facts.height) == ("raw", "Acme Raw 1", True, 240, 160)
    for box, expected in ((Box(20, 20, 60, 40), upright[0, 0]), (Box(150, 100, 60, 40), upright[-1, -1])):
        got = photo.linear(box).mean((0, 1))
        assert got == pytest.approx(expected, rel=2e-3)
        assert photo.encoded(box).mean((0, 1)) == pytest.approx(encoded_from_linear(got), abs=1e-3)
    assert photo.preview(60).shape == (40, 60, 3)


def test_a_clipped_raw_is_clipped_in_its_encoded_values() -> None:
    photo = open_photo(dng(np.full((80, 80, 3), 1.5), balance=(0.5, 1, 0.7)))
    assert photo.encoded(Box(20, 20, 40, 40)).min() > 0.98


# --- parts ---


def test_pixels_are_read_only() -> None:
    for data in (file_of(corners_picture(), "PNG"), sixteen_bit_tiff(corners_picture(), 1)):
        assert not open_photo(data).pixels.crop(Box(1, 1, 5, 5)).flags.writeable


def test_mask_takes_the_pixels_whose_centers_lie_inside() -> None:
    photo = open_photo(file_of(corners_picture(), "PNG"))
    box = Box(10, 5, 20, 30)
    got, inside = photo.mask(Region.from_box(RegionKind.SOUND, box, 64, 48))
    assert got == box
    assert inside.all()
    triangle = Region(RegionKind.SOUND, ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
    _, inside = photo.mask(triangle)
    assert inside.sum() == pytest.approx(64 * 48 / 2, abs=40)
    assert inside[0, 0]
    assert not inside[-1, -1]
    # Independent of ours: scikit-image's polygon, shifted by half a pixel as its pixels are points.
    from skimage.draw import polygon2mask

    star = ((0.5, 0.05), (0.95, 0.9), (0.05, 0.35), (0.95, 0.35), (0.05, 0.9))
    box, inside = photo.mask(Region(RegionKind.SOUND, star))
    expected = polygon2mask((48, 64), np.array([(y * 48 - 0.5, x * 64 - 0.5) for x, y in star]))
    differ = np.mean(inside != expected[box.y : box.y + box.h, box.x : box.x + box.w])
    assert differ < 0.01


def test_a_region_without_area_has_no_pixels() -> None:
    photo = open_photo(file_of(corners_picture(), "PNG"))
    _, inside = photo.mask(Region(RegionKind.SOUND, ((0.5, 0.2), (0.5, 0.4), (0.5, 0.8))))
    assert inside.sum() == 0
    with pytest.raises(RegionError):
        Region(RegionKind.SOUND, ((0.5, 0.2), (1.5, 0.4), (0.5, 0.8)))


def test_preview_honors_the_profile_and_never_enlarges() -> None:
    p3 = np.full((40, 60, 3), (180, 120, 80), np.uint8)
    photo = open_photo(file_of(p3, "PNG", icc_profile=icc.named("Display P3")))
    preview = photo.preview(2000)
    assert preview.shape == (40, 60, 3)
    expected = encoded_from_linear(photo.linear()[0, 0]) * 255
    assert preview[0, 0] == pytest.approx(expected, abs=0.51)
    assert abs(int(preview[0, 0, 0]) - 180) > 3


def test_preview_is_an_average() -> None:
    stripes = np.zeros((600, 600, 3), np.uint8)
    stripes[:, ::2] = 200
    assert np.abs(open_photo(file_of(stripes, "PNG")).preview(60).astype(int) - 100).max() <= 1


def test_a_path_and_its_bytes_are_the_same_photo(tmp_path: Path) -> None:
    data = file_of(corners_picture(), "JPEG")
    path = tmp_path / "my photo ü.JPG"
    path.write_bytes(data)
    assert open_photo(path).facts == open_photo(data).facts


@pytest.mark.parametrize("across", [3, 5, 12])
def test_a_long_thin_region_does_not_slip_through_between_the_pixels_that_are_read(across: int) -> None:
    side = 2400
    photo = open_photo(file_of(np.full((side, side, 3), 120, np.uint8), "PNG"))
    near, far, wide = 0.02, 0.9, across / side
    sliver = Region(RegionKind.SOUND, ((near, near), (near + wide, near), (far + wide, far), (far, far)))
    assert photo.part(sliver).inside.sum() >= 100
    assert len(some_pixels(photo, sliver)[0]) >= 100
