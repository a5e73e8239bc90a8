"""The Swatches page, by key: bringing in, taking out, backups."""

from __future__ import annotations

import pytest

from app.shelf import exchange as page
from colormatch.library import Library, backup
from colormatch.library.exchange import export_exchange
from colormatch.library.merge import Fate
from colormatch.library.starter import bundled, install_starter
from colormatch.records import Ground, Lab, Paint, Swatch

PAGE = "shelf/swatches.py"


@pytest.fixture
def visit(open_app):
    return lambda view="": open_app(page=PAGE, **({"view": view} if view else {}))


def table(name):
    return (bundled("swatches") / name).read_bytes()


def words(app):
    return " ".join(text.value for text in app.markdown)


def upload(app, *files):
    app.file_uploader(key="exchange-files").set_value(list(files)).run()
    assert not app.exception
    return app


def expanders(app):
    return [one.label for one in app.expander]


# --- in and out ------------------------------------------------------------------------------------------------------


def test_nothing_is_written_before_the_preview_is_confirmed(visit, library):
    app = visit("exchange")
    upload(app, ("paints.csv", table("paints.csv"), "text/csv"), ("swatches.csv", table("swatches.csv"), "text/csv"))
    assert not app.error
    assert any("New: 145" in label for label in expanders(app))
    assert library.all(Paint) == ()
    app.button(key="import").click().run()
    assert not app.error
    assert (len(library.all(Paint)), len(library.all(Swatch))) == (10, 135)
    assert "imported paints" in app.button(key="undo").label
    app.button(key="undo").click().run()
    assert library.all(Paint) == ()


def test_a_conflict_is_shown_and_decided(visit, library):
    install_starter(library)
    cream = next(one for one in library.all(Paint) if one.record.name == "Cream")
    library.edit(cream.id, Paint("Cream", maker="somebody else", kind="chalk"))
    app = upload(visit("exchange"), ("paints.csv", table("paints.csv"), "text/csv"))
    assert any("something else than yours: 1" in label for label in expanders(app))
    assert "maker is invented, yours somebody else; kind is matte furniture paint, yours chalk" in words(app)
    assert library.get(Paint, cream.id).maker == "somebody else"
    app.segmented_control(key="conflicts").select("theirs").run()
    app.button(key="import").click().run()
    assert library.get(Paint, cream.id).maker == "invented"


def test_what_is_there_already_is_left_alone(visit, library):
    install_starter(library)
    app = upload(visit("exchange"), ("paints.csv", table("paints.csv"), "text/csv"))
    assert "nothing in it that you don't have" in words(app)
    assert "import" not in [button.key for button in app.button]


def test_an_instruments_file_becomes_woods(visit, library):
    head = b"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    text = head + b"BEGIN_DATA\ndoor 61 8 24\nEND_DATA\n"
    app = upload(visit("exchange"), ("door.cie", text, "text/plain"))
    app.button(key="import").click().run()
    assert [one.record.name for one in library.all(Ground)] == ["door"]


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("shelf.zip", b"no zip at all", "shelf.zip"),
        ("list.csv", b"a,b\n1,2\n", "no sheet of paints"),
        ("door.cie", b"CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", "door.cie"),
        ("paints.csv", b"name,price\nUmber,cheap\n", "price"),
    ],
)
def test_what_cant_be_brought_in_is_told_and_changes_nothing(visit, library, name, content, told):
    app = upload(visit("exchange"), (name, content, "application/octet-stream"))
    assert told in app.error[0].value
    assert "Traceback" not in app.error[0].value
    assert library.next_undo() is None


def test_what_is_taken_out_comes_in_equal_elsewhere(library, tmp_path):
    install_starter(library)
    library.add(Ground("door", Lab(61, 8, 24)))
    saved = tmp_path / "out.zip"
    saved.write_bytes(page._zipped())
    other = Library.open(tmp_path / "other")
    plan = page.import_exchange(other, saved)
    assert {item.fate for item in plan.items} == {Fate.NEW}
    for kind in (Paint, Swatch, Ground):
        assert [one.record for one in other.all(kind)] == [one.record for one in library.all(kind)]
    export_exchange(other, tmp_path / "again")


# --- backups ---------------------------------------------------------------------------------------------------------


def test_back_up_now_verify_and_go_back_after_a_confirmation(visit, library):
    library.add(Paint("Deep Brown"))
    app = visit("backups")
    app.button(key="back-up").click().run()
    assert not app.exception
    newest = backup.backups(library.database)[0]
    assert newest.reason == "asked"
    assert "asked for" in words(app)
    app.button(key="verify").click().run()
    assert "All is well" in app.success[0].value

    library.add(Paint("Another"))
    assert len(library.all(Paint)) == 2
    app.button(key="restore-0").click().run()
    assert not app.error
    assert [one.record.name for one in library.all(Paint)] == ["Deep Brown"]
    assert backup.backups(library.database)[0].reason == "before-restore"
    # What was there is not lost: it is a backup now.
    app = visit("backups")
    app.button(key="restore-0").click().run()
    assert len(library.all(Paint)) == 2


def test_a_damaged_library_shows_the_way_back(visit, library):
    library.add(Paint("Deep Brown"))
    backup.back_up(library.database, "asked")
    library.database.write_bytes(b"this is no database" * 100)
    app = visit()
    assert "damaged" in app.error[0].value
    assert "Traceback" not in app.error[0].value
    app.button(key="restore-0").click().run()
    assert not app.exception
    assert [one.record.name for one in library.all(Paint)] == ["Deep Brown"]


def test_verify_tells_what_is_wrong(visit, library):
    photo = library.photos.add(b"a photo", "tin.jpg")
    library.add(Paint("Deep Brown", photo=photo))
    library.photos.path(photo).write_bytes(b"spoiled")
    app = visit("backups")
    app.button(key="verify").click().run()
    assert "Something is wrong" in app.error[0].value
