"""The Swatches page, by key: bringing in, taking out, backups."""

from __future__ import annotations

import pytest

from app.server import files
from colormatch.errors import LibraryUnwritable
from colormatch.library import Library, backup
from colormatch.library.export import export_exchange
from colormatch.library.merge import Fate, import_exchange
from colormatch.library.starter import bundled, install_starter
from colormatch.records import Ground, Lab, Paint, Swatch
from tests.library.plain_photos import plain_photo

PAGE = "shelf/swatches.py"


@pytest.fixture
def visit(open_app):
    return lambda view="": open_app(page=PAGE, **({"view": view} if view else {}))


def table(name):
    return (bundled("swatches") / name).read_bytes()


def sentences(app):
    return " ".join(block.proto.body for block in app.get("html"))


def words(app):
    return " ".join(text.value for text in app.markdown)


@pytest.fixture
def upload(tmp_path):
    """Files as the browser has sent them: the page finds them by their tokens."""

    def send(app, *chosen, key="exchange-files"):
        tokens = []
        for number, (name, content) in enumerate(chosen):
            path = tmp_path / f"sent-{number}" / name
            path.parent.mkdir()
            path.write_bytes(content)
            tokens.append(files._in.put(path))
        app.session_state[f"{key}-held"] = tokens
        app.run()
        assert not app.exception
        return app

    return send


def expanders(app):
    return [one.label for one in app.expander]


# --- in and out ------------------------------------------------------------------------------------------------------


def test_nothing_is_written_before_the_preview_is_confirmed(visit, library, upload):
    app = visit("exchange")
    upload(app, ("paints.csv", table("paints.csv")), ("swatches.csv", table("swatches.csv")))
    assert not app.error
    assert any("New: 145" in label for label in expanders(app))
    assert library.all(Paint) == ()
    app.button(key="import").click().run()
    assert not app.error
    assert (len(library.all(Paint)), len(library.all(Swatch))) == (10, 135)
    assert "imported paints" in app.button(key="undo").label
    app.button(key="undo").click().run()
    assert library.all(Paint) == ()


def test_a_conflict_is_shown_and_decided(visit, library, upload):
    install_starter(library)
    cream = next(one for one in library.all(Paint) if one.record.name == "Cream")
    library.edit(cream.id, Paint("Cream", maker="somebody else", kind="chalk"))
    app = upload(visit("exchange"), ("paints.csv", table("paints.csv")))
    assert any("Different from yours: 1" in label for label in expanders(app))
    assert "maker is invented, yours somebody else; kind is matte furniture paint, yours chalk" in words(app)
    assert library.get(Paint, cream.id).maker == "somebody else"
    app.segmented_control(key="conflicts").select("theirs").run()
    app.button(key="import").click().run()
    assert library.get(Paint, cream.id).maker == "invented"


def test_what_is_there_already_is_left_alone(visit, library, upload):
    install_starter(library)
    app = upload(visit("exchange"), ("paints.csv", table("paints.csv")))
    assert "already have everything in it" in words(app)
    assert "import" not in [button.key for button in app.button]


def test_an_instruments_file_becomes_woods(visit, library, upload):
    head = b"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    text = head + b"BEGIN_DATA\ndoor 61 8 24\nEND_DATA\n"
    app = upload(visit("exchange"), ("door.cie", text))
    app.button(key="import").click().run()
    assert [one.record.name for one in library.all(Ground)] == ["door"]


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("shelf.zip", b"no zip at all", "shelf.zip"),
        ("list.csv", b"a,b\n1,2\n", "not a sheet of paints"),
        ("door.cie", b"CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", "door.cie"),
        ("paints.csv", b"name,price\nUmber,cheap\n", "price"),
    ],
)
def test_what_cant_be_brought_in_is_told_and_changes_nothing(visit, library, upload, name, content, told):
    app = upload(visit("exchange"), (name, content))
    assert told in app.error[0].value
    assert "Traceback" not in app.error[0].value
    assert library.next_undo() is None


def handed_out(app, key):
    """The file that the page hands to the browser."""
    app.button(key=key).click().run()
    assert not app.exception
    assert not app.error
    (address,) = app.session_state[f"{key}-held"]
    assert f'href="{address}"' in " ".join(block.proto.body for block in app.get("html"))
    return files._out.get(address.split("/")[2])


def test_what_is_taken_out_comes_in_equal_elsewhere(visit, library, tmp_path):
    install_starter(library)
    library.add(Ground("door", Lab(61, 8, 24)))
    library.add(Paint("Deep Brown", photo=library.photos.add(plain_photo(), "tin.png")))
    other = Library.open(tmp_path / "other")
    app = visit("exchange")
    assert "Not included: 1 photo." in sentences(app)
    app.checkbox(key="share-photos").check().run()
    assert "location, owner, serial numbers" in sentences(app)
    plan = import_exchange(other, handed_out(app, "export"))
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


def test_a_saved_library_is_handed_out_and_taken_back(visit, library, upload):
    library.add(Paint("Deep Brown"))
    saved = handed_out(visit("backups"), "archive")
    library.add(Paint("Another"))
    app = upload(visit("backups"), (saved.name, saved.read_bytes()), key="restore-file")
    assert any("Continue only if you saved it yourself or trust whoever did." in one.value for one in app.markdown)
    app.button(key="restore-file-go").click().run()
    assert not app.error
    assert [one.record.name for one in library.all(Paint)] == ["Deep Brown"]
    assert app.session_state["restore-file-held"] == []


def test_what_cant_be_handed_out_is_told(visit, library, monkeypatch):
    def full(library, target, progress, **_):
        target.write_bytes(b"a part")
        raise LibraryUnwritable("The disk is full.", "Make room.")

    monkeypatch.setattr("app.shelf.exchange.export_exchange", full)
    app = visit("exchange")
    app.button(key="export").click().run()
    assert app.error[0].value == "The disk is full. Make room."
    assert app.session_state["export-held"] == []
    assert list(library.folder.glob(".unfinished-*")) == []


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
