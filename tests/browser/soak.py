"""Many repairs in one process of the app, seen through a real browser: does its memory stay flat?

    python -m tests.browser.soak --repairs 500

Each repair is a photo of its own (the example's, with other noise), opened on every page. The resident memory of the
server's process is taken after each; what is printed is the least and the median since the line before, as a single
value may hold the pages of one picture. Both may grow while the caches fill, and not after.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from colormatch.library import Library
from colormatch.library.starter import example
from tests.browser.conftest import ROOT, free_port

PAGES = ("", "match", "mix")
#: What stands on a page once its work is done.
DONE = {"": "svg.photo", "match": "text=Closest washes", "mix": "text=Take care"}


def _resident_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024


def _photo(number: int) -> bytes:
    picture = np.asarray(Image.open(example().photo).convert("RGB"), dtype=float)
    noise = np.random.default_rng(number).normal(0, 1, picture.shape)
    out = io.BytesIO()
    Image.fromarray((picture + noise).clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=90)
    return out.getvalue()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repairs", type=int, default=500)
    args = parser.parse_args()
    from playwright.sync_api import sync_playwright

    port, chromium = free_port(), shutil.which("chromium")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        line = [sys.executable, "-m", "colormatch.cli.main", "app", "--no-browser", "--port", str(port)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        with subprocess.Popen([*line, "--library", folder], env=environment, stdout=subprocess.DEVNULL) as server:
            address = f"http://127.0.0.1:{port}"
            while True:
                try:
                    urllib.request.urlopen(f"{address}/_stcore/health", timeout=1).close()
                    break
                except OSError:
                    time.sleep(0.2)
            browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
            _work(browser, address, Path(folder), args.repairs, server.pid)
            browser.close()
            server.terminate()


def _work(browser: Any, address: str, folder: Path, repairs: int, server: int) -> None:
    began, library = time.monotonic(), Library.open(folder)
    page = browser.new_page()
    page.goto(address)
    page.get_by_role("button", name="Try the example").click()
    page.wait_for_url("**repair=*", timeout=60_000)
    page.locator("svg.photo").wait_for(timeout=60_000)
    model = library.repairs()[0].record
    held: list[float] = []
    for number in range(1, repairs + 1):
        photo = library.photos.add(_photo(number), "photo.jpg")
        document = json.dumps({**json.loads(model.document), "photo": photo})
        repair = library.save_repair(replace(model, name=f"repair {number}", document=document, photos=(photo,)))
        for place in PAGES:
            page.goto(f"{address}/{place}?repair={repair}")
            page.locator(DONE[place]).first.wait_for(timeout=60_000)
        held.append(_resident_mb(server))
        if number == 1 or number % 50 == 0:
            memory = f"{min(held):5.0f} MB at least, {statistics.median(held):5.0f} MB in the middle"
            print(f"{number:>5} repairs {time.monotonic() - began:7.0f} s {memory}", flush=True)
            held.clear()


if __name__ == "__main__":
    main()
