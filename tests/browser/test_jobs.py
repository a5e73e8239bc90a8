"""From the cup to the archive in a real browser: the timer over a reload, report and label, the job found again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from colormatch.library.starter import example

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
TITLE = example().title


@pytest.fixture(scope="module")
def address(serve, tmp_path_factory):
    return serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(tmp_path_factory.mktemp("jobs")))


def seconds_left(page) -> int:
    text = page.locator(".st-key-step .timer .left").inner_text()
    return sum(int(part) * 60**place for place, part in enumerate(reversed(text.split(":"))))


def save(page, place, button: str, target: Path) -> str:
    with page.expect_download() as waiting:
        place.get_by_role("button", name=button).click()
    waiting.value.save_as(target)
    assert waiting.value.suggested_filename.endswith(".html")
    return target.read_text(encoding="utf-8")


@pytest.mark.parametrize("touch", [False, True], ids=["mouse", "finger"])
def test_mix_report_label_jobs_and_open_again(visit, address, tmp_path, touch):
    one = visit(address, touch=touch)
    page = one.page
    page.get_by_role("button", name="Try the example").click()
    page.get_by_text("Everything is marked").wait_for(timeout=60_000)
    page.get_by_role("link", name="Mix", exact=True).click()
    page.get_by_text("Take it along").wait_for(timeout=60_000)
    recipe = page.locator("h2").first.inner_text()

    for number in (2, 3, 4):
        page.get_by_role("button", name="Done, next step").click()
        page.get_by_text(f"Step {number} of").wait_for()
    page.get_by_role("button", name="Start the timer").click()
    page.locator(".st-key-step .timer .left").wait_for()
    before = seconds_left(page)
    assert 3590 <= before <= 3600
    page.reload()
    page.locator(".st-key-step .timer .left").wait_for(timeout=60_000)
    assert before - 60 <= seconds_left(page) <= before
    page.wait_for_function("shown => document.title !== shown", arg=page.title())  # the window's title counts too
    assert re.match(r"\d+:\d\d - Mix", page.title())
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]

    report, label = (save(page, page, name, tmp_path / f"{name[:5]}.html") for name in ("Report", "Label for the jar"))
    for told in (recipe, TITLE, "simulated", "Into the cup", "How sure"):
        assert told in report, re.findall(r"<h1>.*?</p>", report, re.S)
    assert TITLE in label
    number = re.search(r"repair=(\d+)", page.url)[1]

    page.get_by_role("link", name="Jobs", exact=True).click()
    page.get_by_text("Search names, paints and dates").wait_for()
    job = page.locator(f".st-key-job-{number}")
    job.get_by_text(recipe).wait_for()
    assert job.locator("img").evaluate("picture => picture.decode().then(() => picture.naturalWidth)") > 100
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    assert save(page, job, "Report", tmp_path / "again.html") == report

    job.get_by_role("button", name="Delete").click()
    job.wait_for(state="detached")
    page.get_by_role("button", name="Bring back").click()
    page.get_by_role("button", name="Bring back").wait_for(state="detached")
    job.get_by_role("link", name="Open").click()
    page.get_by_text("Everything is marked").wait_for(timeout=60_000)
    page.get_by_role("link", name="Mix", exact=True).click()
    page.locator(".st-key-step .timer .left").wait_for(timeout=60_000)
    assert page.locator("h2").first.inner_text() == recipe
    assert one.outside() == []
