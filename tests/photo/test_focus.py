"""Photos out of focus, moved, and sharp; the whole study: tests/scenes/study_light.py."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from colormatch.photo.focus import blur_flags, edge_blurs
from colormatch.photo.read import open_photo
from tests.photo.test_read import file_of
from tests.scenes.cards import card_scenes
from tests.scenes.scene import Photograph


def squares(blur: float) -> np.ndarray:
    """Turned light squares on dark, blurred."""
    picture = np.full((900, 1200), 60, np.uint8)
    for i in range(8):
        corners = cv2.boxPoints(((150 + 260 * (i % 4), 220 + 400 * (i // 4)), (150, 150), 20.0 * i))
        cv2.fillConvexPoly(picture, np.round(corners).astype(np.int32), 190)
    soft = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), blur)
    return np.round(soft).astype(np.uint8)[..., None].repeat(3, 2)


@pytest.mark.parametrize("blur", [1.0, 2.0, 4.0])
def test_the_blur_of_an_edge_is_measured(blur: float) -> None:
    assert np.median(edge_blurs(squares(blur))) == pytest.approx(blur, rel=0.15)


def test_out_of_focus_and_moved_are_told_apart() -> None:
    assert blur_flags(squares(0.8)) == []
    (defocus,) = blur_flags(squares(3.0))
    assert "out of focus" in defocus.text
    moved = cv2.blur(squares(0.8), (15, 1))
    (motion,) = blur_flags(moved)
    assert "moved" in motion.text


@pytest.mark.parametrize("picture", [np.full((300, 400, 3), 90), np.zeros((1, 1, 3)), np.zeros((2, 900, 3))])
def test_without_edges_nothing_is_said(picture: np.ndarray) -> None:
    assert blur_flags(picture.astype(np.uint8)) == []


def test_an_opened_photo_says_it() -> None:
    large = cv2.resize(squares(3.0), None, fx=2.5, fy=2.5, interpolation=cv2.INTER_CUBIC)
    assert [flag.code for flag in open_photo(file_of(large, "JPEG")).facts.flags] == ["blurred"]
    assert open_photo(file_of(squares(0.8), "PNG")).facts.flags == ()


def blurred(photo: Photograph, blur: float) -> Photograph:
    return photo.scene.photograph(photo.lighting, replace(photo.camera, blur=blur), np.random.default_rng(1))


@pytest.mark.slow
def test_simulated_photographs() -> None:
    scenes = [scene.photograph for scene in card_scenes(8, 9)]
    assert not any(blur_flags(photo.encoded_rgb) for photo in scenes)
    found = [bool(blur_flags(blurred(photo, 3.5).encoded_rgb)) for photo in scenes]
    assert np.mean(found) >= 0.75
