"""Odd things that were typed or brought in: a right answer or one sentence, never a fault of the program's own."""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path

import pytest

from colormatch.errors import BadInput
from colormatch.library import Library
from colormatch.library.export import export_exchange
from colormatch.records import Lab, Paint, Swatch, name_key
from colormatch.reference.chart_values import read_chart_file

CXF = (
    '<?xml version="1.0" encoding="{}"?><cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
    '<cc:ObjectCollection><cc:Object ObjectType="Color" Name="A" Id="1"><cc:ColorValues>'
    '<cc:ColorCIELab ColorSpecification="D50"><cc:L>50</cc:L><cc:A>1</cc:A><cc:B>2</cc:B></cc:ColorCIELab>'
    "</cc:ColorValues></cc:Object></cc:ObjectCollection></cc:Resources></cc:CxF>"
)


def told(done, status=1):
    """The sentences of an error of ours."""
    assert done.status == status
    assert done.err
    assert "had an internal error" not in done.err
    assert len(done.err.splitlines()[-1]) < 1500
    return done.err


@pytest.fixture
def library(tmp_path):
    library = Library.open(tmp_path / "library")
    library.add_all(
        [Paint("Umber"), Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25)), Paint("Ochre")], "set up"
    )
    return library


@pytest.mark.parametrize("smallest", ["30ml", "15ml"])
def test_a_measure_as_large_as_the_batch(run, smallest):
    assert run("library", "import").status == 0
    done = run("match", "--target", "62,9,25", "--over", "74,6,20", "--smallest", smallest, "--mix", 2, "--layers", 2)
    assert done.status == 0
    assert "recipes searched" in done.out


def test_a_sheet_whose_name_is_all_points(run, library, tmp_path):
    (tmp_path / "...csv").write_text("name\nSienna\n")
    assert run("library", "import", tmp_path / "...csv").status == 0
    assert [one.record.name for one in library.all(Paint)] == ["Umber", "Ochre", "Sienna"]


@pytest.mark.parametrize("content", [b"\xff\xd8\xff\xe1\rExif", b"\0", b'"' + b"x" * 200_000])
def test_a_photo_named_as_a_sheet(run, tmp_path, content):
    """What Python's csv module refuses: a lone carriage return, NUL, and a field beyond its limit."""
    (tmp_path / "photo.csv").write_bytes(content)
    assert "columns" in told(run("library", "import", tmp_path / "photo.csv"))
    with pytest.raises(BadInput, match="columns"):
        read_chart_file(tmp_path / "photo.csv")


@pytest.mark.parametrize("encoding", ["UTF-7", "no-such-code", "shift_jis", "rot13"])
def test_cxf_in_an_encoding_that_expat_lacks(run, tmp_path, encoding):
    (tmp_path / "a.cxf").write_text(CXF.format(encoding), encoding="ascii")
    assert "encoding" in told(run("library", "import", tmp_path / "a.cxf"))


@pytest.mark.skipif(sys.platform == "win32", reason="the limit of POSIX systems")
@pytest.mark.parametrize(
    "command",
    [
        ("library", "import", "{}"),
        ("library", "import", "{}.csv"),
        ("library", "restore", "{}"),
        ("library", "export", "{}"),
        ("library", "backup", "--out", "{}.zip"),
        ("paint", "list", "--library", "{}"),
        ("paint", "add", "Sienna", "--photo", "{}"),
        ("ground", "add", "wood", "--measured", "{}"),
        ("read", "{}", "--patch", "a=1,2,3,4"),
        ("sheet", "print", "--rows", "A", "--columns", "full", "--out", "{}.pdf"),
        ("demo", "--out", "{}"),
    ],
    ids=" ".join,
)
def test_an_over_long_path(run, library, tmp_path, command):
    path = str(tmp_path / ("x" * 5000))
    assert "too long" in told(run(*(part.format(path) for part in command)))


@pytest.mark.parametrize("out", ["", "layout.json"])
def test_a_sheet_needs_a_name_for_its_pdf(run, out):
    assert "PDF" in told(run("sheet", "print", "--rows", "A", "--columns", "full", "--out", out), 2)


@pytest.mark.parametrize("rows", ["A\nB", "A\x07", "A,B\u2028C"])
def test_a_row_is_one_line(run, tmp_path, rows):
    out = tmp_path / "sheet.pdf"
    assert "line break" in told(run("sheet", "print", "--rows", rows, "--columns", "full", "--out", out), 2)
    assert not out.exists()


@pytest.mark.parametrize("parts", ["1e308", "1e7", "inf", "nan"])
def test_parts_beyond_measure(run, library, parts):
    done = run("mix", "--paint", f"Umber={parts}", "--paint", "Ochre=1e308", "--ratio", "1:3", "--area", "40cm2")
    told(done, 2)


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE change SET document = '{'",
        "UPDATE change SET document = '[1]'",
        "UPDATE change SET document = '{\"no such column\": 1}'",
        "UPDATE change SET document = '{}'",
        "UPDATE change SET kind = 'nothing'",
        "UPDATE change SET document = '{\"name\": null}'",
    ],
)
def test_a_broken_history(run, library, damage):
    library.remove(Paint, 2)
    connection = sqlite3.connect(library.database)
    with connection:
        connection.execute(damage + " WHERE step = (SELECT max(id) FROM step)")
    connection.close()
    before = library.everything()
    assert "undo step" in told(run("library", "undo"))
    assert library.everything() == before


@pytest.mark.parametrize("hidden", ["\u200b", "\u2060", "\ufeff", "\u00ad", "\u202e", "\u200d", "\ufe0f", "\u3164"])
def test_no_two_paints_look_alike(run, library, hidden):
    assert name_key(f"Um{hidden}ber") == name_key("Umber")
    assert "ready" in told(run("paint", "add", f"Um{hidden}ber"))
    assert "needs a name" in told(run("paint", "add", "\u200b\u2060"), 2)


def test_joiners_that_scripts_need_stay(run, library):
    name = "\u0646\u06cc\u0645\u200c\u0631\u0646\u06af"  # Persian "half-tone", with a zero-width non-joiner
    assert run("paint", "add", name).status == 0
    assert library.all(Paint)[-1].record.name == name


def test_swatches_alone_for_paints_on_the_shelf(run, library, tmp_path):
    export_exchange(library, tmp_path / "out")
    sheet = tmp_path / "swatches.csv"
    sheet.write_text((tmp_path / "out" / "swatches.csv").read_text(encoding="utf-8").replace("Umber", "umber")
                     .replace("rail", "door"), encoding="utf-8")  # fmt: skip
    assert run("library", "import", sheet).status == 0
    assert [one.record.ground for one in library.all(Swatch)] == ["rail", "door"]
    assert {one.record.paint for one in library.all(Swatch)} == {"Umber"}
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("umber", "Sienna"), encoding="utf-8")
    assert "neither paints.csv nor your shelf" in told(run("library", "import", sheet))


def test_a_preview_makes_no_library(run, tmp_path):
    done = run("library", "import", "--preview")
    assert done.status == 0
    assert "Nothing has been imported yet" in done.out
    assert not (tmp_path / "library").exists()


def test_a_removal_that_is_made_is_not_called_failed(run, library, tmp_path, monkeypatch):
    photo = library.photos.add(b"a photo", "x.jpg")
    library.edit(2, Paint("Ochre", photo=photo))

    def failing(_: Path) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("colormatch.library.photos.sync_folder", failing)
    assert "The change was saved, but" in told(run("paint", "remove", "Ochre"))
    assert [one.record.name for one in library.all(Paint)] == ["Umber"]
