"""Photos above the limit of whole decoding: read at half their width and height, in the file's own coordinates."""

import numpy as np
import pytest

from colormatch.color.space import encoded_from_linear, linear_from_encoded
from colormatch.errors import PhotoTooLarge
from colormatch.image import formats, limits
from colormatch.image.photo import open_photo
from colormatch.records import Box, CardKind, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.neutral import find_neutral
from colormatch.repair import boxed, read_photo
from colormatch.sampling.surroundings import rim, some_pixels
from tests.hostile import bombs
from tests.image.dng import dng
from tests.image.test_photo import exif_block, file_of, turned_for
from tests.job.test_references import CARD_SIZE, SIZE, marked, photograph, wood_region
from tests.scenes.files import encoded
from tests.scenes.spectra import delta_e

#: The upright photo: odd, so that half of it isn't whole.
WIDTH, HEIGHT = 643, 481
#: Boxes of plain colors (encoded sRGB), among them one that ends at the photo's edge.
COLORS = {Box(60, 40, 180, 120): (150, 110, 80), Box(443, 331, 200, 150): (90, 60, 40)}


@pytest.fixture
def low_limit(monkeypatch):
    """A limit that the photos of this module are above."""
    monkeypatch.setattr(formats, "MOST_PIXELS", WIDTH * HEIGHT // 2)


def upright() -> np.ndarray:
    picture = np.full((HEIGHT, WIDTH, 3), (118, 118, 118), np.uint8)
    for box, color in COLORS.items():
        picture[box.y : box.y + box.h, box.x : box.x + box.w] = color
    return picture


@pytest.mark.usefixtures("low_limit")
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_halved_jpeg_has_its_colors_where_the_file_has_them(orientation: int) -> None:
    photo = open_photo(file_of(turned_for(upright(), orientation), "JPEG", exif=exif_block(orientation)))
    assert (photo.facts.width, photo.facts.height) == (WIDTH, HEIGHT)
    assert photo.pixels.size == ((WIDTH + 1) // 2, (HEIGHT + 1) // 2)
    [flag] = photo.facts.flags
    assert flag.code == "read-halved"
    assert f"{WIDTH} x {HEIGHT}" in flag.text
    for box, region in zip(COLORS, boxed(photo, RegionKind.PATCH, list(COLORS)), strict=True):
        assert region.box(WIDTH, HEIGHT) == box
        part = photo.part(region)
        expected = linear_from_encoded(np.array(COLORS[box]) / 255)
        # Inside the edges, to within a JPEG's rounding; up to the edges, a row of mixed pixels is all that may be off.
        assert np.median(part.linear_rgb[part.inside], axis=0) == pytest.approx(expected, rel=0.02)
        assert part.mean == pytest.approx(expected, rel=0.05)


@pytest.mark.usefixtures("low_limit")
@pytest.mark.parametrize("orientation", [1, 6])
def test_a_halved_camera_raw(orientation: int) -> None:
    linear_rgb = linear_from_encoded(upright()[: HEIGHT - 1, : WIDTH - 1] / 255)
    photo = open_photo(dng(turned_for(linear_rgb, orientation), orientation=orientation))
    assert (photo.facts.width, photo.facts.height) == (WIDTH - 1, HEIGHT - 1)
    assert photo.pixels.size == ((WIDTH - 1) // 2, (HEIGHT - 1) // 2)
    assert [flag.code for flag in photo.facts.flags if flag.code == "read-halved"]
    box = next(iter(COLORS))
    [region] = boxed(photo, RegionKind.PATCH, [box])
    expected = linear_from_encoded(np.array(COLORS[box]) / 255)
    assert np.median(photo.part(region).linear_rgb, axis=(0, 1)) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("kind", ["gray", "three-step", "chart24"])
@pytest.mark.parametrize("found", [True, False])
def test_a_halved_photo_reads_as_the_whole(kind: str, found: bool, monkeypatch) -> None:
    card = CardChoice(
        CardKind(kind), region=None if found else marked((420, 140) if kind == "three-step" else CARD_SIZE)
    )
    data = encoded(photograph(kind)[0], "JPEG", quality=95)
    whole = read_photo(data, [wood_region()], card)
    monkeypatch.setattr(formats, "MOST_PIXELS", SIZE[0] * SIZE[1] - 1)
    half = read_photo(data, [wood_region()], card)
    assert "read-halved" in {flag.code for flag in half.photo.flags}
    assert half.light.flags == whole.light.flags
    assert float(delta_e(np.array(half.samples[0].lab), np.array(whole.samples[0].lab))) < 0.5
    assert half.card.region is not None
    assert whole.card.region is not None
    assert half.card.region.box(*SIZE) == pytest.approx(whole.card.region.box(*SIZE), abs=8)


@pytest.mark.usefixtures("low_limit")
def test_what_is_sampled_of_a_halved_photo_lies_in_its_region() -> None:
    photo = open_photo(file_of(upright(), "JPEG"))
    for box, region in zip(COLORS, boxed(photo, RegionKind.PATCH, list(COLORS)), strict=True):
        pixels, places = some_pixels(photo, region)
        assert np.median(pixels, axis=0) == pytest.approx(linear_from_encoded(np.array(COLORS[box]) / 255), rel=0.02)
        assert np.mean(places, axis=0) == pytest.approx(np.mean(region.points, axis=0), abs=0.005)
    # Of the gray around it, to all sides.
    [first, _] = boxed(photo, RegionKind.PATCH, list(COLORS))
    around = rim(photo, first, (1.3, 1.6), [])
    assert len(around) > 1
    gray = linear_from_encoded(np.full(3, 118) / 255)
    assert all(np.median(pixels, axis=0) == pytest.approx(gray, rel=0.02) for pixels in around.values())


@pytest.mark.usefixtures("low_limit")
def test_the_light_of_a_halved_photo_is_measured_where_it_falls() -> None:
    falls = np.linspace(0.8, 1.2, WIDTH)[None, :, None]
    picture = encoded_from_linear(np.broadcast_to(0.4 * falls, (HEIGHT, WIDTH, 3)))
    photo = open_photo(file_of((picture * 255).round().astype(np.uint8), "JPEG"))
    white = boxed(photo, RegionKind.WHITE, [Box(20, 20, 200, 400), Box(420, 20, 200, 400)])
    neutral = find_neutral(photo, CardChoice(CardKind.NONE), white)
    assert neutral.plane is not None
    left, right = (float(neutral.plane.level((x, 0.5))) for x in (0.1, 0.9))
    assert right / left == pytest.approx((0.8 + 0.9 * 0.4) / (0.8 + 0.1 * 0.4), rel=0.01)


def test_the_limit_of_halving() -> None:
    claimed = bytearray(file_of(upright(), "JPEG"))
    at = claimed.index(b"\xff\xc0") + 5
    claimed[at : at + 4] = (15_900).to_bytes(2) + (15_900).to_bytes(2)
    with pytest.raises(PhotoTooLarge, match="250 megapixels"):
        open_photo(bytes(claimed))
    assert limits.MOST_HALVED_PIXELS < 15_900**2


def test_a_jpeg_in_several_scans_is_not_halved() -> None:
    """Its decoder would hold the coefficients of the whole picture."""
    claimed = bytearray(bombs.jpeg(640, 480, progressive=True))
    at = claimed.index(b"\xff\xc2") + 5
    claimed[at : at + 4] = (12_000).to_bytes(2) + (12_000).to_bytes(2)
    with pytest.raises(PhotoTooLarge, match="120 megapixels"):
        open_photo(bytes(claimed))
