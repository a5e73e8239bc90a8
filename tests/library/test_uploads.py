"""Files chosen in a window, laid out for one import."""

import pytest

from colormatch.errors import BadInput, ExchangeError
from colormatch.library import Library
from colormatch.library.export import export_exchange
from colormatch.library.merge import import_exchange
from colormatch.library.starter import bundled, install_starter
from colormatch.library.uploads import lay_out
from colormatch.records import Ground, Swatch

#: CGATS.17 text of two samples with XYZ under D50: a perfect white (the white of ICC.1:2022, annex E) and black.
CGATS = b"""CGATS.17
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_ID XYZ_X XYZ_Y XYZ_Z
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
white 96.42 100 82.49
black 0 0 0
END_DATA
"""


def laid_out(tmp_path, files):
    """What :func:`lay_out` makes of files, each in a folder of its own."""
    places = [tmp_path / "chosen" / str(number) / name for number, name in enumerate(files)]
    for place, content in zip(places, files.values(), strict=True):
        place.parent.mkdir(parents=True)
        place.write_bytes(content)
    (tmp_path / "work").mkdir()
    return lay_out(places, tmp_path / "work")


def test_sheets_are_known_by_their_columns_whatever_their_names(tmp_path):
    files = {f"my {number}.csv": (bundled("swatches") / name).read_bytes()
             for number, name in enumerate(("swatches.csv", "paints.csv", "clear_coats.csv"))}  # fmt: skip
    source = laid_out(tmp_path, files)
    assert {path.name for path in source.iterdir()} == {"swatches.csv", "paints.csv", "clear_coats.csv"}
    library = Library.open(tmp_path / "library")
    counts = import_exchange(library, source).counts()
    assert (counts["paints"]["new"], counts["swatches"]["new"]) == (10, 135)


def test_a_zip_file_goes_through_as_it_is(tmp_path):
    library = Library.open(tmp_path / "one")
    install_starter(library)
    export_exchange(library, tmp_path / "shelf.zip", repairs=True, photos=True)
    source = lay_out([tmp_path / "shelf.zip"], tmp_path / "work")
    assert source == tmp_path / "shelf.zip"
    other = Library.open(tmp_path / "other")
    import_exchange(other, source)
    assert [one.record for one in other.all(Swatch)] == [one.record for one in library.all(Swatch)]
    with pytest.raises(BadInput, match="one zip file at a time"):
        laid_out(tmp_path, {"shelf.zip": b"", "paints.csv": b""})


def test_an_instruments_samples_become_grounds(tmp_path):
    source = laid_out(tmp_path, {"readings.cie": CGATS})
    library = Library.open(tmp_path / "library")
    plan = import_exchange(library, source)
    assert plan.counts()["grounds"]["new"] == 2
    white, black = (one.record for one in library.all(Ground))
    # White under one light is white under another, black is black.
    assert white.lab == pytest.approx((100, 0, 0), abs=0.02)
    assert black.lab == pytest.approx((0, 0, 0), abs=0.02)
    assert library.undo() == "imported readings"
    assert import_exchange(library, source, preview=True).counts()["grounds"]["new"] == 2


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ({"list.csv": b"a,b,c\n1,2,3\n"}, "not a sheet of paints"),
        ({"list.csv": b""}, "not a sheet of paints"),
        ({"one.csv": b"name\nx\n", "two.csv": b"name\ny\n"}, "is a second paints.csv"),
    ],
)
def test_what_cant_be_placed_is_refused(tmp_path, files, told):
    with pytest.raises(BadInput, match=told):
        laid_out(tmp_path, files)


def test_a_broken_measurement_is_told_with_its_line(tmp_path):
    with pytest.raises(ExchangeError, match=r"readings\.txt"):
        laid_out(tmp_path, {"readings.txt": b"CGATS.17\nBEGIN_DATA\n1 2 3\nEND_DATA\n"})
