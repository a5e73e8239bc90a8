"""Swatches of a board on the shelf."""

from colormatch.library import Library
from colormatch.records import Lab, Paint, Swatch
from colormatch.sheet.read import keep_swatches

WOOD, DRY = Lab(78, 5, 22), Lab(60, 8, 20)


def test_new_paints_come_along_known_ones_keep_their_spelling_and_all_is_one_step(tmp_path):
    library = Library.open(tmp_path)
    library.add(Paint("Raw Umber"))
    washes = [Swatch(name, 1, 3, 1, "rail", WOOD, DRY) for name in ("raw umber", "Ochre", "ochre", "Raw  Umber")]
    numbers = keep_swatches(library, washes, "added 4 swatches of a board")
    assert [library.get(Swatch, number).paint for number in numbers] == ["Raw Umber", "Ochre", "Ochre", "Raw Umber"]
    assert [one.record.name for one in library.all(Paint)] == ["Raw Umber", "Ochre"]
    assert library.undo() == "added 4 swatches of a board"
    assert library.all(Swatch) == ()
    assert [one.record.name for one in library.all(Paint)] == ["Raw Umber"]
