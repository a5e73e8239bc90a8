"""How long a person waits, in Chromium: ``python -m tests.browser.timings [repeats]``.

Prints medians: of the wait, and of the processor time that server and browser together spent in it. On a machine with
other work the wait grows, the processor time hardly does; the load is printed below.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from PIL import Image

from colormatch.library.starter import example
from tests.browser.conftest import MAIN, Program, Visit, mouse_drag, open_chromium, photo_place

#: Goals, seconds.
PAINT, ACT, UPLOAD = 1.5, 0.5, 2.0
#: Sides of a 12-megapixel photo.
LARGE = (4000, 3000)


class Wait(NamedTuple):
    """What it took, seconds."""

    wall: float
    processor: float


def waited(act: Callable[[], object], seen: Callable[[], object]) -> Wait:
    """From an act until something is to be seen."""
    started, busy = time.perf_counter(), processor_seconds()
    act()
    seen()
    return Wait(time.perf_counter() - started, processor_seconds() - busy)


def processor_seconds() -> float:
    """Processor time of all that this process has started and that still runs: server and browser (Linux)."""
    parents: dict[int, int] = {}
    ticks: dict[int, int] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:  # it has ended meanwhile
            continue
        parents[int(folder.name)], ticks[int(folder.name)] = int(fields[1]), int(fields[11]) + int(fields[12])
    ours = {os.getpid()}
    while new := {pid for pid, parent in parents.items() if parent in ours} - ours:
        ours |= new
    return sum(ticks[pid] for pid in ours - {os.getpid()}) / os.sysconf("SC_CLK_TCK")


def large_photo(folder: Path) -> Path:
    """The example's photo at 12 megapixels, with the sensor noise of a phone, as JPEG."""
    rng = np.random.default_rng(1)
    with Image.open(example().photo) as small:
        encoded_rgb = np.asarray(small.convert("RGB").resize(LARGE, Image.Resampling.LANCZOS), dtype=np.float32)
    noisy = encoded_rgb + rng.normal(0, 3, encoded_rgb.shape).astype(np.float32)
    path = folder / "large.jpg"
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path, quality=92)
    return path


def paint(browser: object, address: str) -> Wait:
    """First contentful paint of a new visitor, with an empty cache."""
    visit = Visit(browser, address)
    busy = processor_seconds()
    visit.page.goto(address)
    visit.page.get_by_role("button", name="Try the example").wait_for()
    busy = processor_seconds() - busy
    entry = "performance.getEntriesByName('first-contentful-paint')[0]"
    first = float(visit.page.evaluate(f"{entry} ? {entry}.startTime : -1")) / 1000
    visit.context.close()
    return Wait(first, busy)


def usable(browser: object, address: str) -> Wait:
    """Until the start page can be used."""
    visit = Visit(browser, address)
    took = waited(lambda: visit.page.goto(address), visit.page.get_by_role("button", name="Try the example").wait_for)
    visit.context.close()
    return took


def upload(browser: object, address: str, photo: Path) -> Wait:
    """From choosing a photo until its card is outlined."""
    visit = Visit(browser, address)
    visit.page.goto(address)
    chooser = visit.page.locator("input[type=file]")
    chooser.wait_for(state="attached")
    took = waited(
        lambda: chooser.set_input_files(photo), lambda: visit.page.locator("g.card").wait_for(state="attached")
    )
    visit.context.close()
    return took


def work(browser: object, address: str, repeats: int) -> dict[str, list[Wait]]:
    """Page switches and edits on the example."""
    visit = Visit(browser, address)
    page = visit.page
    page.goto(address)
    page.get_by_role("button", name="Try the example").click()
    page.get_by_text("Everything is marked").wait_for(timeout=60_000)
    links = page.locator(".st-key-steps")

    def open_page(name: str, words: str) -> Wait:
        seen = page.get_by_text(words).first
        return waited(links.get_by_role("link", name=name).click, lambda: seen.wait_for(timeout=60_000))

    took: dict[str, list[Wait]] = {"first Match": [open_page("Match", "Where the colors lie")]}
    for _ in range(repeats):
        for name, words in (
            ("Mix", "Into the cup"),
            ("Photo", "What would make it more reliable"),
            ("Match", "Where the col"),
        ):
            took.setdefault(f"to {name}", []).append(open_page(name, words))
    for coats in (1, 2, 4):  # each once: what was tried before is remembered
        before = "|".join(page.locator(".row").all_inner_texts())
        wanted = page.get_by_role("radiogroup", name="Most coats").get_by_text(str(coats), exact=True)
        took.setdefault("most coats to new ranking", []).append(
            waited(wanted.click, lambda before=before: _changed(page, before))
        )
    for rank in (2, 1) * repeats:
        button = page.get_by_role("radiogroup", name="Wash to look at").get_by_text(str(rank), exact=True)
        before = page.locator(".figures img").last.get_attribute("src")
        took.setdefault("another wash to its picture", []).append(
            waited(button.click, lambda before=before: _another_picture(page, before))
        )
    open_page("Photo", "What would make it more reliable")
    page.get_by_role("button", name="Sound wood", exact=True).click()
    for place in range(repeats):
        start = photo_place(page, 0.5 + 0.06 * (place % 4), 0.12 + 0.08 * (place // 4))
        end = start[0] + 25, start[1] + 25
        words = page.get_by_text(f"Sound wood, {5 + place} patches")
        took.setdefault("a drawn patch to its words", []).append(
            waited(lambda s=start, e=end: mouse_drag(page, s, e), words.wait_for)
        )
        page.keyboard.press("Escape")
    visit.context.close()
    return took


def _changed(page: object, before: str) -> None:
    page.wait_for_function(  # type: ignore[attr-defined]
        "before => { const rows = [...document.querySelectorAll('.row')].map(row => row.innerText).join('|');"
        " return rows && rows !== before }",
        arg=before,
        timeout=60_000,
    )


def _another_picture(page: object, before: str) -> None:
    page.wait_for_function(  # type: ignore[attr-defined]
        "before => { const all = document.querySelectorAll('.figures img'), last = all[all.length - 1];"
        " return last && last.getAttribute('src') !== before && last.complete }",
        arg=before,
        timeout=60_000,
    )


def told(name: str, waits: list[Wait], goal: float) -> None:
    """One line of the table."""
    wall, processor = (statistics.median(values) for values in zip(*waits, strict=True))
    missed = "" if wall <= goal else "   MISSED"
    worst = max(wait.wall for wait in waits)
    print(f"{name:32} {wall:5.2f} s  goal {goal:.1f}  worst {worst:5.2f}  processor {processor:5.2f} s{missed}")


def main(repeats: int) -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name, open_chromium() as browser:
        folder = Path(name)
        photo = large_photo(folder)
        program = Program(folder / "log", MAIN, COLORMATCH_LIBRARY=str(folder / "library"))
        try:
            told("first paint, server just up", [paint(browser, program.address)], PAINT)
            told("first paint", [paint(browser, program.address) for _ in range(repeats)], PAINT)
            told("start page usable", [usable(browser, program.address) for _ in range(repeats)], PAINT)
            for what, values in work(browser, program.address, repeats).items():
                told(what, values, ACT if what != "first Match" else 2.0)
            uploads = []
            for turn in range(repeats):
                other = folder / f"large{turn}.jpg"
                other.write_bytes(photo.read_bytes() + bytes([turn]))  # another photo to whatever remembers photos
                uploads.append(upload(browser, program.address, other))
            told("12 megapixels to the marked card", uploads, UPLOAD)
        finally:
            program.kill()
    print(f"load of the last minute {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
