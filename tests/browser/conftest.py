"""A real Chromium and servers of our own on free ports."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MAIN = ROOT / "app" / "main.py"
_FAILED = pytest.StashKey[bool]()


@contextmanager
def open_chromium() -> Iterator[object]:
    """The system's Chromium; it may talk to nobody but the page's server."""
    from playwright.sync_api import sync_playwright

    quiet = ["--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=_chromium_path(), args=["--no-sandbox", "--disable-gpu", "--disable-quic", *quiet]
        )
        yield browser
        browser.close()


def _chromium_path() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def chromium() -> Iterator[object]:
    """The browser of a session; its tests are skipped where there is none."""
    pytest.importorskip("playwright.sync_api")
    if _chromium_path() is None:
        pytest.skip("no Chromium on this machine")
    with open_chromium() as browser:
        yield browser


def free_port() -> int:
    """A port of this machine on which nothing listens."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


class Program:
    """The app's server as a program of its own, which can be killed and started again where it was."""

    def __init__(self, log: Path, script: Path = MAIN, **environment: str) -> None:
        self.port, self.log, self.script = free_port(), log, script
        self.environment = {**os.environ, "PYTHONPATH": str(ROOT), **environment}
        self.address = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        """Start it and wait until it answers."""
        call = f"serve({self.port}, Path({str(self.script)!r}))"
        code = f"from pathlib import Path; from app.server.start import serve; {call}"
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-c", code], cwd=ROOT, env=self.environment, stdout=out, stderr=subprocess.STDOUT
            )
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=1):
                    return
            except OSError:
                assert self.process.poll() is None, self.log.read_text()
        raise AssertionError(f"the server did not answer: {self.log.read_text()}")

    def kill(self) -> None:
        """End it as a crash would."""
        self.process.kill()
        self.process.wait(timeout=20)


@pytest.fixture(scope="session")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., str]]:
    """Start a server for a script and give its address."""
    running: list[Program] = []

    def start(script: Path, **environment: str) -> str:
        running.append(Program(tmp_path_factory.mktemp("server") / "log", script, **environment))
        return running[-1].address

    yield start
    for program in running:
        program.process.terminate()
        program.process.wait(timeout=20)


class Visit:
    """One page of one person, with everything it asked the network for."""

    def __init__(self, browser: object, address: str, touch: bool = False) -> None:
        size = {"width": 390, "height": 844} if touch else {"width": 1280, "height": 900}
        self.own = urllib.parse.urlsplit(address).netloc
        self.context = browser.new_context(viewport=size, has_touch=touch, is_mobile=touch)  # type: ignore[attr-defined]
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda socket: self.asked.append(socket.url))

    def outside(self) -> list[str]:
        """Addresses asked for that are not our own server's."""
        own = (f"http://{self.own}/", f"ws://{self.own}/", "data:", f"blob:http://{self.own}/")
        return [url for url in self.asked if not url.startswith(own)]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Remember that a test failed, so that what its pages held is printed."""
    report = yield
    item.stash[_FAILED] = item.stash.get(_FAILED, False) or report.failed
    return report


@pytest.fixture
def visit(request: pytest.FixtureRequest, chromium: object) -> Iterator[Callable[..., Visit]]:
    """Open a page as somebody at a laptop, or with a phone (``touch=True``)."""
    visits: list[Visit] = []

    def start(address: str, touch: bool = False) -> Visit:
        visits.append(Visit(chromium, address, touch))
        visits[-1].page.goto(address)
        return visits[-1]

    yield start
    for one in visits:
        if request.node.stash.get(_FAILED, False):
            print(f"--- {one.page.url} held:\n{one.page.locator('body').inner_text(timeout=5_000)[:3000]}")
        one.context.close()


class Finger:
    """Touches through the DevTools protocol: real touch events, not synthesized clicks."""

    def __init__(self, visit: Visit) -> None:
        self.session = visit.context.new_cdp_session(visit.page)

    def _send(self, kind: str, *points: tuple[float, float]) -> None:
        touches = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    def drag(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        steps: int = 6,
        before_lifting: Callable[[], None] = lambda: None,
    ) -> None:
        self._send("touchStart", start)
        for i in range(1, steps + 1):
            t = i / steps
            self._send("touchMove", (start[0] + (end[0] - start[0]) * t, start[1] + (end[1] - start[1]) * t))
        before_lifting()
        self._send("touchEnd")

    def pinch(self, center: tuple[float, float], apart: tuple[float, float], steps: int = 6) -> None:
        """Two fingers, side by side, from one distance to another."""
        x, y = center
        for i in range(steps + 1):
            half = (apart[0] + (apart[1] - apart[0]) * i / steps) / 2
            self._send("touchStart" if i == 0 else "touchMove", (x - half, y), (x + half, y))
        self._send("touchEnd")


@pytest.fixture
def finger() -> type[Finger]:
    return Finger


def photo_place(page: object, x: float, y: float) -> tuple[float, float]:
    """Page coordinates of a fraction of the photo, seen whole."""
    svg = page.locator("svg.photo")  # type: ignore[attr-defined]
    frame = svg.bounding_box()
    _, _, width, height = map(float, svg.get_attribute("viewBox").split())
    scale = min(frame["width"] / width, frame["height"] / height)
    left = frame["x"] + (frame["width"] - width * scale) / 2
    top = frame["y"] + (frame["height"] - height * scale) / 2
    return left + x * width * scale, top + y * height * scale


def mouse_drag(page: object, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Press, move, release."""
    mouse = page.mouse  # type: ignore[attr-defined]
    mouse.move(*start)
    mouse.down()
    mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    mouse.move(*end)
    mouse.up()
