"""Repairs whose documents somebody else made: opened, or refused in a sentence; never a fault of the program's own.

``COLORMATCH_FAULT_RUNS=400`` damages as many documents; few are damaged otherwise.
"""

from __future__ import annotations

import copy
import json
import os
import random
from dataclasses import replace

import pytest

from app.repair import open_repair
from colormatch.errors import BadInput
from colormatch.library import Stored

RUNS = int(os.environ.get("COLORMATCH_FAULT_RUNS", "8"))
#: What is put in the place of something.
ODD = (None, True, -1, 0, 10**30, 1e308, 0.5, "", "x", "\ud800", "![x](http://a.b/c.png)", [], [[]], {}, {"a": {}})
PAGES = ("screens/photo.py", "screens/match.py", "screens/mix.py", "screens/check.py", "screens/jobs.py")


def places(value, path=()):
    """The path to everything in a document."""
    yield path
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inside:
        yield from places(one, (*path, key))


def damaged(document, chance: random.Random):
    """A document with one thing replaced, or taken away."""
    made = copy.deepcopy(document)
    *way, last = chance.choice([path for path in places(document) if path])
    parent = made
    for key in way:
        parent = parent[key]
    if chance.random() < 0.2:
        del parent[last]
    else:
        parent[last] = chance.choice(ODD)
    return made


@pytest.fixture
def whole(example, open_app, library):
    """The document of the example once a wash is picked, a timer set and something changed."""
    open_app(repair=1, page="screens/mix.py").text_input(key="area-1").set_value("30 x 40 cm").run()
    return json.loads(library.repair(1).document)


@pytest.mark.slow
@pytest.mark.parametrize("page", PAGES)
def test_a_damaged_repair_is_opened_or_refused_in_words(page, whole, open_app, library):
    held, chance = library.repair(1), random.Random(page)
    for _ in range(RUNS):
        document = damaged(whole, chance)
        try:
            library.save_repair(replace(held, document=json.dumps(document)), 1)
        except BadInput:  # half a character: no library takes it
            continue
        app = open_app(repair=1, page=page)
        told = [error.value for error in app.error]
        assert not [text for text in told if "had an internal error" in text], document
        library.save_repair(held, 1)


def test_everything_that_is_odd_is_found(whole, library):
    """Each place of the document, each oddity: a repair of the right types, or a refusal."""
    held = library.repair(1)
    refused = 0
    for path in list(places(whole))[1:]:
        for odd in ODD:
            document = copy.deepcopy(whole)
            parent = document
            for key in path[:-1]:
                parent = parent[key]
            parent[path[-1]] = odd
            try:
                repair = open_repair.opened(Stored(1, replace(held, document=json.dumps(document))))
            except BadInput:
                refused += 1
            else:
                json.dumps(open_repair.document_of(repair), allow_nan=False).encode()
    assert refused > 500


@pytest.mark.parametrize(
    "document", ["", "[", "null", "[]", "7", '"x"', "[" * 100_000, '{"regions": NaN}', '{"past": [7]}']
)
def test_no_document_at_all_is_refused_in_words(document, library, open_app):
    from colormatch.library import SavedRepair

    with pytest.raises(BadInput, match=r"Opening the repair .* failed"):
        open_repair.opened(Stored(1, SavedRepair("x", document)))


@pytest.mark.parametrize("number", ["²", "٣", "9" * 30, "-1", "1e3", "1' OR 1=1 --", "../1", "<img src=x>"])
@pytest.mark.parametrize("page", ["screens/photo.py", "shelf/swatches.py"])
def test_a_made_up_number_in_the_address_is_no_fault(number, page, open_app):
    app = open_app(number, page, view="paint", number=number)
    assert not [error.value for error in app.error if "had an internal error" in error.value]
