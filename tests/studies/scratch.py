"""A scratch copy of the project in which a module may be spoiled and its tests run; the project itself stays."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: What the tests need of the project, and what of it a copy must not take along.
_TAKEN = ("colormatch", "app", "swatches", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE")
_LEFT = shutil.ignore_patterns("__pycache__", ".hypothesis", "*.sqlite")
#: Property tests try the same examples each time, and a busy machine is no failure.
_SAME_EXAMPLES = "--hypothesis-profile=ci"
#: One thread each; no bytecode that a change within the same second could leave behind.
_SURROUNDINGS = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}


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

    def run(self, tests: Sequence[str], timeout: float) -> str:
        """How tests of the copy end: ``passed``, ``failed``, ``timeout`` or ``error`` (none were collected)."""
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-m", "not slow", _SAME_EXAMPLES, *tests]
        try:
            done = subprocess.run(
                command, cwd=self.folder, env={**os.environ, **_SURROUNDINGS}, timeout=timeout, capture_output=True,
                check=False, text=True,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return "timeout"
        # 1: tests failed; 2: collection broke, as where a module no longer loads.
        return {0: "passed", 1: "failed", 2: "failed"}.get(done.returncode, "error")

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
        file.write_text(text, encoding="utf-8")
        try:
            yield
        finally:
            file.write_text(kept, encoding="utf-8")


@contextmanager
def scratch() -> Iterator[Scratch]:
    """A copy that goes with the block."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Scratch(Path(folder))
        if not copy.is_imported():
            raise RuntimeError("The copy's tests would run the project's own modules.")
        yield copy
