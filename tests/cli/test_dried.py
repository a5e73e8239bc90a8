"""``check`` and ``strips`` on the shipped photo of the dried repair: contract, truth, two lights, swatches kept."""

import json

import pytest
from PIL import Image

from colormatch.library.starter import example
from colormatch.records import RegionKind
from tests.cli.test_job import clear_refusal
from tests.scenes import demo

CONTRACT = {"delta_e", "low", "high", "off", "verdict", "next"}


def boxes(kind: RegionKind) -> list[str]:
    shown = example()
    with Image.open(shown.dried) as photo:
        size = photo.size
    return [",".join(map(str, one.box(*size))) for one in shown.dried_regions if one.kind is kind]


SOUND, REPAIR = boxes(RegionKind.SOUND), boxes(RegionKind.REPAIR)
PHOTO = example().dried
PAINTED = ("--painted", "brown glaze,1:3,1")
GROUND = ("--ground", "74.2,6.2,18.6", "--sound-before", "56.5,12.3,24.3")


def check(run, *more: object):
    return run("check", PHOTO, "--sound", *SOUND, "--repair", *REPAIR, *more)


def test_check_keeps_the_contract_and_its_range_holds_the_truth(run) -> None:
    done = check(run, "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert set(answer) >= CONTRACT
    assert answer["low"] <= demo.true_delta_e(demo.painted()) <= answer["high"]
    assert "light" in answer["off"]
    assert all(isinstance(step, str) for step in answer["next"])
    assert "Stop" not in answer["next"][0]


def test_same_photo_same_numbers(run) -> None:
    assert check(run, *PAINTED, "--json").out == check(run, *PAINTED, "--json").out


def test_what_lies_on_it_opens_wiping_back_and_one_more_coat(run) -> None:
    known = " ".join(json.loads(check(run, *PAINTED, *GROUND, "--json").out)["next"])
    assert "Over it" in known
    clear_refusal(check(run, "--painted", "No Such Paint,1:3,1"), "No Such Paint")
    clear_refusal(check(run, "--painted", "Ochre"), "PAINT,RATIO,COATS", status=2)


def test_a_repair_is_kept_and_the_gain_is_told(run) -> None:
    clear_refusal(check(run, "--keep"), "--painted", "--ground", status=2)
    clear_refusal(check(run, "--keep", *PAINTED, *GROUND), "Brown Glaze")  # not on the shelf yet
    run("library", "import", example().dried.parents[1])
    done = check(run, "--keep", *PAINTED, *GROUND, "--ground-name", "side table", "--json")
    assert done.status == 0, done.err
    kept = json.loads(done.out)["kept"]
    assert kept["doubt_after"] <= 1.1 * kept["doubt_before"]  # thirty refits tell a radius to about a tenth
    assert kept["missed"] > 0
    swatch = json.loads(run("swatch", "list", "--paint", "Brown Glaze", "--json").out)["swatches"][-1]
    assert (swatch["id"], swatch["ground"], swatch["coats"]) == (kept["id"], "side table", 1)
    assert "undo" in check(run, "--keep", *PAINTED, *GROUND).out
    run("library", "undo")
    assert json.loads(run("swatch", "list", "--paint", "Brown Glaze", "--json").out)["swatches"][-1] == swatch


def strips(run, *more: object):
    named = [f"thin={REPAIR[0]}", f"wood={SOUND[-1]}"]
    return run("strips", PHOTO, "--sound", *SOUND[:-1], "--strip", *named, *more)


def test_strips_keep_the_contract(run) -> None:
    done = strips(run, "--json")
    assert done.status == 0, done.err
    ranked = json.loads(done.out)["strips"]
    assert [(one["rank"], one["name"]) for one in ranked] == [(1, "wood"), (2, "thin")]
    assert set(ranked[0]) >= {"rank", "name", "lab", "delta_e", "low", "high", "off"}


def test_places_of_one_strip_are_taken_together(run) -> None:
    named = ("--strip", f"thin={REPAIR[0]}", f"wood={SOUND[-1]}", f"thin={REPAIR[1]}", "--json")
    ranked = json.loads(run("strips", PHOTO, "--sound", *SOUND[:-1], *named).out)["strips"]
    assert [one["name"] for one in ranked] == ["wood", "thin"]
    both = json.loads(run("check", PHOTO, "--sound", *SOUND[:-1], "--repair", *REPAIR[:2], "--json").out)
    assert (ranked[1]["lab"], ranked[1]["delta_e"]) == (both["lab"], both["delta_e"])


def test_the_worse_of_two_lights_ranks(run) -> None:
    """In the second photo the strips are marked the other way round, as if the light had turned the match."""
    second = ("--second", PHOTO, "--second-sound", *SOUND[:-1], "--second-strip")
    turned = strips(run, *second, f"wood={REPAIR[0]}", f"thin={SOUND[-1]}", "--json")
    assert turned.status == 0, turned.err
    ranked = json.loads(turned.out)["strips"]
    assert all(one["delta_e"] == max(light["delta_e"] for light in one["lights"]) for one in ranked)
    # One patch each is read to about ΔE 2, so the ranges overlap and the program says so.
    said = {one["name"]: one["one_light_only"] for one in ranked}
    assert said["wood"].startswith("The match seems to hold in the first light only")
    assert said["thin"].startswith("The match seems to hold in the second light only")


@pytest.mark.parametrize(
    ("more", "words", "status"),
    [
        (["--second", PHOTO], "--second-sound", 2),
        (["--second-sound", SOUND[0]], "--second PHOTO", 2),
        (["--second", PHOTO, "--second-sound", SOUND[0], "--second-strip", f"other={REPAIR[0]}"], "same strips", 1),
        (["--keep", "third"], "third", 2),
    ],
)
def test_what_does_not_fit_is_told(run, more: list[object], words: str, status: int) -> None:
    clear_refusal(strips(run, *more), words, status=status)
