"""The store: records come back as they went in, every change can be taken back, bad input is refused whole."""

import threading
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colormatch.errors import BadInput, LibraryDamaged, LibraryError, LibraryTooNew, LibraryUnwritable, PaintError
from colormatch.library import Library, SavedRepair, backup, database, history, schema
from colormatch.library.rows import describe
from colormatch.records import (
    CameraPhoto,
    CardKind,
    ClearCoatPair,
    Development,
    Ground,
    Lab,
    LightKind,
    OwnCard,
    Paint,
    ShopChip,
    SurfaceState,
    Swatch,
)

from .strategies import shelves

OF_EACH_KIND = [
    Paint("Ochre", price=9.5, extra=(("shelf", "left"),)),
    ClearCoatPair("Shellac", Lab(70, 5, 20), Lab(60, 8, 30), on="bare wood"),
    Ground("white card", Lab(95, 0, 1), 0.5, SurfaceState.SEALED),
    ShopChip("offcut", Lab(61.25, 9, 25), 0.3),
    OwnCard("the big one", CardKind.THREE_STEP, "0.89/0.18/0.035"),
    CameraPhoto("phone, 1", "phone", LightKind.BULB, Development.RAW, 0.1, -0.2, "0.2,0.2,0.2,51,0,0"),
]


@pytest.mark.parametrize("record", OF_EACH_KIND, ids=lambda record: type(record).__name__)
def test_each_kind_is_added_read_edited_copied_removed_and_brought_back(library, record):
    number = library.add(record)
    assert library.get(type(record), number) == record
    changed = replace(record, notes="seen again")
    library.edit(number, changed)
    assert library.get(type(record), number) == changed
    copy = library.duplicate(type(record), number)
    assert copy != number
    library.remove(type(record), number)
    assert [stored.id for stored in library.all(type(record))] == [copy]
    assert library.undo().startswith("removed")
    assert library.get(type(record), number) == changed
    library.undo()
    library.undo()
    assert library.get(type(record), number) == record
    library.undo()
    assert library.all(type(record)) == ()
    assert library.undo() is None


@given(shelf=shelves())
@settings(max_examples=40, deadline=None)
def test_a_shelf_comes_back_to_the_last_bit(tmp_path_factory, shelf):
    library = Library.open(tmp_path_factory.mktemp("library"))
    library.add_all([*shelf.paints, *shelf.swatches, *shelf.clear_coats], "all")
    assert library.shelf() == shelf


class Actions:
    """Random changes to a library, with what it should hold after each."""

    @staticmethod
    def do(library, action, place):
        paints = library.all(Paint)
        if action == "add" or not paints:
            library.add(Paint(f"paint {library.stamp()} {place}"))
            return
        chosen = paints[place % len(paints)]
        if action == "swatch":
            library.add(Swatch(chosen.record.name, 1, place, 1, "rail", Lab(70, 5, 20), Lab(50, 9, 25)))
        elif action == "rename":
            library.edit(chosen.id, replace(chosen.record, name=chosen.record.name + "'"))
        else:
            library.remove(Paint, chosen.id)


@given(
    steps=st.lists(st.tuples(st.sampled_from(["add", "swatch", "rename", "remove"]), st.integers(0, 5)), max_size=12)
)
@settings(max_examples=25, deadline=None)
def test_undo_walks_back_through_every_state_and_redo_forth_also_after_a_restart(tmp_path_factory, steps):
    folder = tmp_path_factory.mktemp("library")
    states = [Library.open(folder).shelf()]
    for action, place in steps:
        Actions.do(Library.open(folder), action, place)
        states.append(Library.open(folder).shelf())
    for state in reversed(states[:-1]):
        assert Library.open(folder).undo() is not None
        assert Library.open(folder).shelf() == state
    assert Library.open(folder).undo() is None
    for state in states[1:]:
        assert Library.open(folder).redo() is not None
        assert Library.open(folder).shelf() == state
    assert Library.open(folder).redo() is None


def test_a_new_change_after_an_undo_ends_redo(library):
    library.add(Paint("a"))
    library.undo()
    library.add(Paint("b"))
    assert library.redo() is None
    assert [stored.record.name for stored in library.all(Paint)] == ["b"]


def test_a_renamed_paint_keeps_its_swatches_and_a_removed_one_takes_them_along(stocked):
    number = stocked.all(Paint)[0].id
    stocked.edit(number, Paint("Burnt Umber"))
    assert {s.paint for s in stocked.shelf().swatches} == {"Burnt Umber"}
    stocked.remove(Paint, number)
    assert stocked.count(Swatch) == 0
    stocked.undo()
    assert stocked.count(Swatch) == 2


def test_what_is_refused_changes_nothing(stocked, swatch):
    before, stamp = stocked.shelf(), stocked.stamp()
    with pytest.raises(PaintError, match="no paint named Sienna"):
        stocked.add_all([Paint("New"), replace(swatch, paint="Sienna")], "both")
    with pytest.raises(BadInput, match="already a paint named Umber"):
        stocked.add(Paint(" Umber "))
    for bad in ("a\0b", "x" * 201, "\ud800", "\x1b[31m"):
        with pytest.raises(BadInput):
            stocked.add(Paint(bad))
    with pytest.raises(BadInput, match="not a date"):
        stocked.add(replace(swatch, taken="yesterday"))
    with pytest.raises(BadInput, match="no paint number 99"):
        stocked.remove(Paint, 99)
    with pytest.raises(BadInput, match="coats of a swatch"):
        stocked.add(replace(swatch, coats=10**30))
    assert (stocked.shelf(), stocked.stamp()) == (before, stamp)


def test_names_are_kept_in_one_form(library):
    # One letter or letter and accent: two ways to write the same name (Unicode, NFC and NFD).
    library.add(Paint("  Cafe\u0301 "))
    assert library.shelf().paints[0].name == "Caf\u00e9"
    with pytest.raises(BadInput, match="already"):
        library.add(Paint("Caf\u00e9"))


def test_names_that_differ_only_in_capitals_and_spaces_are_one(library):
    number = library.add(Paint("Burnt Umber"))
    for name in ("burnt umber", "Burnt  Umber", "BurntUmber"):
        with pytest.raises(BadInput, match="You already have the paint Burnt Umber"):
            library.add(Paint(name))
    other = library.add(Paint("Gray 1 1"))
    library.add(Paint("Gray 11"))
    with pytest.raises(BadInput, match="You already have"):
        library.edit(other, Paint("BURNT UMBER"))
    library.edit(number, Paint("burnt umber"))  # its own name may be written in another way
    assert library.all(Paint)[0].record.name == "burnt umber"
    # Two that an older program took in stay two, and each may still be changed.
    with library.step("an older library") as step:
        old = step.add(Paint("Burnt umber"), even_if_alike=True)
    library.edit(old, Paint("Burnt umber", notes="the thick one"))
    library.edit(number, Paint("burnt umber", notes="the thin one"))
    assert library.get(Paint, library.duplicate(Paint, old)).name == "Burnt umber 2"


def test_numbers_of_removed_records_are_never_given_again(library):
    first = library.add(Paint("a"))
    library.remove(Paint, first)
    assert library.add(Paint("b")) > first


def test_the_stamp_tells_states_apart(library):
    seen = [library.stamp()]
    library.add(Paint("a"))
    seen.append(library.stamp())
    library.undo()
    seen.append(library.stamp())
    library.add(Paint("b"))
    seen.append(library.stamp())
    assert len(set(seen)) == 4
    library.set_setting("theme", "gray")
    assert library.stamp() == seen[-1]


def test_the_stamp_tells_states_apart_while_the_clock_was_ahead(library, monkeypatch):
    clock = iter(["2099-01-01T00:00:00.000000+00:00", *(f"2026-11-29T12:00:0{n}.000000+00:00" for n in range(9))])
    monkeypatch.setattr(history, "now", lambda: next(clock))
    seen = [library.stamp()]
    for name in "abc":  # the first of them in 2099
        library.add(Paint(name))
        seen.append(library.stamp())
    library.undo()
    seen.append(library.stamp())
    library.add(Paint("d"))
    assert len({*seen, library.stamp()}) == 6


def test_repairs_settings_and_fits_are_kept(library):
    photo = library.photos.add(b"a photo", "a.jpg")
    number = library.save_repair(SavedRepair("side table", '{"step": 1}', photos=(photo,)))
    library.save_repair(replace(library.repair(number), document='{"step": 2}'), number)
    again = Library.open(library.folder)
    assert again.repair(number).document == '{"step": 2}'
    assert again.repair(number).created <= again.repair(number).changed
    again.remove_repair(number)
    assert photo not in again.photos
    assert again.undo() == "removed the repair side table"
    assert again.photos.path(photo).read_bytes() == b"a photo"
    for document in ("{not json", "[" * 100_000, "[" * 60 + "]" * 60, '"\\u0000"', '{"\\ud800": 1}'):
        with pytest.raises(BadInput):
            again.save_repair(SavedRepair("x", document))
    again.set_setting("open", "3")
    assert (Library.open(library.folder).setting("open"), again.setting("none", "-")) == ("3", "-")
    again.remember({"key": b"\0fit"})
    assert (again.remembered("key"), again.remembered("other")) == (b"\0fit", None)


def test_photos_are_kept_once_follow_their_swatches_and_come_back(stocked, swatch):
    sha = stocked.photos.add(b"a photo", "IMG 1.JPG")
    assert stocked.photos.add(b"a photo", "copy.png") == sha
    assert stocked.photos.path(sha).name == sha + ".jpg"
    first, second = (stocked.add(replace(swatch, photo=sha)) for _ in range(2))
    stocked.remove(Swatch, first)
    assert sha in stocked.photos
    stocked.remove(Swatch, second)
    assert sha not in stocked.photos
    assert [path.name for path in stocked.photos.trash.iterdir()] == [sha + ".jpg"]
    stocked.undo()
    assert stocked.photos.path(sha).read_bytes() == b"a photo"
    with pytest.raises(BadInput, match="has no photo"):
        stocked.photos.path("0" * 64)
    with pytest.raises(BadInput, match="0 bytes"):
        stocked.photos.add(b"")


def test_a_photo_of_the_tin_stays_with_its_paint(library):
    sha = library.photos.add(b"a tin", "tin.jpg")
    number = library.add(Paint("Umber", photo=sha))
    copy = library.duplicate(Paint, number)
    library.remove(Paint, number)
    assert sha in library.photos
    library.edit(copy, Paint("Umber 2"))
    assert sha not in library.photos
    library.undo()
    assert library.photos.path(sha).read_bytes() == b"a tin"


def test_threads_may_share_one_library(library):
    failures = []

    def work(number):
        try:
            for i in range(5):
                library.add(Paint(f"{number}-{i}"))
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failures
    assert library.count(Paint) == 20


# --- open ------------------------------------------------------------------------------------------------------------


def test_a_new_library_is_for_its_owner_only(tmp_path):
    folder = tmp_path / "deep" / "library"
    Library.open(folder)
    assert folder.stat().st_mode & 0o077 == 0


def test_an_idle_library_is_one_file_with_the_promised_settings(library):
    library.add(Paint("a"))
    assert not list(library.folder.glob("library.sqlite3-*"))
    connection = database.connect(library.database)
    pragma = {name: connection.execute(f"PRAGMA {name}").fetchone()[0] for name in (
        "journal_mode", "synchronous", "foreign_keys", "user_version")}  # fmt: skip
    connection.close()
    assert pragma == {"journal_mode": "delete", "synchronous": 3, "foreign_keys": 1, "user_version": 3}


def test_folders_that_are_no_library_are_refused(tmp_path, library):
    exchange = tmp_path / "exchange"
    exchange.mkdir()
    (exchange / "swatches.csv").write_text("paint\n")
    with pytest.raises(LibraryError, match="exchange folder"):
        Library.open(exchange)
    assert not (exchange / "library.sqlite3").exists()
    with pytest.raises(LibraryUnwritable):
        Library.open(exchange / "swatches.csv")
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    connection = database.connect(foreign / "library.sqlite3", create=True)
    connection.execute("CREATE TABLE other (x)")
    connection.close()
    with pytest.raises(LibraryDamaged, match="not a swatch library"):
        Library.open(foreign)


def test_a_library_of_a_later_program_is_left_alone(library):
    connection = database.connect(library.database)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = library.database.read_bytes()
    with pytest.raises(LibraryTooNew, match="later version"):
        Library.open(library.folder)
    assert library.database.read_bytes() == before


def test_an_older_library_is_backed_up_and_brought_up_to_date(stocked, monkeypatch):
    before = stocked.shelf()
    step = ("ALTER TABLE chip ADD COLUMN seen TEXT NOT NULL DEFAULT ''",)
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, step))
    library = Library.open(stocked.folder)
    assert library.shelf() == before
    assert [one.reason for one in backup.backups(library.database)].count("before-update") == 1
    connection = database.connect(library.database)
    assert connection.execute("PRAGMA user_version").fetchone()[0] == len(schema.MIGRATIONS)
    connection.close()


def test_a_migration_that_fails_leaves_the_library_as_it_was(stocked, monkeypatch):
    before = stocked.database.read_bytes()
    bad = ("ALTER TABLE chip ADD COLUMN seen TEXT", "INSERT INTO nowhere VALUES (1)")
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, bad))
    with pytest.raises(LibraryError):
        Library.open(stocked.folder)
    monkeypatch.undo()
    assert stocked.database.read_bytes() == before
    assert Library.open(stocked.folder).shelf() == stocked.shelf()


def test_a_vanished_library_is_not_silently_made_anew(stocked):
    stocked.database.unlink()
    with pytest.raises(LibraryUnwritable):
        stocked.add(Paint("b"))
    assert not stocked.database.exists()
    with pytest.raises(LibraryDamaged, match="backups are there"):
        Library.open(stocked.folder)
    stocked.database.touch()
    with pytest.raises(LibraryDamaged, match="missing or empty"):
        Library.open(stocked.folder)


@pytest.mark.parametrize("below", ["", "library"])
def test_a_file_in_the_folders_place_is_told(tmp_path, below):
    (tmp_path / "photo.jpg").write_text("not a folder")
    with pytest.raises(LibraryError, match="a file has the name of a folder"):
        Library.open(tmp_path / "photo.jpg" / below)
    assert (tmp_path / "photo.jpg").read_text() == "not a folder"


def test_a_record_is_named_in_the_singular_and_the_plural(swatch):
    one, two = (describe(replace(swatch, coats=coats)) for coats in (1, 2))
    assert "1 coat on" in one
    assert "2 coats on" in two
