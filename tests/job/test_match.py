"""Matching from photos through the command line: a color of another photo tied by a shop chip, spots, grain, measures.

Everything is simulated: photographs of boards whose true colors are known, paints of another physics than the model's.
"""

import json
import os
import pty
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from colormatch.cli.main import main
from colormatch.library.store import Library
from colormatch.records import Box
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.large_shelf import large_shelf
from tests.scenes.paints import PAINTS, Wash, washed
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.spectra import delta_e
from tests.scenes.surface import Surface
from tests.scenes.woods import DARK_WOOD, LIGHT_WOOD, MIDDLE_WOOD, Wood, board, wood

SIZE = (900, 600)
CARD, CHIP, WOOD, SECOND = (
    Box(520, 80, 240, 160),
    Box(100, 60, 160, 120),
    Box(80, 400, 300, 140),
    Box(520, 400, 300, 140),
)
#: A wood that is redder than the chip.
REDDISH = wood(2.2, 100, 0.2)
#: Two lights and two cameras that each add a cast of their own.
HERE = (Lighting("D50"), Camera("shifted", (0.06, 0.0, -0.08), white_level=0.8, s_curve=0.15, blur=0.6, noise=0.004))
THERE = (Lighting("A"), Camera("widened", (-0.05, 0.01, 0.07), white_level=0.7, s_curve=0.10, blur=0.6, noise=0.004))


def text(box: Box) -> str:
    return ",".join(str(v) for v in box)


def placed(name: str, what: str, surface: Surface, box: Box) -> Thing:
    return Thing(name, what, surface, rectangle((box.x + box.w / 2, box.y + box.h / 2), (box.w + 40, box.h + 40)))


def scene(woods: list[tuple[Wood, Box]], seed: int) -> Scene:
    """Boards, a gray card and a chip: an offcut of the middle wood, the same in every photo."""
    rng = np.random.default_rng(seed)
    shape = (180, 340)
    laid = [placed(f"board {i}", "wood", board(wood, shape, rng), box) for i, (wood, box) in enumerate(woods)]
    return Scene(
        *SIZE,
        (
            Thing("bench", "bench", things.bench_top(SIZE[::-1], rng), rectangle((450, 300), SIZE)),
            *laid,
            placed("card", "gray card", things.gray_card(), CARD),
            placed("chip", "chip", board(MIDDLE_WOOD, (160, 200), np.random.default_rng(99)), CHIP),
        ),
    )


def photographed(shown: Scene, path: Path, seen: tuple[Lighting, Camera], seed: int) -> Path:
    path.write_bytes(encoded(shown.photograph(*seen, np.random.default_rng(seed)), "JPEG", quality=95))
    return path


def answered(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict:
    capsys.readouterr()
    assert main([str(argument) for argument in arguments]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One that holds no paint: the shipped example lends its shelf."""
    folder = tmp_path_factory.mktemp("library")
    Library.open(folder)
    return folder


def test_a_companion_piece_in_another_photo_tied_by_a_chip(tmp_path, library, capsys):
    """The piece to match stands elsewhere: its photo is read with the chip, the damage's photo is matched with it."""
    card = ("--card", text(CARD))
    tied, untied = [], []
    for number, kind in enumerate((DARK_WOOD, MIDDLE_WOOD, REDDISH)):
        companion, damaged = scene([(kind, WOOD)], 10 + number), scene([(LIGHT_WOOD, WOOD)], 20 + number)
        there = photographed(companion, tmp_path / f"there {number}.jpg", THERE, number)
        here = photographed(damaged, tmp_path / f"here {number}.jpg", HERE, number)
        target, over = companion.lab(WOOD), damaged.lab(WOOD)
        settled = ",".join(f"{v:.2f}" for v in companion.lab(CHIP))
        for chip, results in (((), untied), (("--chip", f"offcut@{settled}={text(CHIP)}"), tied)):
            read = answered(capsys, "read", there, "--patch", f"top={text(WOOD)}", *card, *chip, "--json")
            patch = next(p for p in read["patches"] if p["name"] == "top")
            found = answered(
                capsys, "match", here, "--damage", text(WOOD), "--target", ",".join(str(v) for v in patch["lab"]),
                "--target-uncertainty", patch["uncertainty"], *card, *chip, "--library", library, "--json",
            )  # fmt: skip
            assert found["target"]["uncertainty"] == pytest.approx(patch["uncertainty"])
            layer = found["washes"][0]["layers"][0]
            wash = Wash(PAINTS[layer["paints"][0]["name"]], layer["paint_fraction"], layer["coats"])
            dried = np.asarray(washed(damaged["board 0"].surface, [wash]).lab())
            wanted = float(delta_e(np.array(patch["lab"]), target))
            results.append((wanted, float(delta_e(dried, target)), float(delta_e(over, target))))
    (off_tied, left_tied, nothing), (off_untied, left_untied, _) = np.mean(tied, axis=0), np.mean(untied, axis=0)
    # An offcut near the wood's own color takes away much of what the two lights and cameras did.
    assert off_tied < off_untied
    assert left_tied < left_untied
    assert left_tied < 0.5 * nothing


def test_a_wash_for_each_spot_one_for_all_and_the_grain(tmp_path, library, capsys):
    shown = scene([(DARK_WOOD, WOOD), (LIGHT_WOOD, SECOND)], 5)
    photo = photographed(shown, tmp_path / "spots.jpg", HERE, 6)
    half = SECOND.w // 2 - 10
    spots = [Box(SECOND.x, SECOND.y, half, SECOND.h), Box(SECOND.x + half + 20, SECOND.y, half, SECOND.h)]
    marks = ["--sound", text(WOOD), "--damage", *map(text, spots), "--card", text(CARD), "--library", library]
    plain = answered(capsys, "match", photo, *marks, "--each", "--grain", "--json")
    assert len(plain["each"]) == 2
    assert all(len(wash["expected_delta_e"]) == 2 for wash in plain["together"])
    assert "grain" in plain
    darker = answered(capsys, "match", photo, *marks, "--each", "--shift", "darker=4", "--json")
    for one, moved in zip([plain, *plain["each"]], [darker, *darker["each"]], strict=True):
        assert moved["target"]["lab"][0] < one["target"]["lab"][0]


def test_only_ratios_that_the_spoon_gives(library, capsys):
    colors = ("match", "--target", "62,9,25", "--over", "74,6,20", "--library", library, "--json")
    coarse = answered(capsys, *colors, "--smallest", "5ml", "--batch", "20ml")
    ratios = {layer["ratio"] for wash in coarse["washes"] for layer in wash["layers"]}
    assert ratios <= {"full", "1:1", "1:2", "2:1", "1:3", "3:1"}
    assert answered(capsys, *colors, "--smallest", "1 ml")["searched"] > coarse["searched"]
    assert main([*map(str, colors), "--smallest", "40ml"]) != 0
    said = capsys.readouterr().err
    assert "is too small for steps" in said
    assert "Traceback" not in said


def test_a_large_shelf_is_fitted_with_a_bar_on_a_terminal(tmp_path):
    """In a pseudo terminal, as a person sees it; the second time nothing is left to fit."""
    tins, swatches = large_shelf(12)
    Library.open(tmp_path).add_all([*tins, *swatches], "simulated paints")
    told = _in_a_terminal("match", "--target", "62,9,25", "--over", "74,6,20", "--library", str(tmp_path))
    assert [int(n) for n in re.findall(r"Fitting paints \[[#.]{30}\] (\d+) of 12", told)] == list(range(12))
    assert "recipes searched" in told
    assert "Fitting paints [" not in told.rpartition("recipes searched")[2]


def _in_a_terminal(*arguments: str) -> str:
    """What a command prints to a terminal."""
    child, terminal = pty.fork()
    if child == 0:
        os.execv(sys.executable, [sys.executable, "-m", "colormatch.cli.main", *arguments])
    told = b""
    while True:
        try:
            part = os.read(terminal, 65536)
        except OSError:  # the far end is closed
            break
        if not part:
            break
        told += part
    _, status = os.waitpid(child, 0)
    os.close(terminal)
    assert status == 0, told.decode()
    return told.decode()


def test_a_color_that_is_none(library, capsys):
    with pytest.raises(SystemExit) as refused:
        main(["match", "--target", "200,0,0", "--over", "74,6,20", "--library", str(library)])
    assert refused.value.code == 2
    assert "not a CIELAB color" in capsys.readouterr().err
