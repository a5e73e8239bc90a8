"""What goes wrong under a page while somebody marks a photo: nothing that was drawn is lost, and it is told in words.

``COLORMATCH_FAULT_RUNS=50`` kills the program as often; it is killed twice otherwise.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from colormatch.library import Library
from tests.browser.conftest import Program, mouse_drag, photo_place
from tests.browser.test_repair import example

pytestmark = pytest.mark.browser

RUNS = int(os.environ.get("COLORMATCH_FAULT_RUNS", "2"))
#: Patches of sound wood that the example comes with.
GIVEN = 4


def draw(page, number):
    """One more patch of sound wood, at a place of its own; it is in the photo at once, and later in the library."""
    page.get_by_role("button", name="Sound wood", exact=True).click()
    x, y = 0.05 + 0.045 * (number % 20), 0.55 + 0.05 * (number // 20 % 8)
    mouse_drag(page, photo_place(page, x, y), photo_place(page, x + 0.03, y + 0.035))


def told(page, patches):
    """Wait until the page says that it has read so many: what it says is in the library."""
    page.get_by_text(f"Sound wood, {patches} patches").wait_for(timeout=60_000)


def kept(folder: Path) -> int:
    """Patches of sound wood in the library, as another program finds them."""
    document = json.loads(Library(folder).repair(1).document)
    return sum(region["kind"] == "sound" for region in document["regions"])


@pytest.fixture
def start(tmp_path):
    """Start the program on a library, and end it after the test."""
    running: list[Program] = []

    def one(folder: Path) -> Program:
        running.append(Program(tmp_path / f"log-{len(running)}", COLORMATCH_LIBRARY=str(folder)))
        return running[-1]

    yield one
    for program in running:
        program.kill()


def test_kills_at_any_moment_lose_no_mark(visit, start, tmp_path):
    program, chance = start(tmp_path / "library"), random.Random(1)
    page = example(visit, program.address).page
    told(page, GIVEN)
    for number in range(RUNS):
        draw(page, number)
        confirmed = chance.random() < 0.5
        if confirmed:
            told(page, GIVEN + number + 1)
        program.kill()
        assert kept(tmp_path / "library") >= GIVEN + number + confirmed
        program.start()
        told(page, GIVEN + number + 1)
        assert kept(tmp_path / "library") == GIVEN + number + 1


def goes_wrong_and_right(page, folder, sentence, wrong, right):
    """Draw while something is wrong with the library: it is told, and the mark arrives by itself once all is right."""
    told(page, GIVEN)
    wrong()
    draw(page, 0)
    page.get_by_text(sentence).first.wait_for(timeout=60_000)
    right()
    told(page, GIVEN + 1)
    assert kept(folder) == GIVEN + 1


def test_a_stick_that_is_pulled_is_told_and_the_mark_arrives_when_it_is_back(visit, start, tmp_path):
    folder = tmp_path / "stick" / "library"
    page = example(visit, start(folder).address).page
    goes_wrong_and_right(
        page,
        folder,
        "no longer exists",
        lambda: (tmp_path / "stick").rename(tmp_path / "pocket"),
        lambda: (tmp_path / "pocket").rename(tmp_path / "stick"),
    )


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A file system of 24 megabytes; needs root."""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder: Path) -> None:
    """Leave no room at all."""
    with (folder / "other").open("wb", buffering=0) as out, contextlib.suppress(OSError):
        for size in (2**20, 2**12, 1):
            with contextlib.suppress(OSError):
                while True:
                    out.write(b"x" * size)


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="only root can mount a small disk")
def test_a_full_disk_is_told_and_the_mark_arrives_when_there_is_room(visit, start, tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        program = start(disk / "library")
        page = example(visit, program.address).page
        goes_wrong_and_right(page, disk / "library", "is full", lambda: fill(disk), lambda: (disk / "other").unlink())
        program.kill()


def test_two_programs_on_one_library_join_their_marks(visit, start, tmp_path):
    one, other = start(tmp_path / "library"), start(tmp_path / "library")
    here = example(visit, one.address).page
    told(here, GIVEN)
    there = visit(f"{other.address}/?repair=1").page
    told(there, GIVEN)
    draw(here, 0)
    draw(there, 1)
    told(here, GIVEN + 2)
    told(there, GIVEN + 2)
    assert kept(tmp_path / "library") == GIVEN + 2
