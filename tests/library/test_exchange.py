"""Exchange: what is exported comes back equal, through a folder and a zip file; imports say what they do."""

import csv
import json
import re
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colormatch.errors import BadInput
from colormatch.library import Library, SavedRepair
from colormatch.library.csv_rows import escaped, restored
from colormatch.library.exchange import read_exchange
from colormatch.library.export import export_exchange
from colormatch.library.merge import Conflicts, import_exchange
from colormatch.library.sharing.names import record_renamed, repair_renamed
from colormatch.library.starter import install_starter, starter_shelf
from colormatch.library.verify import verify
from colormatch.records import CardKind, ClearCoatPair, Ground, Lab, OwnCard, Paint, ShopChip, Swatch
from tests.library.plain_photos import plain_photo

from .strategies import TEXT, libraries


@given(content=libraries(), name=st.sampled_from(["out", "out.zip"]))
@settings(max_examples=60, deadline=None)
def test_export_then_import_is_the_identity(tmp_path_factory, content, name):
    folder = tmp_path_factory.mktemp("exchange")
    library, other = Library.open(folder / "a"), Library.open(folder / "b")
    records, repairs = content
    with library.step("all") as step:
        for record in records:
            step.add(record)
        for repair in repairs:
            step.add_repair(repair)
    export_exchange(library, folder / name, repairs=True, photos=True)
    import_exchange(other, folder / name)
    # None of these photos is there: what named one names none.
    lost = {one.photo: "" for one in records if isinstance(one, Paint | Swatch) and one.photo}
    lost |= {photo: "" for repair in repairs for photo in repair.photos}
    found = other.everything()
    assert [record for kind in found.records.values() for record in kind] == [
        record_renamed(one, lost) for one in records
    ]
    assert found.repairs == tuple(repair_renamed(one, lost) for one in repairs)
    stamp = other.stamp()
    again = import_exchange(other, folder / name)
    assert {item.fate for item in again.items} <= {"same"}
    assert other.stamp() == stamp


@given(TEXT | st.text("=+-@;\t\r\n'\" a", max_size=12))
def test_no_cell_is_a_formula_and_each_comes_back(text):
    cell = escaped(text)
    assert not cell.startswith(tuple("=+-@\t\r"))
    # Where semicolons or tabs part cells, and a line break in a cell begins a row.
    parts = [part.lstrip(' "') for part in re.split(r"[;\t\r\n]", cell)]
    assert not [part for part in parts if part.startswith(tuple("=+-@\uff1d\uff0b\uff0d\uff20"))]
    assert restored(cell) == text


def test_the_form_is_the_documented_one(stocked, tmp_path):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(replace(stocked.shelf().swatches[0], photo=photo, lab=Lab(50.1, -2 / 3, 25), notes="=1+1"))
    export_exchange(stocked, tmp_path / "out", repairs=True, photos=True)
    names = sorted(path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.*"))
    assert names == ["clear_coats.csv", "manifest.json", "paints.csv", f"photos/{photo}.jpg", "swatches.csv"]
    with (tmp_path / "out" / "swatches.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert ",".join(rows[0]) == (
        "paint,paint_parts,water_parts,coats,ground,ground_L,ground_a,ground_b,L,a,b,uncertainty,state,taken,photo,notes,"
        "measured,region"
    )
    # Negative numbers stay numbers; only text is escaped.
    assert (rows[-1]["a"], rows[-1]["notes"]) == (repr(-2 / 3), "'=1+1")
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert manifest["version"] == 1
    assert set(manifest["files"]) == set(names) - {"manifest.json"}


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_photos_travel_along(stocked, tmp_path, name):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(replace(stocked.shelf().swatches[0], photo=photo))
    assert export_exchange(stocked, tmp_path / name, repairs=True, photos=True).flags == ()
    other = Library.open(tmp_path / "other")
    import_exchange(other, tmp_path / name)
    assert other.photos.path(photo).read_bytes() == plain_photo()
    assert other.undo() == f"imported {name}"
    assert other.shelf() == type(other.shelf())()
    assert photo not in other.photos


def test_a_photo_that_is_gone_is_told_and_the_rest_exported(stocked, tmp_path):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(replace(stocked.shelf().swatches[0], photo=photo))
    stocked.photos.path(photo).unlink()
    assert [flag.code for flag in export_exchange(stocked, tmp_path / "out", repairs=True, photos=True).flags] == [
        "photo-missing"
    ]
    assert [one.photo for one in read_exchange(tmp_path / "out").shelf.swatches] == [""] * 3


def test_a_photo_that_is_gone_comes_back_with_an_import(stocked, tmp_path):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(replace(stocked.shelf().swatches[0], photo=photo))
    export_exchange(stocked, tmp_path / "out", repairs=True, photos=True)
    stocked.photos.path(photo).unlink()
    assert verify(stocked).problems
    plan = import_exchange(stocked, tmp_path / "out")
    assert {item.fate for item in plan.items} == {"same"}
    assert verify(stocked).problems == ()
    assert stocked.photos.path(photo).read_bytes() == plain_photo()


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_a_damaged_photo_comes_back_with_an_import(stocked, tmp_path, name):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(replace(stocked.shelf().swatches[0], photo=photo))
    export_exchange(stocked, tmp_path / name, repairs=True, photos=True)
    stocked.photos.path(photo).write_bytes(b"a phot\0")
    assert "damaged" in verify(stocked).problems[0].what
    told = import_exchange(stocked, tmp_path / name, preview=True).flags
    assert ("photos-healed", 1) in {(flag.code, flag.value) for flag in told}
    assert stocked.photos.path(photo).read_bytes() == b"a phot\0"  # only said so far
    assert import_exchange(stocked, tmp_path / name).flags == told
    assert verify(stocked).problems == ()
    assert stocked.photos.path(photo).read_bytes() == plain_photo()
    assert "photos-healed" not in {flag.code for flag in import_exchange(stocked, tmp_path / name).flags}


def test_a_damaged_photo_is_told_and_the_rest_exported(stocked, tmp_path):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(replace(stocked.shelf().swatches[0], photo=photo))
    stocked.photos.path(photo).write_bytes(b"")
    assert [flag.code for flag in export_exchange(stocked, tmp_path / "out", repairs=True, photos=True).flags] == [
        "photo-damaged"
    ]
    assert [one.photo for one in read_exchange(tmp_path / "out").shelf.swatches] == [""] * 3


def test_a_swatch_that_shows_nothing_is_told_when_it_comes_in_and_by_the_check(stocked, tmp_path):
    assert verify(stocked).remarks == ()
    export_exchange(stocked, tmp_path / "clean", repairs=True, photos=True)
    assert "no-trace" not in {flag.code for flag in import_exchange(stocked, tmp_path / "clean", preview=True).flags}
    seen = stocked.shelf().swatches[0]
    stocked.add(replace(seen, paint_parts=1, water_parts=1, lab=seen.ground_lab))
    (remark,) = verify(stocked).remarks
    assert "has the color of its ground; check that the right spot was read." in remark
    assert verify(stocked).problems == ()
    export_exchange(stocked, tmp_path / "out", repairs=True, photos=True)
    other = Library.open(tmp_path / "other")
    assert [flag.code for flag in import_exchange(other, tmp_path / "out", preview=True).flags].count("no-trace") == 1
    # What the library has already was told when it came in.
    assert "no-trace" not in {flag.code for flag in import_exchange(stocked, tmp_path / "out", preview=True).flags}


def test_nothing_is_overwritten(stocked, tmp_path):
    (tmp_path / "out.zip").write_text("mine")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine").touch()
    for name in ("out", "out.zip"):
        with pytest.raises(BadInput, match="already exists"):
            export_exchange(stocked, tmp_path / name, repairs=True, photos=True)
    assert (tmp_path / "out.zip").read_text() == "mine"


def _folder(path: Path, **sheets: str) -> Path:
    path.mkdir(exist_ok=True)
    for name, text in sheets.items():
        (path / f"{name}.csv").write_bytes(text.encode("utf-8"))
    return path


SWATCH_HEAD = "paint,paint_parts,water_parts,coats,ground,ground_L,ground_a,ground_b,L,a,b"
SWATCH_ROW = "Umber,1,3,2,rail,70,5,20,50,9,25"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_byte_order_marks_line_ends_blank_lines_and_column_order_don_t_matter(tmp_path, end, mark):
    paints = f"{mark}notes,name{end}brown,Umber{end}{end}"
    swatches = f"{mark}{SWATCH_HEAD}{end}{SWATCH_ROW}{end},,,,,,,,,,{end}"
    exchange = read_exchange(_folder(tmp_path / "in", paints=paints, swatches=swatches))
    assert exchange.shelf.paints == (Paint("Umber", notes="brown"),)
    assert exchange.shelf.swatches == (Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25)),)
    assert [flag.code for flag in exchange.flags] == ["manifest-missing"]


def test_unknown_columns_are_kept(library, tmp_path):
    source = _folder(tmp_path / "in", paints="name,batch,bought\nUmber,7,=A1\nOchre,,'=A1\n")
    import_exchange(library, source)
    umber, ochre = library.shelf().paints
    assert umber.extra == (("batch", "7"), ("bought", "=A1"))
    assert ochre.extra == (("bought", "=A1"),)
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    assert read_exchange(tmp_path / "out").shelf == library.shelf()


def test_a_preview_says_what_an_import_does(stocked, tmp_path):
    paints = "name,maker,notes\nUmber,the shop,\nOchre,,\n"
    swatches = (
        f"{SWATCH_HEAD},notes\n{SWATCH_ROW},\n"  # same
        "Umber,1,3,2,rail,70,5,20,50,9,25,gaps filled\n"  # the second of two equal ones: changed
        "Umber,1,3,2,rail,70,5,20,51,9,25,\n"  # a third measurement: new
        "Umber,1,7,2,rail,70,5,20,60,9,25,\n"  # new
    )
    source = _folder(tmp_path / "in", paints=paints, swatches=swatches)
    before = stocked.stamp()
    plan = import_exchange(stocked, source, preview=True)
    assert stocked.stamp() == before
    assert plan.counts()["paints"] == {"new": 1, "changed": 1, "conflict": 0, "same": 0}
    assert plan.counts()["swatches"] == {"new": 2, "changed": 1, "conflict": 0, "same": 1}
    assert import_exchange(stocked, source).counts() == plan.counts()
    assert stocked.shelf().paints[0] == Paint("Umber", maker="the shop")
    assert [swatch.notes for swatch in stocked.shelf().swatches] == ["", "gaps filled", "", ""]
    stocked.undo()
    assert stocked.stamp() != ""
    assert len(stocked.shelf().swatches) == 2


@pytest.mark.parametrize(
    ("policy", "results"), [(Conflicts.MINE, [50.0]), (Conflicts.THEIRS, [44.0]), (Conflicts.BOTH, [50.0, 44.0])]
)
def test_a_conflict_is_decided_by_the_caller(library, swatch, tmp_path, policy, results):
    library.add_all([Paint("Umber", maker="mine", notes="keep"), swatch], "set up")
    swatches = f"{SWATCH_HEAD}\n{SWATCH_ROW.replace('50,9,25', '44,9,25')}\n"
    source = _folder(tmp_path / "in", paints="name,maker\nUmber,theirs\n", swatches=swatches)
    counts = import_exchange(library, source, conflicts=policy).counts()
    assert (counts["paints"]["conflict"], counts["swatches"]["conflict"]) == (1, 1)
    assert [one.lab.L for one in library.shelf().swatches] == results
    # Gaps are filled from the other side whichever is taken.
    maker = "theirs" if policy is Conflicts.THEIRS else "mine"
    assert library.shelf().paints == (Paint("Umber", maker=maker, notes="keep"),)


def test_clear_coats_of_one_name_over_two_woods_are_two(library, tmp_path):
    pairs = (
        ClearCoatPair("Shellac", Lab(70, 5, 20), Lab(60, 8, 30)),
        ClearCoatPair("Shellac", Lab(40, 5, 20), Lab(30, 8, 30)),
    )
    library.add_all(pairs, "both")
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    assert read_exchange(tmp_path / "out").shelf.clear_coats == pairs


def test_a_sheet_edited_by_hand_is_flagged_and_read(stocked, tmp_path):
    export_exchange(stocked, tmp_path / "out", repairs=True, photos=True)
    sheet = tmp_path / "out" / "paints.csv"
    sheet.write_text(sheet.read_text().replace("Umber", "Umber").replace("water", "spirit"))
    exchange = read_exchange(tmp_path / "out")
    assert [flag.code for flag in exchange.flags] == ["edited", "repeated"]
    assert exchange.shelf.paints[0].thinner == "spirit"


def test_a_zip_may_hold_the_folder_itself_and_clutter(stocked, tmp_path):
    export_exchange(stocked, tmp_path / "out", repairs=True, photos=True)
    with zipfile.ZipFile(tmp_path / "in.zip", "w") as archive:
        for path in (tmp_path / "out").iterdir():
            if path.is_file():
                archive.write(path, f"my swatches/{path.name}")
        archive.writestr("__MACOSX/my swatches/._paints.csv", b"\0")
        archive.writestr("my swatches/.DS_Store", b"\0")
    assert read_exchange(tmp_path / "in.zip").shelf == stocked.shelf()


def test_the_starter_is_in_the_documented_form_and_can_be_installed(library):
    shelf = starter_shelf()
    assert len(shelf.paints) > 5
    assert len(shelf.swatches) > 50
    install_starter(library)
    assert library.shelf() == shelf
    assert library.undo() == "imported swatches"
    assert library.count(Swatch) == 0


# --- repairs, and what else goes along -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_a_removed_repair_comes_back_identical(library, tmp_path, name):
    photo = library.photos.add(plain_photo(1), "table.jpg")
    document = '{"steps": [1, 2.5e-7, "\\u00e9"],   "note": "é \u2028 \U0001f600"}'
    number = library.save_repair(SavedRepair("side table", document, 2, (photo,)))
    saved = library.repair(number)
    export_exchange(library, tmp_path / name, repairs=True, photos=True)
    library.remove_repair(number)
    assert photo not in library.photos
    assert import_exchange(library, tmp_path / name).counts()["repairs"]["new"] == 1
    (back,) = library.repairs()
    assert back.record == saved
    assert library.photos.path(photo).read_bytes() == plain_photo(1)


def test_a_repair_that_went_on_is_a_conflict(library, tmp_path):
    number = library.save_repair(SavedRepair("table", '{"step": 1}'))
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    library.save_repair(SavedRepair("side table", '{"step": 2}'), number)
    for policy, documents in (
        (Conflicts.MINE, ['{"step": 2}']),
        (Conflicts.THEIRS, ['{"step": 1}']),
        (Conflicts.BOTH, ['{"step": 2}', '{"step": 1}']),
    ):
        plan = import_exchange(library, tmp_path / "out", conflicts=policy)
        assert plan.counts()["repairs"]["conflict"] == 1
        assert [repair.document for repair in library.everything()[1]] == documents
        if policy is not Conflicts.MINE:
            library.undo()
    assert [repair.document for repair in library.everything()[1]] == ['{"step": 2}']


def test_grounds_chips_cards_and_tins_go_along(library, tmp_path):
    tin = library.photos.add(plain_photo(2), "tin.jpg")
    card = OwnCard("the big one", CardKind.THREE_STEP, "0.89/0.18/0.035")
    records = [Paint("Umber", photo=tin), Ground("door", Lab(60, 8, 24)), ShopChip("offcut", Lab(61, 9, 25)), card]
    library.add_all(records, "all")
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    names = {path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.*")}
    assert {"grounds.csv", "chips.csv", "cards.csv", f"photos/{tin}.jpg"} <= names
    other = Library.open(tmp_path / "other")
    import_exchange(other, tmp_path / "out")
    assert other.everything() == library.everything()
    assert other.photos.path(tin).read_bytes() == plain_photo(2)


def test_folders_of_older_programs_lack_the_newer_sheets_and_columns(library, tmp_path):
    source = _folder(tmp_path / "in", paints="name\nUmber\n", swatches=f"{SWATCH_HEAD}\n{SWATCH_ROW}\n")
    exchange = read_exchange(source)
    assert (exchange.records[Ground], exchange.repairs, exchange.shelf.paints[0].photo) == ((), (), "")
    assert (exchange.shelf.swatches[0].measured, exchange.shelf.swatches[0].region) == ("", ())


def test_names_that_differ_only_in_capitals_and_spaces_are_a_conflict_and_bring_their_swatches(
    library, swatch, tmp_path
):
    library.add_all([Paint("Umber", maker="mine"), swatch], "set up")
    swatches = f"{SWATCH_HEAD}\n{SWATCH_ROW}\n{SWATCH_ROW}\n{SWATCH_ROW.replace('1,3', '1,7')}\n"
    source = _folder(
        tmp_path / "in", paints="name,maker\nUM BER,theirs\n", swatches=swatches.replace("\nUmber", "\nUM BER")
    )
    for policy in Conflicts:
        plan = import_exchange(library, source, conflicts=policy)
        assert plan.counts()["paints"]["conflict"] == 1
        assert (plan.counts()["swatches"]["same"], plan.counts()["swatches"]["new"]) == (1, 2)
        assert [flag.code for flag in plan.flags] == ["manifest-missing", "repeated", "alike"]
        assert library.shelf().paints == (Paint("Umber", maker="theirs" if policy is Conflicts.THEIRS else "mine"),)
        assert [(one.paint, one.water_parts) for one in library.shelf().swatches] == [
            ("Umber", 3), ("Umber", 3), ("Umber", 7),
        ]  # fmt: skip
        library.undo()


def test_two_alike_names_of_an_older_library_stay_two(library, tmp_path):
    with library.step("an older library") as step:
        for name in ("Umber", "umber"):
            step.add(Paint(name), even_if_alike=True)
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    other = Library.open(tmp_path / "other")
    import_exchange(other, tmp_path / "out")
    assert other.shelf() == library.shelf()


def test_progress_is_told_from_the_first_photo_to_the_last(stocked, swatch, tmp_path):
    for n in range(3):
        stocked.add(replace(swatch, photo=stocked.photos.add(plain_photo(n), "x.jpg")))
    seen = []

    def note(words, done, count):
        seen.append((words, done, count))

    export_exchange(stocked, tmp_path / "out.zip", note, repairs=True, photos=True)
    import_exchange(Library.open(tmp_path / "other"), tmp_path / "out.zip", progress=note)
    for words, count in (("Cleaning photos", 3), ("Checking files", 6), ("Importing photos", 3)):
        assert [one for one in seen if one[0] == words] == [(words, n, count) for n in range(count + 1)]


def test_an_import_that_fails_leaves_no_photo_behind(stocked, swatch, tmp_path, monkeypatch):
    for n in range(3):
        stocked.add(replace(swatch, photo=stocked.photos.add(plain_photo(n), "x.jpg")))
    export_exchange(stocked, tmp_path / "out", repairs=True, photos=True)
    other = Library.open(tmp_path / "other")
    own = other.photos.add(plain_photo(1), "x.jpg")

    def stop(words, done, count):
        if (words, done) == ("Importing photos", 2):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        import_exchange(other, tmp_path / "out", progress=stop)
    assert [path.name for path in other.photos.folder.iterdir()] == [own + ".jpg"]
    monkeypatch.setattr("colormatch.library.merge._apply", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        import_exchange(other, tmp_path / "out")
    assert [path.name for path in other.photos.folder.iterdir()] == [own + ".jpg"]
    assert other.count(Paint) == 0
