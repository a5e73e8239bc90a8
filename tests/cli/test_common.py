"""What the commands share."""

import json
import math
from pathlib import Path

import pytest

from colormatch.cli.common import STATES
from colormatch.cli.records import SORTS
from colormatch.cli.references import CARD_KINDS
from colormatch.instrument.measurements import read_measurements
from colormatch.library.find import Sort
from colormatch.records import CardKind, SurfaceState


def test_the_words_that_options_take_are_those_of_the_records() -> None:
    """They are written out, so that ``--help`` imports no records."""
    assert tuple(SurfaceState) == STATES
    assert tuple(kind for kind in CardKind if kind is not CardKind.NONE) == CARD_KINDS
    assert tuple(Sort) == SORTS


def test_a_color_that_had_to_be_adapted_is_kept_as_less_sure(run, tmp_path: Path) -> None:
    path = tmp_path / "x.txt"
    head = 'CGATS.17\nILLUMINANT "D50"\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n'
    path.write_text(head + "BEGIN_DATA\noffcut 62 9 25\nEND_DATA\n")
    adapting = read_measurements(path)[0].uncertainty
    assert adapting > 0
    added = json.loads(run("chip", "add", "one", "--measured", path, "--json").out)["added"]
    assert added["uncertainty"] == pytest.approx(math.hypot(1, adapting))
    said = json.loads(run("chip", "add", "two", "--measured", path, "--uncertainty", "0.5", "--json").out)["added"]
    assert said["uncertainty"] == 0.5
