"""The Match page, by key."""

from __future__ import annotations

import json

import pytest


@pytest.fixture
def match(example, open_app):
    return open_app(repair=1, page="steps/match.py")


def shown(app):
    """Everything that the page says in HTML."""
    return " ".join(block.proto.body for block in app.get("html"))


def test_ranking_stands_beside_its_limits(match):
    assert not match.error
    assert 'class="row"' in shown(match)
    assert "Closest washes" in [head.value for head in match.subheader]


def test_limits_hold_and_stay(match, library, open_app):
    match.multiselect(key="paints-1").select("Burnt Umber").run()
    assert not match.exception
    rows = shown(match).split('class="row"')[1:]
    assert rows
    assert all("Burnt Umber" in row or "leave it" in row for row in rows)
    assert json.loads(library.repair(1).document)["limits"]["paints"] == ["Burnt Umber"]
    again = open_app(repair=1, page="steps/match.py")
    assert again.multiselect(key="paints-1").value == ["Burnt Umber"]


def test_nothing_marked_says_what_is_missing(open_app):
    app = open_app(page="steps/match.py")
    assert not app.error
    assert "Nothing to match yet" in [head.value for head in app.header]
