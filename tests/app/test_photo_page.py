"""The Photo page, by key."""

from __future__ import annotations

import json

import pytest

from colormatch.library import SavedRepair
from colormatch.records import CardKind, Ground, Lab, OwnCard, ShopChip, SurfaceState


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
    assert "Everything is marked" in [head.value for head in example.subheader]


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
    assert any("'gray' is not a value" in sentence for sentence in sentences(example))
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


def test_a_doubt_names_the_surfaces_that_it_is_about():
    from types import SimpleNamespace as Holder

    from app.widgets.photo_words import doubts
    from colormatch.records import Flag

    shine, noise = Flag("glare", "It shines.", 0.1), Flag("noise", "It is dark.", 0.1)
    reading = Holder(photo=Holder(flags=(noise,)), card=Holder(flags=()), light=Holder(flags=()))
    surfaces = [("Sound wood 2", Holder(flags=(shine,))), ("Damage", Holder(flags=(shine,)))]
    assert doubts(reading, surfaces) == [
        ("", "It is dark."),
        ("Sound wood 2, Damage", "It shines."),
    ]


def test_what_matters_most_comes_first_and_one_cause_once():
    from types import SimpleNamespace as Holder

    from app.widgets.photo_words import doubts
    from colormatch.records import Flag

    codes = ("hdr-gain-map", "local-tones", "light-patchy", "card-other-light", "card-in-shadow", "blurred")
    flags = [Flag(code, f"Of {code}.") for code in codes]
    own = Flag("patch-off", "The patch 'Sound wood 2' is off.", 5)
    reading = Holder(photo=Holder(flags=flags[:1]), card=Holder(flags=flags[1:3]), light=Holder(flags=flags[3:]))
    told = doubts(reading, [("Sound wood 2", Holder(flags=(own,)))])
    order = ("card-in-shadow", "local-tones", "off", "blurred", "hdr-gain-map", "card-other-light", "light-patchy")
    assert [text.rstrip(".").split()[-1] for _, text in told] == list(order)
    assert {head for head, _ in told} == {""}  # the sentence names the patch itself


def test_of_many_doubts_the_rest_is_folded():
    def app():
        from app.widgets import look

        look.cautions([("", f"Doubt {n}.") for n in range(5)])
        look.cautions([])

    from streamlit.testing.v1 import AppTest

    (block,) = AppTest.from_function(app).run().get("html")
    shown, folded = block.proto.body.split("<details>")
    assert [f"Doubt {n}." in shown for n in range(5)] == [True] * 3 + [False] * 2
    assert [f"Doubt {n}." in folded for n in range(5)] == [False] * 3 + [True] * 2
    assert "2 more" in folded


def facts(app):
    return " ".join(block.proto.body for block in app.get("html"))


def test_a_wet_surface_is_not_ranked_and_the_page_says_why(example, library, open_app):
    example.selectbox(key="damage_state-1").select("wet").run()
    assert "Let it dry first" in [head.value for head in example.subheader]
    match = open_app(repair=1, page="screens/match.py")
    assert "Nothing to match yet" in [head.value for head in match.header]
    assert any("was wet" in text.value for text in match.markdown)
    example.selectbox(key="damage_state-1").select(SurfaceState.BARE).run()
    assert "Everything is marked" in [head.value for head in example.subheader]


def mark(library, kind, points, name=""):
    held = saved(library)
    region = {"kind": kind, "points": points} | ({"name": name} if name else {})
    held["regions"] = [*held["regions"], region]
    library.save_repair(SavedRepair("marked", json.dumps(held), photos=(held["photo"],)), 1)


def test_a_shop_chip_counts_once_it_is_named(example, library, open_app):
    sound = next(r for r in saved(library)["regions"] if r["kind"] == "sound")["points"]
    mark(library, "chip", sound)
    app = open_app(repair=1)
    assert not app.error
    assert "shop chip" not in facts(app)  # not said which: it does not count
    library.add(ShopChip("offcut", Lab(57, 12.5, 24)))
    app.run()
    app.selectbox(key="chip-1-0").select("offcut").run()
    assert not app.error
    assert "shift from one shop chip" in facts(app)
    assert next(r for r in saved(library)["regions"] if r["kind"] == "chip")["name"] == "offcut"


def test_a_chip_that_is_another_one_is_told(example, library, open_app):
    library.add(ShopChip("snow", Lab(95, 0, 0)))
    sound = next(r for r in saved(library)["regions"] if r["kind"] == "sound")["points"]
    mark(library, "chip", sound, "snow")
    assert any("from its known color" in sentence for sentence in sentences(open_app(repair=1)))


def test_white_places_even_the_light(example, library, open_app):
    # The masking tape of the example serves as paper: what counts here is that the mark reaches the correction.
    mark(library, "white", [[0.15, 0.86], [0.2, 0.86], [0.2, 0.875], [0.15, 0.875]])
    mark(library, "white", [[0.29, 0.845], [0.34, 0.845], [0.34, 0.855], [0.29, 0.855]])
    assert "light evened by the white places" in facts(open_app(repair=1))


def test_a_card_of_ones_own_is_chosen_with_its_value(example, library, open_app):
    library.add(OwnCard("bench gray", CardKind.GRAY, "20%"))
    before = facts(example)
    example.run()
    example.selectbox(key="card_kind-1").select("bench gray").run()
    assert saved(library)["card_value"] == "20%"
    assert facts(example) != before
    example.selectbox(key="card_kind-1").select(CardKind.GRAY).run()
    assert saved(library)["card_value"] == ""
    assert facts(example) == before


def test_another_kind_of_card_is_looked_for_or_asked_for(example, library):
    example.selectbox(key="card_kind-1").select(CardKind.CHART24).run()
    assert "card" not in kinds(library)
    text = " ".join(block.value for block in example.markdown)
    assert "No whole 24-patch chart was found" in text
    assert "outer corner" in text
    example.selectbox(key="card_kind-1").select(CardKind.THREE_STEP).run()
    assert any("all three steps" in block.value for block in example.markdown)
    example.selectbox(key="card_kind-1").select(CardKind.GRAY).run()
    assert "card" in kinds(library)


def words(app):
    return " ".join(block.value for block in (*app.markdown, *app.warning, *app.info, *app.error, *app.caption))


def test_white_paper_stands_in_for_the_card(example, library, open_app):
    card = next(region for region in saved(library)["regions"] if region["kind"] == "card")["points"]
    example.selectbox(key="card_kind-1").select(CardKind.PAPER).run()
    assert "card" not in kinds(library)
    assert "white paper is not found" in words(example)
    # What counts here is that the mark and the value reach the correction: they are those of the card. As paper it
    # makes the wood too light; the settings, where that can be corrected, stay.
    mark(library, "card", card)
    app = open_app(repair=1)
    assert "brighter than white" in words(app)
    app.text_input(key="card_value-1").input("49.5,0,0").run()
    assert "White paper stands in for a gray card" in facts(app)
    assert "A gray card instead of the white paper" in facts(app)


def test_a_piece_of_known_color_stands_in_for_the_card(example, library, open_app):
    card = next(region for region in saved(library)["regions"] if region["kind"] == "card")["points"]
    library.add(Ground("slate", Lab(49.5, 0.0, 0.0), 2.0))
    example.selectbox(key="card_kind-1").select(CardKind.PIECE).run()
    mark(library, "card", card)
    app = open_app(repair=1)
    assert "color of the second piece is missing" in words(app)
    app.selectbox(key="card_value-1").select("49.5,0,0,2").run()
    assert saved(library)["card_value"] == "49.5,0,0,2"
    assert "A second piece of known color stands in" in facts(app)


def test_the_example_leads_through_and_is_removed(example, library, open_app):
    assert any("Example, 1 of" in block.value for block in example.markdown)
    match = open_app(repair=1, page="screens/match.py")
    assert any("Example, 2 of" in block.value for block in match.markdown)
    example.button(key="remove-example").click().run()
    assert library.repairs() == ()
    assert example.button(key="example")


def test_a_second_repair_from_a_photo_of_the_same_name_is_numbered(example, library, open_app, monkeypatch):
    from dataclasses import replace

    from app.state import session

    library.save_repair(replace(library.repair(1), name="IMG_2041"))
    library.save_repair(replace(library.repair(1), name="IMG_2041 (2)"))
    assert session.free_name("IMG_2041") == "IMG_2041 (3)"
    assert session.free_name("IMG_2042") == "IMG_2042"


def test_what_counts_for_a_repair_is_said_first(example):
    said = " ".join(block.proto.body for block in example.get("html"))
    assert "which is what counts for the repair, it is accurate to ΔE" in said
