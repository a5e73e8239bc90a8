"""Below the ranking: several damages, grain lines, plot of the colors, other washes of one paint."""

from __future__ import annotations

import streamlit as st

from app import cache
from app.repair.open_repair import OpenRepair
from app.state import answers
from app.state.library import library_state
from app.widgets import chips, look
from colormatch.errors import ColorMatchError
from colormatch.records import Match, RankedWash, RegionKind
from colormatch.wash.ratio import format_layers

#: Washes in the plot; more would hide each other.
_PLOTTED = 5


def spots(repair: OpenRepair) -> None:
    """The best wash for each of several damages, and the best single one; hidden for one damage."""
    if len(repair.of_kind(RegionKind.DAMAGE)) < 2 or repair.aim.kept is not None:
        return
    st.subheader("Each damage")
    with st.spinner("Trying the washes on each damage"):
        marked = answers.marked(repair, repair.surfaces)
        found = cache.spots(marked, library_state(), repair.limits, repair.aim.shift, repair.states)
    if isinstance(found, ColorMatchError):
        st.error(look.plain(str(found)))
        return
    rows = [(f"Damage {number}", _said(match.washes[0])) for number, match in enumerate(found.each, 1) if match.washes]
    if found.together:
        best = found.together[0]
        each = ", ".join(f"{wash.expected_delta_e:.1f} on damage {n}" for n, wash in enumerate(best.spots, 1))
        rows.append(("One wash for all", f"{format_layers(best.spots[0].layers)}: expected ΔE {each}."))
    look.facts(rows)


def _said(wash: RankedWash) -> str:
    return (
        f"{format_layers(wash.layers)}: expected ΔE {wash.expected_delta_e:.1f} "
        f"({wash.low:.1f} to {wash.high:.1f}), {wash.off}."
    )


def grain(repair: OpenRepair, wash: RankedWash) -> None:
    """The wash for drawing grain lines; hidden if the sound wood shows none."""
    if repair.aim.kept is not None or repair.aim.direction:
        return
    with st.spinner("Looking at the grain lines"):
        marked = answers.marked(repair, repair.to_match)
        found = cache.grain(marked, library_state(), repair.limits, wash.layers, repair.states)
    if found is None:
        return
    st.subheader("Grain lines")
    if isinstance(found, ColorMatchError):
        st.error(look.plain(str(found)))
        return
    best, bare = found.washes[0], found.untouched
    if not best.layers:
        st.write("You don't need to draw any: over this wash the color of the grain is close enough.")
        return
    instead = f" (without them {bare.expected_delta_e:.1f})" if bare else ""
    st.write(
        f"Once the wash is dry, draw the lines with a fine brush: **{look.plain(format_layers(best.layers))}**, "
        f"expected ΔE {best.expected_delta_e:.1f} to the grain lines of the sound wood{instead}."
    )


def plot(match: Match, wash: RankedWash, wanted: str) -> None:
    """Plot of lightness, and of a* against b*."""
    from app.widgets import color_plot  # takes a third of a second
    from app.widgets.color_plot import Spot

    st.subheader("Where the colors lie")
    shown = [other for other in match.washes if other.rank <= _PLOTTED or other is wash]
    dots = [Spot("damage", match.ground)]
    dots += [Spot(str(o.rank), o.lab, o.uncertainty, strong=o is wash) for o in reversed(shown)]
    target = match.wanted
    dots.append(Spot(wanted.lower(), target, match.target_uncertainty, target=True))
    color_plot.show(dots, f"The colors of {wanted.lower()}, the damage and the closest washes.")
    st.write(
        f"The solid rings contain the result of each wash nine times in ten; the bold one is wash {wash.rank}. The "
        f"dashed ring contains {look.plain(wanted.lower())} itself nine times in ten; an error there shifts all of "
        "them. "
        f"{match.searched:,} recipes were tried in {match.seconds:.2f} s."
    )
    st.write("A screen shows colors roughly; a test strip beside the wood decides.")


def grid(match: Match, wash: RankedWash) -> None:
    """Grid of ratio by coats for the picked wash's paint over the damage, if it is a single paint."""
    if len(wash.layers) != 1 or len(wash.layers[0].paints) != 1:
        return
    paint = wash.layers[0].paints[0].paint
    with st.expander(f"{look.plain(paint)} at other ratios and coats, over this damage"):
        chips.dress()
        table = cache.paint_grid(library_state(), paint, match.ground, match.ground_uncertainty)
        st.html(chips.grid_table(table, match.ground))
        st.write("Computed colors, each within ± ΔE nine times in ten; measured cells are split in two.")
