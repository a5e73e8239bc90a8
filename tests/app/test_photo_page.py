"""The Photo page, by key."""

from __future__ import annotations

import json

import pytest

from colormatch.library import SavedRepair
from colormatch.records import CardKind, SurfaceState


def saved(library, id=1):
    return json.loads(library.repair(id).document)


def kinds(library, id=1):
    return [region["kind"] for region in saved(library, id)["regions"]]


def sentences(app):
    return [error.value for error in app.error]


def test_start_page_keeps_nothing(open_app, library):
    app = open_app()
    assert app.button(key="example").label == "Try the example"
    assert library.repairs() == ()


def test_example_opens_with_its_card_found_and_its_marks(example, library):
    assert example.query_params["repair"] == "1"
    assert sorted(kinds(library)) == ["card", "damage", "sound", "sound", "sound", "sound"]
    assert saved(library)["regions"][0]["auto"] is True
    assert not example.error
    assert "All is marked" in [head.value for head in example.subheader]


def test_a_reload_brings_everything_back(example, library, open_app):
    example.selectbox(key="sound_state-1").select(SurfaceState.SEALED).run()
    example.text_input(key="card_value-1").input("0.2").run()
    before = saved(library)
    again = open_app(repair=1)
    assert again.selectbox(key="sound_state-1").value == SurfaceState.SEALED
    assert again.text_input(key="card_value-1").value == "0.2"
    assert saved(library) == before


def test_surfaces_in_different_states_are_warned_of(example):
    assert not example.warning
    example.selectbox(key="damage_state-1").select(SurfaceState.TOP_COATED).run()
    assert "different states" in example.warning[0].value


def test_a_card_value_that_is_none_is_told_and_kept(example, library):
    example.text_input(key="card_value-1").input("gray").run()
    assert any("'gray' is no value" in sentence for sentence in sentences(example))
    assert example.text_input(key="card_value-1").value == "gray"
    assert saved(library)["card_value"] == "gray"


def test_without_a_card_the_page_says_what_the_colors_are_worth(example):
    example.selectbox(key="card_kind-1").select(CardKind.NONE).run()
    assert not example.error
    assert any("None: the colors are the camera" in block.proto.body for block in example.get("html"))


@pytest.mark.parametrize("number", ["7", "99999999999"])
def test_a_repair_that_is_not_there_is_one_sentence(open_app, number):
    app = open_app(repair=int(number))
    assert len(app.error) == 1


def test_an_address_that_makes_no_sense_is_the_start_page(open_app):
    app = open_app()
    app.query_params["repair"] = "<b>"
    app.run()
    assert not app.exception
    assert app.button(key="example")


def test_a_repair_without_its_card_asks_for_it(example, library, open_app):
    held = saved(library)
    held["regions"] = [region for region in held["regions"] if region["kind"] != "card"]
    library.save_repair(SavedRepair("no card", json.dumps(held), photos=(held["photo"],)), 1)
    app = open_app(repair=1)
    assert "Mark the card" in [head.value for head in app.subheader]


def test_too_few_patches_say_why_more_are_wanted(example, library, open_app):
    held = saved(library)
    sound = [region for region in held["regions"] if region["kind"] == "sound"]
    held["regions"] = [region for region in held["regions"] if region["kind"] != "sound"] + sound[:2]
    library.save_repair(SavedRepair("two", json.dumps(held), photos=(held["photo"],)), 1)
    app = open_app(repair=1)
    assert "Mark sound wood: 2 of 3 patches" in [head.value for head in app.subheader]
