"""The starter library in the checkout is what its generator writes, and its demo can be solved."""

import csv
import hashlib
import io
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.scenes import demo, starter
from tests.scenes.paints import PAINTS


@pytest.mark.slow
def test_folder_holds_what_the_generator_writes():
    """Sheets to the byte; the photo to its pixels, since another JPEG encoder may write other bytes."""
    files = starter.contents()
    for path in ("paints.csv", "swatches.csv", "clear_coats.csv"):
        assert (starter.FOLDER / path).read_bytes() == files[path], path
    shipped, fresh = (
        json.loads(content) for content in ((starter.FOLDER / "demo.json").read_bytes(), files["demo.json"])
    )
    for ours_name, theirs_name in (
        (shipped["photo"], fresh["photo"]),
        (shipped["dried"]["photo"], fresh["dried"]["photo"]),
    ):
        with (
            Image.open(starter.FOLDER / ours_name) as ours,
            Image.open(io.BytesIO(files[theirs_name])) as theirs,
        ):
            apart = np.abs(np.asarray(ours, float) - np.asarray(theirs, float))
        assert apart.mean() < 0.5
    assert len(list((starter.FOLDER / "photos").iterdir())) == 2


@pytest.mark.slow
def test_truth_of_the_demo_is_that_of_its_scene():
    fresh = demo.make_truth()
    for key in ("sound", "damage", "filler", "card"):
        np.testing.assert_allclose(demo.truth()[key], fresh[key], atol=0.01)
    # With no wash, the tones of the damage mix to the damage's own color.
    np.testing.assert_allclose(demo.true_lab([]), demo.truth()["damage"], atol=0.02)


def test_manifest_declares_the_simulation_and_every_file():
    manifest = json.loads((starter.FOLDER / "manifest.json").read_text())
    assert manifest["simulated"] is True
    assert "tests.scenes.starter" in manifest["made_by"]
    listed = manifest["files"]
    for path, sha256 in listed.items():
        assert hashlib.sha256((starter.FOLDER / path).read_bytes()).hexdigest() == sha256


def test_ten_paints_with_a_dozen_swatches_each():
    rows = list(csv.DictReader((starter.FOLDER / "swatches.csv").read_text(encoding="utf-8").splitlines()))
    counts = [sum(row["paint"] == name for row in rows) for name in PAINTS]
    assert len(counts) == 10
    assert min(counts) >= 12
    assert max(counts) <= 16
    radius = np.array([float(row["uncertainty"]) for row in rows])
    assert radius.min() > 0.4
    assert radius.max() < 0.75


def test_demo_photo_is_a_modest_jpeg_and_its_boxes_lie_in_it():
    document = json.loads((starter.FOLDER / "demo.json").read_text())
    photo = starter.FOLDER / document["photo"]
    assert photo.stat().st_size < 1_500_000
    with Image.open(photo) as picture:
        width, height = picture.size
    boxes = [document["card"], *document["sound"], *document["damage"]]
    assert len(document["sound"]) == 4
    for x, y, w, h in boxes:
        assert 0 <= x < x + w <= width
        assert 0 <= y < y + h <= height


def test_photo_of_the_dried_repair_is_small_and_shows_a_repair_that_still_shows():
    document = json.loads((starter.FOLDER / "demo.json").read_text())["dried"]
    assert (starter.FOLDER / document["photo"]).stat().st_size < 300_000
    assert document["painted"] == {"paint": demo.PAINTED[0], "paint_fraction": demo.PAINTED[1], "coats": 1}
    assert 2 < demo.true_delta_e(demo.painted()) < 6


def test_some_wash_on_the_shelf_solves_the_demo_and_most_do_not():
    left = [
        demo.true_delta_e([demo.wash(name, 1 / (1 + water), coats)])
        for name in PAINTS
        for water in (0, 1, 2, 3, 4, 5, 7, 9)
        for coats in (1, 2, 3)
    ]
    assert min(left) < 1.5
    assert np.median(left) > 5


def test_the_simulator_never_asks_the_product():
    program = "import sys, tests.scenes.starter; print([m for m in sys.modules if m.startswith('colormatch')])"
    root = Path(__file__).parents[2]
    result = subprocess.run([sys.executable, "-c", program], cwd=root, capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"
