"""The Jobs page, by key."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from colormatch.library import SavedRepair


@pytest.fixture
def mixed(example, open_app):
    """The example with its wash picked and mixed."""
    app = open_app(repair=1, page="screens/mix.py")
    assert not app.error
    return app


@pytest.fixture
def jobs(mixed, open_app):
    return open_app(page="screens/jobs.py")


def shown(app):
    return " ".join(block.proto.body for block in app.get("html"))


def test_no_job_yet(open_app):
    app = open_app(page="screens/jobs.py")
    assert not app.error
    assert "There are no repairs yet" in app.markdown[0].value


def test_a_job_shows_its_recipe_expectation_cost_and_picture(jobs, library):
    wash = json.loads(library.repair(1).document)["recipe"]["wash"]
    page = shown(jobs)
    assert f"Expected ΔE {wash['expected_delta_e']:.1f} ({wash['low']:.1f} to {wash['high']:.1f})" in page
    assert wash["layers"][0]["paints"][0][0] in page
    assert "Paint: 0." in page
    assert '<img src="/picture/' in page
    assert library.repair(1).name in page


def test_a_report_is_made_even_if_the_wash_s_paint_is_gone(mixed, library):
    from app.repair.open_repair import opened
    from app.screens import papers
    from colormatch.library import Stored
    from colormatch.records import Lab, Paint, Swatch

    simulated = "Simulated: as the wash should dry"
    assert simulated in papers.report(opened(Stored(1, library.repair(1))))
    library.add(Paint("Brown stain"))  # the first own paint: the example lends its own no longer
    library.add(Swatch("Brown stain", 1, 3, 1, "light wood", Lab(74, 6, 20), Lab(50, 12, 24)))
    page = papers.report(opened(Stored(1, library.repair(1))))
    assert "Brown Glaze" in page
    assert simulated not in page


def test_rename_copy_delete_and_undo(jobs, library):
    jobs.text_input(key="rename-1").set_value("  Bench drawer ").run()
    assert library.repair(1).name == "Bench drawer"
    jobs.button(key="copy-1").click().run()
    names = sorted(one.record.name for one in library.repairs())
    assert names == ["Bench drawer", "Bench drawer (2)"]
    first, second = (library.repair(one.id) for one in library.repairs())
    assert (first.document, first.photos) == (second.document, second.photos)
    jobs.button(key="delete-1").click().run()
    assert [one.record.name for one in library.repairs()] == ["Bench drawer (2)"]
    jobs.button(key="undo-job").click().run()
    assert not jobs.exception
    assert sorted(one.record.name for one in library.repairs()) == names
    assert library.photos.path(library.repair(1).photos[0]).is_file()


def test_search_finds_by_name_paint_and_date(jobs, library):
    library.save_repair(SavedRepair("Chair leg", json.dumps({"regions": []})))
    for text, found in (("chair", ["Chair leg"]), ("BROWN glaze", None), ("chair brown", []), ("2", None)):
        jobs.text_input(key="jobs-search").set_value(text).run()
        assert not jobs.exception
        if found is not None:
            assert ("Chair leg" in shown(jobs)) == bool(found)


def test_many_jobs_are_shown_page_by_page(mixed, library, open_app):
    record = library.repair(1)
    for number in range(8):
        library.save_repair(SavedRepair(f"Copy {number}", record.document, record.version, record.photos))
    app = open_app(page="screens/jobs.py")
    assert shown(app).count('class="job"') == 6
    app.segmented_control(key="jobs-page").set_value(2).run()
    assert shown(app).count('class="job"') == 3


@pytest.mark.parametrize("document", ["{}", "[]", '{"regions": 3}', '{"recipe": {"wash": {}}}', '{"limits": {"x": 1}}'])
def test_a_job_of_another_version_is_kept_and_said_so(library, open_app, document):
    number = library.save_repair(SavedRepair("<b>Odd</b>", document))
    app = open_app(page="screens/jobs.py")
    assert not app.exception
    assert not app.error
    assert "&lt;b&gt;Odd&lt;/b&gt;" in shown(app)
    app.button(key=f"delete-{number}").click().run()
    assert not library.repairs()


def test_a_repair_of_an_earlier_version_opens(mixed, library, open_app):
    held = json.loads(library.repair(1).document)
    for new in ("mixing", "times", "progress", "recipe", "past", "future"):
        held.pop(new, None)
    old = library.save_repair(SavedRepair("Old", json.dumps(held), photos=library.repair(1).photos))
    assert "No wash picked yet" in shown(open_app(page="screens/jobs.py"))
    app = open_app(repair=old, page="screens/mix.py")
    assert not app.error
    assert json.loads(library.repair(old).document)["recipe"]["wash"]["layers"]


def test_names_are_never_read_as_markdown(library, open_app):
    """An image in a name would be fetched from the network."""
    from colormatch.library.starter import install_starter
    from colormatch.records import Paint

    install_starter(library)
    hostile = "![x](http://192.0.2.1/x.png) $a$ :red[b] <u>"
    for stored in library.all(Paint):
        if stored.record.name == "Brown Glaze":
            library.edit(stored.id, replace(stored.record, name=hostile))
    app = open_app()
    app.button(key="example").click().run()
    app = open_app(repair=1, page="screens/mix.py")
    assert hostile in json.loads(library.repair(1).document)["recipe"]["wash"]["layers"][0]["paints"][0][0]
    said = [one.value for kind in (app.header, app.subheader, app.markdown, app.warning) for one in kind]
    said += [one.label for kind in (app.number_input, app.button) for one in kind]
    assert any("192" in text for text in said)
    assert not [text for text in said if "![" in text or ":red[" in text]
    assert "<u>" not in shown(app)
