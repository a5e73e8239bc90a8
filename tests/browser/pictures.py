"""Pictures of our own app on its simulated example, for README and guide: ``python -m tests.browser.pictures``.

Walks the example to its end at a laptop's width and at a phone's, and writes ``app/guide/NAME-wide.webp`` and
``NAME-phone.webp``. Needs the system's Chromium, like the browser tests.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

from tests.browser.conftest import MAIN, Program, Visit, open_chromium

FOLDER = MAIN.with_name("guide")
#: WebP's quality, percent: text keeps its edges, and all pictures together stay below what a README should weigh.
QUALITY = 72
#: Longest wait for a page, milliseconds.
PATIENCE = 120_000
#: Height of a picture, pixels: (wide, phone).
HEIGHTS = (820, 700)


class Walk:
    """One walk through the example at one width."""

    def __init__(self, browser: object, address: str, folder: Path, *, phone: bool) -> None:
        self.page: Any = Visit(browser, address, touch=phone).page
        self.page.set_default_timeout(PATIENCE)
        self.page.goto(address)
        self.folder, self.phone = folder, phone

    def press(self, name: str, role: str = "button") -> None:
        """Press a button or a link."""
        self.page.get_by_role(role, name=name, exact=True).first.click()

    def take(self, name: str, words: str, top: str, *, header: bool = False) -> None:
        """Keep a picture, once ``words`` are there, from the text ``top`` on; or on a laptop from the header on."""
        page = self.page
        page.get_by_text(words).first.wait_for()
        page.locator(".stApp[data-test-script-state=notRunning]").wait_for()
        page.wait_for_load_state("networkidle")
        page.wait_for_function("() => [...document.images].every(one => one.complete)")
        page.evaluate("() => document.activeElement.blur()")
        page.mouse.move(0, 0)
        size, height = page.viewport_size, HEIGHTS[self.phone]
        whole = page.locator(".stMainBlockContainer").bounding_box()
        page.set_viewport_size({"width": size["width"], "height": int(whole["height"]) + height})  # nothing to scroll
        start = 0 if header and not self.phone else page.get_by_text(top, exact=True).first.bounding_box()["y"] - 16
        png = page.screenshot(clip={"x": 0, "y": start, "width": size["width"], "height": height})
        page.set_viewport_size(size)
        with Image.open(io.BytesIO(png)) as picture:
            kind = "phone" if self.phone else "wide"
            picture.convert("RGB").save(self.folder / f"{name}-{kind}.webp", quality=QUALITY, method=6)

    def go(self) -> None:
        """From the start page to the shelf."""
        self.press("Try the example")
        self.page.locator("g.card").wait_for(state="attached")
        self.take("photo", "Everything is marked", "As the camera took it", header=True)
        self.press("Find the wash", "link")
        self.take("match", "Where the colors lie", "Closest washes", header=True)
        self.take("ranking", "All of them", "All of them")
        self.press("Mix this wash", "link")
        self.take("mix", "Into the cup", "How much")
        self.press("Check it once it is dry", "link")
        self.press("Use the example's photo of the dried repair")
        self.take("check", "What to do now", "The dried repair")
        self.press("Swatches", "link")
        self.press("Put the example's paints on the shelf")
        self.take("shelf", "Sort by", "Your paints")
        self.page.context.close()


def main(folder: Path) -> None:
    """Write every picture and print what all of them weigh."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name, open_chromium() as browser:
        for phone in (False, True):
            library = Path(name) / ("phone" if phone else "wide")
            program = Program(Path(name) / "log", MAIN, COLORMATCH_LIBRARY=str(library))
            try:
                Walk(browser, program.address, folder, phone=phone).go()
            finally:
                program.kill()
    written = sorted(folder.glob("*.webp"))
    print(f"{len(written)} pictures, {sum(one.stat().st_size for one in written) / 1000:.0f} kB, in {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
