"""Swatch colors as small pieces of HTML: strips, cards and the grid."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path

import streamlit as st

from colormatch.color.space import hex_from_lab
from colormatch.match.grid import GridCell, WashGrid
from colormatch.records import Lab, Swatch
from colormatch.wash.ratio import format_fraction, format_ratio

_CSS = Path(__file__).with_name("chips.css").read_text(encoding="utf-8")
#: Most chips in one strip; more are too narrow to judge.
_MOST = 16


def dress() -> None:
    """Add their style sheet to the page."""
    st.html(f"<style>{_CSS}</style>")


def coats_word(coats: int) -> str:
    """``1 coat``, ``2 coats``."""
    return "1 coat" if coats == 1 else f"{coats} coats"


def wash_words(swatch: Swatch) -> str:
    """``1:3, 2 coats on a door``."""
    ratio = format_ratio(swatch.paint_parts, swatch.water_parts)
    return f"{ratio}, {coats_word(swatch.coats)} on {swatch.ground or 'wood'}"


def strip(swatches: Sequence[Swatch]) -> str:
    """A paint's swatches side by side, strongest first, each above a band of its wood."""
    if not swatches:
        return '<div class="strip none" role="img" aria-label="no swatch yet"><span>no swatch yet</span></div>'
    # Grouped by ground, from the strongest wash to the thinnest.
    ordered = sorted(swatches, key=lambda s: (s.ground.casefold(), -s.paint_fraction, -s.coats))
    step = max(1, -(-len(ordered) // _MOST))
    shown = ordered[::step]
    pieces = "".join(
        f'<i style="background:linear-gradient({hex_from_lab(s.lab)} 78%,{hex_from_lab(s.ground_lab)} 78%)"></i>'
        for s in shown
    )
    return f'<div class="strip" role="img" aria-label="colors of {len(ordered)} swatches">{pieces}</div>'


def swatch_chip(lab: Lab, ground: Lab, words: str) -> str:
    """One swatch on its wood."""
    return (
        f'<div class="swatch" role="img" aria-label="{escape(words)}" style="background:{hex_from_lab(ground)}">'
        f'<i style="background:{hex_from_lab(lab)}"></i></div>'
    )


def grid_table(grid: WashGrid, ground: Lab) -> str:
    """Washes over the wood, as a table of colors."""
    coats = [cell.layer.coats for cell in grid.rows[0]]
    head = "".join(f'<th scope="col">{coats_word(count)}</th>' for count in coats)
    rows = "".join(
        f'<tr><th scope="row">{format_fraction(row[0].layer.paint_fraction)}</th>{"".join(map(_cell, row))}</tr>'
        for row in grid.rows
    )
    return (
        f'<table class="grid" style="--wood:{hex_from_lab(ground)}"><thead><tr>'
        f'<th aria-label="paint to water">ratio</th>{head}</tr></thead><tbody>{rows}</tbody></table>'
    )


def _cell(cell: GridCell) -> str:
    computed = hex_from_lab(cell.lab)
    words = f"{format_fraction(cell.layer.paint_fraction)}, {coats_word(cell.layer.coats)}"
    spoken = f"{words}: computed, ± {cell.uncertainty:.1f} ΔE"
    fill, mark = computed, ""
    if cell.measured:
        # Measured and computed color edge to edge.
        measured = hex_from_lab(cell.measured[-1].lab)
        fill = f"linear-gradient(90deg,{measured} 50%,{computed} 50%)"
        mark, spoken = "<b>measured</b>", f"{spoken}; measured on a swatch"
    return (
        f'<td><div class="wash" role="img" aria-label="{escape(spoken)}" style="background:{fill}">{mark}</div>'
        f"<small>± {cell.uncertainty:.1f}</small></td>"
    )
