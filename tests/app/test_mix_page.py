"""The Mix page, by key."""

from __future__ import annotations

import json

import pytest


@pytest.fixture
def mix(example, open_app):
    return open_app(repair=1, page="steps/mix.py")


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
    assert open_app(repair=1, page="steps/mix.py").text_input(key="area-1").value == "30 x 40 cm"


def test_no_area_is_told_in_words(mix):
    mix.text_input(key="area-1").set_value("a hand's width").run()
    assert not mix.exception
    assert "is no area" in mix.error[0].value


def test_nothing_marked_says_what_is_missing(open_app):
    app = open_app(page="steps/mix.py")
    assert "Nothing to mix yet" in [head.value for head in app.header]
