"""Backups, the way back, and the check of everything."""

import errno
import io
import os
import shutil
import sqlite3
import zipfile
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from colormatch.errors import LibraryDamaged, LibraryError, LibraryTooNew, LibraryUnwritable
from colormatch.library import Library, backup, database
from colormatch.library.rescue import restore
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import Paint, Swatch

from .plain_photos import plain_photo


def _age(library, days):
    """Turn the only backup into one made some days ago."""
    (one,) = backup.backups(library.database)
    made = datetime.now(UTC) - timedelta(days=days)
    one.path.rename(one.path.with_name(f"library-{made:%Y%m%dT%H%M%S.%f}-daily.sqlite3"))


def test_one_backup_a_day_is_made_on_opening(library):
    Library.open(library.folder)
    assert len(backup.backups(library.database)) == 1
    _age(library, 1.1)
    Library.open(library.folder)
    assert [one.reason for one in backup.backups(library.database)] == ["daily", "daily"]
    shutil.rmtree(library.folder / "backups")
    Library.open(library.folder)
    _age(library, -400)  # a clock that was wrong once
    Library.open(library.folder)
    assert len(backup.backups(library.database)) == 2


def test_old_backups_are_thinned_out(library):
    folder = library.folder / "backups"
    start = datetime.now(UTC) - timedelta(days=1)
    for day in range(800):
        (folder / f"library-{start - timedelta(days=day):%Y%m%dT%H%M%S.%f}-daily.sqlite3").touch()
    backup.back_up(library.database, "asked")
    kept = [one.made for one in backup.backups(library.database)]
    assert len(kept) <= backup.KEEP_NEWEST + backup.KEEP_WEEKS + backup.KEEP_MONTHS
    assert kept[0] - kept[backup.KEEP_NEWEST - 1] < timedelta(days=backup.KEEP_NEWEST)
    assert kept[0] - kept[-1] > timedelta(days=300)


def test_a_restore_brings_back_and_keeps_what_was_there(stocked):
    saved = stocked.shelf()
    backup.back_up(stocked.database, "asked")
    stamp = stocked.stamp()
    stocked.remove(Paint, stocked.all(Paint)[0].id)
    lost = stocked.shelf()
    # Opening made a backup of the empty library; the one asked for is newer.
    restore(stocked.folder)
    assert stocked.shelf() == saved
    assert stocked.stamp() != stamp
    (before,) = (one for one in backup.backups(stocked.database) if one.reason == "before-restore")
    restore(stocked.folder, before.path)
    assert stocked.shelf() == lost


def test_a_backup_that_holds_fits_is_not_taken_for_a_zip_file(stocked):
    saved = stocked.shelf()
    fit = io.BytesIO()
    np.savez(fit, theta=np.zeros(13))  # the form in which fits are remembered
    stocked.remember({"key": fit.getvalue()})
    kept = backup.back_up(stocked.database, "asked")
    assert zipfile.is_zipfile(kept)  # Python's own test is misled
    stocked.remove(Paint, stocked.all(Paint)[0].id)
    assert restore(stocked.folder).source == kept
    assert stocked.shelf() == saved
    assert restore(stocked.folder, kept).source == kept


@pytest.mark.parametrize("harm", ["header", "middle", "cut", "gone", "empty", "journal"])
def test_a_damaged_library_is_recognised_and_brought_back(stocked, swatch, harm):
    stocked.add_all([swatch] * 500, "many")
    saved = stocked.shelf()
    backup.back_up(stocked.database, "asked")
    content = bytearray(stocked.database.read_bytes())
    if harm == "header":
        content[:16] = b"no database here"
    elif harm == "middle":
        content[4096:-4096] = b"\xa5" * (len(content) - 8192)
    elif harm == "cut":
        content = content[: len(content) // 2]
    stocked.database.write_bytes(b"" if harm == "empty" else content)
    if harm == "journal":  # a stray journal beside a spoiled file would be rolled back into the restored one
        stocked.database.write_bytes(b"\xa5" * 5000)
        stocked.database.with_name("library.sqlite3-journal").write_bytes(b"\xa5" * 5000)
    if harm == "gone":
        stocked.database.unlink()
        with pytest.raises(LibraryError):
            verify(stocked)
    else:
        assert verify(stocked).problems
    with pytest.raises(LibraryDamaged, match="library restore"):
        Library.open(stocked.folder).all(Swatch)
    restore(stocked.folder)
    assert Library.open(stocked.folder).shelf() == saved
    assert verify(stocked).problems == ()
    if harm not in ("gone",):
        assert list((stocked.folder / "damaged").rglob("library.sqlite3"))


def test_a_damaged_library_makes_no_backup_and_drives_no_good_one_out(stocked, swatch):
    stocked.add_all([swatch] * 500, "many")
    kept = [one.path for one in backup.backups(stocked.database)]
    content = bytearray(stocked.database.read_bytes())
    content[8192:16384] = b"\xa5" * 8192
    stocked.database.write_bytes(content)
    with pytest.raises(LibraryDamaged):
        backup.back_up(stocked.database, "asked")
    assert [one.path for one in backup.backups(stocked.database)] == kept


def test_all_in_one_file_and_back_on_another_machine(stocked, swatch, tmp_path):
    photo = stocked.photos.add(plain_photo(), "x.jpg")
    stocked.add(Swatch(**{**vars(swatch), "photo": photo}))
    save_archive(stocked, tmp_path / "all.zip")
    restore(tmp_path / "new", tmp_path / "all.zip")
    other = Library.open(tmp_path / "new")
    assert other.shelf() == stocked.shelf()
    assert other.photos.path(photo).read_bytes() == plain_photo()
    assert verify(other).problems == ()
    assert other.next_undo() == stocked.next_undo()


def test_a_restore_takes_its_photos_out_of_the_trash(stocked, swatch):
    photo = stocked.photos.add(b"a photo", "x.jpg")
    number = stocked.add(Swatch(**{**vars(swatch), "photo": photo}))
    backup.back_up(stocked.database, "asked")
    stocked.remove(Swatch, number)
    restore(stocked.folder)
    assert verify(stocked).problems == ()
    assert stocked.photos.path(photo).read_bytes() == b"a photo"


def test_what_is_no_backup_is_refused_and_changes_nothing(stocked, tmp_path):
    before = stocked.database.read_bytes()
    (tmp_path / "text.sqlite3").write_text("hello")
    (tmp_path / "empty.sqlite3").touch()
    for name in ("text.sqlite3", "empty.sqlite3", "none.sqlite3"):
        with pytest.raises(LibraryError):
            restore(stocked.folder, tmp_path / name)
    assert stocked.database.read_bytes() == before
    for source, match in ((None, "There is no library in"), (tmp_path / "none.zip", "no backup at")):
        with pytest.raises(LibraryError, match=match):
            restore(tmp_path / "nothing here", source)
        assert not (tmp_path / "nothing here").exists()
    shutil.rmtree(stocked.folder / "backups")
    with pytest.raises(LibraryError, match="no sound backup"):
        restore(stocked.folder)


@pytest.fixture
def two_backups(stocked):
    """The newest backup holds a paint more than the one before."""
    shutil.rmtree(stocked.folder / "backups")
    older = backup.back_up(stocked.database, "asked")
    stocked.add(Paint("Ochre"))
    return stocked, older, backup.back_up(stocked.database, "asked")


@pytest.mark.parametrize("code", ["SQLITE_FULL", "SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY"])
def test_a_disk_that_refuses_neither_hides_a_backup_nor_brings_back_an_older_one(two_backups, monkeypatch, code):
    library, _, newest = two_backups
    whole, before = database.check, library.database.read_bytes()

    def refuse(connection, folder, **options):
        if folder == newest:
            error = sqlite3.OperationalError("refused")
            error.sqlite_errorcode = getattr(sqlite3, code)
            raise error
        whole(connection, folder, **options)

    monkeypatch.setattr(database, "check", refuse)
    with pytest.raises(LibraryUnwritable):
        restore(library.folder)
    assert library.database.read_bytes() == before


def test_a_backup_that_cant_be_copied_for_lack_of_room_is_not_called_missing(two_backups, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(LibraryUnwritable, match="no space left"):
        restore(two_backups[0].folder)


def test_a_backup_of_a_later_version_is_not_passed_over_for_an_older_one(two_backups):
    library, _, newest = two_backups
    with sqlite3.connect(newest) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(LibraryTooNew):
        restore(library.folder)


def test_a_damaged_backup_that_is_passed_over_is_named(two_backups):
    library, older, newest = two_backups
    newest.write_bytes(newest.read_bytes()[:5000])
    taken = restore(library.folder)
    assert (taken.source, taken.passed_over) == (older, (newest,))


def test_a_library_that_another_program_holds_is_not_set_aside_as_damaged(two_backups, monkeypatch):
    library = two_backups[0]
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.1)
    other = sqlite3.connect(library.database, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LibraryUnwritable, match="Another window"):
        restore(library.folder)
    other.close()
    assert not (library.folder / "damaged").exists()


def test_verify_finds_photos_that_are_gone_or_changed(stocked):
    first, second = stocked.photos.add(b"one", "a.jpg"), stocked.photos.add(b"two", "b.jpg")
    (stocked.photos.folder / "stray.jpg").touch()
    found = verify(stocked)
    assert (found.problems, found.records, found.photos, found.spare) == ((), 3, 2, 1)
    stocked.photos.path(first).write_bytes(b"eno")
    stocked.photos.path(second).unlink()
    problems = [str(one) for one in verify(stocked).problems]
    assert any(first in problem and "damaged" in problem for problem in problems)
    assert any(second in problem and "missing" in problem for problem in problems)
    stocked.photos.add(b"one", "a.jpg")  # adding it again mends it
    stocked.photos.add(b"two", "b.jpg")
    assert verify(stocked).problems == ()


# --- clocks and disks that misbehave ---------------------------------------------------------------------------------


def test_a_backup_dated_in_the_future_is_not_taken_for_the_newest_and_makes_no_new_one_each_time(stocked, monkeypatch):
    saved = stocked.shelf()
    _age(stocked, -400)  # the only backup, of the library when it was still empty
    for _ in range(5):
        Library.open(stocked.folder)
    assert [one.reason for one in backup.backups(stocked.database)] == ["daily", "daily"]
    restore(stocked.folder)
    assert stocked.shelf() == saved


def test_a_clock_that_fell_back_to_its_beginning_still_backs_up_and_restores_the_newest(stocked, monkeypatch):
    class Fallen(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime(2000, 1, 1, tzinfo=tz)

    monkeypatch.setattr(backup, "datetime", Fallen)
    stocked.add(Paint("Ochre"))
    saved = stocked.shelf()
    Library.open(stocked.folder)
    assert len(backup.backups(stocked.database)) == 2
    stocked.remove(Paint, stocked.all(Paint)[0].id)
    restore(stocked.folder)
    assert stocked.shelf() == saved


def test_a_clock_that_jumps_ahead_does_not_empty_the_trash_of_what_undo_needs(stocked, swatch):
    photo = stocked.photos.add(b"a photo", "x.jpg")
    number = stocked.add(Swatch(**{**vars(swatch), "photo": photo}))
    stocked.remove(Swatch, number)
    (stocked.photos.trash / ("f" * 64)).write_bytes(b"nobody's")
    for path in stocked.photos.trash.iterdir():
        os.utime(path, (0, 0))  # as old as a clock that jumps years ahead makes it look
    stocked.photos.clear_old()
    assert [path.name for path in stocked.photos.trash.iterdir()] == [photo + ".jpg"]
    stocked.undo()
    assert stocked.photos.path(photo).read_bytes() == b"a photo"


def test_the_newest_of_each_kept_week_and_month_stay_and_no_more(library):
    """By the calendar of Python's datetime: 7 newest, and the newest of each of 5 ISO weeks and of 12 months."""
    folder, made = library.folder / "backups", []
    start = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=1)
    for day in range(500):
        made.append(start - timedelta(days=day))
        (folder / f"library-{made[-1]:%Y%m%dT%H%M%S.%f}-daily.sqlite3").touch()
    for old in backup.backups(library.database):
        if old.made not in made:
            old.path.unlink()  # the one that opening the library made
    backup.back_up(library.database, "asked")
    kept = [one.made for one in backup.backups(library.database)]
    made.insert(0, kept[0])  # the one just asked for
    weeks = list({one.isocalendar()[:2]: one for one in reversed(made)}.values())[::-1]
    months = list({(one.year, one.month): one for one in reversed(made)}.values())[::-1]
    assert set(kept) == {*made[:7], *weeks[:5], *months[:12]}
