"""The phone link in real browsers: a laptop and a phone at one repair."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from colormatch.library import starter
from tests.browser.conftest import ROOT, free_port

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The link for the laptop and the one for the phone, as the command prints them."""
    command = [sys.executable, "-m", "colormatch.cli.main", "app", "--phone", "127.0.0.1", "--no-browser"]
    command += ["--port", str(free_port()), "--library", str(tmp_path_factory.mktemp("library"))]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as process:
        links: list[str] = []
        assert process.stdout is not None
        for line in process.stdout:
            links += re.findall(r"http://\S+enter=\S+", line)
            if len(links) == 2:
                break
        wait_until_shut(links[0].partition("/?")[0], process)
        yield links[0], links[1]
        process.terminate()


def wait_until_shut(address: str, process: subprocess.Popen[str]) -> None:
    """Wait until the server answers that nobody may come in."""
    while True:
        try:
            urllib.request.urlopen(address, timeout=1)
        except urllib.error.HTTPError as refusal:
            refusal.close()
            return
        except OSError:
            assert process.poll() is None


def test_a_photo_from_the_phone_appears_on_the_laptop(
    started: tuple[str, str], visit: Callable[..., Any], tmp_path: Path
) -> None:
    import cv2
    from playwright.sync_api import expect

    laptop = visit(started[0])
    assert "enter=" not in laptop.page.url
    laptop.page.get_by_role("link", name="Phone").click()
    laptop.page.get_by_role("button", name="Start a repair and photograph it").click()
    laptop.page.wait_for_url("**repair=*")
    link = laptop.page.locator("code", has_text="repair=").inner_text()
    code = laptop.page.get_by_role("img", name="QR code of the link")
    expect(code).to_have_count(1)
    shot = tmp_path / "code.png"
    code.screenshot(path=shot)
    # The other detector of OpenCV misses a few codes of a hundred, however clear.
    assert cv2.QRCodeDetectorAruco().detectAndDecode(cv2.imread(str(shot)))[0] == link

    phone = visit(link, touch=True)
    phone.page.locator("input[type=file]").set_input_files(starter.example().photo)
    phone.page.locator("svg.photo").wait_for()
    laptop.page.get_by_role("link", name="Continue with").click()
    laptop.page.locator("svg.photo").wait_for()
    assert laptop.page.locator("text=QR").count() == 0
    assert not laptop.outside()
    assert not phone.outside()

    stranger = visit(link)
    assert "already used" in stranger.page.locator("body").inner_text()


def test_shutting_out_ends_what_is_open_at_once(started: tuple[str, str], visit: Callable[..., Any]) -> None:
    """Run after the one above, which leaves the link for the phone unused."""
    laptop = visit(started[1])
    laptop.page.get_by_role("link", name="Phone").click()
    laptop.page.get_by_text("browsers connected so far").wait_for()
    phone = visit(laptop.page.locator("code", has_text="enter=").inner_text(), touch=True)
    phone.page.get_by_role("link", name="Phone").wait_for()
    laptop.page.get_by_role("button", name="Shut out every other phone and browser").click()
    laptop.page.get_by_text(
        "1 browser connected so far"
    ).wait_for()  # a busy machine may take a while to hear the click
    # Its page says so as soon as its connection has ended; one that is still open would keep it as it is.
    phone.page.get_by_text("If this browser was shut out").wait_for(timeout=10_000)
    phone.page.goto(started[1].partition("/?")[0])
    assert "has no access" in phone.page.locator("body").inner_text()
    # Where it was pressed, a new link stands.
    phone.page.goto(laptop.page.locator("code", has_text="enter=").inner_text())
    phone.page.get_by_role("link", name="Phone").wait_for()
