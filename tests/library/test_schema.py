"""One frozen database for each schema that was ever released must open with its records."""

import shutil
from pathlib import Path

import pytest

from colormatch.library import Library, database, schema
from colormatch.library.verify import verify
from colormatch.records import Paint

FROZEN = sorted((Path(__file__).parent / "frozen").glob("schema*.sqlite3"))


def test_there_is_one_for_each_schema():
    assert [path.stem for path in FROZEN] == [f"schema{n}" for n in range(1, len(schema.MIGRATIONS) + 1)]


@pytest.mark.parametrize("path", FROZEN, ids=lambda path: path.stem)
def test_an_old_library_opens(path, tmp_path):
    shutil.copy(path, tmp_path / "library.sqlite3")
    library = Library.open(tmp_path)
    shelf = library.shelf()
    assert [paint.name for paint in shelf.paints] == ["=Umber", "Ochre"]
    assert (shelf.swatches[0].lab.a, shelf.swatches[0].extra) == (-5 / 3, (("board", "7"),))
    assert len(shelf.clear_coats) == 1
    assert library.repairs()[0].record.name == "side table"
    assert library.undo() == "added the paint Ochre"
    assert verify(library).problems == ()


def test_a_column_that_an_import_brought_along_makes_way_for_a_new_one_of_ours(tmp_path):
    shutil.copy(FROZEN[0], tmp_path / "library.sqlite3")
    connection = database.connect(tmp_path / "library.sqlite3")
    connection.execute(
        "UPDATE paint SET extra = ? WHERE name = 'Ochre'", ('[["bought", "x"], ["photo", "on the phone"]]',)
    )
    connection.close()
    library = Library.open(tmp_path)
    stored = library.all(Paint)[1]
    assert stored.record.extra == (("bought", "x"), ("photo, imported", "on the phone"))
    library.edit(stored.id, Paint("Ochre", notes="new", extra=stored.record.extra))
