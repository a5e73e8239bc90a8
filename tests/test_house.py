"""The rules of the house: style, types, layers, one OpenCV, and a light start."""

import importlib.metadata
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["lint_imports"],
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_static_checks(command: list[str]) -> None:
    program = [sys.executable, "-m", *command]
    if command == ["lint_imports"]:
        program = [str(Path(sys.executable).with_name("lint-imports"))]
    done = subprocess.run(program, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_exactly_one_opencv() -> None:
    """opencv-python and its headless sister write the same folder and break each other."""
    names = {dist.metadata["Name"].lower() for dist in importlib.metadata.distributions()}
    assert {name for name in names if name.startswith("opencv-")} == {"opencv-python"}


def modules_after(code: str) -> set[str]:
    script = f"import sys\n{code}\nprint(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stdout.splitlines()[-1].split())


def test_help_imports_nothing_heavy() -> None:
    code = "from colormatch.cli.main import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass"
    heavy = {"numpy", "cv2", "scipy", "colour", "skimage", "streamlit", "PIL"}
    slow_to_load = {"typing", "dataclasses", "inspect", "json", "pathlib", "urllib.parse"}
    assert not (modules_after(code) - modules_after("")) & (heavy | slow_to_load)


def test_reading_and_matching_never_import_colour_science_or_streamlit() -> None:
    code = "from colormatch.cli.main import main\nmain(['match', '--target', '62,9,25', '--over', '74,6,20'])"
    loaded = modules_after(f"import os, tempfile\nos.environ['COLORMATCH_LIBRARY'] = tempfile.mkdtemp()\n{code}")
    assert not loaded & {"colour", "streamlit"}
