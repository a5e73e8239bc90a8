"""The guide's page shows the whole text, and every picture at both widths."""

from __future__ import annotations

import re
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from app.server import pictures

GUIDE = Path(__file__).parents[2] / "app" / "guide" / "guide.md"


def test_the_page_shows_every_section_and_picture(open_app) -> None:
    page = open_app(page="guide/guide.py")
    text = GUIDE.read_text(encoding="utf-8")
    shown = "\n".join(part.value for part in page.markdown)
    for heading in re.findall(r"^#+ .*$", text, re.MULTILINE):
        assert heading in shown
    assert "![" not in shown
    assert GUIDE.with_name("licenses.md").read_text(encoding="utf-8").strip() in [part.value for part in page.markdown]
    html = "\n".join(part.proto.body for part in page.get("html"))
    names = re.findall(r"/picture/\S+?(?=\")", html)
    assert len(names) == 2 * text.count(".webp)")
    assert html.count("data:image/svg+xml") == text.count(".svg)")


def test_pictures_are_served_as_what_they_are() -> None:
    def answer(address: str) -> Response:
        return pictures.route().endpoint(Request({"type": "http", "path_params": {"name": Path(address).name}}))

    for form in ("jpeg", "webp"):
        served = answer(pictures.publish(f"a {form}".encode(), form))
        assert served.media_type == f"image/{form}"
        assert served.body == f"a {form}".encode()
    assert answer("/picture/unknown.jpeg").status_code == 404
