"""The whole job through the command line against the simulator's truth; bad input is answered in words."""

import itertools
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage.color import deltaE_ciede2000

from colormatch.library.starter import example, starter_shelf
from colormatch.records import Box
from tests.scenes import demo, things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.studies import light


def boxes(kind: str) -> list[str]:
    with Image.open(example().photo) as photo:
        size = photo.size
    return [",".join(map(str, region.box(*size))) for region in example().regions if region.kind == kind]


@pytest.fixture(scope="module")
def best_possible() -> float:
    """Least true ΔE00 of any single wash of the starter shelf over the demo's damage."""
    ratios = [1 / (1 + water) for water in (0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16, 20, 24)]
    names = [paint.name for paint in starter_shelf().paints]
    return min(
        demo.true_delta_e([demo.wash(name, ratio, coats)])
        for name, ratio, coats in itertools.product(names, ratios, (1, 2, 3))
    )


def test_demo_does_the_whole_job(run, tmp_path: Path, best_possible: float) -> None:
    done = run("demo", "--out", tmp_path / "out", "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    best = answer["match"]["washes"][0]
    true = demo.true_delta_e(
        [demo.wash(x["paints"][0]["name"], x["paint_fraction"], x["coats"]) for x in best["layers"]]
    )
    assert true <= best_possible + 1.0
    assert best["low"] <= best["expected_delta_e"] <= best["high"]
    with Image.open(answer["preview"]) as preview:
        assert preview.width > preview.height > 100
    report = Path(answer["report"]).read_text(encoding="utf-8")
    assert "simulated" in report
    assert "://" not in report


def test_demo_reads_the_true_colors_as_well_as_it_claims(run, tmp_path: Path) -> None:
    answer = json.loads(run("demo", "--out", tmp_path, "--json").out)
    for patch, true in zip(
        answer["read"]["patches"], [*demo.truth()["sound_patches"], demo.truth()["damage"]], strict=True
    ):
        assert float(demo.delta_e(np.array(patch["lab"]), np.array(true))) <= patch["uncertainty"]


def test_match_photo_keeps_the_contract(run) -> None:
    done = run("match", example().photo, "--sound", *boxes("sound"), "--damage", *boxes("damage"), "--top", 5, "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert set(answer) >= {"target", "ground", "washes", "advice", "searched", "seconds"}
    assert [wash["rank"] for wash in answer["washes"]] == [1, 2, 3, 4, 5]
    wash = answer["washes"][0]
    assert set(wash) >= {"rank", "layers", "lab", "expected_delta_e", "low", "high", "basis", "group", "off"}
    assert wash["best_delta_e"] == pytest.approx(demo.delta_e(np.array(wash["lab"]), answer["target"]["lab"]), abs=0.02)
    unseen = [one["unseen"] for one in answer["washes"]]
    assert answer["likeliest_unseen"] == 1 + unseen.index(max(unseen))
    assert set(wash["layers"][0]) >= {"paints", "paint_fraction", "ratio", "coats"}
    assert set(wash["layers"][0]["paints"][0]) == {"name", "parts"}
    assert wash["basis"] in ("measured", "modelled")  # the spelling that programs rely on


def test_match_numbers_and_limits(run) -> None:
    done = run("match", "--target", "56,11,25", "--over", "72,6,19", "--coats", 1, "--paint", "Ochre", "--json")
    assert done.status == 0, done.err
    layers = [layer for wash in json.loads(done.out)["washes"] for layer in wash["layers"]]
    assert {layer["coats"] for layer in layers} <= {1}
    assert {part["name"] for layer in layers for part in layer["paints"]} == {"Ochre"}


def test_paints_and_later_washes_stand_in_a_row_or_are_repeated(run) -> None:
    def washes(*more: str) -> list:
        done = run("match", "--target", "46,11,25", "--over", "72,6,19", *more, "--json")
        assert done.status == 0, done.err
        return json.loads(done.out)["washes"]

    later = ("Cream,1:9,1", "brown glaze,1:12,1")
    row = washes("--paint", "Ochre", "Raw Umber", "--then", *later)
    assert row == washes("--paint", "Ochre", "--paint", "Raw Umber", "--then", later[0], "--then", later[1])
    assert {part["name"] for wash in row for layer in wash["layers"] for part in layer["paints"]} == {
        "Ochre",
        "Raw Umber",
    }
    assert row != washes("--paint", "Ochre", "Raw Umber", "--then", *reversed(later))


def test_same_input_same_numbers(run) -> None:
    def numbers() -> dict:
        answer = json.loads(run("match", "--target", "56,11,25", "--over", "72,6,19", "--json").out)
        del answer["seconds"]
        return answer

    assert numbers() == numbers()


def test_read_keeps_the_contract(run) -> None:
    card = ",".join(map(str, Box(*demo.CARD)))
    done = run("read", example().photo, "--card", card, "--patch", "top=250,300,200,150", "--json")
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert set(answer["photo"]) >= {"width", "height", "format", "camera", "profile"}
    assert set(answer["light"]) >= {"cast", "cct_k", "evenness"}
    assert answer["card"]["kind"] == "gray"
    assert answer["card"]["box"] == list(demo.CARD)
    assert answer["card"]["found"] == "given"
    assert set(answer["patches"][0]) >= {"name", "box", "lab", "uncertainty", "pixels", "flags"}
    assert answer["patches"][0]["box"] == [250, 300, 200, 150]


def test_patches_of_one_name_are_taken_together(run) -> None:
    places = ["250,300,200,150", "500,320,150,120", "300,500,180,140"]
    patches = [argument for place in places for argument in ("--patch", f"wood={place}")]
    alone = ("--patch", "other=250,300,200,150")
    answer = json.loads(run("read", example().photo, *patches, *alone, "--json").out)
    (together,) = answer["surfaces"]
    assert (together["name"], together["patches"]) == ("wood", 3)
    spread = np.array([patch["lab"] for patch in answer["patches"][:3]])
    assert np.all((spread.min(axis=0) <= together["lab"]) & (together["lab"] <= spread.max(axis=0)))
    assert together["uncertainty_random"] < max(patch["uncertainty_random"] for patch in answer["patches"])
    assert "wood, 3 together" in run("read", example().photo, *patches).out


def test_people_get_text(run) -> None:
    done = run("read", example().photo, "--patch", "top=250,300,200,150")
    assert "top" in done.out
    assert "±" in done.out
    assert "{" not in done.out


def clear_refusal(done, *words: str, status: int = 1) -> None:
    assert done.status == status
    assert done.out == ""
    assert "Traceback" not in done.err
    *notices, refusal = done.err.strip().splitlines()
    assert all(notice.startswith("There is no library in") for notice in notices)
    assert refusal.count(".") >= 2
    for word in words:
        assert word in refusal


def test_no_card_asks_for_help(run, tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    wood = (np.array([150, 110, 70]) + rng.normal(0, 6, (600, 800, 1))).clip(0, 255).astype(np.uint8)
    Image.fromarray(wood).save(tmp_path / "plain.png")
    clear_refusal(run("read", tmp_path / "plain.png", "--patch", "a=10,10,100,100"), "card")
    done = run("read", tmp_path / "plain.png", "--card", "none", "--patch", "a=10,10,100,100", "--json")
    answer = json.loads(done.out)
    assert answer["card"]["found"] == "none"
    assert answer["patches"][0]["uncertainty"] > 5


def test_card_outside_the_photo(run) -> None:
    clear_refusal(run("read", example().photo, "--card", "5000,10,100,100", "--patch", "a=10,10,99,99"), "not inside")


def test_doubts_about_the_photo_are_told_by_each_command(run, tmp_path: Path) -> None:
    """A simulated photo, of a bulb beside daylight."""
    rng = np.random.default_rng(4)
    mixed, lighting = tmp_path / "mixed.jpg", Lighting("D65", second="A", second_share=0.6)
    laid = light.scene(rng, things.white_paper())
    shown = laid.photograph(lighting, Camera.typical(rng, white_level=0.7), rng)
    mixed.write_bytes(encoded(shown, "JPEG", quality=95))
    card = ("--card", ",".join(map(str, light.CARD)))
    sound, repair = ("--sound", "880,280,90,200"), "990,280,90,200"
    for command, mark in (("match", "--damage"), ("check", "--repair"), ("strips", "--strip")):
        wanted = [command, mixed, *card, *sound, mark, f"a={repair}" if command == "strips" else repair]
        assert "light-mixed" in {flag["code"] for flag in json.loads(run(*wanted, "--json").out)["flags"]}
        assert run(*wanted).out.count("Note: Two kinds of light fall on the scene") == 1


def test_each_ranking_asks_whether_the_wood_was_dry(run) -> None:
    marks = ("--sound", *boxes("sound"), "--damage", *boxes("damage"))
    assert "assumed to be dry" in run("match", example().photo, *marks).out


def test_a_card_that_is_darker_than_stated_is_told(run) -> None:
    marks = ("--sound", *boxes("sound"), "--damage", *boxes("damage"))
    clear_refusal(
        run("match", example().photo, *marks, "--card-value", 0.9), "brighter than white", "in the same light"
    )


def test_unwritable_library(run, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    done = run("match", "--target", "56,11,25", "--over", "72,6,19", "--library", blocked / "library")
    clear_refusal(done)
    assert blocked.read_text() == "not a folder"


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["match"], 2),
        (["match", "--target", "56,11,25"], 2),
        (["match", "--target", "56,11,25", "--over", "72,6,19", "--paint", "No Such Paint"], 1),
        (["match", "--target", "56,11,25", "--over", "72,6,19", "--shift", "purple=3"], 2),
        (["match", "--target", "56,11,25", "--over", "72,6,19", "--then", "Ochre"], 2),
        (["match", "--target", "56,11,25", "--over", "72,6,19", "--clear", "No Such Coat"], 1),
        (["match", "--target", "56,11,25", "--over", "72,6,19", "--target-uncertainty", "-2"], 2),
        (["read", "nowhere.jpg"], 1),
        (["read", str(example().photo), "--card-kind", "chart24", "--card", "9,9,600,400", "--card-value", "0.18"], 1),
    ],
)
def test_bad_wishes_are_answered_in_words(run, arguments: list[str], status: int) -> None:
    clear_refusal(run(*arguments), status=status)


@pytest.mark.parametrize(
    "arguments",
    [
        ["sand"],
        ["match", "--target", "56,11"],
        ["match", "--target", "156,11,3", "--over", "72,6,19"],
        ["match", "--target", "56,11,25", "--over", "72,6,19", "--coats", "0"],
        ["match", "--target", "56,11,25", "--over", "72,6,19", "--seed", "-1"],
        ["read", "x.jpg", "--patch", "a=1,2,3"],
        ["read", "x.jpg", "--card", "1,2,3"],
        ["read"],
    ],
)
def test_wrong_usage_exits_with_2(run, arguments: list[str]) -> None:
    done = run(*arguments)
    assert done.status == 2
    assert "Traceback" not in done.err


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_pipe_of_another_encoding_gets_the_same_document(encoding: str, tmp_path: Path) -> None:
    def said(encoding: str, *more: str) -> bytes:
        wanted = [
            sys.executable,
            "-m",
            "colormatch.cli.main",
            "match",
            "--target",
            "56,11,25",
            "--over",
            "72,6,19",
            *more,
        ]
        places = {"PYTHONIOENCODING": encoding, "COLORMATCH_LIBRARY": "", "XDG_DATA_HOME": str(tmp_path)}
        return subprocess.run(wanted, env=os.environ | places, capture_output=True, check=True).stdout

    documents = [json.loads(said(one, "--json")) | {"seconds": 0} for one in (encoding, "utf-8")]
    assert documents[0] == documents[1]
    assert b"90 % range" in said(encoding)


def test_version_and_help(run) -> None:
    assert run("--version").out.startswith("colormatch ")
    assert "match" in run("--help").out


def test_several_damages_and_grain_lines(run) -> None:
    two = [*boxes("damage"), ",".join(map(str, demo.FILLER))]
    done = run(
        "match",
        example().photo,
        "--sound",
        *boxes("sound"),
        "--damage",
        *two,
        "--each",
        "--grain",
        "--top",
        3,
        "--json",
    )
    assert done.status == 0, done.err
    answer = json.loads(done.out)
    assert len(answer["each"]) == 2
    best = [one["washes"][0]["expected_delta_e"] for one in answer["each"]]
    together = answer["together"][0]["expected_delta_e"]
    assert len(together) == 2
    # One wash for all can be no better at its worst spot than the harder spot's own best; 0.4 is a group's width.
    assert max(together) >= max(best) - 0.4
    assert answer["grain"]["washes"]


def test_kept_color_counts_the_photo_s_whole_error(run) -> None:
    photo, damage = example().photo, boxes("damage")
    kept = json.loads(run("match", photo, "--target", "55.6,11.4,25.5", "--damage", *damage, "--json").out)
    over = ",".join(map(str, kept["ground"]["lab"]))
    exact = json.loads(run("match", "--target", "55.6,11.4,25.5", "--over", over, "--json").out)
    assert kept["target"]["lab"] == [55.6, 11.4, 25.5]
    assert kept["ground"]["uncertainty"] > 5  # a gray card's, of real photos: tests/studies/measured/real_photos.md
    assert kept["washes"][0]["expected_delta_e"] > exact["washes"][0]["expected_delta_e"] + 1


def test_a_typed_color_has_a_radius_of_one_unless_said(run):
    def told(*more):
        return json.loads(run("match", "--target", "56,11,25", "--over", "72,6,19", *more, "--json").out)

    usual, exact = told(), told("--target-uncertainty", 0, "--over-uncertainty", "0.0")
    assert [usual[end]["uncertainty"] for end in ("target", "ground")] == [1, 1]
    assert [exact[end]["uncertainty"] for end in ("target", "ground")] == [0, 0]
    assert exact["washes"][0]["expected_delta_e"] < usual["washes"][0]["expected_delta_e"]


def test_best_guess_doubt_and_grain_are_told_apart(run):
    answer = json.loads(run("match", "--target", "56,11,25", "--over", "72,6,19", "--json").out)
    for wash in answer["washes"]:
        by_skimage = float(deltaE_ciede2000(np.array(wash["lab"]), np.array(answer["target"]["lab"])))
        assert wash["best_delta_e"] == pytest.approx(by_skimage, abs=0.02)
        assert 0 <= wash["unseen"] <= 1
        assert 0.5 <= wash["grain_kept"] <= 1
    likeliest = max(answer["washes"], key=lambda wash: wash["unseen"])
    assert answer["likeliest_unseen"] == likeliest["rank"]
    hiding = json.loads(run("match", "--target", "46,11,25", "--over", "72,6,19", "--grain-kept", 0, "--json").out)
    assert min(wash["grain_kept"] for wash in hiding["washes"]) < 0.5


def test_states_of_the_surfaces_count_under_a_clear_coat(run):
    coat = ("match", "--target", "56,11,25", "--over", "72,6,19", "--clear", "Matte Water Varnish", "--json")
    bare, sealed = (
        json.loads(run(*coat, *states).out)
        for states in ((), ("--sound-state", "sealed", "--damage-state", "top-coated"))
    )
    assert bare["finished"][0] < sealed["finished"][0] - 4
    assert run(*coat, "--sound-state", "wet").status == 2
