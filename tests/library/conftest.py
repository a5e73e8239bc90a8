"""A library with a paint and swatches of it."""

import pytest

from colormatch.library import Library
from colormatch.records import Lab, Paint, Swatch


@pytest.fixture
def library(tmp_path):
    return Library.open(tmp_path / "library")


@pytest.fixture
def swatch():
    return Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25))


@pytest.fixture
def stocked(library, swatch):
    """One paint with two swatches."""
    library.add_all([Paint("Umber"), swatch, swatch], "set up")
    return library
