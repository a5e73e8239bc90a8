"""The main job in a real browser: a photo, its marks, the ranking, a reload; with a mouse, then with a finger."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from tests.browser.conftest import Program, mouse_drag, photo_place

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
DEMO = json.loads((ROOT / "swatches" / "demo.json").read_text(encoding="utf-8"))
PHOTO = ROOT / "swatches" / DEMO["photo"]
with Image.open(PHOTO) as _photo:
    WIDTH, HEIGHT = _photo.size


@pytest.fixture(scope="module")
def address(serve, tmp_path_factory):
    return serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(tmp_path_factory.mktemp("library")))


def choose_demo(page):
    page.locator("input[type=file]").set_input_files(PHOTO)
    page.locator("svg.photo").wait_for(timeout=30_000)
    page.locator("g.card").wait_for(timeout=30_000)  # the program finds the card by itself


def corners(page, box):
    x, y, w, h = box
    return photo_place(page, x / WIDTH, y / HEIGHT), photo_place(page, (x + w) / WIDTH, (y + h) / HEIGHT)


def see_ranking(page):
    page.get_by_role("link", name="Find the wash").click()
    page.get_by_text("Closest washes").wait_for(timeout=60_000)
    page.get_by_text("Where the colors lie").wait_for(timeout=60_000)
    return page.locator(".row").all_text_contents()


@pytest.mark.parametrize("touch", [False, True], ids=["mouse", "finger"])
def test_mark_match_reload(visit, finger, address, touch):
    from playwright.sync_api import expect

    one = visit(address, touch=touch)
    page = one.page
    drag = finger(one).drag if touch else lambda start, end: mouse_drag(page, start, end)
    choose_demo(page)
    page.locator("svg.photo").scroll_into_view_if_needed()
    page.get_by_role("button", name="Sound wood", exact=True).click()
    for number, box in enumerate(DEMO["sound"], 1):
        drag(*corners(page, box))
        page.locator(f"g.sound >> nth={number - 1}").wait_for(state="attached")
    page.get_by_role("button", name="Damage", exact=True).click()
    drag(*corners(page, DEMO["damage"][0]))
    page.get_by_text("Everything is marked").wait_for(timeout=15_000)

    ranking = see_ranking(page)
    assert len(ranking) >= 3
    assert all("ΔE" in line for line in ranking)

    page.reload()
    page.get_by_text("Where the colors lie").wait_for(timeout=60_000)
    expect(page.locator(".row")).to_have_text(ranking, timeout=30_000)
    page.get_by_role("link", name="Photo").click()
    page.locator("g.damage").wait_for(state="attached")
    expect(page.locator("g.sound")).to_have_count(len(DEMO["sound"]))
    expect(page.locator("g.card")).to_have_count(1)
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    assert one.outside() == []


def test_where_no_card_lies_the_first_drag_marks_sound_wood(visit, address):
    page = visit(address).page
    page.locator("input[type=file]").set_input_files(ROOT / "app" / "guide" / "photo-wide.webp")  # holds no card
    page.get_by_role("heading", name="Mark the card").wait_for(timeout=30_000)
    page.get_by_text("Drag across the card").wait_for()
    page.locator("[class*='st-key-card_kind-']").get_by_role("combobox").click()
    page.get_by_role("option", name="None in the photo").click()
    page.get_by_text("Drag across a patch of sound wood").wait_for(timeout=15_000)
    assert page.get_by_role("button", name="Card", exact=True).count() == 0
    mouse_drag(page, photo_place(page, 0.2, 0.2), photo_place(page, 0.3, 0.3))
    page.locator("g.sound").wait_for(state="attached")
    assert page.locator("g.card").count() == 0


def test_the_card_can_be_dragged(visit, address):
    page = visit(address).page
    choose_demo(page)
    page.get_by_text("Found by the program").wait_for()
    before = page.locator("g.card polygon").first.get_attribute("points")
    x, y, w, h = DEMO["card"]
    middle = photo_place(page, (x + w / 2) / WIDTH, (y + h / 2) / HEIGHT)
    page.mouse.click(*middle)  # chooses it
    mouse_drag(page, middle, (middle[0] + 8, middle[1] + 6))
    page.get_by_text("Marked by you").wait_for()
    moved = page.locator("g.card polygon").first.get_attribute("points")
    assert moved != before
    page.reload()
    page.get_by_text("Marked by you").wait_for()
    assert page.locator("g.card polygon").first.get_attribute("points") == moved


def test_back_and_forward_go_through_the_steps(visit, address):
    page = visit(address).page
    page.get_by_role("button", name="Try the example").click()
    page.get_by_text("Everything is marked").wait_for(timeout=30_000)
    see_ranking(page)
    page.go_back()
    page.get_by_text("Everything is marked").wait_for(timeout=30_000)
    page.go_back()
    page.get_by_role("button", name="Try the example").wait_for()
    page.go_forward()
    page.get_by_text("Everything is marked").wait_for(timeout=30_000)


def test_another_repair_can_be_started_and_the_first_one_taken_up_again(visit, address):
    page = visit(address).page
    page.get_by_role("button", name="Try the example").click()
    page.get_by_text("Everything is marked").wait_for(timeout=30_000)
    first = page.url
    page.get_by_role("button", name="Start another repair").click()
    page.get_by_role("button", name="Try the example").wait_for()
    assert "repair=" not in page.url
    page.get_by_role("button", name=DEMO["title"]).first.click()
    page.get_by_text("Everything is marked").wait_for(timeout=30_000)
    assert page.url == first


def test_a_file_that_is_no_photo_is_told_in_two_sentences(visit, address, tmp_path):
    page = visit(address).page
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"no picture at all")
    page.locator("input[type=file]").set_input_files(broken)
    page.locator("[data-testid=stAlert]").wait_for()
    text = page.locator("[data-testid=stAlert]").inner_text()
    assert "Traceback" not in text
    assert text.count(".") >= 2
    page.get_by_role("button", name="Try the example").wait_for()


@pytest.mark.parametrize("name", ["notes.txt", "film.mp4", "sheet.pdf"])
def test_what_is_no_photo_by_its_name_is_told_in_our_words(visit, address, tmp_path, name):
    page = visit(address, touch=True).page
    other = tmp_path / name
    other.write_bytes(b"no picture at all")
    refused = page.get_by_text("The program doesn't accept this file: it isn't a photo")
    page.get_by_role("button", name="Try the example").wait_for()
    assert not refused.is_visible()
    page.locator("input[type=file]").set_input_files(other)
    refused.wait_for()
    assert "Choose another one: JPEG" in page.locator(".refused").inner_text()
    assert not page.get_by_text("not allowed").is_visible()
    page.locator("input[type=file]").set_input_files(PHOTO)  # and nothing stands in the way of a photo
    page.get_by_text("Mark sound wood").wait_for(timeout=60_000)


def test_a_photo_that_takes_long_says_that_it_is_being_read(visit, address, tmp_path):
    import numpy as np
    from PIL import Image

    page = visit(address, touch=True).page
    large = tmp_path / "large.jpg"
    # Noise in 48 megapixels, progressive: it takes seconds, and words are shown after half a one.
    noise = np.random.default_rng(3).integers(0, 256, (6000, 8000, 3), dtype=np.uint8)
    Image.fromarray(noise).save(large, quality=90, progressive=True)
    page.locator("input[type=file]").set_input_files(large)
    page.get_by_text("Reading the photo").wait_for(timeout=60_000)
    page.get_by_role("heading", name="Mark the card").wait_for(timeout=60_000)
    assert page.get_by_text("Reading the photo").count() == 0


def example(visit, address, touch=False):
    one = visit(address, touch=touch)
    one.page.get_by_role("button", name="Try the example").click()
    one.page.get_by_text("Everything is marked").wait_for(timeout=60_000)
    one.page.locator("g.damage").wait_for(state="attached")
    return one


def draw_sound(page, x, y):
    """A small patch of sound wood; waits until the program holds it."""
    page.locator("svg.photo").scroll_into_view_if_needed()
    page.get_by_role("button", name="Sound wood", exact=True).click()
    patches = page.locator("g.sound").count()
    mouse_drag(page, photo_place(page, x, y), photo_place(page, x + 0.05, y + 0.05))
    page.get_by_text(f"Sound wood, {patches + 1} patches").wait_for(timeout=30_000)


def test_undo_names_what_it_takes_back_and_outlives_a_reload(visit, address):
    page = example(visit, address).page
    draw_sound(page, 0.35, 0.6)
    page.reload()
    page.get_by_role("button", name="Undo marking sound wood").click()
    page.get_by_text("Sound wood, 4 patches").wait_for(timeout=30_000)
    page.get_by_role("button", name="Redo marking sound wood").click()
    page.get_by_text("Sound wood, 5 patches").wait_for(timeout=30_000)


def test_control_z_takes_back_a_whole_nudge(visit, address):
    from playwright.sync_api import expect

    page = example(visit, address).page
    page.locator("svg.photo").focus()
    for label in ("Card", "Sound 1"):
        page.keyboard.press("Tab")
        page.locator("g.selected").get_by_text(label).wait_for(state="attached")
    before = page.locator("g.sound polygon").first.get_attribute("points")
    page.keyboard.down("ArrowRight")
    for _ in range(6):  # the key is held down
        page.keyboard.down("ArrowRight")
    page.keyboard.up("ArrowRight")
    page.get_by_role("button", name="Undo changing a mark of sound wood").wait_for(timeout=30_000)
    assert page.locator("g.sound polygon").first.get_attribute("points") != before
    page.keyboard.press("Control+z")
    page.get_by_role("button", name="Redo changing a mark of sound wood").wait_for(timeout=30_000)
    expect(page.locator("g.sound polygon").first).to_have_attribute("points", before, timeout=15_000)
    expect(page.get_by_role("button", name="Undo")).to_have_count(0)


def test_quick_edits_are_one_mark_that_moved(visit, address):
    page = example(visit, address).page
    page.locator("svg.photo").focus()
    page.keyboard.press("Tab")
    for _ in range(5):  # each is an edit, sent before the one before is answered
        page.keyboard.press("Delete")
        page.keyboard.press("Tab")
    page.get_by_role("heading", name="Mark the card").wait_for(timeout=30_000)
    page.reload()
    page.get_by_role("heading", name="Mark the card").wait_for(timeout=30_000)
    page.locator("svg.photo [data-region]").first.wait_for(state="attached")
    assert page.locator("svg.photo [data-region]").count() == 1  # six were there


def test_two_windows_of_one_repair_lose_no_mark(visit, address):
    here = example(visit, address).page
    there = visit(here.url).page
    there.locator("g.damage").wait_for(state="attached", timeout=30_000)
    draw_sound(here, 0.35, 0.6)
    mouse_drag(there, photo_place(there, 0.6, 0.72), photo_place(there, 0.65, 0.77))  # it may not know of the other yet
    for page in (here, there):
        page.get_by_text("Sound wood, 6 patches").wait_for(timeout=30_000)
        page.locator("g.sound >> nth=5").wait_for(state="attached")
    here.reload()
    here.get_by_text("Sound wood, 6 patches").wait_for(timeout=30_000)


def test_a_mark_that_two_windows_move_follows_the_later_and_it_is_said(visit, address):
    from playwright.sync_api import expect

    here = example(visit, address).page
    late = visit("about:blank").page
    cut = {"on": False}

    def relay(socket):
        server = socket.connect_to_server()
        socket.on_message(lambda message: None if cut["on"] else server.send(message))

    late.route_web_socket("**/_stcore/stream", relay)
    late.goto(here.url)
    late.locator("g.damage").wait_for(state="attached", timeout=60_000)
    patch = late.locator("g.sound polygon").first
    before = patch.get_attribute("points")
    cut["on"] = True  # so that it knows nothing of what the other window does
    for page, key in ((here, "ArrowRight"), (late, "ArrowLeft")):
        page.locator("svg.photo").focus()
        for label in ("Card", "Sound 1"):
            page.keyboard.press("Tab")
            page.locator("g.selected").get_by_text(label).wait_for(state="attached")
        page.keyboard.press(key)
    here.get_by_role("button", name="Undo changing a mark of sound wood").wait_for(timeout=30_000)
    moved = patch.get_attribute("points")
    assert moved != before
    cut["on"] = False
    late.get_by_text("Your later move counts").wait_for(timeout=60_000)
    for page in (late, here):
        marks = page.locator(f'g.sound polygon.over[points="{moved}"]')
        expect(marks).to_have_count(1, timeout=30_000)
        expect(page.locator("g.sound")).to_have_count(4)


def test_every_step_comes_back_after_a_reload(visit, address):
    page = example(visit, address).page
    for link, words in (
        ("Match", "Closest washes"),
        ("Mix", "Into the cup"),
        ("Check", "dried"),
        ("Photo", "Everything is marked"),
    ):
        page.locator(".st-key-steps").get_by_role("link", name=link).click()
        page.get_by_text(words).first.wait_for(timeout=60_000)
        place = page.url
        page.reload()
        page.get_by_text(words).first.wait_for(timeout=60_000)
        assert page.url == place
        page.wait_for_function(
            "title => [...document.querySelectorAll('.st-key-repair input')].some(one => one.value === title)",
            arg=DEMO["title"],
        )


@pytest.fixture
def program(tmp_path):
    one = Program(tmp_path / "log", COLORMATCH_LIBRARY=str(tmp_path / "library"))
    yield one
    one.kill()


def test_what_is_marked_while_the_program_is_dead_arrives_when_it_lives_again(visit, program):
    page = example(visit, program.address).page
    page.get_by_text("What would make it more reliable").wait_for()
    page.wait_for_load_state("networkidle")
    program.kill()
    page.get_by_text("The bench program isn't answering").wait_for(state="visible", timeout=30_000)
    assert page.get_by_role("dialog").filter(visible=True).count() == 0
    assert not page.get_by_text("internet").is_visible()
    mouse_drag(page, photo_place(page, 0.35, 0.6), photo_place(page, 0.4, 0.65))
    page.locator("g.sound >> nth=4").wait_for(state="attached")
    program.start()
    page.get_by_text("The bench program isn't answering").wait_for(state="hidden", timeout=60_000)
    page.get_by_text("Sound wood, 5 patches").wait_for(timeout=60_000)
    page.reload()
    page.get_by_text("Sound wood, 5 patches").wait_for(timeout=60_000)
