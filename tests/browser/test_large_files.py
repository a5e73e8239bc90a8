"""A library of more than 300 MB goes out and comes back through the page, and the program's memory does not grow."""

from __future__ import annotations

import io
import os
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from colormatch.library import Library
from colormatch.records import Paint
from tests.browser.conftest import Program

pytestmark = [pytest.mark.browser, pytest.mark.slow]

#: Downloads, and what the program may grow by over all of them and the way back, MB. It took 1,330 MB before.
DOWNLOADS, MOST = 5, 100


def noise(number: int) -> bytes:
    """A photo of 10.8 MB that doesn't pack: noise, as TIFF."""
    pixels = np.random.default_rng(number).integers(0, 256, (1900, 1900, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "TIFF")
    return out.getvalue()


@pytest.fixture
def library(tmp_path: Path) -> Library:
    library = Library.open(tmp_path / "library")
    for number in range(30):
        library.add(Paint(f"paint {number}", photo=library.photos.add(noise(number), "tin.tif")))
    return library


@pytest.fixture
def program(tmp_path: Path, library: Library) -> Iterator[Program]:
    running = Program(tmp_path / "log", COLORMATCH_LIBRARY=str(library.folder))
    yield running
    running.kill()


def resident_mb(pid: int) -> float:
    """Resident memory of a process."""
    return int(Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split()[0]) / 1024


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_a_large_library_goes_out_and_comes_back_in_little_memory(
    program: Program, library: Library, visit: Callable[..., Any], tmp_path: Path
) -> None:
    page = visit(f"{program.address}/swatches?view=backups").page
    page.get_by_role("button", name="Save everything as one file").wait_for(timeout=60_000)
    before = resident_mb(program.process.pid)
    saved = tmp_path / "saved.zip"
    for _ in range(DOWNLOADS):
        with page.expect_download(timeout=120_000) as download:
            page.get_by_role("button", name="Save everything as one file").click()
        assert re.fullmatch(r"colormatch-library-[\d-]+\.zip", download.value.suggested_filename)
        download.value.save_as(saved)
        download.value.delete()
        assert saved.stat().st_size > 300 * 2**20
    assert list(library.folder.glob(".unfinished-*")) == []
    after_downloads = resident_mb(program.process.pid)

    library.remove(Paint, library.all(Paint)[0].id)
    page.locator("input[type=file]").set_input_files(saved)
    page.get_by_role("button", name="Restore this file").click(timeout=120_000)
    page.get_by_text("30 paints").or_(page.locator(".st-key-paint-cards")).first.wait_for(timeout=120_000)
    after = resident_mb(program.process.pid)
    print(f"\nresident: {before:.0f} MB before, {after_downloads:.0f} MB after {DOWNLOADS} downloads of "
          f"{saved.stat().st_size / 1e6:.0f} MB, {after:.0f} MB after one was taken back", file=sys.stderr)  # fmt: skip
    assert len(library.all(Paint)) == len(library.photos.all()) == 30
    assert list(library.folder.glob(".unfinished-*")) == []
    assert max(after, after_downloads) - before < MOST
    assert os.path.exists(saved)


def test_what_cant_be_taken_is_told_in_the_page(program: Program, visit: Callable[..., Any], tmp_path: Path) -> None:
    page = visit(f"{program.address}/swatches?view=backups").page
    page.locator("input[type=file]").wait_for(timeout=60_000)
    for name, content, words in (
        ("empty.zip", b"", "empty.zip is empty. Choose another file."),
        ("notes.odt", b"notes", "This page doesn't accept notes.odt. Choose a file that ends in .zip, .sqlite3."),
    ):
        (tmp_path / name).write_bytes(content)
        page.locator("input[type=file]").set_input_files(tmp_path / name)
        page.get_by_role("alert").filter(has_text=words).wait_for(timeout=20_000)
    program.kill()
    (tmp_path / "late.zip").write_bytes(b"late")
    page.locator("input[type=file]").set_input_files(tmp_path / "late.zip")
    page.get_by_role("alert").filter(has_text="The program stopped answering during the upload of late.zip").wait_for(
        timeout=20_000
    )
