"""An older library on a disk that read-only is read; what would be saved is refused in one sentence."""

import ctypes
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from colormatch.library import schema

ROOT = Path(__file__).parents[2]
FROZEN = ROOT / "tests" / "library" / "frozen"
OLD = [FROZEN / f"schema{n}.sqlite3" for n in range(1, len(schema.MIGRATIONS))]
#: prctl(2) and capabilities(7): the right of root to write what nobody may write is dropped by the next exec.
PR_CAPBSET_DROP, CAP_DAC_OVERRIDE = 24, 1

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="rights and file systems of Linux")


@pytest.fixture(params=["folder", "file", "disk"])
def place(request, tmp_path):
    """A folder for a library, and what makes it one that can only be read."""
    folder = tmp_path / "library"
    folder.mkdir()
    on_disk = request.param == "disk"
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)]
    if on_disk and (os.getuid() != 0 or subprocess.run(mount, check=False, capture_output=True).returncode):
        pytest.skip("only root can mount a disk")

    def lock():
        if on_disk:
            subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        else:
            (folder / "library.sqlite3").chmod(0o444)
            folder.chmod(0o555 if request.param == "folder" else 0o755)

    yield folder, lock
    if on_disk:
        subprocess.run(["umount", str(folder)], check=True)
    else:
        folder.chmod(0o755)


@pytest.fixture
def command(place, tmp_path):
    """Run a command on the locked library: its status, what it printed, and what it said."""
    (tmp_path / "tmp").mkdir()

    def run(*words):
        done = subprocess.run(
            [sys.executable, "-m", "colormatch.cli.main", *map(str, words), "--library", str(place[0])],
            capture_output=True,
            text=True,
            check=False,
            cwd=ROOT,
            env={**os.environ, "TMPDIR": str(tmp_path / "tmp")},
            preexec_fn=lambda: ctypes.CDLL(None).prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE),
        )
        return done.returncode, done.stdout, done.stderr

    return run


@pytest.mark.slow
@pytest.mark.parametrize("old", OLD, ids=lambda path: path.stem)
def test_an_older_library_that_can_only_be_read_is_read(place, command, tmp_path, old):
    folder, lock = place
    shutil.copyfile(old, folder / "library.sqlite3")
    lock()
    for words, printed in (
        (("paint", "list"), "=Umber"),
        (("swatch", "list"), "Umber"),
        (("match", "--target", "62,9,25", "--over", "74,6,20"), "ΔE"),
        (("library", "export", tmp_path / "shelf"), "Wrote"),
        (("library", "backup", "--out", tmp_path / "all.zip"), "read back"),
        (("library", "verify"), "All is well"),
    ):
        status, said, told = command(*words)
        assert (status, printed in said) == (0, True), (words, said, told)
        (line,) = told.splitlines()
        assert "Saving to" in line
        assert "read-only" in line
    for words in (("paint", "add", "Ochre 2"), ("library", "undo"), ("library", "import")):
        status, said, told = command(*words)
        assert (status, said) == (1, ""), (words, said, told)
        assert len(told.splitlines()) == 2  # the same, and why the command did nothing
        assert "the library in" in told.lower()
    assert (folder / "library.sqlite3").read_bytes() == old.read_bytes()
    assert not list((tmp_path / "tmp").iterdir())
