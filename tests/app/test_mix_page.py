"""The Mix page, by key."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from app.repair.document import plain, read
from app.repair.work import Progress


@pytest.fixture
def mix(example, open_app):
    return open_app(repair=1, page="screens/mix.py")


def shown(app):
    return " ".join(block.proto.body for block in app.get("html"))


def test_amounts_steps_and_cautions_stand_together(mix):
    assert not mix.error
    page = shown(mix)
    assert "water" in page
    assert "Wipe back along the grain" in page
    assert "come before anything written here" in page


def test_area_is_kept_and_a_larger_one_takes_more(mix, library, open_app):
    small = next(head.value for head in mix.subheader if head.value.startswith("Into the cup"))
    mix.text_input(key="area-1").set_value("30 x 40 cm").run()
    large = next(head.value for head in mix.subheader if head.value.startswith("Into the cup"))
    assert float(large.split()[3]) > float(small.split()[3])
    assert json.loads(library.repair(1).document)["area"] == "30 x 40 cm"
    assert open_app(repair=1, page="screens/mix.py").text_input(key="area-1").value == "30 x 40 cm"


def test_no_area_is_told_in_words(mix):
    mix.text_input(key="area-1").set_value("a hand's width").run()
    assert not mix.exception
    assert "is not an area" in mix.error[0].value


def test_nothing_marked_says_what_is_missing(open_app):
    app = open_app(page="screens/mix.py")
    assert "Nothing to mix yet" in [head.value for head in app.header]


def document(library):
    return json.loads(library.repair(1).document)


def head(app):
    return next(one.value for one in app.subheader if one.value.startswith("Into the cup"))


def test_the_size_is_measured_in_the_photo_once_the_card_s_is_known(mix, library, open_app):
    mix.segmented_control(key="amount_by-1").set_value("marked").run()
    assert "size of your card is not known" in mix.error[0].value
    mix.text_input(key="card-size").set_value("a hand").run()
    assert "is not the size of a card" in mix.error[0].value
    mix.text_input(key="card-size").set_value("105x70mm").run()
    assert not mix.error
    told = next(one.value for one in mix.markdown if one.value.startswith("The marked damage measures"))
    assert 100 < float(told.split("**")[1].split()[0]) < 150  # the scene's own: 121 cm²
    assert library.setting("card-size") == "105x70mm"
    again = open_app(repair=1, page="screens/mix.py")
    assert again.segmented_control(key="amount_by-1").value == "marked"
    assert again.text_input(key="card-size").value == "105x70mm"


def test_a_batch_in_any_measure(mix, library):
    mix.segmented_control(key="amount_by-1").set_value("batch").run()
    mix.text_input(key="batch-1").set_value("1/2 cup").run()
    assert head(mix) == "Into the cup: 119 ml"  # 118.3 ml in 1:3, each rounded to whole ones: 30 and 89
    mix.selectbox(key="smallest-1").set_value("0.1 g").run()
    assert " g</b>" in shown(mix)
    mix.number_input(key="densitiesBrown Glaze-1").set_value(1.3).run()
    assert document(library)["mixing"]["densities"] == [["Brown Glaze", 1.3]]
    assert not mix.error


def test_assumptions_change_the_amounts_and_are_kept(mix, library, open_app):
    mix.text_input(key="area-1").set_value("2000 cm2").run()
    before = head(mix)
    mix.number_input(key="coverage-1").set_value(50.0).run()
    assert head(mix) != before
    assert open_app(repair=1, page="screens/mix.py").number_input(key="coverage-1").value == 50


def test_own_times_move_the_steps(mix, library):
    mix.text_input(key="dries-1").set_value("30 min").run()
    assert "Let it dry. (30 min)" in shown(mix)
    mix.text_input(key="dries-1").set_value("soon").run()
    assert "is not a time" in mix.error[0].value
    assert document(library)["times"]["dries"] == 1800
    mix.text_input(key="dries-1").set_value("").run()
    assert document(library)["times"]["dries"] is None


def test_steps_and_timer_survive_a_reload(mix, library, open_app):
    for _ in range(3):
        mix.button(key="next").click().run()
    mix.button(key="start").click().run()
    held = document(library)["progress"]
    assert held["step"] == 3
    again = open_app(repair=1, page="screens/mix.py")
    assert any(one.value.startswith("**Step 4 of") for one in again.markdown)
    assert not [one for one in again.button if one.key == "start"]
    assert document(library)["progress"] == held
    assert "class=done" in shown(again)
    again.button(key="back").click().run()
    assert document(library)["progress"]["step"] == 2
    again.button(key="next").click().run()  # and on again: the timer has not been lost
    assert document(library)["progress"] == held
    assert not [one for one in again.button if one.key == "start"]


def test_a_timer_of_an_earlier_version_runs_on():
    assert read({"step": 3, "ends": 5}, Progress) == Progress(3, ((3, 5),))
    assert read({"step": 3, "ends": 0}, Progress) == Progress(3)
    assert read(plain(Progress(3, ((1, 7), (3, 5)))), Progress) == Progress(3, ((1, 7), (3, 5)))


def test_what_dries_in_another_repair_is_seen_with_the_way_there(mix, library, open_app):
    saved = library.repair(1)
    second = library.save_repair(replace(saved, name="Hall table"))
    for _ in range(3):
        mix.button(key="next").click().run()
    mix.button(key="start").click().run()
    assert "Drying elsewhere" not in [head.value for head in mix.subheader]
    other = open_app(repair=second, page="screens/mix.py")
    assert "Drying elsewhere" in [head.value for head in other.subheader]
    jobs = open_app(page="screens/jobs.py")
    assert shown(jobs).count("a timer runs until") == 1


def test_the_recipe_stays_when_the_shelf_changes_until_one_takes_the_new_one(mix, library, open_app):
    from colormatch.library.starter import install_starter
    from colormatch.records import Paint

    first = document(library)["recipe"]
    install_starter(library)
    glaze = next(one.id for one in library.all(Paint) if one.record.name == "Brown Glaze")
    library.remove(Paint, glaze)
    app = open_app(repair=1, page="screens/mix.py")
    assert document(library)["recipe"] == first
    assert any("Your shelf has changed since" in one.value for one in app.markdown)
    assert "is no longer on your shelf" in app.error[0].value
    app.button(key="renew").click().run()
    assert document(library)["recipe"]["wash"]["layers"] != first["wash"]["layers"]
    assert not app.error


def test_picking_another_wash_takes_its_place(mix, library, open_app):
    first = document(library)["recipe"]
    app = open_app(repair=1, page="screens/match.py")
    app.segmented_control(key="picked-1").set_value(4).run()
    open_app(repair=1, page="screens/mix.py")
    assert document(library)["recipe"]["wash"]["rank"] == 4 != first["wash"]["rank"]


def test_a_clear_coat_brings_its_own_times(mix, library, open_app):
    app = open_app(repair=1, page="screens/match.py")
    box = app.selectbox(key="clear-1")
    box.set_value(next(name for name in box.options if name and not name.startswith("None"))).run()
    app = open_app(repair=1, page="screens/mix.py")
    assert shown(app).count("Apply a thin coat of") == 3
    app.number_input(key="clear_coats-1").set_value(1).run()
    assert shown(app).count("Apply a thin coat of") == 1
    assert document(library)["times"]["clear_coats"] == 1
    assert "need ventilation" in shown(app)


def test_a_size_that_nobody_typed_is_called_a_stand_in_here_and_in_the_report(mix, library, open_app):
    from app.screens import papers
    from app.state import session
    from colormatch.library.store import Stored

    def report():
        return papers.report(session.opened(Stored(1, library.repair(1))))

    def told():
        return any("assumes 40 cm2" in one.value for one in mix.markdown)

    assert told()
    assert "the amounts assume 40 cm2" in report()
    mix.segmented_control(key="amount_by-1").set_value("marked").run()
    assert "The amounts are missing: The size of your card is not known yet." in report()
    mix.segmented_control(key="amount_by-1").set_value("typed").run()
    mix.text_input(key="area-1").set_value('5"x2"').run()
    assert not mix.error
    assert not told()
    assert "the amounts assume" not in report()


def test_a_batch_that_is_measured_badly_is_told_the_easy_sizes_nearby(mix):
    mix.segmented_control(key="amount_by-1").set_value("batch").run()
    mix.text_input(key="batch-1").set_value("5 ml").run()
    told = next(one.value for one in mix.markdown if "Rounding to 1 ml" in one.value)
    assert "can be measured more exactly" in told
    mix.text_input(key="batch-1").set_value("8 ml").run()
    told = next(one.value for one in mix.markdown if "Rounding to 1 ml" in one.value)
    assert ("more exactly" in told) == ("1:3" not in mix.header[0].value)
