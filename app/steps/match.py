"""Match: the washes that come closest, how sure that is, and what the repair would look like."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app import cached, look, pictures, session
from app.session import OpenRepair
from colormatch.color.words import ACCEPTABLE, VISIBLE, verdict
from colormatch.errors import ColorMatchError
from colormatch.library import Library
from colormatch.records import Match, RankedWash
from colormatch.render.plot import Spot, lab_plot
from colormatch.wash.ratio import format_layers

#: Washes drawn in the plot; more would hide each other.
_PLOTTED = 5
#: Shortest and longest ΔE scale of the bars; a bar that reaches farther is cut.
_SCALE = (6.0, 12.0)
#: Dashes on the bars.
_MARKS = (VISIBLE, ACCEPTABLE)
_MOST_COATS = (1, 2, 3, 4)
_BEFORE, _AFTER = "As it is", "Washed, simulated"


def show() -> None:
    """The page."""
    repair = session.current()
    lacking = session.lacking(repair)
    if lacking:
        look.not_yet("Nothing to match yet", lacking, session.link())
        return
    library = session.open_library()
    path = library.photos.path(repair.photo)
    main_side, limit_side = st.columns([11, 4], gap="medium")
    with limit_side:
        _limits(repair, library)
    with main_side:
        with st.spinner("Fitting your paints and trying their washes"):
            match = session.ranked(repair)
        if isinstance(match, ColorMatchError):
            st.error(str(match))
            return
        wash = _pick(repair, match)
        _show_wash(repair, match, wash, path, library)
        st.page_link("steps/mix.py", label="**Mix this wash**", query_params=session.link())
        _show_all(match)
        _show_plot(match, wash)


# --- limits ----------------------------------------------------------------------------------------------------------


def _limits(repair: OpenRepair, library: Library) -> None:
    limits = repair.limits
    shelf = cached.workshop(library.folder, library.stamp()).shelf
    st.subheader("What the recipe may be")

    def options(label: str, field: str, words: dict[int, str]) -> None:
        key = f"{field}-{repair.id}"
        st.segmented_control(
            label,
            list(words),
            format_func=words.__getitem__,
            required=True,
            key=session.showing(key, getattr(limits, field)),
            on_change=session.limit_changer(field, key),
        )

    options("Most coats", "coats", {n: str(n) for n in _MOST_COATS})
    options("Washes", "layers", {1: "One", 2: "A second or a glaze over it"})
    options("Paints in a wash", "mix", {1: "One", 2: "Up to two"})
    key = f"paints-{repair.id}"
    names = [paint.name for paint in shelf.paints if shelf.of(paint.name)]
    st.multiselect(
        "Only these paints",
        names,
        placeholder="All on the shelf",
        key=session.showing(key, [name for name in limits.paints if name in names]),
        on_change=session.limit_changer("paints", key, tuple),
    )
    key = f"on_hand-{repair.id}"
    st.checkbox(
        "Only what is left in the tin",
        key=session.showing(key, limits.on_hand),
        on_change=session.limit_changer("on_hand", key),
    )
    coats = list(dict.fromkeys(pair.name for pair in shelf.clear_coats))
    key = f"clear-{repair.id}"
    st.selectbox(
        "A clear coat over the whole piece at the end",
        ["", *coats],
        format_func=lambda name: name or "None, or not known yet",
        key=session.showing(key, limits.clear if limits.clear in coats else ""),
        on_change=session.limit_changer("clear", key),
    )


# --- washes ----------------------------------------------------------------------------------------------------------


def _pick(repair: OpenRepair, match: Match) -> RankedWash:
    st.subheader("Closest washes")
    key = f"picked-{repair.id}"
    ranks = [wash.rank for wash in match.washes]
    picked = st.segmented_control(
        "Wash to look at, best first",
        ranks,
        required=True,
        key=session.showing(key, repair.picked if repair.picked in ranks else ranks[0]),
        on_change=session.changer("picked", key),
    )
    return next((wash for wash in match.washes if wash.rank == picked), match.washes[0])


def _longest(match: Match) -> float:
    return min(_SCALE[1], max(_SCALE[0], *(wash.high for wash in match.washes)))


def _show_wash(repair: OpenRepair, match: Match, wash: RankedWash, path: Path, library: Library) -> None:
    color_side, picture_side = st.columns(2, gap="medium")
    with color_side:
        st.html(look.edge_to_edge(match.finished or match.target, wash.lab, ("Sound wood", f"Wash {wash.rank}, dry")))
        st.markdown(f"**{format_layers(wash.layers)}**")
        st.html(look.range_bar(wash.low, wash.expected_delta_e, wash.high, _longest(match), _MARKS))
        st.write(
            f"**Expected ΔE {wash.expected_delta_e:.1f}**: {verdict(wash.expected_delta_e)}. Nine times in ten it lies "
            f"between {wash.low:.1f} and {wash.high:.1f}."
        )
        st.write(f"**What stays off:** {wash.off}.")
        known = "measured on a swatch" if wash.basis == "measured" else "worked out from swatches of the paint"
        st.write(f"**How it is known:** {known}, {wash.swatches} in all.")
        for flag in wash.flags:
            st.write(flag.text)
    with picture_side:
        _show_picture(repair, match, wash, path, library)
    if match.advice:
        st.subheader("Worth knowing")
        look.sentences(match.advice)


def _show_picture(repair: OpenRepair, match: Match, wash: RankedWash, path: Path, library: Library) -> None:
    view = st.segmented_control(
        "The damage", (_BEFORE, _AFTER), default=_AFTER, required=True, key="side", label_visibility="collapsed"
    )
    with st.spinner("Painting the picture"):
        before, after, (width, height) = cached.pictured(
            path, repair.card(), repair.surfaces, match.ground, wash.layers, library.folder, library.stamp()
        )
    address = pictures.publish(after if view == _AFTER else before)
    st.html(look.picture(address, width, height, f"The damage in the photo: {view.lower()}"))


def _show_all(match: Match) -> None:
    st.subheader("All of them")
    st.write(
        f"Each beside the sound wood. The bar holds ΔE nine times in ten, on a scale from 0 to {_longest(match):.0f}, "
        f"the white line its mean. At the dashes, {VISIBLE} and {ACCEPTABLE}, half of all people see a difference, and "
        "half no longer accept it."
    )
    groups: dict[int, list[RankedWash]] = {}
    for wash in match.washes:
        groups.setdefault(wash.group, []).append(wash)
    for place, members in enumerate(groups.values()):
        if place == 0 and len(members) > 1:
            st.write("Can't be told apart by what is known, the simplest first:")
        elif place == 1:
            st.write("Farther off, group by group:")
        st.html("".join(_row(wash, match) for wash in members))


def _row(wash: RankedWash, match: Match) -> str:
    return look.wash_row(
        match.finished or match.target,
        wash.lab,
        f"{wash.rank}. {format_layers(wash.layers)}",
        f"ΔE {wash.expected_delta_e:.1f} ({wash.low:.1f} to {wash.high:.1f}), {wash.off}",
        look.range_bar(wash.low, wash.expected_delta_e, wash.high, _longest(match), _MARKS),
    )


def _show_plot(match: Match, wash: RankedWash) -> None:
    st.subheader("Where the colors lie")
    shown = [other for other in match.washes if other.rank <= _PLOTTED or other is wash]
    spots = [Spot("damage", match.ground)]
    spots += [Spot(str(other.rank), other.lab) for other in reversed(shown)]
    spots.append(Spot("sound wood", match.finished or match.target, match.target_uncertainty, target=True))
    words = "Lightness, and a* against b*, of the sound wood, the damage and the closest washes"
    st.html(look.drawing(lab_plot(spots, words), words))
    st.write(
        f"The ring around the sound wood holds its true color nine times in ten. {match.searched:,} recipes were "
        f"tried in {match.seconds:.2f} s. A screen shows colors roughly; a test strip beside the wood decides."
    )


show()
