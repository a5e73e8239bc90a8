"""All of a library as one file: within the limits of its reader, complete, read back, and the same when it is back."""

import json
import shutil
import subprocess
import sys
import zipfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from colormatch.errors import BadInput, LibraryTooNew, LibraryUnwritable
from colormatch.library import Library, backup, database, limits, saved
from colormatch.library.rescue import restore
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import Paint, Swatch

from .plain_photos import plain_photo
from .strategies import libraries

FROZEN = sorted((Path(__file__).parent / "frozen").glob("schema*.sqlite3"))


@pytest.fixture
def pictured(stocked, swatch):
    """The same with a swatch from each of three photos."""
    for number in range(3):
        stocked.add(replace(swatch, photo=stocked.photos.add(plain_photo(number), "x.png")))
    return stocked


_TABLES = (
    *("paint", "swatch", "clear_coat", "ground", "chip", "card", "repair"),
    *("step", "change", "photo", "sqlite_sequence"),
)


def _rows(library):
    with closing(database.connect(library.database)) as connection:
        return {
            table: [tuple(row) for row in connection.execute(f"SELECT * FROM {table} ORDER BY 1")] for table in _TABLES
        }


@given(content=libraries())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])  # a busy machine is not a fault
def test_saved_then_restored_is_the_same_row_by_row(tmp_path_factory, content):
    folder = tmp_path_factory.mktemp("saved")
    library = Library.open(folder / "library")
    records, repairs = content
    with library.step("all") as step:
        for record in records:
            step.add(record)
        for repair in repairs:
            step.add_repair(repair)
    assert save_archive(library, folder / "all.zip").flags == ()
    restore(folder / "other", folder / "all.zip")
    assert _rows(Library.open(folder / "other")) == _rows(library)


def test_settings_photos_and_numbers_come_along(pictured, tmp_path):
    kept = {"card-size": "10 x 15 cm", "draft-patch": json.dumps({"photo": "", "words": {"ratio": "1:3"}})}
    for key, text in kept.items():
        pictured.set_setting(key, text)
    last = pictured.all(Swatch)[-1].id
    pictured.remove(Swatch, last)
    save_archive(pictured, tmp_path / "all.zip")
    assert restore(tmp_path / "other", tmp_path / "all.zip").flags == ()
    other = Library.open(tmp_path / "other")
    assert {key: other.setting(key) for key in kept} == kept
    assert _rows(other) == _rows(pictured)
    assert sorted(path.name for path in other.photos.all().values()) == sorted(
        path.name for path in pictured.photos.all().values()
    )
    assert other.add(other.all(Swatch)[0].record) > last  # a number is not given twice: undo goes by it
    assert verify(other).problems == ()


@pytest.mark.parametrize("path", FROZEN, ids=lambda path: path.stem)
def test_a_file_of_an_earlier_version_comes_back_with_all_that_is_in_it(path, tmp_path):
    (tmp_path / "as it was").mkdir()
    shutil.copyfile(path, tmp_path / "as it was" / "library.sqlite3")
    was = Library.open(tmp_path / "as it was")
    assert restore(tmp_path / "new", path).flags == ()
    other = Library.open(tmp_path / "new")
    assert _rows(other) == _rows(was)
    assert other.undo() == "added the paint Ochre"


def test_a_file_of_a_later_version_is_left_alone(stocked, tmp_path):
    shutil.copyfile(stocked.database, tmp_path / "later.sqlite3")
    with closing(database.connect(tmp_path / "later.sqlite3")) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(LibraryTooNew):
        restore(stocked.folder, tmp_path / "later.sqlite3")


def test_fits_stay_those_that_this_library_has_computed(stocked, tmp_path):
    stocked.remember({"key": b"theirs"})
    save_archive(stocked, tmp_path / "all.zip")
    stocked.remember({"key": b"mine"})
    restore(stocked.folder, tmp_path / "all.zip")
    assert stocked.remembered("key") == b"mine"
    restore(tmp_path / "new", tmp_path / "all.zip")
    assert Library.open(tmp_path / "new").remembered("key") is None


# --- complete --------------------------------------------------------------------------------------------------------


def test_a_photo_that_comes_or_goes_meanwhile_is_in_it(pictured, swatch, tmp_path, monkeypatch):
    copy_database, numbers = backup.copy_database, [one.id for one in pictured.all(Swatch)]

    def busy(source, target):
        pictured.add(replace(swatch, photo=pictured.photos.add(plain_photo(9), "x.png")))
        copy_database(source, target)
        pictured.remove(Swatch, numbers[-1])

    monkeypatch.setattr(backup, "copy_database", busy)
    outcome = save_archive(pictured, tmp_path / "all.zip")
    assert (outcome.photos, outcome.flags) == (4, ())
    monkeypatch.undo()
    assert restore(tmp_path / "other", tmp_path / "all.zip").flags == ()
    assert verify(Library.open(tmp_path / "other")).photos == 4


def test_what_is_left_out_is_told(pictured, tmp_path):
    first, second, _ = pictured.photos.all().values()
    first.unlink()
    second.write_bytes(b"spoiled")
    outcome = save_archive(pictured, tmp_path / "all.zip")
    assert outcome.photos == 1
    assert [flag.code for flag in outcome.flags] == ["photo-missing", "photo-damaged"]
    (flag,) = restore(tmp_path / "other", tmp_path / "all.zip").flags
    assert (flag.code, flag.value) == ("photos-lost", 2)


def test_a_photo_that_is_no_picture_is_told_when_it_is_restored_and_stays_in_the_file(stocked, swatch, tmp_path):
    stocked.add(replace(swatch, photo=stocked.photos.add(b"#!/bin/sh", "x.sh")))
    save_archive(stocked, tmp_path / "all.zip")
    flags = restore(tmp_path / "other", tmp_path / "all.zip").flags
    assert [flag.code for flag in flags] == ["photos-left-out", "photos-lost"]
    assert list((tmp_path / "other" / "photos").iterdir()) == []


# --- limits ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "value", "match"),
    [
        ("MAX_FILES", 3, "at most 3 files"),
        ("MAX_PHOTO_BYTES", 100, "The photo .* would take"),
        ("MAX_PHOTOS_BYTES", 400, "All photos together would take"),
        ("MAX_DATABASE_BYTES", 1000, "The database would take"),
    ],
)
def test_what_could_not_be_restored_is_refused_before_anything_is_written(
    pictured, tmp_path, monkeypatch, limit, value, match
):
    monkeypatch.setattr(limits, limit, value)
    monkeypatch.setattr(saved, "written_whole", None)  # nothing gets as far as this
    with pytest.raises(LibraryUnwritable, match=match):
        save_archive(pictured, tmp_path / "all.zip")


def test_exactly_as_much_as_can_be_restored_is_saved(pictured, tmp_path, monkeypatch):
    sizes = [path.stat().st_size for path in pictured.photos.all().values()]
    monkeypatch.setattr(limits, "MAX_FILES", 4)
    monkeypatch.setattr(limits, "MAX_PHOTO_BYTES", max(sizes))
    monkeypatch.setattr(limits, "MAX_PHOTOS_BYTES", sum(sizes))
    monkeypatch.setattr(limits, "MAX_DATABASE_BYTES", pictured.database.stat().st_size)
    save_archive(pictured, tmp_path / "all.zip")
    assert restore(tmp_path / "other", tmp_path / "all.zip").flags == ()


def test_a_disk_without_room_is_told_first_and_nothing_is_left(pictured, tmp_path, monkeypatch):
    save_archive(pictured, tmp_path / "all.zip")
    monkeypatch.setattr(limits, "SPARE_BYTES", 2**60)
    with pytest.raises(LibraryUnwritable, match=r"it needs .* are free"):
        save_archive(pictured, tmp_path / "more.zip")
    with pytest.raises(LibraryUnwritable, match=r"needs .* free"):
        restore(tmp_path / "other", tmp_path / "all.zip")
    assert {path.name for path in tmp_path.iterdir()} == {"library", "all.zip", "other"}
    assert list((tmp_path / "other").rglob("*")) == []


def test_a_file_beyond_four_gigabytes_or_65535_files_is_written_and_read(pictured, tmp_path, monkeypatch):
    """The same forms (ZIP64, APPNOTE 4.3.14), with the bounds at which Python takes to them brought down."""
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 300)
    monkeypatch.setattr(zipfile, "ZIP_FILECOUNT_LIMIT", 2)
    save_archive(pictured, tmp_path / "all.zip")
    assert b"PK\x06\x06" in (tmp_path / "all.zip").read_bytes()
    restore(tmp_path / "other", tmp_path / "all.zip")
    assert _rows(Library.open(tmp_path / "other")) == _rows(pictured)


@pytest.mark.skipif(sys.platform != "linux", reason="the limit on memory is Linux's")
def test_a_library_larger_than_the_memory_is_saved_and_restored(stocked, swatch, tmp_path):
    """In a process that may take 96 MB beyond what it holds; the photos are 200 MB."""
    for number in range(10):
        padded = plain_photo(number) + bytes(20 * 2**20)
        stocked.add(replace(swatch, photo=stocked.photos.add(padded, "x.png")))
    code = f"""
import resource
from pathlib import Path
import colormatch.image.formats, PIL.JpegImagePlugin
from colormatch.library import Library
from colormatch.library.rescue import restore
from colormatch.library.saved import save_archive
library = Library.open(Path({str(stocked.folder)!r}))
held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (held + 96 * 2**20, held + 96 * 2**20))
target = Path({str(tmp_path / "all.zip")!r})
print(save_archive(library, target).flags, restore(Path({str(tmp_path / "other")!r}), target).flags)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=120)
    assert (done.returncode, done.stdout) == (0, "() ()\n"), done.stderr
    assert verify(Library.open(tmp_path / "other")).photos == 10


# --- read back -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["photo", "database", "list", "end"])
def test_a_file_that_the_disk_spoils_is_no_backup(pictured, tmp_path, monkeypatch, where):
    def spoil(path):
        content = bytearray(path.read_bytes())
        place = {"photo": content.find(b"IDAT") + 200, "database": 200, "list": content.rfind(b"PK\1\2") + 46 + 10}
        if where == "end":
            del content[-30:]
        else:
            content[place[where]] ^= 1
        path.write_bytes(content)

    monkeypatch.setattr(saved, "settle", spoil)
    with pytest.raises(LibraryUnwritable, match=r"backup to .* failed: it was written, but reading it back failed"):
        save_archive(pictured, tmp_path / "all.zip")
    assert [path.name for path in tmp_path.iterdir()] == ["library"]


def test_nothing_is_overwritten(pictured, tmp_path):
    (tmp_path / "all.zip").write_bytes(b"mine")
    with pytest.raises(BadInput, match="already exists"):
        save_archive(pictured, tmp_path / "all.zip")
    assert (tmp_path / "all.zip").read_bytes() == b"mine"


def test_a_restore_is_taken_back_by_a_restore(pictured, tmp_path):
    save_archive(pictured, tmp_path / "all.zip")
    before = _rows(pictured)
    pictured.remove(Paint, pictured.all(Paint)[0].id)
    restore(pictured.folder, tmp_path / "all.zip")
    assert _rows(pictured) == before
    assert verify(pictured).problems == ()
