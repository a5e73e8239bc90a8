"""The Swatches page, by key: swatches from photos."""

from __future__ import annotations

import json

import pytest

from colormatch.library.starter import example
from colormatch.records import Ground, Lab, Paint, RegionKind, Swatch
from colormatch.repair import read_photo

PAGE = "shelf/swatches.py"


@pytest.fixture
def visit(open_app):
    def start(view, number=None):
        query = {"view": view} | ({} if number is None else {"number": str(number)})
        return open_app(page=PAGE, **query)

    return start


@pytest.fixture
def marked(library):
    """The example's photo as a draft: its sound wood for bare wood, its damage for a dried wash."""
    shown = example()
    photo = library.photos.add(shown.photo.read_bytes(), shown.photo.name)

    def draft(*kinds, **words):
        regions = [
            {"kind": "sound" if region.kind is RegionKind.SOUND else "patch", "points": region.points}
            for region in shown.regions
            if ("bare" if region.kind is RegionKind.SOUND else "wash") in kinds
        ]
        document = {"photo": photo, "stamp": 1, "searched": False, "card_kind": "gray", "card_value": ""}
        library.set_setting("draft-patch", json.dumps(document | {"regions": regions, "words": words}))
        return photo

    return draft


def held(library, use="patch"):
    return json.loads(library.setting(f"draft-{use}"))


def test_no_photo_yet_says_what_to_photograph(visit, library):
    app = visit("patch")
    assert not app.error
    assert any("Let the wash dry" in text.value for text in app.markdown)


def test_a_marked_photo_becomes_a_swatch_with_its_uncertainty_and_can_be_taken_back(visit, library, marked):
    photo = marked("bare", "wash", paint="Deep Brown", ground="rail", ratio="1:7", coats=2)
    app = visit("patch")
    assert not app.error
    assert [region["kind"] for region in held(library)["regions"]].count("card") == 1
    app.button(key="keep-patch").click().run()
    assert not app.exception
    assert not app.error
    (stored,) = library.all(Swatch)
    swatch = stored.record
    assert (swatch.paint, swatch.paint_parts, swatch.water_parts, swatch.coats) == ("Deep Brown", 1.0, 7.0, 2)
    assert (swatch.ground, swatch.photo, swatch.measured) == ("rail", photo, "photo")
    assert len(swatch.region) == 4
    # The same colors as the command line reads in the same places.
    shown = example()
    samples = read_photo(shown.photo, shown.regions).samples
    damage = samples[[region.kind for region in shown.regions].index(RegionKind.DAMAGE)]
    assert swatch.lab == pytest.approx(damage.lab, abs=0.3)
    assert swatch.uncertainty == pytest.approx(damage.uncertainty, abs=0.3)
    assert app.query_params["view"] == "paint"
    assert [one.record.name for one in library.all(Paint)] == ["Deep Brown"]
    # The next wash in the same photo needs no new card.
    assert {region["kind"] for region in held(library)["regions"]} == {"card", "sound"}
    app.button(key="undo").click().run()
    assert library.all(Swatch) == ()
    assert library.all(Paint) == ()
    # The photo with its other marks waits for the next swatch; how that was thinned is asked for anew.
    app = visit("patch")
    assert held(library)["photo"] == photo
    assert photo in library.photos
    assert {region["kind"] for region in held(library)["regions"]} == {"card", "sound"}
    assert app.text_input(key="patch-ratio").value == ""


def test_without_bare_wood_the_known_ground_counts(visit, library, marked):
    number = library.add(Paint("Deep Brown"))
    library.add(Ground("rail", Lab(78.0, 5.0, 22.0)))
    marked("wash", ground="rail", ratio="1:3")
    app = visit("patch", number)
    assert any("No bare wood is marked" in text.value for text in app.markdown)
    app.button(key="keep-patch").click().run()
    assert library.all(Swatch)[0].record.ground_lab == Lab(78.0, 5.0, 22.0)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"ground": "rail"}, "name of the paint is missing"),
        ({"paint": "Deep Brown"}, "painted on is missing"),
        ({"paint": "Deep Brown", "ground": "rail"}, "ratio of paint to water is missing"),
        ({"paint": "Deep Brown", "ground": "rail", "ratio": "a dash"}, "not a ratio"),
    ],
)
def test_what_is_missing_is_told_and_what_was_marked_stays(visit, library, marked, words, told):
    marked("bare", "wash", **words)
    app = visit("patch")
    app.button(key="keep-patch").click().run()
    assert told in app.error[0].value
    assert library.all(Swatch) == ()
    assert {region["kind"] for region in held(library)["regions"]} == {"card", "sound", "patch"}


def test_what_was_typed_and_marked_is_there_after_a_reload(visit, library, marked):
    marked("bare")
    app = visit("patch")
    app.text_input(key="patch-ratio").input("1:15").run()
    app.selectbox(key="patch-coats").select(3).run()
    again = visit("patch")
    assert again.text_input(key="patch-ratio").value == "1:15"
    assert again.selectbox(key="patch-coats").value == 3
    assert again.button(key="keep-patch").disabled


def test_a_card_value_that_is_none_is_told(visit, library, marked):
    marked("bare", "wash")
    app = visit("patch")
    app.text_input(key="patch-card-value").input("gray").run()
    assert any("'gray' is not a value" in error.value for error in app.error)
    assert app.button(key="keep-patch").disabled


def test_a_photo_that_is_gone_is_asked_for_again(visit, library):
    document = {"photo": "0" * 64, "stamp": 1, "searched": True, "card_kind": "gray", "card_value": ""}
    library.set_setting("draft-patch", json.dumps(document | {"regions": [], "words": {"ratio": "1:9"}}))
    app = visit("patch")
    assert not app.error
    assert any("Let the wash dry" in text.value for text in app.markdown)


def test_what_was_marked_and_typed_can_be_taken_back_within_the_photo(visit, library, marked):
    from app.shelf import draft as drafts

    marked("bare", "wash")
    app = visit("patch")
    app.text_input(key="patch-ratio").input("1:15").run()
    drafts.undoer("patch")()
    app.run()
    assert app.text_input(key="patch-ratio").value == ""
    # The card was found by the program, not marked by anybody: no undo takes it away.
    drafts.undoer("patch")()
    assert "card" in {region["kind"] for region in held(library)["regions"]}
    drafts.undoer("patch")(again=True)
    app.run()
    assert app.text_input(key="patch-ratio").value == "1:15"


def test_another_kind_of_card_is_looked_for_anew(visit, library, marked):
    marked("bare", "wash")
    app = visit("patch")
    assert "card" in {region["kind"] for region in held(library)["regions"]}
    app.selectbox(key="patch-card-kind").select("three-step").run()
    assert not app.exception
    # The example holds a plain gray card: no three-step card is found, and the gray one is not taken for one.
    assert "card" not in {region["kind"] for region in held(library)["regions"]}
    assert "Mark the card" in [head.value for head in app.subheader]
    app.selectbox(key="patch-card-kind").select("gray").run()
    assert "card" in {region["kind"] for region in held(library)["regions"]}
    assert not app.button(key="keep-patch").disabled
