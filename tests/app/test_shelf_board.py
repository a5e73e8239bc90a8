"""The Swatches page, by key: sheets to print, and boards from photos of them (simulated)."""

from __future__ import annotations

import io
import json

import cv2
import numpy as np
import pytest
from PIL import Image

from colormatch.records import Paint, Swatch
from colormatch.sheet.layout import Plan
from tests.sheet.scene import Pose, photographed

PAGE = "shelf/swatches.py"
ROWS, COLUMNS = ("Ochre", "Raw Umber", "Cream"), ("full", "1:3", "1:3x2")
MARRED = {("Raw Umber", "1:3"): "half", ("Cream", "full"): "shadow"}


@pytest.fixture(scope="module")
def sheet():
    """Painted and photographed at a slant, with two cells that went wrong."""
    return photographed(Plan("a4", ROWS, COLUMNS), np.random.default_rng(3), Pose(tilt=12.0), marred=MARRED)


@pytest.fixture
def visit(open_app):
    return lambda view: open_app(page=PAGE, view=view)


@pytest.fixture
def hold(library, sheet):
    """The photo as a draft, with what was typed and marked."""

    def start(regions=(), printed=True, **words):
        photo = library.photos.add(sheet.jpeg, "sheet.jpg")
        document = {"photo": photo, "stamp": 1, "searched": False, "card_kind": "gray", "card_value": ""}
        library.set_setting("draft-board", json.dumps(document | {"regions": list(regions), "words": words}))
        if printed:
            library.set_setting("printed-sheets", json.dumps([Plan("a4", ROWS, COLUMNS).to_json()]))
        return photo

    return start


def ticks(app):
    return {box.label.split("**")[1] + box.label.split("**")[2]: box.value for box in app.checkbox}


def test_a_sheet_is_drawn_downloaded_and_remembered(visit, library):
    library.add(Paint("Ochre"))
    app = visit("sheet")
    assert any("Choose a paint" in text.value for text in app.markdown)
    app.multiselect(key="sheet-rows").select("Ochre").run()
    app.text_input(key="sheet-columns").input("full, 1:3x2").run()
    app.segmented_control(key="sheet-paper").select("letter").run()
    assert not app.exception
    assert not app.error
    assert app.get("download_button")
    app.text_input(key="sheet-columns").input("full, thin").run()
    assert "not a ratio" in app.error[0].value


def test_a_printed_sheet_is_known_and_its_cells_are_kept_in_one_step(visit, library, hold):
    photo = hold(ground="paper")
    library.add(Paint("ochre"))
    app = visit("board")
    assert not app.exception
    assert not app.error
    assert any("printed here: Ochre, Raw Umber, Cream" in text.value for text in app.markdown)
    shown = ticks(app)
    assert len(shown) == 9
    assert not shown["Raw Umber, 1:3, 1 coat"]
    assert not shown["Cream, full, 1 coat"]
    assert sum(shown.values()) == 7
    said = " ".join(text.value for text in app.markdown)
    assert "looks unpainted" in said
    assert "a shadow, or paint" in said
    # The sheet is white paper: that it is brighter than wood says nothing about the light on the card.
    assert not any("brighter than wood" in block.proto.body for block in app.get("html"))
    assert app.button(key="keep-board").label == "Keep 7 swatches"

    app.button(key="board-none").click().run()
    assert app.button(key="keep-board").disabled
    app.button(key="board-all").click().run()
    assert app.button(key="keep-board").label == "Keep 9 swatches"
    next(box for box in app.checkbox if "Cream" in box.label and "full" in box.label).uncheck().run()
    app.button(key="keep-board").click().run()
    assert not app.error
    kept = [one.record for one in library.all(Swatch)]
    assert len(kept) == 8
    assert {s.paint for s in kept} == {"ochre", "Raw Umber", "Cream"}
    assert {(s.ground, s.photo) for s in kept} == {("paper", photo)}
    assert all(s.region for s in kept)
    assert app.button(key="undo").label == "**Undo:** added 8 swatches of a board"
    app.button(key="undo").click().run()
    assert library.all(Swatch) == ()
    assert [one.record.name for one in library.all(Paint)] == ["ochre"]


def test_a_sheet_from_elsewhere_asks_for_its_names(visit, library, hold):
    hold(printed=False)
    app = visit("board")
    assert any("was not printed here" in text.value for text in app.markdown)
    app.text_input(key="board-rows").input("Ochre, Raw Umber").run()
    app.text_input(key="board-columns").input("full, 1:3, 1:3x2").run()
    assert "3 rows and 3 columns" in app.error[0].value
    app.text_input(key="board-rows").input("Ochre, Raw Umber, Cream").run()
    assert not app.error
    assert len(ticks(app)) == 9


def test_without_markers_four_corners_tell_where_the_cells_lie(visit, library, hold, sheet):
    plan, size = Plan("a4", ROWS, COLUMNS), np.array(Image.open(io.BytesIO(sheet.jpeg)).size)
    plane = cv2.getPerspectiveTransform(plan.window.corners.astype(np.float32), sheet.corners.astype(np.float32))
    inside = cv2.perspectiveTransform(plan.card_place.inset(0.2).corners[None], plane)[0]
    card = {"kind": "card", "points": (inside / size).tolist()}
    points = (sheet.corners / size).tolist()
    typed = {"form": "own", "rows": "Ochre, Raw Umber, Cream", "columns": "full,1:3,1:3x2", "ground": "paper"}

    hold([{"kind": "patch", "points": points}], **typed)
    app = visit("board")
    assert "Mark the card" in [head.value for head in app.subheader]
    hold([card], **typed)
    app = visit("board")
    assert "Mark the board" in [head.value for head in app.subheader]
    hold([card, {"kind": "patch", "points": points}], **typed)
    app = visit("board")
    assert not app.error
    assert len(ticks(app)) == 9
    # The same shape drawn from another corner on: said where it begins, the cells have the same names.
    hold([card, {"kind": "patch", "points": [points[3], *points[:3]]}], **typed, turn=1)
    assert ticks(visit("board")) == ticks(app)


def test_the_ground_has_to_be_named(visit, library, hold):
    hold()
    app = visit("board")
    app.button(key="keep-board").click().run()
    assert "painted on is missing" in app.error[0].value
    assert library.all(Swatch) == ()
    assert len(ticks(app)) == 9


def test_a_photo_without_a_sheet_says_so_and_offers_the_corners(visit, library):
    from colormatch.library.starter import example

    photo = library.photos.add(example().photo.read_bytes(), "photo.jpg")
    document = {"photo": photo, "stamp": 1, "searched": False, "card_kind": "gray", "card_value": ""}
    library.set_setting("draft-board", json.dumps(document | {"regions": [], "words": {}}))
    app = visit("board")
    assert not app.error
    assert app.selectbox(key="board-form").value == "own"
    app.selectbox(key="board-form").select("sheet").run()
    assert "No printed swatch sheet was found" in app.error[0].value
