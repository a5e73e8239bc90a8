"""How long the command and the app take to start, each in a process of its own."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from colormatch.library.starter import example
from tests.image.test_cost import with_card
from tests.speed.test_photo_speed import SIZES, enlarged

ROOT = Path(__file__).parents[2]
NUMBERS = ("match", "--target", "55.6,11.4,25.5", "--over", "72,5.8,19.4")


def command(*arguments: str, library: Path | None = None) -> Callable[[], None]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    if library:
        environment["COLORMATCH_LIBRARY"] = str(library)
    line = [sys.executable, "-m", "colormatch.cli.main", *arguments]
    return lambda: subprocess.run(line, check=True, stdout=subprocess.DEVNULL, env=environment, cwd=ROOT) and None


@pytest.mark.benchmark(group="starting the command")
def test_bare_python(measure: Callable[..., Any]) -> None:
    line = [sys.executable, "-c", "pass"]
    measure(lambda: subprocess.run(line, check=True), peer=True)


@pytest.mark.benchmark(group="starting the command")
def test_help(measure: Callable[..., Any]) -> None:
    measure(command("--help"), goal="100 ms")


@pytest.mark.benchmark(group="starting the command")
def test_match_from_numbers(measure: Callable[..., Any], tmp_path: Path) -> None:
    """The library's fits are there from the warming round."""
    measure(command(*NUMBERS, library=tmp_path))


@pytest.mark.benchmark(group="starting the command")
def test_match_a_photo_of_12_megapixels(measure: Callable[..., Any], tmp_path: Path) -> None:
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(enlarged(SIZES["12 megapixels"]))
    boxes: dict[str, list[str]] = {"sound": [], "damage": []}
    for region in example().regions:
        boxes[region.kind].append(",".join(str(v) for v in region.box(*SIZES["12 megapixels"])))
    marks = ("--sound", *boxes["sound"], "--damage", *boxes["damage"])
    measure(command("match", str(photo), *marks, library=tmp_path / "library"), goal="1500 ms")


#: What stands beside `read`, by its name here: all that it imports, its own modules too; and the least that decodes.
BARE = {
    "libraries": """
import cv2, numpy.fft, numpy.ma, colormatch.cli.main, colormatch.cli.read, colormatch.repair
from PIL import Image
""",
    "OpenCV alone": "import cv2",
}
BARE["libraries and a decoding"] = BARE["libraries"] + "Image.open({photo!r}).load()"
BARE["OpenCV alone and a decoding"] = "import cv2; cv2.imread({photo!r})"


@pytest.mark.benchmark(group="reading a photo of 12 megapixels by the command")
@pytest.mark.parametrize("what", [*BARE, "card given", "card found"])
def test_read_command(measure: Callable[..., Any], tmp_path: Path, what: str) -> None:
    """Goal: the libraries and one and a half decodings."""
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(with_card(*SIZES["12 megapixels"]))
    if what in BARE:
        bare = [sys.executable, "-c", BARE[what].format(photo=str(photo))]
        measure(lambda: subprocess.run(bare, check=True))
    else:
        card = "2100,900,500,400" if what == "card given" else "auto"
        measure(command("read", str(photo), "--card", card, "--patch", "wood=300,300,400,300"))


@pytest.mark.benchmark(group="starting the app: until its server answers")
def test_app(measure: Callable[..., Any], tmp_path: Path) -> None:
    def start() -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        line = [sys.executable, "-m", "colormatch.cli.main", "app", "--no-browser", "--port", str(port)]
        line += ["--library", str(tmp_path)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        with subprocess.Popen(line, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment) as process:
            while process.poll() is None:
                try:
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1).close()
                    break
                except OSError:
                    continue
            process.terminate()

    measure(start, rounds=3)
