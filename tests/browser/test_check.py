"""The example walked to its end in a real browser: dried repair, advice, a kept swatch; then a photo marked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from colormatch.library import Library
from colormatch.library.starter import example
from colormatch.records import Swatch
from tests.browser.conftest import mouse_drag, photo_place

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("library")


@pytest.fixture(scope="module")
def address(serve, folder):
    return serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(folder))


def open_example(page):
    page.get_by_role("button", name="Try the example").click()
    page.get_by_text("Everything is marked").wait_for(timeout=60_000)
    page.get_by_role("link", name="Check", exact=True).click()


@pytest.mark.parametrize("touch", [False, True], ids=["mouse", "finger"])
def test_example_to_its_end(visit, address, folder, touch):
    one = visit(address, touch=touch)
    page = one.page
    open_example(page)
    page.get_by_role("button", name="Use the example's photo").click()
    page.get_by_text("What to do now").wait_for(timeout=90_000)
    page.get_by_text("Best: ").wait_for(timeout=90_000)
    assert page.locator("g.repair").count() == len(example().dried_regions) - page.locator("g.sound").count()
    offered = page.get_by_role("button", name="Put the example's paints on my shelf")
    keep = page.get_by_role("button", name="Keep the repair as a swatch")
    offered.or_(keep).wait_for(timeout=90_000)
    if offered.count():
        offered.click()
    keep.wait_for(timeout=90_000)
    before = Library.open(folder).count(Swatch)
    keep.click()
    page.get_by_text("Kept:").wait_for(timeout=90_000)
    assert Library.open(folder).count(Swatch) == before + 1
    page.reload()
    page.get_by_text("Kept:").wait_for(timeout=90_000)
    page.get_by_role("button", name="Remove the swatch").click()
    keep.wait_for(timeout=90_000)
    assert Library.open(folder).count(Swatch) == before
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    assert one.outside() == []


def test_a_photo_is_chosen_and_marked_by_hand(visit, address):
    page = visit(address).page
    open_example(page)
    page.locator("input[type=file]").first.set_input_files(example().dried)
    page.get_by_text("Mark sound wood").wait_for(timeout=60_000)
    sound, repair = example().dried_regions[0], example().dried_regions[-1]
    for word, region, mark in (("Sound wood", sound, "g.sound"), ("Repair", repair, "g.repair")):
        page.get_by_role("button", name=word, exact=True).click()
        (x0, y0), _, (x1, y1), _ = region.points
        mouse_drag(page, photo_place(page, x0, y0), photo_place(page, x1, y1))
        page.locator(mark).wait_for(state="attached")
    page.get_by_text("What to do now").wait_for(timeout=90_000)
    page.get_by_text("too light").first.wait_for()
    # What was marked last is taken back and made again from the keyboard, as on the Photo page.
    for keys, state in (("Control+z", "detached"), ("Control+y", "attached")):
        page.locator("svg.photo").focus()
        page.keyboard.press(keys)
        page.locator("g.repair").wait_for(state=state, timeout=30_000)
    page.get_by_role("button", name="Undo marking the repair").wait_for(timeout=30_000)
