"""`mix` through the command line: the contract's keys, every option, refusals in words."""

import json
import math

import pytest
from PIL import Image

from colormatch.library.starter import example

MIX = ("mix", "--paint", "Ochre", "--ratio", "1:3", "--coats", 2)


def answer(run, *arguments: object) -> dict:
    done = run(*arguments, "--json")
    assert done.status == 0, done.err
    return json.loads(done.out)


def test_keys_of_the_contract_and_of_every_wash(run) -> None:
    told = answer(run, *MIX, "--area", "40cm2")
    assert set(told) >= {
        "paint", "ratio", "coats", "batch_ml", "mixed_ml", "mixed_ratio", "rounding_delta_e", "amounts",
        "assumed_cm2_per_ml", "cost", "steps", "seconds", "cautions", "flags",
    }  # fmt: skip
    assert (told["paint"], told["ratio"], told["coats"]) == ("Ochre", "1:3", 2)
    assert [amount["ml"] for amount in told["amounts"]] == [2, 6]
    assert told["mixed_ml"] == math.fsum(amount["ml"] for amount in told["amounts"])
    assert told["washes"][0]["amounts"] == told["amounts"]


def test_a_mix_with_a_glaze_over_it(run) -> None:
    told = answer(
        run, "mix", "--paint", "ochre=2", "--paint", "Raw Umber", "--ratio", "1:3", "--glaze", "Red Oxide,80%,1",
        "--area", "4x10cm + 2 sq in", "--over", "72,6,19", "--smallest", "0.5ml",
    )  # fmt: skip
    names = [[amount["name"] for amount in wash["amounts"]] for wash in told["washes"]]
    assert names == [["Ochre", "Raw Umber", "water"], ["Red Oxide", "water"]]
    assert told["area_cm2"] == pytest.approx(40 + 2 * 2.54**2, abs=1e-4)
    assert told["job_cost"] == pytest.approx(sum(wash["cost"] for wash in told["washes"]), abs=1e-3)
    assert told["rounding_delta_e"] >= 0
    assert told["slip_delta_e"] > 0


def test_assumptions_are_the_user_s(run) -> None:
    told = answer(
        run, *MIX, "--area", "2000cm2", "--coverage", 50, "--waste", "0%", "--smallest", "1 drop", "--drop", "0.04ml",
        "--density", 1.3,
    )  # fmt: skip
    assert (told["assumed_cm2_per_ml"], told["assumed_waste"]) == (50, 0)
    assert told["batch_ml"] == pytest.approx(80, rel=0.01)
    first = told["amounts"][0]
    assert first["g"] == pytest.approx(first["ml"] * 1.3, abs=1e-3)
    assert first["drops"] == pytest.approx(first["ml"] / 0.04, abs=0.1)


def test_times_are_the_user_s(run) -> None:
    told = answer(
        run, *MIX, "--batch", "20ml", "--stands", "90 s", "--dries", "30min", "--clear", "shellac",
        "--clear-dries", "45 min", "--clear-coats", 2,
    )  # fmt: skip
    waits = [step["seconds"] for step in told["steps"] if step["wait"]]
    assert waits == [1800, 90, 1800, 90, 1800, 2700, 2700]
    assert told["seconds"] == sum(step["seconds"] for step in told["steps"])
    assert any("ventilation" in line for line in told["cautions"])


def test_the_damage_is_measured_in_the_photo(run) -> None:
    shown = example()
    with Image.open(shown.photo) as photo:
        damage = ",".join(map(str, shown.outline.box(*photo.size)))
    told = answer(run, *MIX, "--photo", shown.photo, "--damage", damage, "--card-size", "105x70mm")
    assert told["area_low_cm2"] < told["area_cm2"] < told["area_high_cm2"]
    # The box around an outline of 121 cm².
    assert 121 < told["area_cm2"] < 2 * 121
    by_hand = answer(run, *MIX, "--photo", shown.photo, "--damage", damage, "--card-size", "105x70mm",
                     "--card", "1636,292,330,210")  # fmt: skip
    assert [flag["code"] for flag in by_hand["flags"]] == ["card-outline"]


def test_people_get_all_of_it(run) -> None:
    text = run(*MIX, "--area", "40cm2", "--over", "72,6,19").out
    words = ("parts", "tsp", "fl oz", "drops", "7.98 g", "Assumed for 40 cm²", "ΔE00", "currency", "Wipe back", "(1 h)")
    for word in (*words, "From the first step to the end", "licensed practice"):
        assert word in text


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--area", "a hand"), "not an area"),
        (("--batch", "a lot"), "not a volume"),
        (("--batch", "9999999l"), "liters"),
        (("--photo", "nowhere.jpg"), "doesn't show the size"),
        (("--photo", "nowhere.jpg", "--damage", "1,1,9,9", "--card-size", "big"), "not the size of a card"),
        (("--area", "40cm2", "--smallest", "a pinch"), "not a volume"),
        (("--area", "40cm2", "--coverage", "0"), "coverage"),
        (("--area", "40cm2", "--coverage", "nan"), "coverage"),
        (("--area", "40cm2", "--waste", "much"), "not a valid percentage"),
        (("--area", "40cm2", "--density", "iron=7"), "not a paint in this recipe"),
        (("--area", "40cm2", "--density", "9"), "is impossible for"),
        (("--area", "40cm2", "--dries", "soon"), "not a time"),
        (("--area", "40cm2", "--glaze", "Ochre"), "not a wash"),
        (("--area", "40cm2", "--paint", "Nothing"), "no paint named Nothing"),
        (("--area", "40cm2", "--paint", "Raw Umber=much"), "not a number of parts"),
        (("--area", "40cm2", "--paint", "Raw Umber=0"), "parts above zero"),
    ],
)
def test_what_can_t_be_is_told_in_two_sentences(run, arguments: tuple, word: str) -> None:
    done = run(*MIX, *arguments)
    assert done.status == (1 if word == "no paint named Nothing" else 2)
    assert word in done.err
    assert "Traceback" not in done.err
    assert len(done.err.strip().splitlines()) == 1
    assert done.err.count(".") >= 2
