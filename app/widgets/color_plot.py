"""Plot of colors: lightness beside the a*-b* plane, each spot filled with its color.

Import it where it is drawn: Altair takes a third of a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
import streamlit as st

from colormatch.color.difference import delta_e
from colormatch.color.space import hex_from_lab
from colormatch.records import FloatArray, Lab

#: Height of a panel, pixels: about the width that it has on a page.
_SIDE = 340
#: Least span of an axis, CIELAB units, so that two equal colors are not at the edge. Our choice.
_LEAST_SPAN = 8.0
#: Share of a panel within which two spots share one label: about its width and height.
_LABEL = (0.3, 0.05)
_INK, _GRAY = "#0d0d0d", "#808080"
#: Corners of a ring.
_CORNERS = 49
#: Line width and dashes of what shows the uncertainty of a spot.
_DASHES = alt.Scale(domain=[False, True], range=[[1, 0], [5, 4]])
_STROKE: dict[str, Any] = {
    "strokeWidth": alt.StrokeWidth("width:Q", scale=None),
    "strokeDash": alt.StrokeDash("target:N", scale=_DASHES, legend=None),
}


@dataclass(frozen=True)
class Spot:
    """One color of the plot."""

    name: str
    lab: Lab
    #: ΔE00, radius of the ring around it; 0: none.
    radius: float = 0.0
    #: Drawn as a square with a dashed ring: what the others are compared with.
    target: bool = False
    #: Its ring is drawn strongly: the one in question.
    strong: bool = False


def show(spots: Sequence[Spot], words: str) -> None:
    """Show both panels, side by side where there is room.

    Parameters
    ----------
    spots : sequence of Spot
        At least one. Later ones lie on top.
    words : str
        Read out by a screen reader.
    """
    panels = (lightness_panel(spots), plane_panel(spots))
    for place, panel, name in zip(st.columns([3, 4]), panels, ("Lightness", "a* against b*"), strict=True):
        place.altair_chart(panel.properties(description=f"{name}. {words}"), theme=None)


def lightness_panel(spots: Sequence[Spot]) -> alt.LayerChart:
    """L* of each spot, with a bar where it has a radius."""
    rows = []
    for place, spot in enumerate(reversed(spots)):
        reach = float(_reach(spot, np.array([[1.0, 0.0, 0.0]]))[0])
        rows.append(
            {**_facts(spot), "x": place, "y": spot.lab.L, "low": spot.lab.L - reach, "high": spot.lab.L + reach}
        )
    rows.reverse()
    across = (-1.0, len(spots) + 3.0)
    up = _domain([row[end] for row in rows for end in ("low", "high")])
    bars = [row for row in rows if row["high"] > row["low"]]
    x = alt.X("x:Q", axis=None, scale=alt.Scale(domain=across))
    y = alt.Y("low:Q", title="L*, light up", scale=alt.Scale(domain=up))
    spread = alt.Chart(alt.InlineData(values=bars)).mark_rule(color=_INK).encode(x=x, y=y, y2="high:Q", **_STROKE)
    size = (across[1] - across[0], up[1] - up[0])
    return _panel(spread, rows, x, alt.Y("y:Q", title="L*, light up", scale=alt.Scale(domain=up)), size)


def plane_panel(spots: Sequence[Spot]) -> alt.LayerChart:
    """a* and b* of each spot, in a ring where it has a radius."""
    turn = np.linspace(0, 2 * np.pi, _CORNERS)
    steps = np.stack([np.zeros_like(turn), np.cos(turn), np.sin(turn)], axis=1)
    rows = [{**_facts(spot), "x": spot.lab.a, "y": spot.lab.b} for spot in spots]
    rings = []
    for number, (spot, row) in enumerate(zip(spots, rows, strict=True)):
        corners = np.asarray(spot.lab) + _reach(spot, steps)[:, None] * steps
        rings += [{**row, "ring": number, "order": n, "x": a, "y": b} for n, (_, a, b) in enumerate(corners.tolist())]
    drawn = [ring for ring in rings if spots[ring["ring"]].radius]
    across, up = (_domain([ring[axis] for ring in rings]) for axis in ("x", "y"))
    # Both axes of the same span: a ring is round, and equal differences look equal.
    half = max(across[1] - across[0], up[1] - up[0]) / 2
    across, up = (((low + high) / 2 - half, (low + high) / 2 + half) for low, high in (across, up))
    x = alt.X("x:Q", title="a*, red to the right", scale=alt.Scale(domain=across))
    y = alt.Y("y:Q", title="b*, yellow up", scale=alt.Scale(domain=up))
    spread = alt.Chart(alt.InlineData(values=drawn)).mark_line(color=_INK).encode(
        x=x, y=y, detail="ring:N", order="order:Q", **_STROKE
    )  # fmt: skip
    return _panel(spread, rows, x, y, (2 * half, 2 * half))


def _panel(
    spread: alt.Chart, rows: list[dict[str, Any]], x: alt.X, y: alt.Y, size: tuple[float, float]
) -> alt.LayerChart:
    """Spots and labels on top of what shows their uncertainty; the panel is `size` wide and high, CIELAB units."""
    spots = alt.Chart(alt.InlineData(values=rows)).mark_point(opacity=1, size=190, filled=True).encode(
        x=x,
        y=y,
        fill=alt.Fill("color:N", scale=None),
        stroke=alt.Stroke("edge:N", scale=None),
        shape=alt.Shape("shape:N", scale=None),
        tooltip=["name:N", *(alt.Tooltip(f"{axis}:Q", format=".1f") for axis in ("L*", "a*", "b*"))],
    )  # fmt: skip
    labels = alt.Chart(alt.InlineData(values=_labels(rows, size))).mark_text(
        align="left", dx=12, fontSize=13, fontWeight=600, color=_INK
    ).encode(x=x, y=y, text="label:N")  # fmt: skip
    panel: alt.LayerChart = (
        alt.layer(spread, spots, labels)
        .properties(height=_SIDE, width="container")
        .configure_view(fill=_GRAY, stroke=_INK)
        .configure_axis(gridColor="#707070", labelColor=_INK, titleColor=_INK, labelFontSize=13, titleFontSize=13)
    )
    return panel


def _reach(spot: Spot, steps: FloatArray) -> FloatArray:
    """(n,) how far the radius reaches along steps (n, 3) of length 1, CIELAB units, as far as CIEDE2000 is linear."""
    small = 0.01
    lab = np.asarray(spot.lab)
    return np.asarray(spot.radius * small / np.asarray(delta_e(lab + small * steps, lab)))


def _facts(spot: Spot) -> dict[str, Any]:
    """What both panels need of a spot."""
    return {
        "name": spot.name,
        "color": hex_from_lab(np.asarray(spot.lab)),
        "shape": "square" if spot.target else "circle",
        "edge": "#ffffff" if spot.target else _INK,
        "target": spot.target,
        "width": 2.2 if spot.strong else 0.9,
        "L*": float(spot.lab.L),
        "a*": float(spot.lab.a),
        "b*": float(spot.lab.b),
    }


def _domain(values: Sequence[float]) -> tuple[float, float]:
    """Ends of an axis, with a margin."""
    low, high = float(min(values)), float(max(values))
    half = max(_LEAST_SPAN, 1.15 * (high - low)) / 2
    return (low + high) / 2 - half, (low + high) / 2 + half


def _labels(rows: Sequence[dict[str, Any]], size: tuple[float, float]) -> list[dict[str, Any]]:
    """Each name right of its spot; names whose spots are too close share one label, the topmost spot's first."""
    groups: list[list[dict[str, Any]]] = []
    wide, tall = (share * length for share, length in zip(_LABEL, size, strict=True))
    for row in reversed(rows):
        near = (g for g in groups if abs(g[0]["y"] - row["y"]) < tall and abs(g[0]["x"] - row["x"]) < wide)
        group = next(near, None)
        if group is None:
            groups.append([row])
        else:
            group.append(row)
    return [
        {"x": max(row["x"] for row in group), "y": group[0]["y"], "label": joined([row["name"] for row in group])}
        for group in groups
    ]


def joined(names: Sequence[str]) -> str:
    """Names with commas; three or more numbers in a row as a range."""
    said: list[str] = []
    run: list[str] = []
    for name in [*names, ""]:
        if run and name.isdigit() and int(name) == int(run[-1]) + 1:
            run.append(name)
            continue
        said += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else run
        run = [name] if name.isdigit() else []
        said += [] if run or not name else [name]
    return ", ".join(said)
