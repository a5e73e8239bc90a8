"""The report and the labels as files: nothing to load, nothing that runs, whatever things are called."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.mixing.amounts import mix_job
from colormatch.mixing.cautions import DEFER, cautions
from colormatch.mixing.measures import Practice
from colormatch.mixing.schedule import schedule
from colormatch.records import (
    Card,
    CardKind,
    Difference,
    Flag,
    Lab,
    Layer,
    Light,
    Match,
    Paint,
    Part,
    Photo,
    RankedWash,
    Reading,
    Sample,
)
from colormatch.render.label import Label, label_page
from colormatch.render.preview import jpeg
from colormatch.render.report import Report, report_page

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)> \"'><iframe src='//evil'>&amp;"
#: Elements and attributes that could load or run something.
FORBIDDEN = {"script", "iframe", "object", "embed", "link", "base", "form", "audio", "video"}


class Elements(HTMLParser):
    """Elements of a page with their attributes, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def report(name: str = "Ochre", title: str = "A drawer") -> Report:
    """Everything filled in, every text being what a person or a file named."""
    layers = (Layer((Part(name, 2), Part("other", 1)), 0.25, 2), Layer((Part(name),), 0.8, 1))
    wash = RankedWash(1, layers, Lab(56, 11, 25), 1.4, 0.6, 2.9, "measured", 4, 1, name, 0.4, (Flag("x", name),))
    sample = Sample(name, Lab(57, 11, 25), 0.5, 6.0, 900, flags=(Flag("glare", name),))
    photo = Photo(40, 30, "JPEG", name, name, "0" * 64)
    reading = Reading(photo, Card(CardKind.GRAY, None, "given"), Light(None), (sample,), (name,), Difference(1.1))
    match = Match(Lab(57, 11, 25), 2.0, Lab(75, 6, 20), 2.0, (wash, replace(wash, rank=2)), (name,))
    paints = {n: Paint(n, kind=name, thinner=name, price=9, size_ml=100) for n in (name, "other")}
    picture = jpeg(np.full((30, 40, 3), 120, np.uint8))
    amounts = mix_job(layers, paints, Practice(), area_cm2=40)
    labels = [Label(title, layer, i, 2, wash.lab, "2026-11-25", 8.0, name) for i, layer in enumerate(layers, 1)]
    return Report(
        title, "2026-11-25", reading, match, wash, picture, picture, [(name, picture)], amounts, Practice(), 40.0,
        schedule(layers, paints, clear_coat=name), cautions(list(paints.values()), clear_coat=True), [(name, name)],
        labels, simulated=True, invented=["Brown Glaze"],
    )  # fmt: skip


def assert_sealed(page: str) -> Elements:
    elements = Elements(page)
    for tag, attributes in elements.found:
        assert tag not in FORBIDDEN
        assert not [name for name in attributes if name.startswith("on")]
        for name in ("src", "href", "data", "action", "background", "srcset", "poster"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert not re.search(r"https?:|@import|url\(", page)
    assert "default-src 'none'" in page
    return elements


@pytest.mark.parametrize("name", ["Ochre", HOSTILE, "</style></title><b>", "{{7*7}} ${7*7} %s", "żółć Ωå 漆"])
def test_it_opens_offline_and_names_are_only_text(name: str) -> None:
    written = report(name, name)
    for page in (report_page(written), label_page(written.labels)):
        elements = assert_sealed(page)
        assert name in elements.text
        plain = Elements(page.replace("<title>", ""))
        assert [tag for tag, _ in plain.found].count("style") == 1


#: What Markdown, or a program that shows a page, would make a link of.
LINKS = (
    "http://foreign.example/a.png", "www.foreign.example", "me@foreign.example", "[x](http://foreign.example)",
    "![x](http://foreign.example/a.png)", "<http://foreign.example>", "tel:+49301234567", "+49 30 1234567",
    '<a href="http://foreign.example">x</a>',
)  # fmt: skip


@pytest.mark.parametrize("name", LINKS)
def test_a_link_in_a_name_stays_text(name: str) -> None:
    """Phones also make links of what only looks like a number or an address, unless a page says not to (Safari)."""
    written = report(name, name)
    for page in (report_page(written), label_page(written.labels)):
        elements = Elements(page)
        assert name in elements.text
        assert not {tag for tag, _ in elements.found} & {"a", "area", "form", "link", "base"}
        places = [(place, value or "") for _, held in elements.found for place, value in held.items()]
        assert {place for place, value in places if "foreign" in value or "123456" in value} <= {"alt"}
        (detection,) = (found for _, found in elements.found if found.get("name") == "format-detection")
        kinds = ("telephone", "date", "address", "email", "url")
        assert detection["content"] == ", ".join(f"{kind}=no" for kind in kinds)


@given(st.text(min_size=1, max_size=60).filter(str.strip))
def test_any_name_leaves_the_same_elements(name: str) -> None:
    usual = [tag for tag, _ in Elements(label_page(report().labels)).found]
    assert [tag for tag, _ in Elements(label_page(report(name, name).labels)).found] == usual


def test_it_tells_all_of_the_job() -> None:
    text = " ".join(Elements(report_page(report())).text.split())
    for told in (
        "2 Ochre + 1 other, 1:3, 2 coats; then Ochre, 4:1, 1 coat",  # recipe
        "Expected to stay off by ΔE 1.4 (0.6 to 2.9 nine times in ten)",  # how sure
        "In 40 of 100 cases nobody would see the difference",
        "Into the cup, wash 1",  # amounts
        "For 40 cm²: 1 ml is assumed to cover 100 cm²",
        "Brush Ochre + other on thinly along the grain (coat 1 of 2, wash 1).",  # steps
        "Checked when dry",
        "Wash 1 of 2 for A drawer",  # labels
        "Simulated: as the wash should dry",
        "The photo is simulated. Brown Glaze: invented, not for sale.",
        DEFER,
    ):
        assert told in text


def test_what_is_not_known_is_left_out() -> None:
    bare = replace(report(), amounts=None, practice=None, steps=(), checks=(), labels=(), simulated=False, invented=())
    text = Elements(report_page(bare)).text
    for absent in ("Into the cup", "What to do", "Checked when dry", "For the jar", "photo is sim", "not for sale"):
        assert absent not in text


def test_a_label_tells_paint_ratio_coats_date_and_wood() -> None:
    text = " ".join(Elements(label_page(report().labels)).text.split())
    for told in ("Wash 1 of 2 for A drawer", "2 Ochre + 1 other", "1:3 paint to", "2 coats", "Mixed 2026-11-25, 8 ml"):
        assert told in text
