"""Photos out of focus, moved, and sharp; run this file for the figures."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from colormatch.image.focus import blur_flags, edge_blurs
from colormatch.image.photo import open_photo
from tests.image.test_photo import file_of
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
    assert blur_flags(squares(0.7)) == []
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


def is_blurred(photo: Photograph) -> bool:
    flags = open_photo(file_of(photo.encoded_rgb, "PNG")).facts.flags
    return "blurred" in [flag.code for flag in flags]


def again(photo: Photograph, blur: float) -> Photograph:
    """The same scene, out of focus."""
    return photo.scene.photograph(photo.lighting, replace(photo.camera, blur=blur), np.random.default_rng(1))


def report(count: int, seed: int) -> dict[str, float]:
    """Share of simulated photographs with a card, without one and with one that is cut, that are called blurred."""
    photos = [scene.photograph for scene in card_scenes(count, seed)]
    shares = {"sharp (blur of 0 to 0.1 % of the width)": float(np.mean([is_blurred(photo) for photo in photos]))}
    for blur in (2.0, 3.0, 4.5):
        name = f"out of focus by {blur / 12:.2f} % of the width"
        shares[name] = float(np.mean([is_blurred(again(photo, blur)) for photo in photos]))
    return shares


@pytest.mark.slow
def test_simulated_photographs() -> None:
    shares = report(8, 9)
    print(shares)
    sharp, *soft = shares.values()
    assert sharp == 0
    assert min(soft) >= 0.75


if __name__ == "__main__":
    for name, share in report(30, 10).items():
        print(f"{name}: {share:.0%} called blurred")
