"""The starter shelf, which is simulated with another physics than the product's, and its fitted paints."""

import pytest

from colormatch.library.starter import starter_shelf
from colormatch.records import Shelf
from colormatch.wash.paint import PaintModel
from tests.fitted import fit_paints


@pytest.fixture(scope="session")
def shelf() -> Shelf:
    return starter_shelf()


@pytest.fixture(scope="session")
def models(shelf: Shelf) -> dict[str, PaintModel]:
    return fit_paints(shelf.swatches)
