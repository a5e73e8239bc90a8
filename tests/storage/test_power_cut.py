"""A power cut on a simulated disk loses nothing that was acknowledged. See :mod:`tests.storage.power_cut`.

``COLORMATCH_POWER_CUTS=400`` makes 400 cuts of each kind of work; few are made otherwise.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace")
CUTS = int(os.environ.get("COLORMATCH_POWER_CUTS", "12"))


@pytest.mark.slow
@pytest.mark.parametrize("work", ["add", "edit", "photo", "repair", "import", "upgrade", "backup", "export"])
def test_a_power_cut_loses_nothing_that_was_acknowledged(work):
    done = subprocess.run(
        [sys.executable, "-m", "tests.storage.power_cut", work, str(CUTS), "1"],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    print(work, done.stdout.strip())
    assert json.loads(done.stdout)["cuts"] == CUTS
