"""The Check page, by key."""

from __future__ import annotations

import json

import pytest

from app import cache
from app.repair.document import plain, read
from app.repair.dried import REPAIR, STRIPS, Dried, DriedPhoto, Kept, PaintedWash
from colormatch.errors import CardNotFound
from colormatch.library import SavedRepair
from colormatch.library.starter import example as shipped
from colormatch.records import CardKind, Paint, Region, RegionKind, SurfaceState, Swatch


def shown(app) -> str:
    """Everything that the page says."""
    blocks = [block.proto.body for block in app.get("html")]
    said = [block.value for kind in ("markdown", "subheader", "header") for block in app.get(kind)]
    return " ".join([*blocks, *said])


def held(library) -> dict:
    return json.loads(library.repair(1).document)["check"]


@pytest.fixture
def check(example, open_app):
    """The example's dried repair, at the Check page."""
    app = open_app(repair=1, page="screens/check.py")
    app.button(key="example-dried").click().run()
    assert not app.exception
    return app


def test_without_a_photo_the_page_says_how_to_take_one(example, open_app):
    app = open_app(repair=1, page="screens/check.py")
    assert "Photograph the repair once it is dry" in [head.value for head in app.header]
    assert "the same card" in shown(app)


def test_nothing_marked_says_what_is_missing(open_app):
    app = open_app(page="screens/check.py")
    assert "Nothing to check yet" in [head.value for head in app.header]


def test_example_says_what_shows_and_what_to_do(check):
    assert not check.error
    page = shown(check)
    assert "ΔE" in page
    assert "The repair is clearly too light" in page
    assert "Expected was ΔE" in page
    assert "Best: " in page
    assert "Wipe back" in page
    assert page.index("Over it, ") < page.index("Leave it as it is") < page.index("Wipe back")


def test_the_card_of_the_repair_is_looked_for_whatever_its_kind(example, library, open_app, monkeypatch):
    asked = []
    monkeypatch.setattr(cache, "card_in", lambda _, kind: asked.append(kind) or CardNotFound("None was found."))
    saved = library.repair(1)
    document = json.loads(saved.document) | {"card_kind": "three-step"}
    library.save_repair(SavedRepair(saved.name, json.dumps(document), photos=saved.photos), 1)
    app = open_app(repair=1, page="screens/check.py")
    app.button(key="example-dried").click().run()
    assert not app.exception
    assert asked == [CardKind.THREE_STEP]
    assert "Mark the card" in [head.value for head in app.subheader]


def test_a_reload_brings_the_check_back(check, library, open_app):
    check.selectbox(key="check-state-1").select(SurfaceState.SEALED).run()
    again = open_app(repair=1, page="screens/check.py")
    assert again.selectbox(key="check-state-1").value == SurfaceState.SEALED
    assert "clear coat" in again.warning[0].value
    assert len(library.repair(1).photos) == 2


def test_damp_paint_is_not_judged(check):
    check.selectbox(key="check-state-1").select("Still damp in places").run()
    assert not check.exception
    page = shown(check)
    assert "Let it dry first" in page
    assert "Best: " not in page


def test_another_wash_than_the_picked_one_changes_what_is_said(check, library):
    check.selectbox(key="painted-1").select("Another wash").run()
    check.selectbox(key="other-paint-1").select("Raw Umber").run()
    check.text_input(key="other-ratio-1").set_value("1:5").run()
    assert not check.exception
    assert held(library)["other"] == {"paint": "Raw Umber", "ratio": "1:5", "coats": 1}
    page = shown(check)
    assert "One more coat of the same, Raw Umber, 1:5" in page
    assert "Expected was" not in page  # of that wash nothing had been expected
    check.text_input(key="other-ratio-1").set_value("a splash").run()
    assert check.error
    assert check.text_input(key="other-ratio-1").value == "a splash"


def test_keeping_makes_a_swatch_that_can_be_taken_away_again(check, library):
    assert library.count(Swatch) == 0
    check.button(key="install-starter").click().run()
    before = library.count(Swatch)
    check.button(key="keep-swatch").click().run()
    assert not check.exception
    assert library.count(Swatch) == before + 1
    swatch = library.all(Swatch)[-1].record
    assert (swatch.paint, swatch.water_parts, swatch.coats) == ("Brown Glaze", 3.0, 1)
    assert swatch.photo == held(library)["photos"][0]["photo"]
    assert "Kept:" in shown(check)
    assert "was off by ΔE" in shown(check)
    check.button(key="drop-swatch").click().run()
    assert library.count(Swatch) == before
    check.button(key="keep-swatch")  # is offered again


def test_two_paints_on_it_are_no_swatch(check, library, open_app):
    saved = json.loads(library.repair(1).document)
    wash = {
        "rank": 1, "layers": [
            {"paints": [{"paint": "Ochre", "parts": 1.0}], "paint_fraction": 0.25, "coats": 1},
            {"paints": [{"paint": "Cream", "parts": 1.0}], "paint_fraction": 0.1, "coats": 1},
        ],
        "lab": [56, 11, 25], "expected_delta_e": 1, "low": 0.5, "high": 2, "basis": "modelled", "swatches": 9,
        "group": 1, "off": "", "unseen": 0, "flags": [],
    }  # fmt: skip
    saved["recipe"] = {"wash": wash, "target": [56, 11, 25], "ground": [74, 6, 19], "settings": "", "made": ""}
    library.save_repair(SavedRepair("two", json.dumps(saved), photos=library.repair(1).photos), 1)
    app = open_app(repair=1, page="screens/check.py")
    assert not app.exception
    assert "a swatch describes only one paint" in shown(app)


def strips(library, **more) -> None:
    """The example's photo of the dried repair taken as one of two test strips."""
    saved = json.loads(library.repair(1).document)
    marks = shipped().dried_regions
    sound = [region for region in marks if region.kind is RegionKind.SOUND]
    repair = next(region for region in marks if region.kind is RegionKind.REPAIR)
    found = [one for one in read(saved["check"], Dried).photos[0].regions if one.kind is RegionKind.CARD]
    painted = [Region(RegionKind.STRIP, one.points) for one in (repair, sound[3])]
    photo = DriedPhoto(
        STRIPS,
        1,
        photo=saved["check"]["photos"][0]["photo"],
        stamp=1,
        regions=(*found, *sound[:3], *painted),
        searched=True,
    )
    checked = Dried(STRIPS, (photo, *more.get("photos", ())), strip=PaintedWash("Brown Glaze", "1:3", 1))
    saved["check"] = plain(checked)
    library.save_repair(SavedRepair("strips", json.dumps(saved), photos=(saved["photo"], photo.photo)), 1)


def test_strips_are_ranked_and_kept(check, library, open_app):
    strips(library)
    app = open_app(repair=1, page="screens/check.py")
    assert not app.exception
    page = shown(app)
    assert "Strip 2 comes closest" in page  # it is sound wood itself
    assert page.index("Strip 2</b>") < page.index("Strip 1</b>")
    library.add(Paint("Brown Glaze", kind="glaze"))
    app = open_app(repair=1, page="screens/check.py")
    app.selectbox(key="strip-1").select("Strip 1").run()
    app.button(key="keep-swatch").click().run()
    assert not app.exception
    assert [stored.record.paint for stored in library.all(Swatch)] == ["Brown Glaze"]
    assert "First swatch of this paint" in shown(app)


def test_what_is_held_survives_the_library():
    corners = ((0.1, 0.1), (0.2, 0.1), (0.2, 0.2))
    checked = Dried(
        STRIPS,
        (DriedPhoto(REPAIR, 2, photo="ab", stamp=7, regions=(Region(RegionKind.REPAIR, corners),), searched=True),),
        SurfaceState.SEALED,
        True,
        PaintedWash("Ochre", "1:3", 2),
        kept=(Kept(4, "Repair"),),
    )
    assert read(json.loads(json.dumps(plain(checked))), Dried) == checked
    assert read({}, Dried) == Dried()


def test_second_light_is_opened_at_its_missing_marks_and_then_the_worse_counts(check, library, open_app):
    saved = json.loads(library.repair(1).document)
    first = read(saved["check"], Dried).photos[0]

    def with_second(photo: DriedPhoto):
        saved["check"] = plain(Dried(REPAIR, (first, photo)))
        library.save_repair(SavedRepair("lights", json.dumps(saved), photos=library.repair(1).photos), 1)
        return open_app(repair=1, page="screens/check.py")

    app = with_second(DriedPhoto(REPAIR, 2, photo=first.photo))
    assert app.get("button_group")  # the choice of light
    assert "Mark sound wood" in shown(app)
    assert "in the photo of the second light" in shown(app)
    sound = [region for region in first.regions if region.kind is RegionKind.SOUND]
    turned = [Region(RegionKind.REPAIR, one.points) for one in sound[3:]]
    card = [region for region in first.regions if region.kind is RegionKind.CARD]
    app = with_second(
        DriedPhoto(REPAIR, 2, photo=first.photo, stamp=5, regions=(*card, *sound[:3], *turned), searched=True)
    )
    assert not app.exception
    page = shown(app)
    assert "Second light: ΔE" in page
    assert "in the second light only" in page
    assert "clearly too light" in page


def test_undo_here_leaves_the_first_photo_alone(example, library, open_app):
    from app.repair import history

    saved = library.repair(1)
    now = json.loads(saved.document)
    fewer = now | {"regions": [one for one in now["regions"] if one["kind"] != "damage"]}
    marked = history.recorded(fewer, now, apart=frozenset())
    library.save_repair(SavedRepair(saved.name, json.dumps(marked), photos=saved.photos), 1)
    assert "Undo marking damage" in [button.label for button in open_app(repair=1).button]
    app = open_app(repair=1, page="screens/check.py")
    assert not [button for button in app.button if button.key in ("undo", "redo")]
    app.button(key="example-dried").click().run()
    assert not [button for button in app.button if button.key in ("undo", "redo")]


def test_what_is_advised_is_mixed_from_here_and_the_first_wash_is_not_lost(check, library, open_app):
    best = next(one.value for one in check.markdown if "**Best: " in one.value)
    first = json.loads(library.repair(1).document)["recipe"]
    check.button(key="mix-over").click().run()
    mix = open_app(repair=1, page="screens/mix.py")
    assert not mix.error
    assert mix.header[0].value.split(",")[0] in best
    assert "Into the cup" in " ".join(one.value for one in mix.subheader)
    mix.button(key="first-wash").click().run()
    document = json.loads(library.repair(1).document)
    assert document["over"] is None
    assert document["recipe"] == first or first is None


def test_what_was_laid_over_counts_in_the_photo_after_it_and_the_report_tells_the_advice(check, library, open_app):
    from dataclasses import replace

    from app.screens import outcome, papers
    from app.state import session
    from colormatch.library.store import Stored

    def repair():
        return session.opened(Stored(1, library.repair(1)))

    open_app(repair=1, page="screens/mix.py")  # settles the recipe
    check.run()
    first = outcome.picked_layers(repair())
    assert "Advised" in papers.report(repair())
    check.button(key="mix-over").click().run()
    assert outcome.picked_layers(repair()) == first  # nothing lies over it in the photo that it was advised on
    held = repair()
    later = replace(held.check.photos[0], photo=held.photo)
    after = replace(held, check=replace(held.check, photos=(later,)))
    assert outcome.picked_layers(after) == (*first, *held.over.wash.layers)
