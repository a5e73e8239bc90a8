"""The color kernels beside colour-science, scikit-image and OpenCV, one thread each."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import RGB_TO_XYZ, lab_from_linear

_RNG = np.random.default_rng(0)
PAIRS = 1_000_000
LAB = (_RNG.random((2, PAIRS, 3)) * (100, 80, 80) - (0, 40, 40)).astype(np.float32)
PIXELS = _RNG.random((3000, 4000, 3), dtype=np.float32)


@pytest.fixture(autouse=True)
def one_thread() -> Any:
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    yield
    cv2.setNumThreads(threads)


def _colour() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about optional libraries of its own
        import colour
    return colour


@pytest.mark.benchmark(group="CIEDE2000 of a million pairs")
@pytest.mark.parametrize("dtype", [np.float32, np.float64], ids=["single", "double"])
def test_ours(measure: Callable[..., Any], dtype: Any) -> None:
    first, second = LAB.astype(dtype)
    measure(lambda: delta_e(first, second), goal="0.20 x peer")


@pytest.mark.benchmark(group="CIEDE2000 of a million pairs")
def test_colour_science(measure: Callable[..., Any]) -> None:
    difference = _colour().difference.delta_E_CIE2000
    first, second = LAB.astype(float)
    measure(lambda: difference(first, second), peer=True)


@pytest.mark.benchmark(group="CIEDE2000 of a million pairs")
def test_scikit_image(measure: Callable[..., Any]) -> None:
    from skimage.color import deltaE_ciede2000

    measure(lambda: deltaE_ciede2000(*LAB))


@pytest.mark.benchmark(group="linear light to CIELAB, 12 megapixels")
def test_lab_ours(measure: Callable[..., Any]) -> None:
    measure(lambda: lab_from_linear(PIXELS), goal="0.20 x peer")


@pytest.mark.benchmark(group="linear light to CIELAB, 12 megapixels")
def test_lab_colour_science(measure: Callable[..., Any]) -> None:
    colour = _colour()
    convert = lambda: colour.XYZ_to_Lab(colour.algebra.vecmul(RGB_TO_XYZ, PIXELS))  # noqa: E731
    measure(convert, rounds=3, peer=True)


@pytest.mark.benchmark(group="linear light to CIELAB, 12 megapixels")
def test_lab_scikit_image_from_encoded(measure: Callable[..., Any]) -> None:
    from skimage.color import rgb2lab

    measure(lambda: rgb2lab(PIXELS), rounds=3)


@pytest.mark.benchmark(group="linear light to CIELAB, 12 megapixels")
def test_lab_opencv(measure: Callable[..., Any]) -> None:
    measure(lambda: cv2.cvtColor(PIXELS, cv2.COLOR_LRGB2Lab), rounds=3)
