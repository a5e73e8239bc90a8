"""Nothing a person entered is lost: kill -9, a full disk, two windows at once, a folder that can't be written.

``COLORMATCH_FAULT_RUNS=100`` makes 100 runs of each kill; few are made otherwise.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(os.name != "posix", reason="forks and sends POSIX signals")
RUNS = int(os.environ.get("COLORMATCH_FAULT_RUNS", "8"))


def faults(*arguments):
    done = subprocess.run(
        [sys.executable, "-m", "tests.storage.faults", *map(str, arguments)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    print(*arguments, done.stdout.strip())
    return json.loads(done.stdout.splitlines()[-1])


@pytest.mark.slow
@pytest.mark.parametrize(
    "work", ["add", "edit", "import", "photo", "migration", "upgrade", "backup", "repair", "export"]
)
def test_kill_9_loses_nothing_that_was_acknowledged(work):
    assert faults(work, RUNS, 1)["runs"] == RUNS


@pytest.mark.slow
def test_several_writers_at_once_lose_nothing():
    counts = faults("crowd", 3, 8)
    assert counts["records"] == 3 * 8 * 2


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["disk", "files"])
def test_a_full_disk_refuses_and_loses_nothing(kind):
    if kind == "disk" and (os.getuid() != 0 or subprocess.run(["mountpoint", "-q", "/"], check=False).returncode):
        pytest.skip("only root can mount a small disk; the limit on file sizes is tested instead")
    assert faults("starve", kind, 3)["refused"] == 3


def test_a_folder_that_can_be_read_only_still_shows_its_shelf():
    told = faults("unwritable")
    assert told.pop("read") == "Base"
    assert len(told) == 5
    assert all("librar" in text and text.endswith(".") for text in told.values()), told
