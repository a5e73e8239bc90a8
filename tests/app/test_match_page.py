"""The Match page, by key."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from colormatch.library import SavedRepair
from colormatch.library.starter import install_starter
from colormatch.records import Ground, Lab, Paint


@pytest.fixture
def match(example, open_app):
    return open_app(repair=1, page="screens/match.py")


def links(app):
    return [link.proto.label for link in app.get("page_link")]


def shown(app):
    """Everything that the page says in HTML."""
    return " ".join(block.proto.body for block in app.get("html"))


def test_ranking_stands_beside_its_limits(match):
    assert not match.error
    assert 'class="row"' in shown(match)
    assert "Closest washes" in [head.value for head in match.subheader]


def test_lent_paints_are_called_invented_over_a_repair_of_ones_own(match, library, open_app):
    def told(app):
        return any("These paints are invented" in one.value for one in app.markdown)

    assert not told(match)  # the example says so itself
    saved = library.repair(1)
    own = library.save_repair(replace(saved, document=json.dumps(json.loads(saved.document) | {"guided": False})))
    assert told(open_app(repair=own, page="screens/match.py"))
    assert told(open_app(repair=own, page="screens/mix.py"))
    install_starter(library)
    assert not told(open_app(repair=own, page="screens/match.py"))


def test_a_paint_without_a_swatch_leads_to_the_shelf(match, library, open_app):
    library.add(Paint("Brown stain"))
    for page in ("screens/match.py", "screens/mix.py"):
        app = open_app(repair=1, page=page)
        assert "no swatch of Brown stain" in app.error[0].value
        assert "**To my paints**" in links(app)


def test_where_nothing_helps_there_is_nothing_to_mix(match, library, open_app):
    assert "Mix this wash" in links(match)
    match.selectbox(key="aim-1").select("A color that I type").run()
    match.text_input(key="aim-lab-1").input("95, 0, 0").run()  # no wash lightens
    untouched = re.search(r"(\d+)\. Leave it as it is", shown(match))
    match.segmented_control(key="picked-1").set_value(int(untouched[1])).run()
    assert "Mix this wash" not in links(match)


def test_limits_hold_and_stay(match, library, open_app):
    match.multiselect(key="paints-1").select("Burnt Umber").run()
    assert not match.exception
    rows = shown(match).split('class="row"')[1:]
    assert rows
    assert all("Burnt Umber" in row or "Leave it" in row for row in rows)
    assert json.loads(library.repair(1).document)["limits"]["paints"] == ["Burnt Umber"]
    again = open_app(repair=1, page="screens/match.py")
    assert again.multiselect(key="paints-1").value == ["Burnt Umber"]


def test_nothing_marked_says_what_is_missing(open_app):
    app = open_app(page="screens/match.py")
    assert not app.error
    assert "Nothing to match yet" in [head.value for head in app.header]


def held(library):
    return json.loads(library.repair(1).document)


def test_layers_over_the_whole_piece_are_added_and_removed(match, library):
    before = shown(match)
    match.selectbox(key="then-paint").select("Brown Glaze")
    match.text_input(key="then-ratio").input("4:1")
    next(button for button in match.button if button.label == "Add it").click().run()
    assert not match.error
    assert held(library)["limits"]["then"] == [{"paints": [["Brown Glaze", 1.0]], "paint_fraction": 0.8, "coats": 1}]
    assert shown(match) != before
    match.button(key="then-remove-0").click().run()
    assert held(library)["limits"]["then"] == []
    match.button(key="undo").click().run()
    assert len(held(library)["limits"]["then"]) == 1


def test_a_ratio_that_is_none_is_told_in_words(match, library):
    match.selectbox(key="then-paint").select("Brown Glaze")
    match.text_input(key="then-ratio").input("a dash")
    next(button for button in match.button if button.label == "Add it").click().run()
    assert "not a ratio" in match.error[0].value
    assert held(library)["limits"]["then"] == []


def test_a_shift_moves_the_target_and_says_so(match, library):
    match.selectbox(key="shift-1").select("darker").run()
    match.number_input(key="amount-1").set_value(5.0).run()
    assert not match.error
    assert held(library)["aim"]["direction"] == "darker"
    assert "Sound wood, darker" in shown(match)


def test_a_color_is_kept_and_aimed_at_in_another_repair(match, library, open_app):
    match.text_input(key="keep-color-1").input("hall table").run()
    (ground,) = (stored.record for stored in library.all(Ground))
    assert ground.name == "hall table"
    match.selectbox(key="aim-1").select("hall table").run()
    assert not match.error
    assert held(library)["aim"]["kept"] == pytest.approx(list(ground.lab))
    assert "hall table" in shown(match)


def test_a_typed_color_is_checked(match, library):
    match.selectbox(key="aim-1").select("A color that I type").run()
    match.text_input(key="aim-lab-1").input("50, 8, 20").run()
    assert held(library)["aim"]["kept"] == [50, 8, 20]
    match.text_input(key="aim-lab-1").input("brown").run()
    assert "three numbers" in match.error[0].value
    assert held(library)["aim"]["kept"] == [50, 8, 20]


def test_a_color_no_screen_can_show_is_marked(match):
    match.selectbox(key="aim-1").select("A color that I type").run()
    match.text_input(key="aim-lab-1").input("60, 100, 90").run()
    assert "more vivid than a screen can show" in shown(match)


def test_several_damages_each_and_together(example, library, open_app):
    document = held(library)
    document["regions"].append({"kind": "damage", "points": [[0.72, 0.7], [0.76, 0.7], [0.76, 0.73], [0.72, 0.73]]})
    library.save_repair(SavedRepair("two", json.dumps(document), photos=(document["photo"],)), 1)
    app = open_app(repair=1, page="screens/match.py")
    assert not app.error
    page = shown(app)
    assert "One wash for all" in page
    assert "Damage 2" in page
    together = page.split('class="row"')[1]
    app.segmented_control(key="spot-1").select(2).run()
    assert held(library)["spot"] == 2
    assert shown(app).split('class="row"')[1] != together


def test_doing_nothing_is_always_among_the_candidates(match):
    assert "Left as it is" in shown(match) or "Leave it" in shown(match)


def test_a_name_is_never_read_as_markdown(match, library, open_app):
    library.add(Ground("![x](http://example.org/x.png)", Lab(50, 8, 20)))
    match.run()
    match.selectbox(key="aim-1").select("![x](http://example.org/x.png)").run()
    assert not match.error
    texts = " ".join(block.value for block in match.markdown)
    assert "example" in texts  # the name stands there
    assert "![" not in texts


def test_only_ratios_that_the_measure_at_hand_gives(match, library, open_app):
    match.selectbox(key="smallest_ml-1").select(5.0).run()
    assert not match.exception
    assert held(library)["limits"]["smallest_ml"] == 5.0
    # At most 30 ml in spoons of 5 ml: no ratio has more than six parts.
    rows = shown(match).split('class="row"')[1:]
    assert rows
    ratios = re.findall(r"(\d+):(\d+), ", " ".join(row.partition("</b>")[0] for row in rows))
    assert ratios
    assert all(int(paint) + int(water) <= 6 for paint, water in ratios)
    assert open_app(repair=1, page="screens/match.py").selectbox(key="smallest_ml-1").value == 5.0


def test_leaving_it_stands_in_one_place_ranked_or_not(match):
    for sentence in (None, "95, 0, 0"):
        if sentence:
            match.selectbox(key="aim-1").select("A color that I type").run()
            match.text_input(key="aim-lab-1").input(sentence).run()  # no wash lightens: leaving it is ranked
        rows = [block.proto.body for block in match.get("html") if 'class="row"' in block.proto.body]
        assert [("eave it as it is" in row) for row in rows] == [False] * (len(rows) - 1) + [True]
        assert any("if you did nothing" in one.value for one in match.markdown)
