"""What opening a photo costs, beside a bare decoding by Pillow."""

import io
import subprocess
import sys
import time
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from colormatch.photo.read import open_photo
from colormatch.records import Box

CROPS = [Box(200 + 300 * i, 300, 300, 300) for i in range(5)]
#: Run in a child, so that nothing but the photo is measured; prints the growth of the peak in bytes. VmHWM and not
#: ru_maxrss, which a child takes over from its parent.
MEMORY = """
import resource, sys
from pathlib import Path
from colormatch.photo.read import open_photo
from colormatch.records import Box

def status(name):
    return int(Path("/proc/self/status").read_text().split(name + ":")[1].split()[0]) * 1024

open_photo(Path(sys.argv[1])).linear(Box(0, 0, 8, 8))  # everything is imported
before = status("VmHWM")
resource.setrlimit(resource.RLIMIT_AS, (status("VmSize") + 2**30, status("VmSize") + 2**30))
photo = open_photo(Path(sys.argv[2]))
for i in range(5):
    photo.linear(Box(200 + 300 * i, 300, 300, 300))
print(status("VmHWM") - before)
"""


def jpeg(width: int, height: int) -> bytes:
    noise = np.random.default_rng(0).normal(128, 60, (height // 4, width // 4, 3)).clip(0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(cv2.resize(noise, (width, height), interpolation=cv2.INTER_CUBIC)).save(out, "JPEG", quality=93)
    return out.getvalue()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
@pytest.mark.parametrize(("width", "height"), [(4000, 3000), (8000, 6000)])
def test_peak_memory_is_at_most_twice_the_picture(width: int, height: int, tmp_path: Path) -> None:
    small, large = tmp_path / "small.jpg", tmp_path / "large.jpg"
    small.write_bytes(jpeg(64, 64))
    large.write_bytes(jpeg(width, height))
    run = subprocess.run([sys.executable, "-c", MEMORY, small, large], capture_output=True, text=True, check=True)
    ratio = int(run.stdout) / (width * height * 3)
    print(f"{width} x {height}: peak {ratio:.2f} times the 8-bit picture")
    assert 1 <= ratio <= 2


@pytest.mark.slow
def test_opening_and_five_crops_cost_at_most_half_more_than_a_bare_decoding() -> None:
    data = jpeg(4000, 3000)
    ours, bare = [], []
    for _ in range(7):  # In turn, by processor time: other work on the machine then counts for neither.
        start = time.process_time()
        Image.open(io.BytesIO(data)).load()
        bare.append(time.process_time() - start)
        start = time.process_time()
        photo = open_photo(data)
        for box in CROPS:
            photo.linear(box)
        ours.append(time.process_time() - start)
    ratio = min(ours) / min(bare)
    print(f"{1000 * min(ours):.0f} ms against {1000 * min(bare):.0f} ms: {ratio:.2f}")
    assert ratio <= 1.5
