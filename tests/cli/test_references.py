"""Every reference through the ``read`` command: what is found, what is typed, and what is said when it is another."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Done
from tests.job.test_references import WOOD_BOX, photograph
from tests.scenes.files import encoded
from tests.scenes.spectra import delta_e, reflectance_to_lab

Run = Callable[..., Done]
WOOD = "wood=" + ",".join(map(str, WOOD_BOX))
#: A corner of the board, as a chip.
CHIP_BOX = (100, 60, 120, 80)


@pytest.fixture
def photo(tmp_path: Path) -> Callable[[str], Path]:
    def save(card: str) -> Path:
        path = tmp_path / f"{card}.png"
        path.write_bytes(encoded(photograph(card)[0], "PNG"))
        return path

    return save


@pytest.mark.parametrize(
    ("kind", "value"),
    [("three-step", "0.89/0.18/0.035"), ("three-step", "89%/18%/3.5%"), ("chart24", "before-2014"), ("chart24", "")],
)
def test_found_by_itself_and_near_the_truth(run: Run, photo: Callable[[str], Path], kind: str, value: str) -> None:
    stated = ("--card-value", value) if value else ()
    done = run("read", photo(kind), "--card-kind", kind, *stated, "--patch", WOOD, "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert (answer["card"]["kind"], answer["card"]["found"]) == (kind, "auto")
    patch = answer["patches"][0]
    assert delta_e(np.array(patch["lab"]), photograph(kind)[1].lab(WOOD_BOX)) <= patch["uncertainty"]


def test_a_chart_by_its_own_file_comes_nearer(run: Run, photo: Callable[[str], Path], tmp_path: Path) -> None:
    from tests.scenes.things import chart_reflectances

    rows = "\n".join(",".join(f"{v:.3f}" for v in lab) for lab in reflectance_to_lab(chart_reflectances()))
    (tmp_path / "mine.csv").write_text(f"L,a,b\n{rows}\n")
    uncertainties = []
    for value in ("since-2014", str(tmp_path / "mine.csv")):
        done = run("read", photo("chart24"), "--card-kind", "chart24", "--card-value", value, "--patch", WOOD, "--json")
        uncertainties.append(json.loads(done.out)["patches"][0]["uncertainty_systematic"])
    assert uncertainties[1] < uncertainties[0]
    done = run("read", photo("chart24"), "--card-kind", "chart24", "--card-value", "none.cxf", "--patch", WOOD)
    assert done.status != 0
    assert "The file none.cxf of a chart's patches doesn't exist" in done.err


@pytest.mark.parametrize("kind", ["three-step", "chart24"])
def test_another_reference_is_named_with_what_to_type(run: Run, photo: Callable[[str], Path], kind: str) -> None:
    done = run("read", photo(kind), "--patch", WOOD)
    assert done.status != 0
    assert f"--card-kind {kind}" in done.err
    assert "Traceback" not in done.err


def test_a_chip_of_the_library_is_known_by_its_name(run: Run, photo: Callable[[str], Path]) -> None:
    place = ",".join(map(str, CHIP_BOX))
    lab = ",".join(f"{v:.3f}" for v in photograph("gray")[1].lab(CHIP_BOX))
    asked = run("read", photo("gray"), "--patch", WOOD, "--chip", f"offcut={place}")
    assert asked.status != 0
    assert "no shop chip named offcut" in asked.err or "no library" in asked.err.lower()
    added = run("chip", "add", "Offcut", "--lab", lab, "--uncertainty", 0)
    assert added.status == 0, added.err
    asked = run("read", photo("gray"), "--patch", WOOD, "--chip", f"board={place}")
    assert "no shop chip named board" in asked.err
    assert "Offcut" in asked.err
    named, typed, without = (
        json.loads(run("read", photo("gray"), "--patch", WOOD, *chip, "--json").out)
        for chip in (("--chip", f"offcut={place}"), ("--chip", f"offcut@{lab}={place}"), ())
    )
    assert named["patches"][0]["lab"] == typed["patches"][0]["lab"]
    true = photograph("gray")[1].lab(WOOD_BOX)
    off = [float(delta_e(np.array(answer["patches"][0]["lab"]), true)) for answer in (named, without)]
    assert off[0] < off[1]
    assert "shop chip" in named["steps"][-1]


def test_reading_with_a_library_that_is_not_there_says_so_and_makes_nothing(
    run: Run, photo: Callable[[str], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("paint", "add", "Umber")  # the usual library exists
    command = ("read", photo("gray"), "--patch", WOOD, "--json")
    usual = run(*command)
    assert usual.err == ""
    before = sorted(tmp_path.rglob("*"))
    absent = tmp_path / "typo"
    named = run(*command, "--library", absent)
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(absent))
    for done in (named, run(*command)):
        assert (done.status, done.out) == (0, usual.out)
        assert done.err == f"There is no library in {absent}; the photo is read without one.\n"
    for option in ("--chip", "--known"):
        refused = run(*command, option, f"offcut={','.join(map(str, CHIP_BOX))}")
        assert refused.status == 1
        assert "named offcut" in refused.err
    assert sorted(tmp_path.rglob("*")) == before


def test_a_stand_in_is_read_where_it_is_marked(run: Run, photo: Callable[[str], Path]) -> None:
    """What is marked here is the gray card, whose color is given: wood comes out the same, with more doubt."""
    box = ",".join(map(str, (500, 150, 240, 140)))
    by_card = run("read", photo("gray"), "--card", box, "--patch", WOOD, "--json")
    stated = ("--card-value", "49.5,0,0")
    by_paper = run("read", photo("gray"), "--card", box, "--card-kind", "paper", *stated, "--patch", WOOD, "--json")
    assert by_paper.status == 0, by_paper.err
    card, paper = (json.loads(done.out) for done in (by_card, by_paper))
    assert paper["card"]["kind"] == "paper"
    assert "stand-in" in [flag["code"] for flag in paper["card"]["flags"]]
    assert paper["patches"][0]["lab"] == pytest.approx(card["patches"][0]["lab"], abs=0.1)
    assert paper["patches"][0]["uncertainty"] > card["patches"][0]["uncertainty"]
    asked = run("read", photo("gray"), "--card-kind", "cardboard", "--patch", WOOD)
    assert asked.status == 1
    assert "white cardboard is not found" in asked.err


def test_a_piece_is_named_as_a_wood_or_a_chip_of_the_library(run: Run, photo: Callable[[str], Path]) -> None:
    box = ",".join(map(str, (500, 150, 240, 140)))
    marked = ("read", photo("gray"), "--card", box, "--card-kind", "piece", "--patch", WOOD, "--json")
    run("ground", "add", "Slate", "--lab", "49.5,0,0", "--uncertainty", 3)
    run("chip", "add", "Offcut", "--lab", "49.5,0,0", "--uncertainty", 0)
    wood, chip, typed, both = (
        json.loads(run(*marked, "--card-value", value).out) for value in ("slate", "offcut", "49.5,0,0", "49.5,0,0,3")
    )
    assert wood == both
    assert chip == typed
    radius = [one["patches"][0]["uncertainty_systematic"] for one in (wood, typed)]
    assert radius[0] ** 2 - radius[1] ** 2 == pytest.approx(9, abs=0.5)
    assert "no wood or chip named oak" in run(*marked, "--card-value", "oak").err
    assert "color of the second piece is missing" in run(*marked).err
