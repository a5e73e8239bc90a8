"""Disks that vanish and come back, and disks that are slow: a clear sentence, and nothing lost."""

import threading
import time

import pytest

from colormatch.errors import LibraryUnwritable
from colormatch.library import Library, SavedRepair, backup, database
from colormatch.library.exchange import read_exchange
from colormatch.library.export import export_exchange
from colormatch.library.merge import import_exchange
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import Lab, Paint, Swatch
from tests.library.plain_photos import plain_photo

A_SWATCH = Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25))


@pytest.fixture
def library(tmp_path):
    library = Library.open(tmp_path / "stick" / "library")
    photo = library.photos.add(plain_photo(), "x.jpg")
    library.add_all([Paint("Umber", photo=photo), A_SWATCH], "set up")
    library.save_repair(SavedRepair("table", "{}"))
    return library


def test_a_stick_that_is_pulled_is_told_and_all_is_there_when_it_is_back(library, tmp_path):
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    before, (photo,) = library.everything(), library.photos.all()
    (tmp_path / "stick").rename(tmp_path / "pocket")
    for attempt in (
        lambda: library.all(Paint),
        lambda: library.add(Paint("Ochre")),
        lambda: library.photos.add(b"another"),
        lambda: library.photos.path(photo),
        lambda: library.save_repair(SavedRepair("chair", "{}")),
        library.repairs,
        library.undo,
        library.stamp,
        lambda: library.setting("theme"),
        lambda: backup.back_up(library.database, "asked"),
        lambda: verify(library),
        lambda: export_exchange(library, tmp_path / "new", repairs=True, photos=True),
        lambda: save_archive(library, tmp_path / "new.zip"),
        lambda: import_exchange(library, tmp_path / "out"),
    ):
        with pytest.raises(LibraryUnwritable, match=r"no longer exists\. Reconnect its disk"):
            attempt()
    library.remember({"key": b"fit"})  # only saves time: says nothing
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "pocket"]  # nothing was made anew
    (tmp_path / "pocket").rename(tmp_path / "stick")
    assert library.everything() == before
    assert verify(library).problems == ()


def test_a_photo_that_goes_during_an_export_is_told_and_the_rest_is_whole(library, tmp_path):
    photo = next(iter(library.photos.all().values()))
    content = photo.read_bytes()

    def pull(words, done, count):
        if words == "Cleaning photos":
            photo.unlink(missing_ok=True)

    for name in ("out", "out.zip"):
        photo.write_bytes(content)
        shared = export_exchange(library, tmp_path / name, pull, repairs=True, photos=True)
        assert [flag.code for flag in shared.flags] == ["photo-missing"]
        assert read_exchange(tmp_path / name).photos == {}


def test_whoever_waits_for_a_slow_disk_gets_through(library):
    waited = []

    def hold():
        with database.writing(library.database) as connection:
            connection.execute("INSERT INTO setting VALUES ('slow', 'x')")
            holding.set()
            time.sleep(1.0)  # a disk that takes a second for one write

    holding = threading.Event()
    slow = threading.Thread(target=hold)
    slow.start()
    holding.wait()
    assert len(library.all(Paint)) == 1  # reading goes on meanwhile
    start = time.monotonic()
    library.add(Paint("Ochre"))
    waited.append(time.monotonic() - start)
    slow.join()
    assert waited[0] > 0.5
    assert library.count(Paint) == 2
    assert library.setting("slow") == "x"


def test_whoever_waits_too_long_is_told(library, monkeypatch):
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.05)
    with database.writing(library.database):
        for attempt in (lambda: library.add(Paint("Ochre")), lambda: library.save_repair(SavedRepair("x", "{}"))):
            with pytest.raises(LibraryUnwritable, match=r"Another window.*Wait a moment"):
                attempt()
    library.add(Paint("Ochre"))


def test_a_photo_that_takes_long_to_write_holds_nobody_up(library, monkeypatch):
    """A photo's file is written before the library is locked, so that others add and read meanwhile."""
    slow = threading.Event()
    writing = threading.Event()
    fsync = database.os.fsync

    def lazy(descriptor):
        if threading.current_thread() is not threading.main_thread() and not slow.is_set():
            writing.set()
            slow.wait(10)
        fsync(descriptor)

    monkeypatch.setattr(database.os, "fsync", lazy)
    adding = threading.Thread(target=lambda: library.photos.add(b"large", "x.jpg"))
    adding.start()
    assert writing.wait(10)
    library.add(Paint("Ochre"))
    slow.set()
    adding.join()
    assert len(library.photos.all()) == 2
