"""Speed of the library: run with ``pytest tests/speed/test_library.py --benchmark-only``."""

import pytest

from colormatch.library import Library
from colormatch.records import Lab, Paint, Swatch


def swatches(count):
    return [
        Swatch(f"paint {n % 50}", 1, n % 20, 1, "rail", Lab(70, 5, n % 90), Lab(50, 9, n % 90)) for n in range(count)
    ]


@pytest.fixture(scope="module", params=[3_000, 100_000], ids=lambda count: f"{count} swatches")
def library(request, tmp_path_factory):
    library = Library.open(tmp_path_factory.mktemp("library"))
    library.add_all([*(Paint(f"paint {n}") for n in range(50)), *swatches(request.param)], "all")
    return library


def test_open(benchmark, library):
    benchmark(Library.open, library.folder)


def test_add_one(benchmark, library):
    benchmark(library.add, swatches(1)[0])


def test_shelf(benchmark, library):
    benchmark.pedantic(library.shelf, rounds=3)
