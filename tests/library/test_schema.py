"""One frozen database for each schema that was ever released must open with its records."""

import shutil
from pathlib import Path

import pytest

from colormatch.library import Library, schema
from colormatch.library.rescue import verify

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
