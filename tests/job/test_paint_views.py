"""A paint looked at by itself: nearness, the grid, the fit of each swatch, the swatch worth painting."""

import pytest
from coloraide import Color

from colormatch.errors import BadInput, PaintError
from colormatch.library import Library
from colormatch.library.starter import example
from colormatch.records import Ground, Lab, Paint, Shelf, Swatch
from colormatch.repair import read_photo, swatch_worth_painting
from colormatch.workshop import Workshop, fit_errors, grid_over, ground_named, known_grounds, starter_workshop


@pytest.fixture(scope="module")
def workshop():
    return starter_workshop()


def apart(one, other):
    """CIEDE2000 by another implementation (coloraide)."""
    return Color("lab-d65", list(one)).delta_e(Color("lab-d65", list(other)), method="2000")


def test_grounds_are_known_by_their_name_the_library_before_its_swatches(tmp_path):
    library = Library.open(tmp_path)
    rail, other, door = Lab(78, 5, 22), Lab(77, 6, 23), Lab(61, 8, 24)
    library.add(Paint("Umber"))
    library.add(Swatch("Umber", 1, 3, 1, "Rail", other, Lab(60, 8, 20)))
    library.add(Swatch("Umber", 1, 3, 1, "door", rail, Lab(60, 8, 20)))
    library.add(Swatch("Umber", 1, 7, 1, "Door", door, Lab(60, 8, 20)))
    library.add(Ground("rail", rail, 0.4))
    assert [(ground.name, ground.lab) for ground in known_grounds(library)] == [("Door", door), ("rail", rail)]
    assert ground_named(library, " RAIL ").uncertainty == 0.4
    with pytest.raises(BadInput, match="ash is not known"):
        ground_named(library, "ash")


def test_fit_errors_are_the_fits_own_residuals_in_words(workshop):
    errors = fit_errors(workshop, "Burnt Umber")
    assert [e.swatch for e in errors] == list(workshop.shelf.of("Burnt Umber"))
    assert [e.delta_e for e in errors] == pytest.approx(list(workshop.models["Burnt Umber"].residuals), abs=1e-6)
    for error in errors:
        assert error.delta_e == pytest.approx(apart(error.modeled, error.swatch.lab), abs=1e-6)
        assert ("too" in error.off) == (error.delta_e >= 0.8)


def test_a_paint_without_a_swatch_has_no_grid(workshop):
    bare = Workshop(Shelf(workshop.shelf.paints), {}, lent=False)
    with pytest.raises(PaintError, match="no swatch yet"):
        grid_over(bare, "Burnt Umber", Lab(78, 5, 21), 1.0)
    assert fit_errors(bare, "Burnt Umber") == ()


def test_the_swatch_worth_painting_is_of_that_paint_and_promises_no_loss(workshop):
    shown = example()
    reading = read_photo(shown.photo, shown.regions)
    found = swatch_worth_painting(reading, workshop, "Burnt Umber")
    assert found is not None
    assert [part.paint for part in found.layer.paints] == ["Burnt Umber"]
    assert found.after <= found.before + 0.05
