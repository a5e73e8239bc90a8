"""Written files hold what was photographed, whoever opens them."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import display_p3_profile, encoded
from tests.scenes.lineup import lineup
from tests.scenes.scene import box_inside
from tests.scenes.spectra import colour_science
from tests.scenes.surface import plain
from tests.scenes.woods import LIGHT_WOOD

SCENE = lineup({"light wood": plain(LIGHT_WOOD.field)})


def photograph(**camera):
    return SCENE.photograph(Lighting("D65"), Camera(noise=0, **camera), np.random.default_rng(0))


def opened(content):
    import pillow_heif

    pillow_heif.register_heif_opener()
    return ImageOps.exif_transpose(Image.open(io.BytesIO(content)))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("format", ["PNG", "JPEG"])
def test_orientation_turns_back(format, orientation):
    shot = photograph()
    picture = np.asarray(opened(encoded(shot, format, orientation=orientation)), float)
    assert np.abs(picture - shot.encoded_rgb).mean() < (0.01 if format == "PNG" else 2.0)


@pytest.mark.parametrize("format", ["JPEG", "WebP", "HEIC", "TIFF"])
def test_lossy_files_keep_the_color_of_a_patch(format):
    shot = photograph()
    picture = np.asarray(opened(encoded(shot, format)).convert("RGB"), float)
    x, y, w, h = box_inside(SCENE["light wood"].quad)
    patch = np.s_[y : y + h, x : x + w]
    np.testing.assert_allclose(picture[patch].mean((0, 1)), shot.encoded_rgb[patch].mean((0, 1)), atol=2.0)


def test_16_bit_png_and_tiff_are_exact():
    import tifffile

    shot = photograph(bits=16)
    png = cv2.imdecode(np.frombuffer(encoded(shot, "PNG"), np.uint8), cv2.IMREAD_UNCHANGED)[..., ::-1]
    np.testing.assert_array_equal(png, shot.encoded_rgb)
    np.testing.assert_array_equal(tifffile.imread(io.BytesIO(encoded(shot, "TIFF"))), shot.encoded_rgb)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "HEIC"])
def test_display_p3_means_the_same_colors(format):
    """Through LittleCMS, an independent color engine, a P3 file shows what the sRGB file shows."""
    plain_rgb = photograph(s_curve=0).encoded_rgb.astype(float)
    p3 = opened(encoded(photograph(s_curve=0, gamut="Display P3"), format, quality=95))
    profile = ImageCms.ImageCmsProfile(io.BytesIO(p3.info["icc_profile"]))
    shown = ImageCms.profileToProfile(p3.convert("RGB"), profile, ImageCms.createProfile("sRGB"))
    x, y, w, h = box_inside(SCENE["light wood"].quad)
    patch = np.s_[y : y + h, x : x + w]
    np.testing.assert_allclose(np.asarray(shown, float)[patch].mean((0, 1)), plain_rgb[patch].mean((0, 1)), atol=1.5)


def test_profile_describes_display_p3():
    profile = ImageCms.ImageCmsProfile(io.BytesIO(display_p3_profile()))
    assert ImageCms.getProfileDescription(profile).strip() == "Display P3"
    # The primaries of Display P3 as colour-science has them, adapted to D50 by the same library.
    colour = colour_science()
    space = colour.RGB_COLOURSPACES["Display P3"]
    d50 = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(space.whitepoint), d50, transform="Bradford"
    )
    wanted = (adapt @ space.matrix_RGB_to_XYZ).T
    inside = profile.profile
    found = [inside.red_colorant[0], inside.green_colorant[0], inside.blue_colorant[0]]
    np.testing.assert_allclose(found, wanted, atol=3e-4)
