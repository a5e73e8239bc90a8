"""The shelf in a real browser: a paint, a swatch of it from a photo, its grid, and all of it undone."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from PIL import Image

from tests.browser.conftest import mouse_drag, photo_place

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
DEMO = json.loads((ROOT / "swatches" / "demo.json").read_text(encoding="utf-8"))
PHOTO = ROOT / "swatches" / DEMO["photo"]
with Image.open(PHOTO) as _photo:
    WIDTH, HEIGHT = _photo.size
BOTH = pytest.mark.parametrize("touch", [False, True], ids=["mouse", "finger"])


@pytest.fixture
def address(serve, tmp_path):
    return serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(tmp_path / "library"))


def corners(page, box):
    x, y, w, h = box
    return photo_place(page, x / WIDTH, y / HEIGHT), photo_place(page, (x + w) / WIDTH, (y + h) / HEIGHT)


def button(page, name):
    return page.get_by_role("button", name=name, exact=True)


def fits(page):
    """Nothing makes the page scroll sideways."""
    return page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def holds(page, key, text):
    """Wait until a field shows a text: a page that has just been loaded fills its fields last."""
    page.wait_for_function(
        "([key, text]) => document.querySelector(`.st-key-${key} input`)?.value === text", arg=[key, text]
    )


def choose_or_type(page, key, text):
    """Type a new name into a box that also offers known ones."""
    box = page.locator(f".st-key-{key} input")
    box.click()
    box.fill(text)
    box.press("Enter")


@BOTH
def test_a_paint_its_swatch_its_grid_and_undo(visit, finger, address, touch):
    one = visit(f"{address}/swatches", touch=touch)
    page = one.page
    drag = finger(one).drag if touch else lambda start, end: mouse_drag(page, start, end)
    page.get_by_text("Your shelf is empty").wait_for(timeout=30_000)
    button(page, "Add a paint").click()
    page.get_by_label("Name on the tin").fill("Deep Brown")
    button(page, "Keep the paint").click()
    page.get_by_role("heading", name="It needs a swatch").wait_for()
    assert fits(page)

    button(page, "Swatch from a photo").click()
    page.get_by_text("Let the wash dry").wait_for()
    page.locator("input[type=file]").set_input_files(PHOTO)
    page.locator("g.card").wait_for(timeout=30_000)  # the program finds the card by itself
    page.locator("svg.photo").scroll_into_view_if_needed()
    button(page, "Bare wood").click()
    drag(*corners(page, DEMO["sound"][0]))
    page.locator("g.sound").wait_for(state="attached")
    button(page, "Dried wash").click()
    drag(*corners(page, DEMO["damage"][0]))
    page.locator("g.patch").wait_for(state="attached")
    page.get_by_text("What was painted?").wait_for(timeout=15_000)
    choose_or_type(page, "patch-ground", "door board")
    page.get_by_label("Paint to water").fill("1:7")
    page.get_by_label("Paint to water").press("Tab")
    # A reload in the middle loses nothing.
    page.wait_for_function("() => !document.querySelector('[data-test-script-state=running]')")
    page.reload()
    page.locator("g.patch").wait_for(state="attached", timeout=30_000)
    holds(page, "patch-ratio", "1:7")
    holds(page, "patch-ground", "door board")
    button(page, "Keep the swatch").click()

    page.locator("table.grid").wait_for(timeout=60_000)
    assert page.locator("table.grid b").all_text_contents() == ["measured"]
    row = page.locator("table.grid tr", has=page.locator("b"))
    assert row.locator("th").inner_text() == "1:7"
    page.get_by_text("The best swatch to paint next").wait_for()
    assert fits(page)

    undo = page.locator(".st-key-undo button")
    assert "added the swatch of Deep Brown, 1:7, 1 coat on door board" in undo.inner_text()
    undo.click()
    page.get_by_role("heading", name="It needs a swatch").wait_for()
    page.locator(".st-key-redo button").click()
    page.locator("table.grid").wait_for(timeout=60_000)
    # Undo stays in sight at the end of a long page.
    page.get_by_text("1 swatch", exact=True).scroll_into_view_if_needed()
    assert undo.is_visible()
    place = undo.bounding_box()
    assert 0 <= place["y"] <= page.viewport_size["height"] - place["height"]
    page.go_back()
    page.get_by_text("What was painted?").or_(page.get_by_text("Mark bare wood")).wait_for(timeout=30_000)
    assert one.outside() == []


def test_the_header_leads_out_of_a_view_and_its_address(visit, address):
    page = visit(f"{address}/swatches?view=board").page
    page.get_by_role("heading", name="A board from a photo").wait_for(timeout=60_000)
    button(page, "Swatches").click()
    page.wait_for_url("**/swatches")
    page.reload()
    page.get_by_role("link", name="Swatches").wait_for(timeout=60_000)
    assert "view=" not in page.url
    page.go_back()
    page.get_by_role("heading", name="A board from a photo").wait_for(timeout=60_000)


@BOTH
def test_a_card_of_the_shelf_is_one_large_button(visit, address, touch):
    one = visit(f"{address}/swatches", touch=touch)
    page = one.page
    button(page, "Put the example's paints on the shelf").click()
    page.locator(".st-key-paint-cards .strip").nth(9).wait_for(timeout=30_000)
    assert fits(page)
    page.get_by_label("Search").fill("umber")
    page.get_by_label("Search").press("Enter")
    page.wait_for_function("() => document.querySelectorAll('.st-key-paint-cards .strip').length === 2")
    strip = page.locator(".st-key-paint-cards .strip").first
    place = strip.bounding_box()
    (page.touchscreen.tap if touch else page.mouse.click)(place["x"] + 20, place["y"] + 20)  # on its colors
    page.locator("table.grid").wait_for(timeout=60_000)
    assert re.search(r"view=paint", page.url)
    page.go_back()
    page.locator(".st-key-paint-cards .strip").first.wait_for()
    holds(page, "search", "umber")


def test_a_shelf_goes_out_as_a_file_and_comes_in_elsewhere(visit, address, serve, tmp_path):
    page = visit(f"{address}/swatches").page
    button(page, "Put the example's paints on the shelf").click()
    page.locator(".st-key-paint-cards .strip").first.wait_for(timeout=30_000)
    page.goto(f"{address}/swatches?view=exchange")
    with page.expect_download() as download:
        button(page, "Download the shelf").click()
    file = tmp_path / "swatches.zip"
    download.value.save_as(file)

    other = serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(tmp_path / "other"))
    page = visit(f"{other}/swatches?view=exchange").page
    page.locator("input[type=file]").set_input_files(file)
    page.get_by_text(re.compile("New: 1")).wait_for(timeout=30_000)
    button(page, "Import it").click()
    page.locator(".st-key-paint-cards .strip").nth(9).wait_for(timeout=30_000)
    assert "imported swatches" in page.locator(".st-key-undo button").inner_text()


@BOTH
def test_the_corners_of_a_board_move_one_by_one(visit, finger, address, touch):
    one = visit(f"{address}/swatches?view=board", touch=touch)
    page = one.page
    drag = finger(one).drag if touch else lambda start, end: mouse_drag(page, start, end)
    page.locator("input[type=file]").set_input_files(PHOTO)  # no sheet: a board of one's own
    page.locator("g.card").wait_for(timeout=30_000)
    page.locator("svg.photo").scroll_into_view_if_needed()
    button(page, "Board").click()
    drag(photo_place(page, 0.2, 0.2), photo_place(page, 0.5, 0.6))
    page.locator("g.patch.selected").wait_for(state="attached")
    page.get_by_text("Now enter what was painted").wait_for(timeout=15_000)
    outline = page.locator("g.patch .over")
    before = outline.get_attribute("points")
    drag(photo_place(page, 0.2, 0.2), photo_place(page, 0.25, 0.28))
    page.locator(f"g.patch .over:not([points='{before}'])").wait_for(state="attached")
    moved = [[float(v) for v in corner.split(",")] for corner in outline.get_attribute("points").split(" ")]
    expected = ((0.25, 0.28), (0.5, 0.2), (0.5, 0.6), (0.2, 0.6))
    assert [(x / WIDTH, y / HEIGHT) for x, y in moved] == [pytest.approx(corner, abs=0.02) for corner in expected]
    page.get_by_label("Paints, top to bottom").fill("Ochre, Umber")
    page.get_by_label("Paints, top to bottom").press("Enter")
    page.get_by_text("swatches were read").wait_for(timeout=60_000)
    page.locator(".st-key-board-cells .swatch").first.wait_for()
    assert fits(page)
