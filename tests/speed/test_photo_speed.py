"""Reading large photos beside their bare decoding, and finding the card."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from colormatch.image.photo import open_photo
from colormatch.library.starter import example
from colormatch.records import Box
from colormatch.reference.gray_card_find import find_card
from colormatch.repair import read_photo

SIZES = {"12 megapixels": (4000, 3000), "48 megapixels": (8000, 6000)}
CROPS = [Box(200 + 300 * i, 300, 300, 300) for i in range(5)]


def enlarged(size: tuple[int, int]) -> bytes:
    """The example's photo at a phone's resolution, as a JPEG."""
    picture = cv2.resize(cv2.imread(str(example().photo)), size, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(0).normal(0, 3, picture.shape)
    return cv2.imencode(".jpg", (picture + noise).clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 93])[
        1
    ].tobytes()


@pytest.fixture(scope="module", params=SIZES)
def jpeg(request: pytest.FixtureRequest) -> bytes:
    return enlarged(SIZES[request.param])


@pytest.mark.benchmark(group="opening a JPEG and cutting out five patches")
def test_open_and_cut_out(measure: Callable[..., Any], jpeg: bytes) -> None:
    def work() -> None:
        photo = open_photo(jpeg)
        for box in CROPS:
            photo.linear(box)

    measure(work, goal="1.5 x bare decoding of its size")


@pytest.mark.benchmark(group="opening a JPEG and cutting out five patches")
def test_bare_pillow(measure: Callable[..., Any], jpeg: bytes) -> None:
    measure(lambda: Image.open(io.BytesIO(jpeg)).load())


@pytest.mark.benchmark(group="opening a JPEG and cutting out five patches")
def test_bare_opencv(measure: Callable[..., Any], jpeg: bytes) -> None:
    measure(lambda: cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR))


@pytest.mark.benchmark(group="finding the card in an open photo")
def test_find_the_card(measure: Callable[..., Any], jpeg: bytes) -> None:
    photo = open_photo(jpeg)
    measure(lambda: find_card(photo))


@pytest.mark.benchmark(group="reading a repair: open, find the card, read four patches")
def test_read(measure: Callable[..., Any], jpeg: bytes) -> None:
    measure(lambda: read_photo(jpeg, example().regions))
