"""The 24-patch chart: found, refused, read from marked corners, and corrected by."""

import io

import numpy as np
import pytest
from coloraide import Color
from PIL import Image

from colormatch.color.difference import delta_e
from colormatch.color.space import linear_from_lab
from colormatch.errors import BadInput, CardNotFound, CardUnusable
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import CardKind, FloatArray, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.chart import chart_correction
from colormatch.reference.chart_find import chart_fit, find_chart, most_off, read_chart, readable
from colormatch.reference.chart_values import SINCE_2014
from colormatch.reference.correction import gray_card_correction
from colormatch.reference.neutral import find_neutral
from tests.reference.charts import chart_photograph, chart_reflectances
from tests.scenes.scene import Photograph
from tests.scenes.spectra import colour_science, reflectance_to_lab


def saved(photograph: Photograph) -> DecodedPhoto:
    file = io.BytesIO()
    Image.fromarray(photograph.encoded_rgb).save(file, "PNG")
    return open_photo(file.getvalue())


def marked(corners: FloatArray) -> Region:
    return Region(RegionKind.CARD, tuple((x / 800, y / 600) for x, y in corners.tolist()))


@pytest.mark.parametrize(("turn", "light"), [(0, "D65"), (90, "A"), (180, "LED-B1"), (270, "FL11"), (12, "D50")])
def test_found_upright_or_turned(turn: int, light: str) -> None:
    photograph, corners = chart_photograph(turn, np.random.default_rng(turn), light=light)
    photo = saved(photograph)
    card = find_chart(photo)
    assert card.kind is CardKind.CHART24
    assert card.found == "auto"
    assert card.region is not None
    # Corner for corner: the orientation is right too. What is read stays inside its patch up to 0.2 of a pitch of 61.
    np.testing.assert_allclose(card.region.corners(800, 600), corners, atol=12)
    patches = read_chart(photo, card.region).linear_rgb
    np.testing.assert_allclose(patches, read_chart(photo, marked(corners)).linear_rgb, atol=0.01)
    true = reflectance_to_lab(chart_reflectances())
    corrected = delta_e(chart_correction(patches, true).lab(patches), true)
    one_gray = delta_e(gray_card_correction(patches[21]).lab(patches), true)
    assert corrected.mean() < 0.5 * one_gray.mean()


@pytest.mark.parametrize("first", range(4))
@pytest.mark.parametrize("outside", [0.0, 8.0])
def test_read_from_four_marked_corners(first: int, outside: float) -> None:
    photograph, corners = chart_photograph(20, np.random.default_rng(5))
    photo = saved(photograph)
    away = corners - corners.mean(0)
    about = corners + outside * away / np.linalg.norm(away, axis=1, keepdims=True)
    read = read_chart(photo, marked(np.roll(about, first, axis=0)))
    exact = read_chart(photo, marked(corners))
    np.testing.assert_allclose(read.linear_rgb, exact.linear_rgb, atol=0.01)
    np.testing.assert_allclose(read.corners, corners, atol=6)


def test_corners_may_be_marked_either_way_around() -> None:
    photograph, corners = chart_photograph(200, np.random.default_rng(5))
    photo = saved(photograph)
    np.testing.assert_allclose(
        read_chart(photo, marked(corners[::-1])).linear_rgb, read_chart(photo, marked(corners)).linear_rgb, atol=1e-6
    )


@pytest.mark.parametrize("cover", [(118, 118, 118), (235, 235, 230), (30, 30, 30), (150, 100, 60)])
def test_a_chart_that_is_partly_covered_is_refused(cover: tuple[int, int, int]) -> None:
    """A hand's breadth of something over its first two columns, which the corners are marked through."""
    photograph, corners = chart_photograph(0, np.random.default_rng(5))
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int)
    photograph.encoded_rgb[top:bottom, left : left + (right - left) // 3] = cover
    photo = saved(photograph)
    with pytest.raises(CardNotFound):
        read_chart(photo, marked(corners))
    with pytest.raises(CardNotFound):
        find_chart(photo)


def test_another_chart_is_refused() -> None:
    """24 patches in the same frame, with other colors: the same ones in another order."""
    photograph, corners = chart_photograph(0, np.random.default_rng(5))
    read = read_chart(saved(photograph), marked(corners)).linear_rgb.reshape(4, 6, 3)
    for other in (
        read[::-1],
        read[:, ::-1],
        read[[1, 0, 2, 3]],
        np.random.default_rng(1).permutation(read.reshape(24, 3)),
    ):
        assert chart_fit(other.reshape(24, 3)) < 0.6


def test_refused_without_a_chart_or_with_a_part_of_it() -> None:
    rng = np.random.default_rng(3)
    empty = saved(chart_photograph(0, rng, chart=False)[0])
    cut, corners = chart_photograph(0, rng, center=(60, 300))
    for photo in (empty, saved(cut)):
        with pytest.raises(CardNotFound):
            find_chart(photo)
    with pytest.raises(CardNotFound):
        read_chart(empty, marked(corners + np.array([150, 0])))


def test_a_mirrored_chart_is_refused() -> None:
    photograph, corners = chart_photograph(0, np.random.default_rng(2), mirrored=True)
    with pytest.raises(CardNotFound):
        read_chart(saved(photograph), marked(corners))


def test_four_corners_are_needed() -> None:
    photograph, corners = chart_photograph(0, np.random.default_rng(2))
    with pytest.raises(BadInput):
        read_chart(saved(photograph), marked(corners[:3]))


def test_only_the_right_order_fits() -> None:
    patches = np.maximum(linear_from_lab(SINCE_2014), 0)
    grid = patches.reshape(4, 6, 3)
    assert chart_fit(patches * [0.8, 0.6, 0.3]) > 0.95
    for wrong in (grid[::-1, ::-1], grid[:, ::-1], grid[::-1], np.roll(grid, 1, axis=1)):
        assert chart_fit(wrong.reshape(24, 3)) < 0.6
    assert chart_fit(np.random.default_rng(0).uniform(0, 1, (24, 3))) < 0.3


def test_exposure_changes_nothing_but_by_the_tone_curve() -> None:
    # Root polynomials are homogeneous: Finlayson, Mackiewicz and Hurlbert (2015), section III.
    patches = np.clip(linear_from_lab(SINCE_2014), 0.01, None) * 0.9
    full, half = chart_correction(patches), chart_correction(patches * 0.5)
    woods = np.array([[0.4, 0.28, 0.15], [0.2, 0.12, 0.06]])
    assert delta_e(full.lab(woods), half.lab(woods * 0.5)).max() < 0.3


def test_clipped_patches_are_left_out_and_said() -> None:
    patches = np.clip(linear_from_lab(SINCE_2014), 0.001, None)
    bright = np.clip(patches * 1.5, 0, 1)
    correction = chart_correction(bright)
    assert [flag.code for flag in correction.flags] == ["patches-left-out"]
    wood = np.array([[0.3, 0.2, 0.1]])
    assert delta_e(correction.lab(wood * 1.5), chart_correction(patches * 0.9).lab(wood * 0.9)).max() < 1.5
    with pytest.raises(CardUnusable):
        chart_correction(np.clip(patches * 6, 0, 1))


def test_an_odd_chart_is_trusted_less() -> None:
    patches = np.clip(linear_from_lab(SINCE_2014), 0.01, None) * 0.8
    odd = patches * np.random.default_rng(1).normal(1, 0.15, patches.shape)
    assert chart_correction(odd).systematic > 2 * chart_correction(patches).systematic


def test_the_light_is_told_from_the_patch_that_is_published_as_neutral_5() -> None:
    """Its place by its name in colour-science's table of the chart; its color by coloraide."""
    names = list(colour_science().CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"].data)
    (place,) = (index for index, name in enumerate(names) if name.startswith("neutral 5"))
    photograph, corners = chart_photograph(0, np.random.default_rng(5), light="A")
    photo = saved(photograph)
    patches = read_chart(photo, marked(corners)).linear_rgb
    casts = [Color("srgb-linear", list(patch)).convert("lab-d65").coords()[1:] for patch in patches[18:]]
    assert min(np.linalg.norm(np.subtract(one, casts[place - 18])) for one in casts if one is not casts[place - 18]) > 1
    light = find_neutral(photo, CardChoice(CardKind.CHART24, region=marked(corners))).light
    assert light.cast == pytest.approx(casts[place - 18], abs=0.05)


def test_a_chart_of_other_colors_is_asked_about() -> None:
    """Charts whose colors lie 15 to 20 ΔE00 from the published ones, as those of other makers may."""
    rng = np.random.default_rng(3)
    for _ in range(5):
        lab = SINCE_2014.copy()
        lab[:18, 1:] += rng.normal(0, 25, (18, 2))
        with pytest.raises(CardUnusable) as asked:
            chart_correction(np.clip(linear_from_lab(lab), 0.001, 0.9))
        assert "another maker" in str(asked.value)


def test_a_blown_white_patch_does_not_speak_against_a_chart() -> None:
    """Twice overexposed, the lightest patches say nothing; the others still do."""
    seen = np.clip(linear_from_lab(SINCE_2014), 0, None) * 1.6
    blown = np.minimum(seen, 1)
    assert readable(blown).sum() < 24
    assert most_off(blown) < 0.5
    assert chart_fit(blown) > 0.95


def test_a_camera_raw_is_given_gains_and_no_tone_curve() -> None:
    true = np.clip(linear_from_lab(SINCE_2014), 1e-3, None)
    read = chart_correction(0.5 * true, raw=True)
    np.testing.assert_allclose(read.lab(0.5 * true[18:]), SINCE_2014[18:], atol=0.7)
    assert read.steps[0] == "white balance and brightness from the chart's gray row"
