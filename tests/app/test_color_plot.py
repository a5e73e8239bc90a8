"""The plot of L* and a*-b*: everything where it belongs, by Vega-Lite's own terms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from app.widgets.color_plot import Spot, joined, lightness_panel, plane_panel
from colormatch.color.difference import delta_e
from colormatch.records import Lab


def layers(panel: Any) -> list[dict[str, Any]]:
    """Layers of a panel, checked against Vega-Lite's schema by Altair: spread, spots, labels."""
    return panel.to_dict()["layer"]


def values(panel: Any, layer: int) -> list[dict[str, Any]]:
    held = panel.to_dict()
    data = held["layer"][layer]["data"]
    return data["values"] if "values" in data else held["datasets"][data["name"]]


def test_lighter_lies_higher_and_redder_farther_right() -> None:
    spots = [Spot("dark", Lab(30, 5, 20)), Spot("light red", Lab(70, 25, 20))]
    for panel, axes in ((lightness_panel(spots), ("y",)), (plane_panel(spots), ("x", "y"))):
        for axis in axes:
            low, high = layers(panel)[1]["encoding"][axis]["scale"]["domain"]
            assert low < high
    dark, light = values(lightness_panel(spots), 1)
    assert (dark["y"], light["y"]) == (30, 70)
    dark, light = values(plane_panel(spots), 1)
    assert (dark["x"], dark["y"], light["x"], light["y"]) == (5, 20, 25, 20)


@pytest.mark.parametrize("lab", [Lab(60, 10, 20), Lab(35, 4, 6)])
def test_a_small_ring_is_its_radius_away_by_delta_e(lab: Lab) -> None:
    spot = Spot("a", lab, 0.05)
    (bar,) = values(lightness_panel([spot]), 0)
    for light in (bar["low"], bar["high"]):
        assert delta_e(np.array(lab), np.array([light, lab.a, lab.b])) == pytest.approx(0.05, rel=0.02)
    for corner in values(plane_panel([spot]), 0):
        away = delta_e(np.array(lab), np.array([lab.L, corner["x"], corner["y"]]))
        assert away == pytest.approx(0.05, rel=0.02)


def test_a_color_without_radius_has_no_ring() -> None:
    spots = [Spot("a", Lab(60, 10, 20)), Spot("b", Lab(50, 10, 20), 2, target=True)]
    assert {row["name"] for row in values(plane_panel(spots), 0)} == {"b"}
    assert {row["name"] for row in values(lightness_panel(spots), 0)} == {"b"}


def test_rings_lie_within_a_square_plane() -> None:
    panel = plane_panel([Spot("a", Lab(60, 10, 20), 4), Spot("b", Lab(30, 60, -40))])
    across, up = (layers(panel)[1]["encoding"][axis]["scale"]["domain"] for axis in ("x", "y"))
    assert across[1] - across[0] == pytest.approx(up[1] - up[0])
    for point in values(panel, 0):
        assert across[0] < point["x"] < across[1]
        assert up[0] < point["y"] < up[1]


def test_crowded_names_share_a_label() -> None:
    spots = [Spot("<b>", Lab(50, 10, 20)), Spot("second", Lab(50.1, 10, 20))]
    for panel in (plane_panel(spots), lightness_panel(spots)):
        assert [row["label"] for row in values(panel, 2)] == ["second, <b>"]


def test_numbers_in_a_row_are_told_as_a_range() -> None:
    assert joined(["wood", "1", "2", "3", "damage"]) == "wood, 1 to 3, damage"
    assert joined(["1", "2", "wood"]) == "1, 2, wood"
