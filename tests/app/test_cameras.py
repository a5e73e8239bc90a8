"""What photos of a chart teach of their camera: the view on the Swatches page and the Photo page, by key."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from PIL import Image

from colormatch.library import SavedRepair
from colormatch.records import CameraPhoto, Ground, Lab, LightKind
from colormatch.reference.chart_values import COLUMNS, ROWS
from tests.reference.charts import chart_photograph

PAGE = "shelf/swatches.py"
CAMERA = "Acme Phone 1, wide"
#: Row and column of neutral 5 on a chart.
GRAY = (3, 3)


@pytest.fixture(scope="module")
def photographs():
    """Two photos of a chart by one simulated camera, and the box of each one's neutral 5 in fractions."""
    made = []
    for angle in (0.0, 4.0):
        photograph, corners = chart_photograph(angle, np.random.default_rng(5))
        exif = Image.Exif()
        exif[0x010F], exif[0x0110] = "Acme", "Acme Phone 1"
        exif.get_ifd(0x8769)[0xA434] = "wide"
        out = io.BytesIO()
        Image.fromarray(photograph.encoded_rgb).save(out, "JPEG", quality=95, exif=exif)
        height, width = photograph.encoded_rgb.shape[:2]
        origin, along, down = corners[0], (corners[1] - corners[0]) / COLUMNS, (corners[3] - corners[0]) / ROWS
        steps = ((0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7))
        gray = [origin + (GRAY[1] + x) * along + (GRAY[0] + y) * down for x, y in steps]
        made.append((out.getvalue(), [[float(x / width), float(y / height)] for x, y in gray]))
    return made


def taught(library):
    return [one.record for one in library.all(CameraPhoto)]


def repair_with(library, content, **document):
    photo = library.photos.add(content, "chart.jpg")
    document = {"photo": photo, "stamp": 1, "regions": [], **document}
    return library.save_repair(SavedRepair("a box", json.dumps(document), photos=(photo,)))


def by_gray(library, photograph, **more):
    """A repair whose photo has the chart's neutral 5 as its gray card."""
    content, gray = photograph
    card = {"kind": "card", "points": gray}
    wood = {"kind": "sound", "points": [[0.02, 0.02], [0.12, 0.02], [0.12, 0.12], [0.02, 0.12]]}
    regions = [card, wood]
    return repair_with(library, content, regions=regions, searched=True, card_value="0.2", **more)


def said(app):
    return " ".join([*(one.value for one in app.markdown), *(one.proto.body for one in app.get("html"))])


def test_one_photo_of_a_chart_teaches_a_camera_that_is_shown_forgotten_and_brought_back(open_app, library, photographs):
    photo = library.photos.add(photographs[0][0], "chart.jpg")
    library.set_setting("draft-camera", json.dumps({"photo": photo, "stamp": 1, "regions": [], "searched": False}))
    app = open_app(page=PAGE, view="cameras")
    assert not app.error, app.error[0].value
    assert CAMERA in said(app)
    app.selectbox(key="camera-light").select(LightKind.BULB).run()
    app.button(key="learn-camera").click().run()
    assert not app.exception
    assert not app.error
    assert [(one.camera, one.light) for one in taught(library)] == [(CAMERA, LightKind.BULB)]
    assert "off by ΔE" in said(app)
    app.button(key="forget-camera-0").click().run()
    assert taught(library) == []
    app.button(key="undo").click().run()
    assert len(taught(library)) == 1
    app.button(key="undo").click().run()
    assert taught(library) == []


def test_a_photo_whose_file_names_no_camera_is_told(open_app, library, photographs):
    out = io.BytesIO()
    Image.open(io.BytesIO(photographs[0][0])).save(out, "JPEG", quality=95, exif=b"")
    photo = library.photos.add(out.getvalue(), "chart.jpg")
    library.set_setting("draft-camera", json.dumps({"photo": photo, "stamp": 1, "regions": [], "searched": False}))
    app = open_app(page=PAGE, view="cameras")
    assert "doesn't name its camera" in app.error[0].value


def test_the_first_chart_asks_for_its_light_and_the_next_teaches_by_itself(open_app, library, photographs):
    first = repair_with(library, photographs[0][0], card_kind="chart24")
    app = open_app(repair=first)
    assert not app.error, app.error[0].value
    assert taught(library) == []
    app.selectbox(key=f"lesson-{first}").select("daylight").run()
    assert [one.light for one in taught(library)] == [LightKind.DAYLIGHT]
    assert "lesson now uses 1 photo" in said(app)

    second = repair_with(library, photographs[1][0], card_kind="chart24")
    app = open_app(repair=second)
    assert "lesson now uses 2 photos" in said(app)
    assert [one.light for one in taught(library)] == [LightKind.DAYLIGHT] * 2
    app.button(key="teach-not").click().run()
    assert len(taught(library)) == 1
    open_app(repair=second)
    assert len(taught(library)) == 1
    # What it taught comes back by the shelf's undo, and by its own button.
    app = open_app(repair=second)
    app.button(key="teach-again").click().run()
    assert len(taught(library)) == 2


def test_a_lesson_taken_back_on_the_shelf_is_not_given_again(open_app, library, photographs):
    first = repair_with(library, photographs[0][0], card_kind="chart24")
    open_app(repair=first).selectbox(key=f"lesson-{first}").select("daylight").run()
    assert library.undo() == f"taught {CAMERA} by 1 photo"
    open_app(repair=first)
    assert taught(library) == []


def test_a_later_photo_with_a_gray_card_says_that_it_is_read_through_what_was_learned(open_app, library, photographs):
    later = by_gray(library, photographs[1])
    app = open_app(repair=later)
    assert not app.error, app.error[0].value
    assert "read through what was learned" not in said(app)
    first = repair_with(library, photographs[0][0], card_kind="chart24")
    open_app(repair=first).selectbox(key=f"lesson-{first}").select("daylight").run()
    app = open_app(repair=later)
    assert f"{CAMERA}: corrected by the gray card, then by what was learned about it in daylight from 1 photo" in said(
        app
    )
    app.selectbox(key=f"through-{later}").select("alone").run()
    assert "read through what was learned" not in said(app)


def test_wood_that_was_read_before_contradicts_it(open_app, library, photographs):
    first = repair_with(library, photographs[0][0], card_kind="chart24")
    open_app(repair=first).selectbox(key=f"lesson-{first}").select("daylight").run()
    library.add(Ground("black bench", Lab(20, 0, 0)))
    later = by_gray(library, photographs[1])
    app = open_app(repair=later)
    assert "Through the learned camera" not in said(app)
    app.selectbox(key=f"known_wood-{later}").select("black bench").run()
    assert "Through the learned camera black bench reads" in said(app)
    assert "read through what was learned" not in said(app)
