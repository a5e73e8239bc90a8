"""The region editor in a real browser: mouse, touch, keyboard, a lost connection."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.browser.conftest import mouse_drag
from tests.browser.conftest import photo_place as at

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def address(serve):
    return serve(Path(__file__).with_name("editor_page.py"))


def received(page):
    return json.loads(page.locator("#received").text_content())


def wait_for(page, count, kind=None):
    page.wait_for_function(
        "([n, kind]) => { const e = document.querySelector('#received'); return e && "
        "JSON.parse(e.textContent).regions.filter(r => !kind || r.kind === kind).length === n }",
        arg=[count, kind],
        timeout=15_000,
    )
    return received(page)["regions"]


def wait_beyond(page, corner, x):
    """Until a corner of the first region lies right of ``x``."""
    page.wait_for_function(
        "([corner, x]) => JSON.parse(document.querySelector('#received').textContent).regions[0].points[corner][0] > x",
        arg=[corner, x],
    )


def box_of(region):
    xs, ys = zip(*region["points"], strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def open_page(visit, address, touch=False):
    one = visit(address, touch=touch)
    one.page.locator("svg.photo").wait_for()
    one.page.locator("#received").wait_for(state="attached")
    return one


def test_mouse_draws_moves_resizes_and_deletes(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").click()
    mouse_drag(page, at(page, 0.2, 0.2), at(page, 0.4, 0.5))
    (region,) = wait_for(page, 1)
    assert region["kind"] == "sound"
    assert box_of(region) == pytest.approx((0.2, 0.2, 0.4, 0.5), abs=0.004)

    mouse_drag(page, at(page, 0.3, 0.3), at(page, 0.4, 0.4))  # drawn last, so it is chosen: this moves it
    page.wait_for_function(
        "() => JSON.parse(document.querySelector('#received').textContent).regions[0].points[0][0] > 0.25"
    )
    assert box_of(received(page)["regions"][0]) == pytest.approx((0.3, 0.3, 0.5, 0.6), abs=0.008)

    mouse_drag(page, at(page, 0.5, 0.6), at(page, 0.7, 0.8))
    page.wait_for_function(
        "() => JSON.parse(document.querySelector('#received').textContent).regions[0].points[2][0] > 0.65"
    )
    assert box_of(received(page)["regions"][0]) == pytest.approx((0.3, 0.3, 0.7, 0.8), abs=0.008)

    page.get_by_role("button", name="Delete").click()
    wait_for(page, 0)


def test_free_shape_and_one_card_only(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Damage").click()
    page.get_by_role("button", name="Free shape").click()
    page.mouse.move(*at(page, 0.5, 0.5))
    page.mouse.down()
    for corner in ((0.6, 0.52), (0.62, 0.6), (0.55, 0.65), (0.5, 0.6)):
        page.mouse.move(*at(page, *corner), steps=4)
    page.mouse.up()
    (region,) = wait_for(page, 1)
    assert region["kind"] == "damage"
    assert len(region["points"]) > 4
    page.get_by_role("button", name="Box").click()
    for left in (0.05, 0.3):
        page.get_by_role("button", name="Card").first.click()
        mouse_drag(page, at(page, left, 0.1), at(page, left + 0.2, 0.3))
        page.wait_for_function(
            f"() => JSON.parse(document.querySelector('#received').textContent).regions.some(r => r.kind === 'card' && Math.abs(r.points[0][0] - {left}) < 0.02)"  # noqa: E501
        )
    assert len(wait_for(page, 1, "card")) == 2  # the card and the damage


def test_outlines_do_not_tint_the_wood(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").click()
    mouse_drag(page, at(page, 0.2, 0.2), at(page, 0.6, 0.6))
    wait_for(page, 1)
    fill = page.locator("svg.photo polygon").first.evaluate("e => getComputedStyle(e).fill")
    assert fill in ("rgba(0, 0, 0, 0)", "none")


def test_keyboard_alone(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").focus()
    page.keyboard.press("Enter")
    page.locator("svg.photo").focus()
    page.keyboard.press("Enter")
    (before,) = wait_for(page, 1)
    page.keyboard.press("Escape")
    page.keyboard.press("Tab")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        f"() => JSON.parse(document.querySelector('#received').textContent).regions[0].points[0][0] > {before['points'][0][0]}"  # noqa: E501
    )
    page.keyboard.press("Delete")
    wait_for(page, 0)


def test_touch_draws_and_pinch_zooms(visit, finger, address):
    one = open_page(visit, address, touch=True)
    page, hand = one.page, finger(one)
    page.get_by_role("button", name="Sound wood").tap()
    page.locator("svg.photo").scroll_into_view_if_needed()
    hand.drag(at(page, 0.1, 0.2), at(page, 0.4, 0.6))
    (region,) = wait_for(page, 1)
    assert box_of(region) == pytest.approx((0.1, 0.2, 0.4, 0.6), abs=0.02)
    hand.pinch(at(page, 0.5, 0.5), (80, 200))
    width = float(page.locator("svg.photo").get_attribute("viewBox").split()[2])
    assert width == pytest.approx(4000 * 80 / 200, rel=0.1)
    assert len(received(page)["regions"]) == 1  # the fingers of a pinch draw nothing


def test_a_loupe_shows_what_the_finger_covers(visit, finger, address):
    one = open_page(visit, address, touch=True)
    page = one.page
    seen = []
    page.get_by_role("button", name="Sound wood").tap()
    page.locator("svg.photo").scroll_into_view_if_needed()
    finger(one).drag(
        at(page, 0.1, 0.2), at(page, 0.4, 0.6), before_lifting=lambda: seen.append(page.locator(".loupe").is_visible())
    )
    assert seen == [True]
    page.locator(".loupe").wait_for(state="hidden")


def test_touch_targets_are_large(visit, address):
    page = open_page(visit, address, touch=True).page
    for button in page.locator(".bar button:visible").all():
        frame = button.bounding_box()
        assert frame["width"] >= 44
        assert frame["height"] >= 44
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_regions_belong_to_their_photo(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").click()
    mouse_drag(page, at(page, 0.2, 0.2), at(page, 0.4, 0.5))
    wait_for(page, 1)
    page.locator("label").filter(has_text="two").click()
    wait_for(page, 0)
    assert page.locator("svg.photo polygon").count() == 0
    page.locator("label").filter(has_text="one").click()
    wait_for(page, 1)


def test_an_edit_made_while_the_connection_is_down_arrives_later(visit, address):
    # The page's own connections are cut at the socket: nothing is lost, and nothing has to be drawn again.
    one = visit("about:blank")
    page = one.page
    cut = {"on": False}

    def relay(socket):
        server = socket.connect_to_server()
        socket.on_message(lambda message: None if cut["on"] else server.send(message))

    page.route_web_socket("**/_stcore/stream", relay)
    page.goto(address)
    page.locator("#received").wait_for(state="attached")
    cut["on"] = True
    page.get_by_role("button", name="Sound wood").click()
    mouse_drag(page, at(page, 0.2, 0.2), at(page, 0.4, 0.5))
    assert received(page)["regions"] == []
    cut["on"] = False
    wait_for(page, 1)


def test_nothing_is_asked_of_the_outside(visit, address):
    one = open_page(visit, address)
    one.page.wait_for_load_state("networkidle")
    assert len(one.asked) > 3
    assert one.outside() == []


def view_of(page):
    return [float(value) for value in page.locator("svg.photo").get_attribute("viewBox").split()]


def test_regions_are_exact_to_a_pixel_of_48_megapixels(visit, address):
    page = open_page(visit, address).page
    page.locator("label").filter(has_text="large").click()
    page.locator("svg.photo image[width='8064']").wait_for(state="attached")
    page.get_by_role("button", name="Sound wood").click()
    for _ in range(6):
        page.get_by_role("button", name="Zoom in").click()
    left, top, width, height = view_of(page)
    assert width == pytest.approx(8064 / 16, rel=0.01)
    frame = page.locator("svg.photo").bounding_box()
    scale = min(frame["width"] / width, frame["height"] / height)
    aside = (frame["width"] - width * scale) / 2, (frame["height"] - height * scale) / 2

    def pixels(x, y):
        return left + (x - frame["x"] - aside[0]) / scale, top + (y - frame["y"] - aside[1]) / scale

    start = round(frame["x"] + 0.3 * frame["width"]), round(frame["y"] + 0.3 * frame["height"])
    end = start[0] + 200, start[1] + 120
    mouse_drag(page, start, end)
    (region,) = wait_for(page, 1)
    x0, y0, x1, y1 = box_of(region)
    assert (x0 * 8064, y0 * 6048) == pytest.approx(pixels(*start), abs=1)
    assert (x1 * 8064, y1 * 6048) == pytest.approx(pixels(*end), abs=1)


def test_zoomed_in_one_can_look_around_and_go_back(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Zoom in").click()
    before = view_of(page)
    page.get_by_role("button", name="Move").click()
    mouse_drag(page, at_screen(page, 0.5, 0.5), at_screen(page, 0.4, 0.45))
    after = view_of(page)
    assert after[0] > before[0]
    assert after[1] > before[1]
    assert after[2:] == before[2:]
    assert received(page)["regions"] == []  # looking around marks nothing
    page.get_by_role("button", name="Whole").click()
    assert view_of(page) == [0, 0, 4000, 3000]


def at_screen(page, x, y):
    frame = page.locator("svg.photo").bounding_box()
    return frame["x"] + x * frame["width"], frame["y"] + y * frame["height"]


def test_every_mark_has_its_label_and_rare_ones_wait_behind_a_button(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").click()
    for left in (0.1, 0.4):
        mouse_drag(page, at(page, left, 0.2), at(page, left + 0.2, 0.4))
        page.keyboard.press("Escape")
    assert not page.get_by_role("button", name="White sheet").is_visible()
    page.get_by_role("button", name="More").click()
    page.get_by_role("button", name="White sheet").click()
    mouse_drag(page, at(page, 0.1, 0.6), at(page, 0.3, 0.8))
    wait_for(page, 3)
    assert page.locator("svg.photo text").all_text_contents() == ["Sound 1", "Sound 2", "White"]
    page.get_by_role("button", name="Less").click()
    assert page.get_by_role("button", name="White sheet").is_visible()  # what is marked is never hidden


def test_labels_of_marks_near_to_each_other_stay_apart_on_a_phone(visit, address):
    page = open_page(visit, address, touch=True).page
    page.get_by_role("button", name="Damage").click()
    places = [(0.1 + 0.07 * i, 0.3 + 0.1 * j) for j in range(2) for i in range(4)]
    for x, y in places:
        mouse_drag(page, at(page, x, y), at(page, x + 0.06, y + 0.08))
        page.keyboard.press("Escape")
    wait_for(page, len(places))
    boxes = [label.bounding_box() for label in page.locator("svg.photo text").all()]
    for i, one in enumerate(boxes):
        for other in boxes[:i]:
            across = min(one["x"] + one["width"], other["x"] + other["width"]) - max(one["x"], other["x"])
            down = min(one["y"] + one["height"], other["y"] + other["height"]) - max(one["y"], other["y"])
            # A label's box is a line high, 26 pixels; its ink with the dark rim is 18.
            assert across < 4 or down <= 8, (one, other)
    numbers = [label.split()[-1] for label in page.locator("svg.photo text").all_text_contents()]
    assert numbers == [str(number) for number in range(1, len(places) + 1)]


def test_shift_and_arrows_resize(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").click()
    mouse_drag(page, at(page, 0.2, 0.2), at(page, 0.4, 0.5))
    (before,) = wait_for(page, 1)
    page.locator("svg.photo").focus()
    page.keyboard.press("Shift+ArrowRight")
    page.wait_for_function(
        "right => JSON.parse(document.querySelector('#received').textContent).regions[0].points[1][0] > right",
        arg=before["points"][1][0],
    )
    after = received(page)["regions"][0]
    assert after["points"][0] == before["points"][0]


def test_escape_while_dragging_changes_nothing(visit, address):
    page = open_page(visit, address).page
    page.get_by_role("button", name="Sound wood").click()
    mouse_drag(page, at(page, 0.2, 0.2), at(page, 0.4, 0.5))
    wait_for(page, 1)
    before = page.locator("svg.photo polygon").first.get_attribute("points")
    page.mouse.move(*at(page, 0.3, 0.3))
    page.mouse.down()
    page.mouse.move(*at(page, 0.6, 0.6))
    assert page.locator("svg.photo polygon").first.get_attribute("points") != before
    page.keyboard.press("Escape")
    page.mouse.up()
    assert page.locator("svg.photo polygon").first.get_attribute("points") == before
