"""Invented paints of the example beside paints of the user's own: never without their sign, never unasked."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from app.screens import papers
from app.state import session
from colormatch.library.starter import example as shipped
from colormatch.library.starter import install_starter
from colormatch.library.store import Stored
from colormatch.records import Paint, Swatch


def shown(app) -> str:
    return " ".join(block.proto.body for block in app.get("html"))


@pytest.fixture
def own_repair(example, library) -> int:
    """The example's photo as a repair of one's own, on a shelf of invented paints and one that is owned."""
    install_starter(library)
    umber = next(one.record for one in library.all(Paint) if one.record.name == "Raw Umber")
    library.add(replace(umber, name="My Umber", maker="the shop"))
    for one in [stored.record for stored in library.all(Swatch) if stored.record.paint == "Raw Umber"]:
        library.add(replace(one, paint="My Umber", notes=""))
    document = json.loads(library.repair(1).document)
    document["limits"] |= {"invented": False}
    saved = replace(library.repair(1), document=json.dumps(document | {"guided": False}))
    return library.save_repair(saved)


def test_they_stand_back_until_they_are_asked_for_and_then_are_called_invented(own_repair, library, open_app):
    app = open_app(repair=own_repair, page="screens/match.py")
    assert "My Umber" in shown(app)
    assert "(invented)" not in shown(app)
    assert "Brown Glaze" not in shown(app)
    assert "10 invented paints of the example" in shown(app)
    app.checkbox(key=f"invented-{own_repair}").check().run()
    assert "Brown Glaze (invented)" in shown(app)
    assert "until you allow" not in shown(app)


def test_what_is_mixed_reported_and_labeled_says_so(example, library, open_app, monkeypatch):
    install_starter(library)
    app = open_app(repair=1, page="screens/mix.py")
    assert "(invented)" in app.header[0].value
    assert "You can't buy these paints" in app.warning[0].value
    repair = session.opened(Stored(1, library.repair(1)))
    assert "(invented)" in papers.label(repair)
    report = papers.report(repair)
    assert "invented, not for sale" in report
    ranking = report.split("Washes as they are ranked today")[1]
    assert "(invented)" in ranking


def test_the_shelf_says_so_and_counts_nothing_left_of_them(library, open_app):
    install_starter(library)
    cards = [one.label for one in open_app(page="shelf/swatches.py").button if (one.key or "").startswith("paint-")]
    glaze = next(label for label in cards if "Brown Glaze" in label)
    assert "invented" in glaze
    assert "ml left" not in glaze


def test_removing_the_example_takes_its_paints_along_and_one_undo_brings_all_back(example, library):
    install_starter(library)
    own, other = next(one.record for one in library.all(Swatch)), library.all(Swatch)[-1].record
    assert own.paint != other.paint
    library.add(replace(own, notes=""))  # the user's own work
    library.add(replace(other, notes="", photo=library.photos.add(shipped().dried.read_bytes(), "dried.jpg")))
    example.button(key="remove-example").click().run()
    assert not example.exception
    assert [one.record.name for one in library.all(Paint)] == [own.paint]
    assert not library.repairs()
    assert "and its paints" in (library.next_undo() or "")
    library.undo()
    assert len(library.all(Paint)) == 10
    assert len(library.repairs()) == 1
