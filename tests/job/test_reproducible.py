"""The same photo and settings give the same numbers to the last digit: in another process, and after a job traveled."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from colormatch.library import Library
from colormatch.library.export import export_exchange
from colormatch.library.merge import import_exchange
from colormatch.library.starter import example, install_starter

ROOT = Path(__file__).parents[2]
#: Everything that the app says of the only job of a library, every float in full.
TELL = """
import json
from dataclasses import replace
from app.repair.open_repair import opened
from app.screens import papers
from app.state import answers
from app.state.library import open_library
library = open_library()
stored, = library.repairs()
repair = opened(stored)
match = replace(answers.ranked(repair), seconds=0.0)
print(json.dumps({
    "job": repr(replace(repair, id=0)),
    "ranking": repr(match),
    "checks": papers.checked(repair),
    "report": papers.report(repair),
    "label": papers.label(repair),
}))
"""


def told(library: Library) -> dict[str, str]:
    """What a fresh process tells."""
    done = subprocess.run(
        [sys.executable, "-c", TELL],
        cwd=ROOT,
        env={**os.environ, "COLORMATCH_LIBRARY": str(library.folder)},
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout.splitlines()[-1])


def test_two_processes_print_the_same_ranking(tmp_path: Path) -> None:
    shown = example()
    with Image.open(shown.photo) as photo:
        size = photo.size
    command = ["match", shown.photo, "--json", "--library", Library.open(tmp_path / "library").folder]
    for kind in ("sound", "damage"):
        boxes = [region.box(*size) for region in shown.regions if region.kind == kind]
        command += [f"--{kind}", *(",".join(map(str, box)) for box in boxes)]
    first, second = (json.loads(colormatch(*command)) for _ in range(2))
    assert first.pop("seconds") > 0
    del second["seconds"]
    assert json.dumps(first).encode() == json.dumps(second).encode()


def colormatch(*arguments: object) -> str:
    command = [sys.executable, "-m", "colormatch.cli.main", *map(str, arguments)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Library:
    """A library with the example as a job that was ranked, mixed and checked in the app."""
    library = Library.open(tmp_path / "library")
    install_starter(library)
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(library.folder))
    app = AppTest.from_file(str(ROOT / "app" / "main.py"), default_timeout=120).run()
    app.button(key="example").click().run()
    for page in ("screens/mix.py", "screens/check.py"):
        app.switch_page(page)
        app.query_params["repair"] = "1"
        app.run()
        assert not app.exception
        assert not app.error
    app.button(key="example-dried").click().run()
    assert not app.exception
    return library


@pytest.mark.slow
def test_a_job_reopens_after_export_deletion_and_import_with_the_same_numbers(job: Library, tmp_path: Path) -> None:
    before = told(job)
    assert before["checks"]
    assert "Checked when dry" in before["report"]
    assert told(job) == before  # in another process

    export_exchange(job, tmp_path / "exported.zip", repairs=True, photos=True)
    job.remove_repair(1)
    assert not job.repairs()
    import_exchange(job, tmp_path / "exported.zip")
    assert told(job) == before

    elsewhere = Library.open(tmp_path / "elsewhere")
    import_exchange(elsewhere, tmp_path / "exported.zip")
    assert told(elsewhere) == before
