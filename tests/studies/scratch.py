"""A scratch copy of the project in which a module may be spoiled and its tests run; the project itself stays."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.util import cache_from_source
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
#: What the tests need of the project, and what of it a copy must not take along.
_TAKEN = ("colormatch", "app", "swatches", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE")
_LEFT = shutil.ignore_patterns("__pycache__", ".hypothesis", "*.sqlite")
#: What pytest says of a test that failed, at the end.
_FAILED = re.compile(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", re.MULTILINE)
#: How a process ends that the system stops for its time: by signal 24 or 9.
_OUT_OF_TIME = (-signal.SIGXCPU, -signal.SIGKILL)
#: Property tests try the same examples each time, and a busy machine is no failure.
_SAME_EXAMPLES = "--hypothesis-profile=ci"
#: One thread each.
_SURROUNDINGS = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


class Ended(NamedTuple):
    """How tests ended."""

    #: ``passed``, ``failed``, ``timeout`` or ``error`` (none were collected).
    how: str
    #: The first test that failed, as pytest names it.
    by: str = ""

    @property
    def noticed(self) -> bool:
        """Whether a change was noticed."""
        return self.how in ("failed", "timeout")


class Scratch:
    """A copy of the project."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in _TAKEN:
            source = ROOT / name
            if source.is_dir():
                shutil.copytree(source, folder / name, ignore=_LEFT)
            else:
                shutil.copy2(source, folder / name)

    def run(self, tests: Sequence[str], seconds: int) -> Ended:
        """Run tests of the copy until one fails, or until they have taken so much of a processor's time."""
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-m", "not slow", _SAME_EXAMPLES, *tests]
        done = subprocess.run(
            ["prlimit", f"--cpu={seconds}", "--", *command], cwd=self.folder, env={**os.environ, **_SURROUNDINGS},
            capture_output=True, check=False, text=True,
        )  # fmt: skip
        failed = _FAILED.findall(done.stdout)
        if done.returncode in _OUT_OF_TIME:
            return Ended("timeout")
        # 1: a test failed; 2: collection broke, as where a module no longer loads.
        return Ended({0: "passed", 1: "failed", 2: "failed"}.get(done.returncode, "error"), failed[0] if failed else "")

    def is_imported(self) -> bool:
        """Whether a Python that starts in the copy gets the copy's modules, and not those of the project."""
        command = [sys.executable, "-c", "import colormatch; print(colormatch.__file__)"]
        done = subprocess.run(command, cwd=self.folder, capture_output=True, check=True, text=True)
        return Path(done.stdout.strip()).is_relative_to(self.folder.resolve())

    @contextmanager
    def holding(self, path: str, text: str) -> Iterator[None]:
        """The copy with another text in one of its files."""
        file = self.folder / path
        kept = file.read_text(encoding="utf-8")
        _replace(file, text)
        try:
            yield
        finally:
            _replace(file, kept)


def _replace(file: Path, text: str) -> None:
    file.write_text(text, encoding="utf-8")
    # Python takes bytecode for fresh where a change keeps the size and falls into the same second.
    Path(cache_from_source(file)).unlink(missing_ok=True)


@contextmanager
def scratch() -> Iterator[Scratch]:
    """A copy that goes with the block."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Scratch(Path(folder))
        if not copy.is_imported():
            raise RuntimeError("The copy's tests would run the project's own modules.")
        yield copy
