"""Every kind of damage that a library may take, made on a real one: told, with what to do."""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import sqlite3
from dataclasses import replace

import pytest

from colormatch.errors import LibraryError
from colormatch.library import Library, SavedRepair, backup
from colormatch.library.aside import set_aside
from colormatch.library.export import export_exchange
from colormatch.library.rescue import restore
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import CardKind, ClearCoatPair, Ground, Lab, OwnCard, Paint, ShopChip, Swatch
from tests.library.plain_photos import plain_photo

pytestmark = pytest.mark.filterwarnings("ignore::colormatch.errors.RecordLeftOut")


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A library with something of each kind, and a backup of it."""
    library = Library.open(tmp_path_factory.mktemp("whole") / "library")
    photo = library.photos.add(plain_photo(1), "a.png")
    swatch = Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25), photo=photo, taken="2025-03-31")
    library.add_all([Paint("Umber"), Paint("Ochre"), swatch, replace(swatch, coats=1, photo="")], "set up")
    library.add_all(
        [
            Ground("door", Lab(60, 8, 24)),
            ShopChip("offcut", Lab(60, 8, 24)),
            OwnCard("card", CardKind.GRAY),
            ClearCoatPair("clear", Lab(70, 5, 20), Lab(60, 8, 24)),
        ],
        "more",
    )
    for name in ("table", "chair"):
        own = library.photos.add(plain_photo(len(name)), "b.png")
        library.save_repair(SavedRepair(name, json.dumps({"photo": own}), photos=(own,)))
    library.set_setting("draft-patch", "{}")
    backup.back_up(library.database, "asked")
    assert verify(library).problems == ()
    return library


@pytest.fixture
def library(whole, tmp_path):
    shutil.copytree(whole.folder, tmp_path / "library")
    return Library(tmp_path / "library")


def sql(*statements):
    """Damage done by another program that writes to the database."""

    def harm(library):
        with sqlite3.connect(library.database) as connection:
            connection.execute("PRAGMA foreign_keys = OFF")
            connection.execute("PRAGMA ignore_check_constraints = ON")
            for statement in statements:
                connection.execute(statement)
        connection.close()

    return harm


def overwritten(start, stop, content=b"\xa5"):
    def harm(library):
        data = bytearray(library.database.read_bytes())
        data[start:stop] = content * len(data[start:stop])
        library.database.write_bytes(data)

    return harm


def photo_of(library, number=0):
    return sorted(library.photos.folder.iterdir())[number]


def linked(library):
    path = photo_of(library)
    shutil.move(path, library.folder / "elsewhere")
    os.symlink(library.folder / "elsewhere", path)


def backup_cut(library):
    path = backup.backups(library.database)[0].path
    path.write_bytes(path.read_bytes()[:5000])


#: Name, the damage, and what is told.
DAMAGES = {
    "header overwritten": (overwritten(0, 100), "damaged"),
    "pages overwritten": (overwritten(8192, 20000), "damaged"),
    "cut": (lambda library: os.truncate(library.database, 9000), "damaged"),
    "empty": (lambda library: os.truncate(library.database, 0), "empty"),
    "another program's mark": (sql("PRAGMA application_id = 7"), "not a swatch library"),
    "trigger": (
        sql("CREATE TRIGGER spy AFTER INSERT ON paint BEGIN DELETE FROM swatch; END"),
        "trigger 'spy'.*not make",
    ),
    "view": (sql("CREATE VIEW v AS SELECT 1"), "view 'v'"),
    "foreign table": (sql("CREATE TABLE spare (x)"), "table 'spare'"),
    "foreign index": (sql("CREATE INDEX by_maker ON paint (maker)"), "index 'by_maker'"),
    "foreign column": (sql("ALTER TABLE paint ADD COLUMN rating REAL"), "another program: rating"),
    "lost column": (sql("ALTER TABLE swatch DROP COLUMN measured"), "lacks columns: measured"),
    "lost index": (sql("DROP INDEX swatch_by_photo"), "lacks the index"),
    "lost table": (sql("DROP TABLE fit"), "lacks the table 'fit'"),
    "swatch of no paint": (sql("DELETE FROM paint WHERE name = 'Umber'"), "Swatch number 1 is of the paint Umber"),
    "paint without a name": (sql("UPDATE paint SET name = ' ' WHERE id = 2"), "paint number 2.*needs a name"),
    "negative size": (sql("UPDATE paint SET size_ml = -5 WHERE id = 2"), r"paint number 2 \(Ochre\).*size"),
    "text for a number": (sql("UPDATE swatch SET L = 'dark' WHERE id = 1"), "swatch number 1.*never writes"),
    "number beyond": (sql("UPDATE swatch SET L = 900 WHERE id = 1"), "swatch number 1"),
    "bytes for a text": (sql("UPDATE swatch SET notes = x'ff00' WHERE id = 1"), "swatch number 1"),
    "text that is not UTF-8": (sql("UPDATE swatch SET notes = CAST(x'ff41' AS TEXT) WHERE id = 1"), "swatch number 1"),
    "odd date": (sql("UPDATE swatch SET taken = '2025-02-31' WHERE id = 1"), "swatch number 1.*date"),
    "odd word": (sql("UPDATE swatch SET state = 'wet' WHERE id = 1"), "swatch number 1"),
    "cut further columns": (sql("UPDATE swatch SET extra = '[[' WHERE id = 1"), "swatch number 1"),
    "odd corners": (sql("UPDATE swatch SET region = '0,0 5' WHERE id = 1"), "swatch number 1"),
    "ground": (sql("UPDATE ground SET L = -1"), r"ground number 1 \(door\)"),
    "chip": (sql("UPDATE chip SET uncertainty = -1"), "shop chip number 1"),
    "card": (sql("UPDATE card SET kind = 'purple'"), "card number 1"),
    "clear coat": (sql("UPDATE clear_coat SET bare_L = 'x'"), "clear coat number 1"),
    "repair cut": (
        sql("UPDATE repair SET document = substr(document, 1, 20) WHERE id = 1"),
        r"repair number 1 \(table\).*JSON",
    ),
    "repair emptied": (sql("UPDATE repair SET document = '' WHERE id = 1"), "repair number 1"),
    "repair's photos cut": (sql("UPDATE repair SET photos = '[\"ab' WHERE id = 1"), "repair number 1"),
    "repair's date": (sql("UPDATE repair SET changed = 'yesterday' WHERE id = 1"), "repair number 1.*date"),
    "repair's year": (sql("UPDATE repair SET created = '0001-01-01' WHERE id = 1"), "repair number 1.*date"),
    "repair's version": (sql("UPDATE repair SET version = 'x' WHERE id = 1"), "repair number 1"),
    "repair gone": (sql("DELETE FROM repair WHERE id = 1"), r"repair number 1 \(table\).*nobody removed"),
    "swatch gone": (sql("DELETE FROM swatch WHERE id = 2"), "swatch number 2.*nobody removed"),
    "photo gone": (lambda library: photo_of(library).unlink(), "missing, named by"),
    "photo changed": (lambda library: photo_of(library).write_bytes(b"other"), "is damaged, named by"),
    "photo cut": (lambda library: os.truncate(photo_of(library), 50), "is damaged"),
    "photo a link": (linked, "is a link"),
    "photo's row gone": (sql("DELETE FROM photo"), "is used by .*, but its file exists"),
    "photo and its row gone": (
        lambda library: (sql("DELETE FROM photo")(library), shutil.rmtree(library.photos.folder)),
        "is used by .*, but the library does not have it",
    ),
    "swatch of a lost photo": (
        sql(f"UPDATE swatch SET photo = '{'e' * 64}' WHERE id = 2"),
        "eeeeeeeeeeee is used by swatch number 2",
    ),
    "repair of a lost photo": (
        sql(f"UPDATE repair SET photos = '[\"{'e' * 64}\"]' WHERE id = 2"),
        "eeeeeeeeeeee is used by repair number 2",
    ),
    "photo's file led out": (sql("UPDATE photo SET file = '/etc/passwd' WHERE rowid = 1"), "wrong file"),
    "photo's size": (sql("UPDATE photo SET bytes = 1 WHERE rowid = 1"), "different size"),
    "undo cut": (sql("UPDATE change SET document = '{\"na' WHERE id = 1"), "undo step 'set up'"),
    "undo of a foreign table": (sql("UPDATE change SET kind = 'setting' WHERE id = 1"), "undo step"),
    "undo of a foreign column": (sql("UPDATE change SET document = '{\"x\": 1}' WHERE id = 1"), "undo step"),
    "undo without its rows": (sql("DELETE FROM change WHERE step = 1"), "undo step"),
    "undo without its step": (sql("DELETE FROM step WHERE id = 1"), "missing row of step"),
    "undo out of order": (sql("UPDATE step SET undone = 1 WHERE id = 1"), "out of order"),
    "draft cut": (sql("UPDATE setting SET value = '{' WHERE key = 'draft-patch'"), "draft-patch"),
    "numbers given twice": (sql("UPDATE sqlite_sequence SET seq = 0 WHERE name = 'paint'"), "same number twice"),
    "backup cut": (backup_cut, "backup .* is damaged"),
}


def test_there_are_enough_kinds():
    assert len(DAMAGES) >= 22


@pytest.mark.parametrize("name", DAMAGES)
def test_each_damage_is_told_with_what_to_do(library, name):
    harm, match = DAMAGES[name]
    harm(library)
    found = verify(library)
    told = [str(one) for one in found.problems]

    assert any(re.search(match, text) for text in told), told
    assert all(one.what.endswith(".") and one.fix.endswith(".") for one in found.problems)


def test_a_file_that_nothing_names_is_told_and_is_no_problem(library):
    (library.photos.folder / ("f" * 64 + ".jpg")).write_bytes(b"x")
    found = verify(library)
    assert (found.problems, found.spare) == ((), 1)
    assert "ffff" in found.remarks[0]


def test_what_a_person_removed_is_not_called_gone(library):
    library.remove_repair(1)
    library.remove(Swatch, 2)
    assert verify(library).problems == ()
    library.undo()
    library.undo()
    assert verify(library).problems == ()
    paint = library.add(Paint("Sienna"))
    backup.back_up(library.database, "asked")
    library.undo()
    library.add(Paint("Green"))  # the step that had added the other is forgotten
    found = verify(library)
    assert found.problems == ()
    assert f"paint number {paint} (Sienna)" in found.remarks[0]


# --- one bad record spoils nothing else ------------------------------------------------------------------------------

RECORDS = [
    *("negative size", "text for a number", "bytes for a text", "text that is not UTF-8", "odd date", "odd word"),
    *("cut further columns", "odd corners", "ground", "chip", "card", "clear coat", "repair cut", "repair emptied"),
    *("repair's photos cut", "repair's date", "repair's year", "repair's version", "paint without a name"),
]


@pytest.mark.parametrize("name", RECORDS)
def test_one_bad_record_spoils_no_reading_and_no_export_and_can_be_set_aside(library, tmp_path, name):
    DAMAGES[name][0](library)
    for kind in (Paint, Swatch, Ground, ShopChip, OwnCard, ClearCoatPair):
        library.all(kind)
    assert len(library.repairs()) >= 1
    assert library.shelf().paints
    shared = export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    assert [flag.code for flag in shared.flags] == ["record-damaged"]
    assert sum(map(len, shared.records.values())) + len(shared.repairs) == 9
    stamp = library.stamp()
    aside = set_aside(library)
    assert aside.count == 1
    assert aside.kept is not None
    assert json.loads(aside.kept.read_text(encoding="utf-8"))["records"]
    assert library.stamp() != stamp
    assert verify(library).problems == ()
    assert library.spoiled() == ()


def test_a_paint_set_aside_keeps_its_swatches(library):
    sql("UPDATE paint SET size_ml = -5, maker = 'somebody' WHERE name = 'Umber'")(library)
    kept = set_aside(library).kept
    assert len(library.all(Swatch)) == 2
    assert "Umber" in [one.record.name for one in library.all(Paint)]
    assert "somebody" in kept.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["undo cut", "undo of a foreign table", "undo without its rows", "draft cut"])
def test_broken_steps_and_drafts_are_set_aside(library, name):
    DAMAGES[name][0](library)
    assert set_aside(library).count == 1
    assert verify(library).problems == ()


def test_nothing_is_set_aside_of_a_sound_library(library):
    before = library.database.read_bytes()
    assert set_aside(library).count == 0
    assert library.database.read_bytes() == before


def test_a_bad_record_is_told_where_it_is_left_out(library):
    sql("UPDATE swatch SET L = 900 WHERE id = 1")(library)
    from colormatch.errors import RecordLeftOut

    with pytest.warns(RecordLeftOut, match="swatch number 1"):
        library.all(Swatch)
    with pytest.raises(LibraryError, match="set-aside"):
        library.get(Swatch, 1)


@pytest.mark.parametrize("drawn", ["0" * 16, "f" * 16])
def test_what_a_restore_put_away_is_not_called_gone(drawn, library, tmp_path, monkeypatch):
    """Whatever number marks the restore: it is drawn by chance."""
    other = Library.open(tmp_path / "other")
    other.add(Paint("Sienna"))
    save_archive(other, tmp_path / "all.zip")
    monkeypatch.setattr(secrets, "token_hex", lambda _: drawn)
    restore(library.folder, tmp_path / "all.zip")
    assert [one.record.name for one in library.all(Paint)] == ["Sienna"]
    found = verify(library)
    assert (found.problems, [one for one in found.remarks if "is gone" in one]) == ((), [])
    # A backup that is made afterwards counts again.
    backup.back_up(library.database, "asked")
    sql("DELETE FROM paint")(library)
    assert "nobody removed" in str(verify(library).problems[0])
