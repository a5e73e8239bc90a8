"""A library of hostile names in a real browser: nothing foreign is asked for, nothing runs, and nothing could be."""

from __future__ import annotations

import pytest

from colormatch.library import Library
from tests.app.test_hostile_names import VIEWS, hostile
from tests.browser.conftest import ROOT

pytestmark = pytest.mark.browser

#: Page, and what stands on it once it is complete.
PAGES = {
    "": "svg.photo",
    "match": "text=Where the colors lie",
    "mix": "text=Into the cup",
    "check": "text=Choose",
    "jobs": "text=foreign.example",
}
#: Tries to reach elsewhere in every way that text on a page could; what came of each.
ELSEWHERE = """async () => {
  const away = "http://127.0.0.2:9/";
  const came = (element) => new Promise((done) => {
    element.onload = () => done("loaded"); element.onerror = () => done("refused");
    element.tagName === "LINK" ? (element.rel = "stylesheet", element.href = away) : (element.src = away);
    document.body.append(element);
  });
  const broken = [];
  document.addEventListener("securitypolicyviolation", (event) => broken.push(event.violatedDirective));
  const tags = await Promise.all(["img", "script", "link"].map((tag) => came(document.createElement(tag))));
  const fetched = await fetch(away).then(() => "loaded", () => "refused");
  const socket = await new Promise((done) => {
    try {
      const opened = new WebSocket("ws://127.0.0.2:9/");
      opened.onopen = () => done("loaded"); opened.onerror = () => done("refused");
    } catch { done("refused"); }
  });
  return [[...tags, fetched, socket], [...new Set(broken.map((name) => name.split("-")[0]))].sort()];
}"""


def test_hostile_names_fetch_nothing_and_run_nothing(serve, visit, tmp_path):
    address = serve(ROOT / "app" / "main.py", COLORMATCH_LIBRARY=str(tmp_path))
    seen = visit(address)
    page, alarms = seen.page, []
    page.on("dialog", lambda dialog: (alarms.append(dialog.message), dialog.dismiss()))
    page.get_by_role("button", name="Try the example").click()
    page.wait_for_url("**repair=*", timeout=60_000)
    hostile(Library.open(tmp_path))
    places = [(f"{place}?repair=1", done) for place, done in PAGES.items()]
    places += [(f"swatches?view={view}&number=1", "text=foreign.example") for view in VIEWS]
    for place, done in places:
        page.goto(f"{address}/{place}")
        page.locator(done).first.wait_for(timeout=60_000)
        assert page.locator("[src*='foreign.example'], [onerror]").count() == 0, place
    assert seen.outside() == []
    assert alarms == []

    outcomes, rules = page.evaluate(ELSEWHERE)
    assert outcomes == ["refused"] * 5
    assert rules == ["connect", "img", "script", "style"]
