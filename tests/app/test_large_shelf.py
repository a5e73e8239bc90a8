"""The first match with a large shelf tells how far its paints are fitted; all of them are simulated."""

from __future__ import annotations

import json

import pytest
from streamlit.delta_generator import DeltaGenerator

from colormatch.errors import LibraryUnwritable
from colormatch.library import Library, SavedRepair
from tests.scenes.large_shelf import large_shelf

PAINTS = 12


@pytest.fixture
def ready(example, library: Library) -> Library:
    """The example's repair over a shelf whose paints were never fitted."""
    held = library.repair(1)
    document = json.loads(held.document) | {"recipe": None, "guided": False}
    library.save_repair(SavedRepair("drawer", json.dumps(document), held.version, held.photos))
    tins, swatches = large_shelf(PAINTS)
    library.add_all([*tins, *swatches], "a large shelf")
    return library


@pytest.fixture
def bars(monkeypatch) -> list[tuple[float, str]]:
    """Every state of every bar on a page."""
    seen: list[tuple[float, str]] = []
    progress = DeltaGenerator.progress

    def record(self, value, text=None, *rest, **named):
        seen.append((value, text or ""))
        return progress(self, value, text, *rest, **named)

    monkeypatch.setattr(DeltaGenerator, "progress", record)
    return seen


def test_a_bar_tells_how_many_paints_are_fitted_and_goes_away(ready, open_app, bars):
    app = open_app(repair=2, page="screens/match.py")
    assert not app.error
    told = [(value, text) for value, text in bars if text]
    assert told
    assert {text.partition(":")[0] for _, text in told} == {"Fitting your paints"}
    assert all(0 <= value <= 1 and text.endswith((f"of {PAINTS}", "of 1")) for value, text in told)
    assert told == sorted(told)
    assert not app.get("progress")
    # Remembered: not again, neither in this program nor in the next.
    bars.clear()
    assert not open_app(repair=2, page="screens/match.py").error
    assert not bars


def test_what_refuses_the_shelf_is_told_and_tried_again(ready, open_app, monkeypatch):
    from app.cache import shelf

    def refuse(*_):
        raise LibraryUnwritable("The disk is away.", "Plug it in.")

    with monkeypatch.context() as patch:
        patch.setattr(shelf, "open_workshop", refuse)
        app = open_app(repair=2, page="screens/match.py")
        assert ["The disk is away" in one.value for one in app.error] == [True]
    assert not open_app(repair=2, page="screens/match.py").error
