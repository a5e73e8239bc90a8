"""The plot of L* and a*-b*: well-formed, and everything where it belongs."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from colormatch.records import Lab
from colormatch.render.plot import Spot, lab_plot

SVG = "{http://www.w3.org/2000/svg}"


def places(svg, tag):
    root = ElementTree.fromstring(svg)
    return [{key: float(value) for key, value in node.attrib.items() if re.fullmatch(r"[-\d.]+", value)}
            for node in root.iter(SVG + tag)]  # fmt: skip


def test_lighter_lies_higher_and_redder_farther_right():
    svg = lab_plot([Spot("dark", Lab(30, 5, 20)), Spot("light red", Lab(70, 25, 20))], "two")
    (dark_l, dark_ab, light_l, light_ab) = places(svg, "circle")
    assert light_l["cy"] < dark_l["cy"]
    assert light_ab["cx"] > dark_ab["cx"]
    assert light_ab["cy"] == dark_ab["cy"]


def test_a_larger_uncertainty_draws_a_larger_ring():
    def ring(radius):
        return places(lab_plot([Spot("a", Lab(60, 10, 20), radius), Spot("b", Lab(30, 60, -40))], "r"), "ellipse")[0]

    assert ring(4)["rx"] > ring(2)["rx"] > 0


def test_names_are_escaped_and_crowded_ones_share_a_label():
    svg = lab_plot([Spot("<b>", Lab(50, 10, 20)), Spot("second", Lab(50.1, 10, 20))], "names & all")
    texts = [node.text for node in ElementTree.fromstring(svg).iter(SVG + "text")]
    assert texts.count("second, <b>") == 2


def test_numbers_in_a_row_are_told_as_a_range():
    spots = [Spot(name, Lab(50, 10, 20)) for name in ("damage", "3", "2", "1", "wood")]
    texts = [node.text for node in ElementTree.fromstring(lab_plot(spots, "t")).iter(SVG + "text")]
    assert texts.count("wood, 1 to 3, damage") == 2


def test_stacked_panels_are_narrow_and_hold_the_same():
    spots = [Spot("a", Lab(60, 10, 20), 2), Spot("b", Lab(30, 40, -10), 1, target=True)]
    beside, below = (ElementTree.fromstring(lab_plot(spots, "t", stacked=stacked)) for stacked in (False, True))
    assert float(below.get("width")) < 390 < float(beside.get("width"))
    assert len(list(below.iter())) == len(list(beside.iter()))
