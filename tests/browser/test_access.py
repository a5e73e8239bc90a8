"""Every page by axe-core: WCAG 2 A and AA, and what the program's authors call best practice."""

from __future__ import annotations

from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
#: Link of each page, and words that stand on it once it is complete, with the example open.
PAGES = {
    "Photo": "What this photo is good for",
    "Match": "Where the colors lie",
    "Mix": "Into the cup",
    "Check": "Choose",
    "Swatches": "paints",
    "Jobs": "An old side table",
    "Guide": "Local codes",
}
GRAVE = ("serious", "critical")


@pytest.fixture(scope="module")
def address(serve, tmp_path_factory):
    return serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(tmp_path_factory.mktemp("library")))


def grave(page):
    """What axe-core finds serious or critical: rule, place, why."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found = axe.run(page).response["violations"]
    return [
        (one["id"], one["impact"], node["target"], node["failureSummary"][:300])
        for one in found
        if one["impact"] in GRAVE
        for node in one["nodes"]
    ]


def settled(page):
    """Wait until the script has run and nothing is drawn as stale."""
    page.wait_for_function(
        "() => { const app = document.querySelector('.stApp');"
        " return app && app.dataset.testScriptState === 'notRunning' && !document.querySelector('[data-stale=true]') }",
        timeout=60_000,
    )


@pytest.mark.parametrize("touch", [False, True], ids=["desktop", "phone"])
def test_no_page_shuts_anybody_out(visit, address, touch):
    page = visit(address, touch=touch).page
    page.get_by_role("button", name="Try the example").wait_for()
    settled(page)
    trouble = {"Start": grave(page)}
    page.get_by_role("button", name="Try the example").click()
    page.get_by_text("Everything is marked").wait_for(timeout=60_000)
    for name, words in PAGES.items():
        page.locator(".st-key-steps").get_by_role("link", name=name).click()
        page.get_by_text(words).first.wait_for(timeout=60_000)
        settled(page)
        trouble[name] = grave(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"], name
    assert {name: some for name, some in trouble.items() if some} == {}


def test_axe_would_see_trouble(visit, address):
    """The check above can fail: a picture without words and faint text are found."""
    page = visit(address).page
    page.set_content(
        "<html lang='en'><title>t</title><main><img src='data:,'><p style='color:#999;background:#aaa'>faint"
    )
    assert {rule for rule, *_ in grave(page)} >= {"image-alt", "color-contrast"}
