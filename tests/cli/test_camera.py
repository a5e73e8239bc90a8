"""Commands for learned cameras, on simulated photos of a chart by one camera."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from colormatch.reference.chart_values import COLUMNS, ROWS
from tests.reference.charts import chart_photograph

#: Row and column of neutral 5 on the chart.
GRAY = (3, 3)
NAME = "phone on the bench"


@pytest.fixture(scope="module")
def chart(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A photo of a chart, and where its neutral 5 lies."""
    photograph, corners = chart_photograph(0, np.random.default_rng(5))
    path = tmp_path_factory.mktemp("photos") / "chart.jpg"
    cv2.imwrite(str(path), photograph.encoded_rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    left, top = corners.min(axis=0)
    width, height = np.ptp(corners, axis=0) / (COLUMNS, ROWS)
    x, y = left + (GRAY[1] + 0.3) * width, top + (GRAY[0] + 0.3) * height
    return path, f"{x:.0f},{y:.0f},{0.4 * width:.0f},{0.4 * height:.0f}"


def test_a_camera_is_learned_used_forgotten_and_brought_back(run: Callable[..., Any], chart: tuple[Path, str]) -> None:
    photo, gray = chart
    learned = run("camera", "learn", photo, photo, "--card-kind", "chart24", "--light", "daylight", "--camera", NAME)
    assert learned.status == 0, learned.err
    (camera,) = json.loads(run("camera", "list", "--json").out)["cameras"]
    assert (camera["camera"], camera["light"], camera["photos"]) == (NAME, "daylight", 1)
    assert camera["expected"] < camera["one_gray"]
    marked = ("read", photo, "--card", gray, "--patch", "wood=20,20,60,60", "--json")
    by_camera = json.loads(run(*marked, "--camera", NAME).out)
    assert by_camera["learned_camera"] == {"name": NAME, "light": "daylight", "photos": 1}
    assert any("learned of this camera from one photo" in step for step in by_camera["steps"])
    alone = json.loads(run(*marked, "--camera", "none").out)
    assert alone["learned_camera"] is None
    assert by_camera["patches"][0]["uncertainty_systematic"] < alone["patches"][0]["uncertainty_systematic"]
    assert by_camera["difference"]["share"] < alone["difference"]["share"]
    # The file doesn't name its camera, and another light was not learned.
    assert json.loads(run(*marked).out)["learned_camera"] is None
    assert json.loads(run(*marked, "--camera", NAME, "--light", "bulb").out)["learned_camera"] is None
    assert run("camera", "forget", NAME.upper()).status == 0
    assert json.loads(run("camera", "list", "--json").out) == {"cameras": []}
    assert run("library", "undo").status == 0
    assert len(json.loads(run("camera", "list", "--json").out)["cameras"]) == 1


def test_what_teaches_nothing_is_refused_in_a_sentence(run: Callable[..., Any], chart: tuple[Path, str]) -> None:
    photo, gray = chart
    learn = ("camera", "learn", photo, "--light", "bulb")
    for options, told in (
        (("--card-kind", "chart24"), "doesn't name its camera"),
        (("--camera", NAME, "--card", gray), "more than one gray"),
        (("--camera", NAME, "--card-kind", "chart24", "--card", gray), "whole 24-patch chart"),
    ):
        done = run(*learn, *options)
        assert (done.status, told in done.err) == (1, True), done.err
    assert run("paint", "add", "Umber").status == 0  # makes a library
    assert run("camera", "list").out.startswith("No camera has been learned yet")
    assert "has been learned" in run("camera", "forget", NAME).err


def test_a_known_color_that_reads_otherwise_is_told_and_the_gray_card_alone_counts(
    run: Callable[..., Any], chart: tuple[Path, str]
) -> None:
    photo, gray = chart
    assert run("camera", "learn", photo, "--card-kind", "chart24", "--light", "bulb", "--camera", NAME).status == 0
    place = "20,20,60,60"
    marked = ("read", photo, "--card", gray, "--camera", NAME, "--patch", f"table={place}", "--json")
    true = json.loads(run(*marked).out)["patches"][0]["lab"]
    other = [true[0] - 14, *true[1:]]
    for lab, kept in ((true, True), (other, False)):
        color = ",".join(map(str, lab))
        assert run("ground", "add", f"table {kept}", "--lab", color).status == 0
        for known in (("--known", f"Table {kept}={place}"), ("--chip", f"offcut@{color}={place}")):
            read = json.loads(run(*marked, *known).out)
            assert (read["learned_camera"] is not None) is kept
            told = [flag["text"] for flag in read["card"]["flags"] if flag["code"] == "camera-contradicted"]
            assert len(told) == (not kept)
            if not kept:
                name = known[1].partition("@")[0].partition("=")[0].lower()
                assert f"Through the learned camera {name}" in told[0].replace("False", "false")
                alone = json.loads(run(*marked, "--camera", "none", *known).out)
                assert read["patches"] == alone["patches"]
    assert "no wood named" in run(*marked, "--known", f"door={place}").err


def test_a_camera_is_known_by_its_lens_too(run: Callable[..., Any], chart: tuple[Path, str], tmp_path: Path) -> None:
    photo, gray = chart
    by_lens = {}
    for lens in ("", "wide 5.1 mm", "tele 9 mm"):
        exif = Image.Exif()
        exif[0x010F], exif[0x0110] = "Acme", "Acme Phone 1"
        if lens:
            exif.get_ifd(0x8769)[0xA434] = lens
        by_lens[lens] = tmp_path / f"{lens or 'none'}.jpg"
        Image.open(photo).save(by_lens[lens], quality=95, exif=exif)
    learn = ("camera", "learn", by_lens["wide 5.1 mm"], "--card-kind", "chart24", "--light", "daylight", "--json")
    (camera,) = json.loads(run(*learn).out)["cameras"]
    assert camera["camera"] == "Acme Phone 1, wide 5.1 mm"
    for lens, path in by_lens.items():
        learned = json.loads(run("read", path, "--card", gray, "--json").out)["learned_camera"]
        assert (learned is not None) == (lens == "wide 5.1 mm")


def test_another_light_said_of_the_same_photo_corrects_it(run: Callable[..., Any], chart: tuple[Path, str]) -> None:
    photo, _ = chart
    for light in ("bulb", "daylight"):
        learned = run("camera", "learn", photo, "--card-kind", "chart24", "--light", light, "--camera", NAME, "--json")
        assert [one["light"] for one in json.loads(learned.out)["cameras"]] == [light]
