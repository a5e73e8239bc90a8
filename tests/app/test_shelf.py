"""The Swatches page, by key: the shelf, one paint, its swatches."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from colormatch.library import history
from colormatch.library.starter import install_starter
from colormatch.records import Ground, Lab, Paint, Swatch

PAGE = "shelf/swatches.py"


@pytest.fixture
def visit(open_app):
    """The page at a view, as its address says."""

    def start(view="", number=None, repair=None):
        query = {"view": view, "number": "" if number is None else str(number)}
        return open_app(repair, PAGE, **{name: value for name, value in query.items() if value})

    return start


@pytest.fixture
def starter(library):
    install_starter(library)
    return library


def number_of(library, name):
    return next(one.id for one in library.all(Paint) if one.record.name == name)


def html(app):
    return " ".join(block.proto.body for block in app.get("html"))


def cards(app):
    """Names of the paints, in the order shown."""
    return [button.label.split("**")[1] for button in app.button if button.key.startswith("paint-")]


def type_in(app, **fields):
    for key, value in fields.items():
        app.text_input(key=key.replace("_", "-").replace("--", "_")).input(value)
    return app


def test_the_shelf_is_as_it_is_though_the_clock_was_once_ahead(visit, library, monkeypatch):
    with monkeypatch.context() as ahead:
        ahead.setattr(history, "now", lambda: "2099-01-01T00:00:00.000000+00:00")
        library.add(Paint("Deep Brown"))
    assert cards(visit()) == ["Deep Brown"]
    library.add(Paint("Walnut"))
    assert cards(visit()) == ["Deep Brown", "Walnut"]


def test_keep_pressed_twice_adds_a_paint_once(visit, library):
    for _ in range(2):  # the second press comes from the page that the first has already left
        app = type_in(visit("add-paint"), paint_name="Brown stain")
        app.button(key="keep-paint").click().run()
        assert not app.error
    assert [one.record.name for one in library.all(Paint)] == ["Brown stain"]
    app = type_in(visit("add-paint"), paint_name="Brown stain", paint_maker="another")
    app.button(key="keep-paint").click().run()
    assert "already a paint named" in app.error[0].value


# --- the shelf -------------------------------------------------------------------------------------------------------


def test_an_empty_shelf_says_how_to_fill_it_and_lends_the_example(visit, library):
    app = visit()
    assert any("Your shelf is empty" in text.value for text in app.markdown)
    assert app.button(key="undo").disabled
    app.button(key="starter").click().run()
    assert not app.exception
    assert len(cards(app)) == len(library.all(Paint)) == 10
    assert "imported" in app.button(key="undo").label
    app.button(key="undo").click().run()
    assert library.all(Paint) == ()
    app.button(key="redo").click().run()
    assert len(library.all(Paint)) == 10


def test_search_kind_and_on_hand_narrow_the_shelf(visit, starter):
    app = visit()
    app.text_input(key="search").input("umber").run()
    assert cards(app) == ["Burnt Umber", "Raw Umber"]
    app.text_input(key="search").input("").run()
    app.selectbox(key="kind").select("glaze").run()
    assert cards(app) == ["Brown Glaze"]
    app.selectbox(key="kind").select("Every kind").run()
    cream = number_of(starter, "Cream")
    starter.edit(cream, Paint("Cream", on_hand_ml=0.0))
    app.checkbox(key="on-hand").check().run()
    assert "Cream" not in cards(app)
    app.text_input(key="search").input("no such paint").run()
    assert any("No paint on the shelf matches" in text.value for text in app.markdown)


def test_sorting_by_name_by_age_and_by_nearness(visit, starter):
    starter.add(Paint("Aaa"))
    app = visit()
    assert cards(app)[0] == "Aaa"
    app.segmented_control(key="sort").select("Added last").run()
    assert cards(app)[0] == "Aaa"
    app.segmented_control(key="sort").select("Nearest to a color").run()
    app.selectbox(key="near").select("A color typed as L*, a*, b*").run()
    app.text_input(key="near-lab").input("30, 20, -45").run()
    assert not app.exception
    # A blue is nearest to the only blue of the shelf, and what has no swatch comes last.
    assert cards(app)[0] == "Dull Blue"
    assert cards(app)[-1] == "Aaa"
    app.text_input(key="near-lab").input("blue").run()
    assert "three numbers" in app.error[0].value
    assert len(cards(app)) == 11


def test_the_open_repairs_wood_can_be_sorted_by(visit, example):
    app = visit(repair=1)
    app.button(key="starter").click().run()
    app.segmented_control(key="sort").select("Nearest to a color").run()
    assert app.selectbox(key="near").value == "Sound wood of the open repair"
    assert "from Sound wood of the open repair" in " ".join(button.label for button in app.button)


# --- a paint ---------------------------------------------------------------------------------------------------------


def test_add_edit_duplicate_delete_with_undo(visit, library):
    app = visit("add-paint")
    type_in(app, paint_name="Deep Brown", paint_maker="a maker", paint_size__ml="1/2 pint", paint_on__hand__ml="0",
            paint_price="12.5")  # fmt: skip
    app.button(key="keep-paint").click().run()
    assert not app.exception
    (stored,) = library.all(Paint)
    assert (stored.record.name, stored.record.price, stored.record.on_hand_ml) == ("Deep Brown", 12.5, 0.0)
    # One US liquid pint is 473.176473 ml (NIST Handbook 44, appendix C).
    assert stored.record.size_ml == pytest.approx(473.176473 / 2)
    assert app.query_params["view"] == "paint"
    assert "Deep Brown" in app.header[0].value
    assert app.button(key="undo").label == "**Undo:** added the paint Deep Brown"

    app.button(key="edit-paint").click().run()
    assert app.text_input(key="paint-maker").value == "a maker"
    app.text_input(key="paint-maker").input("another")
    app.button(key="keep-paint").click().run()
    assert library.get(Paint, stored.id).maker == "another"
    app.button(key="undo").click().run()
    assert library.get(Paint, stored.id).maker == "a maker"

    app.button(key="duplicate-paint").click().run()
    assert app.header[0].value == "Deep Brown 2"
    app.button(key="delete-paint").click().run()
    assert [one.record.name for one in library.all(Paint)] == ["Deep Brown"]
    assert cards(app) == ["Deep Brown"]
    app.button(key="undo").click().run()
    assert cards(app) == ["Deep Brown", "Deep Brown 2"]


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("paint-name", "", "needs a name"),
        ("paint-name", "deep brown", "already"),
        ("paint-price", "cheap", "'cheap' is not a valid price"),
        ("paint-size_ml", "a big tin", "not a volume"),
        ("paint-on_hand_ml", "-3", "zero or more"),
    ],
)
def test_what_is_wrong_is_told_and_what_was_typed_stays(visit, library, field, value, told):
    library.add(Paint("Deep Brown"))
    app = visit("add-paint")
    app.text_input(key="paint-name").input("Another")
    app.text_area(key="paint-notes").input("from the flea market")
    app.text_input(key=field).input(value)
    app.button(key="keep-paint").click().run()
    assert told in app.error[0].value
    assert app.text_area(key="paint-notes").value == "from the flea market"
    assert app.text_input(key=field).value == value
    assert len(library.all(Paint)) == 1


def test_a_photo_of_the_tin_is_kept_and_shown(visit, library):
    number = library.add(Paint("Deep Brown"))
    app = visit("edit-paint", number)
    tin = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 60, 40)).save(tin, "PNG")
    app.file_uploader(key="paint-photo").upload("tin.png", tin.getvalue())
    app.button(key="keep-paint").click().run()
    assert not app.exception
    photo = library.get(Paint, number).photo
    assert library.photos.path(photo).read_bytes() == tin.getvalue()
    assert "The tin of Deep Brown" in html(app)
    app.button(key="edit-paint").click().run()
    app.file_uploader(key="paint-photo").upload("tin.png", b"no picture")
    app.button(key="keep-paint").click().run()
    assert app.error
    assert library.get(Paint, number).photo == photo


def test_an_undo_on_a_form_leaves_it(visit, library):
    number = library.add(Paint("Deep Brown"))
    app = visit("edit-paint", number)
    app.button(key="undo").click().run()
    assert not app.exception
    assert not app.error or "no paint number" in app.error[0].value
    assert library.all(Paint) == ()


def test_a_paint_without_a_swatch_says_what_to_paint(visit, library):
    app = visit("paint", library.add(Paint("Deep Brown")))
    assert "It needs a swatch" in [head.value for head in app.subheader]
    assert not app.error


def test_a_paint_shows_its_grid_its_fit_and_the_next_swatch(visit, starter):
    app = visit("paint", number_of(starter, "Burnt Umber"))
    page = html(app)
    assert 'class="grid"' in page
    # Most of its swatches lie on light wood, so that comes first, with those that were painted on it marked.
    assert app.selectbox[0].value == "light wood"
    on_light_wood = [s for s in starter.shelf().of("Burnt Umber") if s.ground == "light wood"]
    assert page.count("<b>measured</b>") == len({(s.paint_fraction, s.coats) for s in on_light_wood})
    assert "The best swatch to paint next" in [head.value for head in app.subheader]
    assert sum("ΔE off" in text.value for text in app.markdown) == len(starter.shelf().of("Burnt Umber"))
    app.selectbox[0].select("A color typed as L*, a*, b*").run()
    app.text_input(key=f"over-{number_of(starter, 'Burnt Umber')}-lab").input("60, 9, 24").run()
    assert not app.exception
    assert html(app) != page


def test_over_the_open_repair_the_next_swatch_is_told_with_its_gain(visit, example, library):
    install_starter(library)
    app = visit("paint", number_of(library, "Burnt Umber"), repair=1)
    assert app.selectbox[0].value == "Damage of the open repair"
    said = " ".join(text.value for text in app.markdown)
    assert "open repair" in said
    assert "expected ΔE of the open repair" in said or "None for the open repair" in said


@pytest.mark.parametrize("number", [99, None])
def test_a_paint_that_is_not_there_is_one_sentence(visit, library, number):
    app = visit("paint", number)
    assert not app.exception
    assert len(app.error) <= 1


# --- swatches by numbers ---------------------------------------------------------------------------------------------


def test_a_swatch_by_numbers_is_kept_corrected_copied_and_deleted(visit, library):
    number = library.add(Paint("Deep Brown"))
    library.add(Ground("rail", Lab(78.0, 5.0, 22.0)))
    app = visit("add-swatch", number)
    type_in(app, swatch_lab="60, 9, 25", swatch_uncertainty="0.6")
    for left_out, given in (
        ("The ground it was painted on", {"swatch_ground": "rail"}),
        ("ratio of paint to water", {}),
    ):
        app.button(key="keep-swatch").click().run()
        assert left_out in app.error[0].value  # nothing is made up
        assert library.all(Swatch) == ()
        type_in(app, **given)
    type_in(app, swatch_ratio="1:3")
    app.button(key="keep-swatch").click().run()
    assert not app.exception
    assert not app.error
    (stored,) = library.all(Swatch)
    assert stored.record.ground_lab == Lab(78.0, 5.0, 22.0)
    assert (stored.record.uncertainty, stored.record.measured) == (0.6, "typed in")
    assert 'class="grid"' in html(app)

    app.button(key=f"edit-swatch-{stored.id}").click().run()
    app.text_input(key="swatch-lab").input("61, 9, 25")
    app.button(key="keep-swatch").click().run()
    assert library.get(Swatch, stored.id).lab == Lab(61.0, 9.0, 25.0)
    app.button(key=f"duplicate-swatch-{stored.id}").click().run()
    assert len(library.all(Swatch)) == 2
    app.button(key=f"delete-swatch-{stored.id}").click().run()
    assert len(library.all(Swatch)) == 1
    app.button(key="undo").click().run()
    assert len(library.all(Swatch)) == 2


def test_correcting_one_thing_of_a_swatch_leaves_the_others_to_the_last_digit(visit, library):
    library.add(Paint("Deep Brown"))
    exact = Swatch(
        "Deep Brown", 25.0, 401.0, 2, "rail", Lab(78.123456, 5.0, 22.0), Lab(60.98765432, 9.0, 25.0), 0.61234
    )
    number = library.add(exact)
    app = visit("edit-swatch", number)
    app.text_area(key="swatch-notes").input("looked at twice")
    app.button(key="keep-swatch").click().run()
    kept = library.get(Swatch, number)
    assert kept.notes == "looked at twice"
    assert (kept.paint_parts, kept.water_parts, kept.lab, kept.ground_lab, kept.uncertainty) == (
        exact.paint_parts, exact.water_parts, exact.lab, exact.ground_lab, exact.uncertainty,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("swatch-ratio", "a dash", "not a ratio"),
        ("swatch-lab", "brown", "three numbers"),
        ("swatch-lab", "160, 0, 0", "not a CIELAB color"),
        ("swatch-uncertainty", "", "uncertainty is empty"),
        ("swatch-ground", "ash", "ash is not known"),
        ("swatch-taken", "yesterday", "date"),
    ],
)
def test_a_swatch_that_cant_be_is_told_and_stays_typed(visit, library, field, value, told):
    number = library.add(Paint("Deep Brown"))
    library.add(Ground("rail", Lab(78.0, 5.0, 22.0)))
    app = visit("add-swatch", number)
    type_in(app, swatch_lab="60, 9, 25", swatch_ratio="1:3", swatch_ground="rail")
    app.text_input(key=field).input(value)
    app.button(key="keep-swatch").click().run()
    assert told in app.error[0].value
    assert app.text_input(key=field).value == value
    assert library.all(Swatch) == ()
