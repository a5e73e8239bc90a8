"""An older library that can only be read: the app shows it, says so, and refuses to save in one sentence."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from app.server import files
from colormatch.library import Library
from colormatch.library.saved import save_archive
from colormatch.records import Paint

OLD = Path(__file__).parents[1] / "library" / "frozen" / "schema1.sqlite3"
TOLD = "Saving to"


@pytest.fixture
def locked(tmp_path, monkeypatch) -> Path:
    """Its folder. The system's answer is replaced: tests may be run by root, who may write everywhere."""
    folder, access = tmp_path / "library", os.access
    folder.mkdir()
    shutil.copyfile(OLD, folder / "library.sqlite3")
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(folder))
    monkeypatch.setattr(
        os,
        "access",
        lambda path, mode: access(path, mode) and not (mode == os.W_OK and str(path).startswith(str(folder))),
    )
    return folder


@pytest.fixture
def library(locked) -> Library:
    with pytest.warns(UserWarning, match=TOLD):
        return Library.open(locked)


@pytest.mark.filterwarnings("ignore::colormatch.errors.LibraryReadOnly")
def test_it_is_shown_and_what_would_be_saved_is_refused(library, open_app):
    assert "side table" in " ".join(block.proto.body for block in open_app(page="screens/jobs.py").get("html"))
    app = open_app(page="shelf/swatches.py", view="add-paint")
    assert [one.value.count(TOLD) for one in app.warning] == [1]
    app.text_input(key="paint-name").input("Green")
    app.button(key="keep-paint").click().run()
    assert ["is read-only" in one.value for one in app.error] == [True]
    assert [one.record.name for one in library.all(Paint)] == ["=Umber", "Ochre"]
    assert OLD.read_bytes() == library.database.read_bytes()


@pytest.mark.filterwarnings("ignore::colormatch.errors.LibraryReadOnly")
def test_all_of_it_can_be_saved_elsewhere(library):
    address = files.hand_out("all.zip", lambda target: save_archive(library, target))
    assert files.size_of(address)
    assert sorted(path.name for path in library.folder.iterdir()) == ["library.sqlite3"]


def test_once_the_disk_can_be_written_the_library_itself_is_used(library, monkeypatch):
    monkeypatch.undo()
    opened = Library.open(library.folder)
    assert opened.unwritable == ""
    opened.add(Paint("Green"))
    assert len(Library.open(library.folder).all(Paint)) == 3
