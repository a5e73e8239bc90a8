"""What opening and reading a photo costs in memory; the benchmarks measure its time."""

import io
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

#: Run in a child, so that nothing but the photo is measured; prints the growth of the peak in bytes. VmHWM and not
#: ru_maxrss, which a child takes over from its parent.
MEMORY = """
import resource, sys
from pathlib import Path
from colormatch.image.photo import open_photo
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


def jpeg(width: int, height: int, subsampling: int = 2) -> bytes:
    """Coarse noise, and a red corner at the bottom."""
    noisy = np.random.default_rng(0).normal(128, 60, (height // 4, width // 4, 3)).clip(0, 255).astype(np.uint8)
    noisy[-height // 40 :, : width // 40] = (230, 20, 20)
    out = io.BytesIO()
    picture = Image.fromarray(cv2.resize(noisy, (width, height), interpolation=cv2.INTER_CUBIC))
    picture.save(out, "JPEG", quality=93, subsampling=subsampling)
    return out.getvalue()


def peak_over_picture(folder: Path, photo: bytes) -> float:
    small, large = folder / "small.jpg", folder / "large.jpg"
    small.write_bytes(jpeg(64, 64))
    large.write_bytes(photo)
    run = subprocess.run([sys.executable, "-c", MEMORY, small, large], capture_output=True, text=True, check=True)
    with Image.open(large) as picture:
        ratio = int(run.stdout) / (picture.width * picture.height * 3)
    print(f"peak {ratio:.2f} times the 8-bit picture")
    return ratio


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
@pytest.mark.parametrize("subsampling", [0, 2])
@pytest.mark.parametrize(("width", "height"), [(4000, 3000), (8000, 6000)])
def test_peak_memory_is_at_most_twice_the_picture(width: int, height: int, subsampling: int, tmp_path: Path) -> None:
    assert 1 <= peak_over_picture(tmp_path, jpeg(width, height, subsampling)) <= 2


# --- the whole command -----------------------------------------------------------------------------------------------

#: The command in a process of its own that may have so much memory in all, libraries and their threads included.
WITHIN = """
import resource, sys
from colormatch.cli.main import main
resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
sys.exit(main(sys.argv[1:]))
"""


def with_card(width: int, height: int) -> bytes:
    """A gray card, that covers an eighth of it, on a noisy brown, and something red in a corner."""
    rng = np.random.default_rng(0)
    picture = np.full((height, width, 3), (170, 120, 80), np.uint8)
    picture[height // 4 : height * 5 // 8, width // 2 : width * 5 // 6] = 118
    picture[-height // 10 :, : width // 10] = (230, 20, 20)
    for top in range(0, height, 500):
        rows = picture[top : top + 500]
        rows[:] = (rows + rng.normal(0, 6, rows.shape)).clip(0, 255)
    done, coded = cv2.imencode(".jpg", picture[..., ::-1], (cv2.IMWRITE_JPEG_QUALITY, 93))
    assert done
    return coded.tobytes()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the limit is set and kept by Linux")
@pytest.mark.parametrize(("width", "height"), [(8000, 6000), (16320, 12240)], ids=["48", "200"])
def test_48_and_200_megapixels_with_a_card_to_find_are_read_within_1_gib(
    width: int, height: int, tmp_path: Path
) -> None:
    path = tmp_path / "large.jpg"
    path.write_bytes(with_card(width, height))
    patches = [argument for i in range(3) for argument in ("--patch", f"{i}={200 + 1200 * i},300,1100,900")]
    run = subprocess.run(
        [sys.executable, "-c", WITHIN, "read", path, *patches],
        capture_output=True, text=True, check=False, env={"OPENBLAS_NUM_THREADS": "2", "PATH": ""},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert "Card: gray, found" in run.stdout
    assert ("read at half its width and height" in run.stdout) == (width > 8000)
