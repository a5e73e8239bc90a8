"""One bad record spoils no page: the rest is shown, the bad one is told, and can be removed or kept aside."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from html import unescape

import pytest
import streamlit as st

from colormatch.library import SavedRepair
from colormatch.records import Ground, Lab, Paint, Swatch

pytestmark = pytest.mark.filterwarnings("ignore::colormatch.errors.RecordLeftOut")

JOBS, SHELF = "screens/jobs.py", "shelf/swatches.py"
PAGES = ("screens/photo.py", "screens/match.py", "screens/mix.py", "screens/check.py", JOBS, SHELF)
SWATCH = Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25))


def sql(library, *statements):
    """What another program, or a spoiled disk, leaves."""
    with closing(sqlite3.connect(library.database, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(*((statement,) if isinstance(statement, str) else statement))


def words(app):
    return unescape(" ".join([*(block.proto.body for block in app.get("html")), *(t.value for t in app.markdown)]))


def faults(app):
    assert not app.exception
    return [one.value for one in app.error]


@pytest.fixture
def mixed(example, open_app):
    """The example with its wash picked."""
    return open_app(repair=1, page="screens/mix.py")


#: What is done to a repair, and what stands there then.
ODD = {
    "not a date": ("UPDATE repair SET changed = 'yesterday' WHERE id = ?", "at 'yesterday', which is not a date"),
    "first year": ("UPDATE repair SET changed = '0001-01-01T00:00:00+00:00' WHERE id = ?", "Last changed"),
    "last year": ("UPDATE repair SET changed = '9999-12-31T23:59:59+00:00' WHERE id = ?", "Last changed"),
    "zone": ("UPDATE repair SET changed = '2026-11-25T10:00[Mars/Olympus]' WHERE id = ?", "Olympus]', which is not"),
    "no begin": ("UPDATE repair SET created = '' WHERE id = ?", "Last changed"),
    "cut": ("UPDATE repair SET document = substr(document, 1, 200) WHERE id = ?", "can't open it"),
    "empty": ("UPDATE repair SET document = '' WHERE id = ?", "can't open it"),
    "recipe's date": ("UPDATE repair SET document = json_set(document, '$.recipe.made', '2026-13-45') WHERE id = ?",
                      "picked on 2026-13-45"),
}  # fmt: skip


def test_jobs_shows_odd_repairs_beside_sound_ones_and_each_can_be_deleted(mixed, library, open_app):
    record = library.repair(1)
    numbers = {name: library.save_repair(replace(record, name=f"repair: {name}")) for name in ODD}
    for name, (harm, _) in ODD.items():
        sql(library, (harm, (numbers[name],)))
    for _ in range(3):  # six at a time
        app = open_app(page=JOBS)
        assert faults(app) == []
        entries = [unescape(block.proto.body) for block in app.get("html") if 'class="job"' in block.proto.body]
        for name in [name for name in numbers if any(f"repair: {name}" in entry for entry in entries)]:
            (entry,) = (entry for entry in entries if f"repair: {name}" in entry)
            assert ODD[name][1] in entry, (name, entry)
            app.button(key=f"delete-{numbers.pop(name)}").click().run()
            assert faults(app) == []
    assert not numbers
    assert library.repairs()[0].record == record


@pytest.mark.parametrize("zone", ["Mars/Olympus", "../../etc/passwd"])
def test_an_unknown_time_zone_of_the_browser_is_no_fault(zone, library, open_app, monkeypatch):
    monkeypatch.setattr(type(st.context), "timezone", zone)
    library.save_repair(SavedRepair("table", "{}"))
    assert faults(open_app(page=JOBS)) == []


@pytest.fixture
def spoiled(library):
    """A paint, a swatch, a wood and a repair that can't be read, beside sound ones."""
    library.add_all([Paint("Umber"), Paint("Ochre"), SWATCH, replace(SWATCH, coats=1)], "set up")
    library.add_all([Ground("door", Lab(60, 8, 24)), Ground("rail", Lab(61, 8, 24))], "woods")
    for name in ("table", "chair"):
        library.save_repair(SavedRepair(name, "{}"))
    sql(
        library,
        "UPDATE swatch SET L = 'x' WHERE id = 1",
        "UPDATE ground SET uncertainty = -1 WHERE id = 1",
        "UPDATE repair SET photos = 'no list' WHERE id = 1",
    )
    return library


@pytest.mark.parametrize("page", PAGES)
def test_every_page_works_beside_bad_records(page, spoiled, open_app):
    app = open_app(page=page)
    assert faults(app) == []


def test_the_shelf_tells_of_each_bad_record(spoiled, open_app):
    app = open_app(page=SHELF)
    told = words(app)
    assert "swatch number 1 (Umber) is damaged" in told
    assert "ground number 1 (door) is damaged" in told
    assert [button.label for button in app.button if "Ochre" in button.label]


def test_jobs_tells_of_a_repair_that_can_t_be_read(spoiled, open_app):
    told = words(open_app(page=JOBS))
    assert "table" in told
    assert "damaged" in told
    assert "chair" in told


def test_bad_records_are_set_aside_by_the_button(spoiled, open_app):
    app = open_app(page=SHELF, view="backups")
    app.button(key="verify").click().run()
    assert "Something is wrong" in app.error[0].value
    app.button(key="set-aside").click().run()
    assert faults(app) == []
    app.button(key="verify").click().run()
    assert faults(app) == []
    assert "All is well" in app.success[0].value
    assert [one.record.name for one in spoiled.repairs()] == ["chair"]
    assert len(spoiled.all(Swatch)) == 1
    (kept,) = (spoiled.folder / "damaged").rglob("records.json")
    assert {one["table"] for one in json.loads(kept.read_text())["records"]} == {"swatch", "ground", "repair"}


@pytest.mark.parametrize(
    "harm",
    [
        "INSERT INTO setting VALUES ('draft-patch', '{')",
        "UPDATE change SET document = '{' WHERE id = (SELECT max(id) FROM change)",
    ],
    ids=["a draft", "a step of undo"],
)
def test_so_are_a_draft_and_a_step_of_undo(harm, library, open_app):
    library.add(Paint("Umber"))
    sql(library, harm)
    app = open_app(page=SHELF, view="backups")
    app.button(key="verify").click().run()
    assert "Something is wrong" in app.error[0].value
    app.button(key="set-aside").click().run()
    app.button(key="verify").click().run()
    assert "All is well" in app.success[0].value
