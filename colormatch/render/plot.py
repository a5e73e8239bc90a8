"""Plot of colors: lightness beside the a*-b* plane, each spot filled with its color."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from colormatch.color.difference import axis_weights
from colormatch.color.space import hex_from_lab
from colormatch.records import Lab

#: Size of a panel's plot area and margins, pixels; the lightness panel is narrower.
_SIDE, _NARROW, _LEFT, _TOP, _BOTTOM = 300, 224, 44, 26, 40
#: Least span of an axis, CIELAB units, so that two equal colors are not at the edge. Our choice.
_LEAST_SPAN = 8.0
#: Possible steps between axis ticks, CIELAB units.
_STEPS = (0.5, 1, 2, 5, 10, 20)
#: Sideways step from one bar of lightness to the next, pixels.
_STAGGER = 11
#: Size of a label, pixels; closer names are merged into one label.
_LABEL = (90, 16)
_INK = "#0d0d0d"


@dataclass(frozen=True)
class Spot:
    """One color of the plot."""

    name: str
    lab: Lab
    #: ΔE00, radius of the ellipse around it; 0: none.
    radius: float = 0.0
    #: Drawn as a square with a dashed ring: what the others are compared with.
    target: bool = False
    #: Its ring is drawn strongly: the one in question.
    strong: bool = False


def lab_plot(spots: Sequence[Spot], title: str, *, stacked: bool = False) -> str:
    """Two panels, L* and a*-b*, as one SVG.

    Parameters
    ----------
    spots : sequence of Spot
        At least one. Later ones lie on top.
    title : str
        Read out by a screen reader.
    stacked : bool
        The panels below each other instead of beside each other, for a narrow page.

    Returns
    -------
    str
        An ``<svg>`` element of its own size, which scales down to its container.

    Notes
    -----
    An ellipse has half axes ``radius / weight`` with the weights of CIEDE2000 at its color (`axis_weights`), the same
    along a* and b*: near enough for a picture.
    """
    reach = [_reach(spot) for spot in spots]
    lightness = _axis(
        [v for spot, (dl, _) in zip(spots, reach, strict=True) for v in (spot.lab.L - dl, spot.lab.L + dl)]
    )
    planes = [
        [spot.lab[axis] + side * d for spot, (_, d) in zip(spots, reach, strict=True) for side in (-1, 1)]
        for axis in (1, 2)
    ]
    half = max(map(_span, planes)) / 2
    a_axis, b_axis = ((_middle(values) - half, _middle(values) + half) for values in planes)
    tall = _TOP + _SIDE + _BOTTOM
    second, top = (_LEFT, tall + _TOP) if stacked else (_LEFT + _NARROW + 56, _TOP)
    width, height = second + _SIDE + 16, (2 if stacked else 1) * tall
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" style="max-width:100%;height:auto" font-family="sans-serif" font-size="13" fill="{_INK}">'
        f"<title>{escape(title)}</title>",
        _frame(_LEFT, _TOP, _SIDE if stacked else _NARROW, None, lightness, "L*, light up"),
        _frame(second, top, _SIDE, a_axis, b_axis, "b*, yellow up", "a*, red to the right"),
    ]
    light_places, plane_places = [], []
    for place, (spot, (dl, dab)) in enumerate(zip(spots, reach, strict=True)):
        x, y = _LEFT + 16.0 + _STAGGER * (len(spots) - 1 - place), _at(spot.lab.L, lightness, _TOP + _SIDE, -_SIDE)
        light_places.append((x, y))
        parts.append(_mark(spot, x, y, 0, dl * _SIDE / (lightness[1] - lightness[0])))
        x, y = _at(spot.lab.a, a_axis, second, _SIDE), _at(spot.lab.b, b_axis, top + _SIDE, -_SIDE)
        plane_places.append((x, y))
        radius = dab * _SIDE / (2 * half)
        parts.append(_mark(spot, x, y, radius, radius))
    names = [spot.name for spot in spots]
    parts += [_labels(names, light_places), _labels(names, plane_places)]
    return "".join(parts) + "</svg>"


def _labels(names: Sequence[str], places: Sequence[tuple[float, float]]) -> str:
    """Each name right of its place; names whose places are too close share one label, the topmost spot's first."""
    groups: list[list[tuple[float, float, str]]] = []
    for name, (x, y) in reversed(list(zip(names, places, strict=True))):
        near = (g for g in groups if abs(g[0][1] - y) < _LABEL[1] and abs(g[0][0] - x) < _LABEL[0])
        group = next(near, None)
        if group is None:
            groups.append([(x, y, name)])
        else:
            group.append((x, y, name))
    return "".join(
        f'<text x="{max(x for x, _, _ in group) + 12:.1f}" y="{group[0][1] + 5:.1f}" font-weight="600">'
        f"{escape(_joined([name for _, _, name in group]))}</text>"
        for group in groups
    )


def _joined(names: Sequence[str]) -> str:
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


def _reach(spot: Spot) -> tuple[float, float]:
    """Half axes of a spot's ellipse along L* and across a*-b*, CIELAB units."""
    weight_l, weight_ab, _ = axis_weights(np.asarray(spot.lab))
    return spot.radius / float(weight_l), spot.radius / float(weight_ab)


def _middle(values: Sequence[float]) -> float:
    return (min(values) + max(values)) / 2


def _span(values: Sequence[float]) -> float:
    """What an axis has to show, with a margin."""
    return max(_LEAST_SPAN, 1.15 * (max(values) - min(values)))


def _axis(values: Sequence[float]) -> tuple[float, float]:
    middle, half = _middle(values), _span(values) / 2
    return middle - half, middle + half


def _at(value: float, axis: tuple[float, float], start: float, length: float) -> float:
    return start + length * (value - axis[0]) / (axis[1] - axis[0])


def _ticks(axis: tuple[float, float]) -> list[float]:
    step = next((step for step in _STEPS if (axis[1] - axis[0]) / step <= 6), _STEPS[-1])
    return [step * n for n in range(math.ceil(axis[0] / step), math.floor(axis[1] / step) + 1)]


def _frame(
    left: float,
    top: float,
    width: float,
    across: tuple[float, float] | None,
    up: tuple[float, float],
    up_name: str,
    name: str = "",
) -> str:
    bottom = top + _SIDE
    parts = [f'<rect x="{left}" y="{top}" width="{width}" height="{_SIDE}" fill="#808080" stroke="{_INK}"/>']
    for tick in _ticks(up):
        y = _at(tick, up, bottom, -_SIDE)
        parts.append(f'<path d="M{left} {y:.1f}h{width}" stroke="#707070"/>')
        parts.append(f'<text x="{left - 6}" y="{y + 4:.1f}" text-anchor="end">{tick:g}</text>')
    for tick in _ticks(across) if across else ():
        x = _at(tick, across or up, left, width)
        parts.append(f'<path d="M{x:.1f} {top}v{_SIDE}" stroke="#707070"/>')
        parts.append(f'<text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">{tick:g}</text>')
    parts.append(f'<text x="{left}" y="{top - 9}">{up_name}</text>')
    parts.append(f'<text x="{left + width}" y="{bottom + 34}" text-anchor="end">{name}</text>')
    return "".join(parts)


def _mark(spot: Spot, x: float, y: float, across: float, up: float) -> str:
    """A spot with its ellipse (a line where it has no width)."""
    color = hex_from_lab(np.asarray(spot.lab))
    line = 'stroke-dasharray="5 4"' if spot.target else f'stroke-width="{2.2 if spot.strong else 0.7}"'
    line = f'fill="none" stroke="{_INK}" {line}'
    spread = ""
    if spot.radius and across:
        spread = f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="{across:.1f}" ry="{up:.1f}" {line}/>'
    elif spot.radius:
        spread = f'<path d="M{x - 4:.1f} {y - up:.1f}h8m-4 0v{2 * up:.1f}m-4 0h8" {line}/>'
    shape = (
        f'<rect x="{x - 8:.1f}" y="{y - 8:.1f}" width="16" height="16" fill="{color}" stroke="#fff" stroke-width="2"/>'
        if spot.target
        else f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="{color}" stroke="{_INK}" stroke-width="1.5"/>'
    )
    return spread + shape
