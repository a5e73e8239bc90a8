"""A library from a forum whose every name is Markdown, HTML and Streamlit's own marks: shown as it is, never read.

An image in a name would make the browser fetch an address that somebody else chose. Sources: image and raw HTML of
CommonMark 0.31 (6.4, 6.6); OWASP, "Cross Site Scripting Prevention", for text that is put into HTML.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace

import pytest

from app.shelf import things
from app.widgets import look
from colormatch.library import Library
from colormatch.library.starter import install_starter
from colormatch.records import CardKind, ClearCoatPair, Ground, Lab, OwnCard, Paint, ShopChip, Swatch

EVIL = (
    "![x](http://foreign.example/a.png) <img src=//foreign.example/b.png onerror=alert(1)> :red[y] $z$ [x](http://a.b)"
)
#: What would stand in Markdown, were it read and not shown.
READ_AS_MARKDOWN = ("![x]", "[x](", "<img", ":red", "$z")
#: What Streamlit puts on a page as it is: the values of fields, plain text, and what the editor sets as text.
SHOWN_AS_IT_IS = {"Text.body", "BidiComponent.json", "Selectbox.options", "MultiSelect.options", *(
    f"{field}.{part}" for field in ("TextInput", "TextArea") for part in ("default", "value", "id")
), "NumberInput.id"}  # fmt: skip
#: Views of the shelf, of everything or of the first record.
VIEWS = ("", "paint", "add-paint", "edit-paint", "add-swatch", "edit-swatch", "patch", "board", "sheet", "color",
         "exchange", "backups", *things.THINGS)  # fmt: skip
STEPS = ("screens/photo.py", "screens/match.py", "screens/mix.py", "screens/check.py", "screens/jobs.py")


def hostile(library: Library) -> None:
    """The starter's shelf, a wood, a chip, a card, each with such a name and such notes, and the open repair too."""
    install_starter(library)
    for number, stored in enumerate(library.all(Paint)):
        name = f"{number} {EVIL}"
        library.edit(stored.id, replace(stored.record, name=name, maker=EVIL, kind=EVIL, notes=EVIL, thinner=EVIL))
    for stored in library.all(Swatch):
        library.edit(stored.id, replace(stored.record, ground=EVIL, notes=EVIL))
    for stored in library.all(ClearCoatPair):
        library.edit(stored.id, replace(stored.record, name=EVIL, on=EVIL))
    library.add(Ground(EVIL, Lab(70, 5, 20)))
    library.add(ShopChip(EVIL, Lab(50, 0, 0)))
    library.add(OwnCard(EVIL, CardKind.GRAY, "0.18"))
    if library.repairs():
        held = library.repair(1)
        document = json.loads(held.document)
        for region in document["regions"]:
            region["name"] = EVIL
        document["past"] = [{"what": EVIL, "was": {"check": document["check"]}}]  # shown on Check too
        library.save_repair(replace(held, name=EVIL, document=json.dumps(document)), 1)


def texts(element):
    """Name and text of everything that the browser is told of an element."""
    for field, held in element.ListFields():
        for one in held if isinstance(held, Sequence) and not isinstance(held, str) else [held]:
            if isinstance(one, str):
                yield f"{element.DESCRIPTOR.name}.{field.name}", one
            elif hasattr(one, "ListFields"):
                yield from texts(one)


def told(block):
    """The same of a page."""
    if getattr(block, "proto", None) is not None:
        yield from texts(block.proto)
    for child in getattr(block, "children", {}).values():
        yield from told(child)


def check(app) -> bool:
    """Whether a page shows such a name; fails where it would read it."""
    assert not app.exception
    found = [(name, text) for name, text in told(app.main) if "foreign" in text and name not in SHOWN_AS_IT_IS]
    for name, text in found:
        if name == "Html.body":
            assert "<img src=//" not in text, text
        else:
            unescaped = re.sub(r"\\.", "", text)
            assert not [mark for mark in READ_AS_MARKDOWN if mark in unescaped], (name, text)
    return bool(found)


@pytest.mark.parametrize("page", STEPS)
def test_a_hostile_name_is_shown_and_not_read(page, example, open_app, library):
    hostile(library)
    assert check(open_app(repair=1, page=page))


def test_nor_on_the_page_that_offers_to_go_on(example, open_app, library):
    hostile(library)
    assert check(open_app())


@pytest.mark.parametrize("view", VIEWS)
def test_nor_on_the_shelf(view, open_app, library):
    hostile(library)
    for number in ("", "1"):
        query = {name: value for name, value in (("view", view), ("number", number)) if value}
        assert check(open_app(None, "shelf/swatches.py", **query))  # the last change is named on each


def test_nor_in_an_error(open_app, library):
    """An error's sentences hold what was typed."""
    app = open_app(None, "shelf/swatches.py", view="cards")
    app.text_input(key="thing-name").input("mine")
    app.text_input(key="thing-value").input(EVIL)
    app.button(key="keep-thing").click().run()
    assert check(app)


#: What remark-gfm makes a link of by itself: the patterns of mdast-util-gfm-autolink-literal, which looks at a text
#: once its backslashes are gone (its source, `transformGfmAutolinkLiterals`).
AUTOLINK = re.compile(r"(https?://|www(?=\.))([-.\w]+)([^ \t\r\n]*)|([-.\w+]+)@([-\w]+(?:\.[-\w]+)+)", re.IGNORECASE)


@pytest.mark.parametrize(
    "text", ["http://foreign.example/a", "HTTPS://a.b", "see www.foreign.example", "me@foreign.example"]
)
def test_an_address_in_a_name_is_no_link(text):
    assert AUTOLINK.search(text)
    shown = re.sub(r"\\([\\`*_\[\]<>$~&|:+#=.)-])", r"\1", look.plain(text))
    assert not AUTOLINK.search(shown)
    assert shown.replace("\u2060", "") == text
