"""Report and label as Chromium prints them: pages, true size, nothing cut off at the side."""

from __future__ import annotations

import re
import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image

from colormatch.render.label import LABEL, SCALE, label_page
from colormatch.render.report import report_page
from tests.render.test_report import report

pytestmark = pytest.mark.browser
#: CSS pixels to the millimeter: 96 to the inch.
PX = 96 / 25.4
#: Width and height, mm.
PAPERS = {"A4": (210, 297), "Letter": (215.9, 279.4)}


def printed(page, html: str, paper: str) -> bytes:
    page.set_content(html)
    page.emulate_media(media="print")
    return page.pdf(format=paper)


@pytest.fixture
def page(chromium):
    context = chromium.new_context(offline=True)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    yield page
    assert [url for url in asked if not url.startswith(("data:", "about:"))] == []
    context.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_report_fits_the_paper(page, paper: str) -> None:
    pdf = printed(
        page, report_page(report("A paint with a name as long as the tin is wide, satin, for furniture")), paper
    )
    pages = len(re.findall(rb"/Type\s*/Page\b", pdf))
    assert 1 < pages <= 5
    width, height = (float(v) for v in re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf).groups())
    assert (width, height) == pytest.approx([side * 72 / 25.4 for side in PAPERS[paper]], abs=1)
    page.set_viewport_size({"width": round((PAPERS[paper][0] - 30) * PX), "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("name", ["Ochre", "A paint with a name as long as the tin is wide, satin, for furniture" * 3])
def test_a_label_is_of_true_size_and_holds_its_text(page, name: str) -> None:
    page.set_content(label_page(report(name, name).labels))
    page.emulate_media(media="print")
    for box in page.locator(".label").all():
        size = box.bounding_box()
        assert (size["width"] / PX, size["height"] / PX) == pytest.approx(LABEL, abs=0.1)
        assert box.evaluate("box => box.scrollHeight <= box.clientHeight + 1 && box.scrollWidth <= box.clientWidth + 1")
        facts = box.locator(".facts").bounding_box()
        assert facts["y"] + facts["height"] <= size["y"] + size["height"] + 0.5


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm measures the printed page")
@pytest.mark.parametrize("paper", PAPERS)
def test_the_printed_scale_measures_what_it_says(page, tmp_path, paper: str) -> None:
    (tmp_path / "label.pdf").write_bytes(printed(page, label_page(report().labels), paper))
    command = ["pdftoppm", "-r", "300", "-gray", "-singlefile", tmp_path / "label.pdf", tmp_path / "label"]
    subprocess.run(command, check=True)
    with Image.open(tmp_path / "label.pgm") as picture:
        dark = np.asarray(picture) < 128
    # The longest unbroken dark line of the page is the scale; the labels' outlines are dashed.
    longest = max(len(run) for row in dark for run in bytes(row).split(b"\0"))
    assert longest / 300 * 25.4 == pytest.approx(SCALE, abs=0.3)
