"""Match page: the closest washes, their certainty, and a picture of the repair."""

from __future__ import annotations

import streamlit as st

from app import cache
from app.repair.open_repair import OpenRepair, lacking
from app.screens import match_form, match_more
from app.server import pictures
from app.state import answers, session
from app.state.library import library_state
from app.widgets import fitting, look
from colormatch.color.difference import delta_e
from colormatch.color.words import ACCEPTABLE, VISIBLE, verdict
from colormatch.errors import ColorMatchError
from colormatch.records import Match, RankedWash, Reading, RegionKind
from colormatch.wash.ratio import format_layers

_BOTH, _BEFORE, _AFTER = "Side by side", "As it is", "Washed, simulated"


def show() -> None:
    """The page."""
    repair = session.current()
    missing = lacking(repair)
    if missing:
        look.not_yet("Nothing to match yet", missing, session.link())
        return
    shelf = fitting.workshop().shelf
    main_side, form_side = st.columns([11, 4], gap="medium")
    with form_side:
        reading = answers.read(repair, repair.surfaces)
        match_form.show(repair, shelf, reading if isinstance(reading, Reading) else None)
    with main_side:
        _spot(repair)
        with st.spinner("Trying washes of your paints"):
            match = answers.ranked(repair)
        if isinstance(match, ColorMatchError):
            look.refused(match, session.link())
            return
        wash = _pick(repair, match)
        _show_wash(repair, match, wash)
        _show_pictures(repair, match, wash)
        if match.advice:
            st.subheader("Worth knowing")
            look.sentences(match.advice)
        _show_all(repair, match)
        match_more.spots(repair)
        match_more.grain(repair, wash)
        match_more.plot(match, wash, _wanted(repair))
        match_more.grid(match, wash)


def _wanted(repair: OpenRepair) -> str:
    """Name of the target, for captions."""
    name = "Sound wood" if repair.aim.kept is None else repair.aim.name or "Typed color"
    return f"{name}, {repair.aim.direction}" if repair.aim.direction else name


def _spot(repair: OpenRepair) -> None:
    """Choose among several damages; hidden for one."""
    damages = len(repair.of_kind(RegionKind.DAMAGE))
    if damages < 2:
        return
    key = f"spot-{repair.id}"
    st.segmented_control(
        "Washes for",
        list(range(damages + 1)),
        format_func=lambda spot: f"Damage {spot}" if spot else "All damage together",
        required=True,
        key=session.showing(key, repair.spot if repair.spot <= damages else 0),
        on_change=session.changer("spot", key),
    )


def _pick(repair: OpenRepair, match: Match) -> RankedWash:
    st.subheader("Closest washes")
    st.html('<a class="to-limits" href="#limits">Change the limits of the recipe</a>')
    key = f"picked-{repair.id}"
    wash = answers.picked(repair, match)
    st.segmented_control(
        "Wash to look at, best first",
        [one.rank for one in match.washes],
        required=True,
        key=session.showing(key, wash.rank),
        on_change=session.changer("picked", key),
    )
    return wash


def _scale_end(match: Match) -> float:
    return look.scale_end(wash.high for wash in match.washes)


def _show_wash(repair: OpenRepair, match: Match, wash: RankedWash) -> None:
    best = float(delta_e(wash.lab, match.wanted))
    color_side, word_side = st.columns(2, gap="medium")
    with color_side:
        names = _wanted(repair), f"Wash {wash.rank}, dry"
        st.html(look.edge_to_edge(match.wanted, wash.lab, names))
    with word_side:
        st.markdown(f"**{look.plain(_title(wash))}**")
        st.html(look.range_bar(wash.low, wash.expected_delta_e, wash.high, _scale_end(match)))
        look.sentences(
            [
                f"Expected ΔE {wash.expected_delta_e:.1f}: {verdict(wash.expected_delta_e)}. Nine times in ten it lies "
                f"between {wash.low:.1f} and {wash.high:.1f}; the best guess alone is {best:.1f}.",
                f"Remaining difference: {wash.off}.",
                *[f"Grain: about {wash.grain_kept:.0%} of the wood's own contrast still shows."] * bool(wash.layers),
                f"How it is known: {_basis(wash)}.",
                *(flag.text for flag in wash.flags),
            ]
        )
        if wash.layers:
            with st.container(key="go"):
                st.page_link("screens/mix.py", label="Mix this wash", query_params=session.link())


def _title(wash: RankedWash) -> str:
    words = format_layers(wash.layers)
    return words if wash.layers else words.capitalize()


def _basis(wash: RankedWash) -> str:
    if not wash.layers:
        return "read in the photo"
    swatches = "one swatch" if wash.swatches == 1 else f"{wash.swatches} swatches"
    if wash.basis == "measured":
        return f"measured, on {swatches} of exactly this wash on wood like the damage"
    return f"calculated from {swatches} of " + ("the paint" if len(wash.layers) == 1 else "the paints")


def _show_pictures(repair: OpenRepair, match: Match, wash: RankedWash) -> None:
    view = st.segmented_control(
        "The damage", (_BOTH, _BEFORE, _AFTER), default=_BOTH, required=True, key="side", label_visibility="collapsed"
    )
    with st.spinner("Painting the picture"):
        before, after, (width, height) = cache.pictured(
            answers.marked(repair, repair.to_match), library_state(), match.ground, wash.layers
        )
    shown = {_BEFORE: pictures.publish(before), _AFTER: pictures.publish(after)}
    chosen = [(shown[one], one) for one in ((_BEFORE, _AFTER) if view == _BOTH else (view,))]
    st.html(look.side_by_side(chosen, width, height))


def _show_all(repair: OpenRepair, match: Match) -> None:
    st.subheader("All of them")
    st.write(
        f"Each is shown beside {look.plain(_wanted(repair).lower())}. The bar covers ΔE nine times in ten, on a scale "
        f"from 0 to {_scale_end(match):.0f}; the white line is its mean. At the dashes, {VISIBLE} and {ACCEPTABLE}, "
        "half of all people see a difference, and half no longer accept it."
    )
    groups: dict[int, list[RankedWash]] = {}
    for wash in (one for one in match.washes if one.layers):
        groups.setdefault(wash.group, []).append(wash)
    for place, members in enumerate(groups.values()):
        if place == 0 and len(members) > 1:
            st.write("Equally good as far as is known, simplest first:")
        elif place == 1:
            st.write("Farther off, by group:")
        st.html("".join(_row(f"{wash.rank}. {_title(wash)}", wash, match) for wash in members))
    # It is listed in one place, whatever its rank.
    ranked = next((wash for wash in match.washes if not wash.layers), None)
    untouched = ranked or match.untouched
    if untouched:
        st.write("And if you did nothing:")
        st.html(_row(f"{ranked.rank}. {_title(ranked)}" if ranked else _title(untouched), untouched, match))


def _row(head: str, wash: RankedWash, match: Match) -> str:
    return look.wash_row(
        match.wanted,
        wash.lab,
        head,
        f"ΔE {wash.expected_delta_e:.1f} ({wash.low:.1f} to {wash.high:.1f}), {wash.off}",
        look.range_bar(wash.low, wash.expected_delta_e, wash.high, _scale_end(match)),
    )


show()
