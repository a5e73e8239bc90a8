"""Form for a match: the target, the limits on the recipe, and layers over the whole piece."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from app.repair.open_repair import OpenRepair
from app.state import session
from app.state.library import grounds, open_library
from app.widgets import look
from colormatch import repair as job
from colormatch.errors import BadInput
from colormatch.records import TYPED_UNCERTAINTY, Ground, Lab, Layer, Part, Reading, RegionKind, Shelf, lab_of
from colormatch.wash.ratio import format_layers, parse_ratio

_MOST_COATS = (1, 2, 3, 4)
#: Smallest measures, milliliters, for a batch of at most 30 ml, with their labels.
_MEASURES = {
    0.0: "All usual ratios",
    0.5: "Measured in 0.5 ml steps, at most 30 ml",
    1.0: "Measured in 1 ml steps, at most 30 ml",
    5.0: "Measured in 5 ml spoons, at most 30 ml",
}
#: Least share of the wood's own contrast that a wash must keep, with labels.
_GRAIN = {0.75: "Three quarters", 0.5: "At least half", 0.25: "A quarter", 0.0: "None: opaque paint too"}
#: Choices for the target, besides stored colors.
_SOUND, _TYPED = "The sound wood in this photo", "A color that I type"
_SHIFTS = {
    "": "Just that color",
    "warmer": "Warmer",
    "cooler": "Cooler",
    "darker": "Darker",
    "lighter": "Lighter",
}
#: Middle gray, to be replaced by typing if no sound wood is marked.
_MIDDLE = Lab(50.0, 0.0, 0.0)
#: Largest shift offered, ΔE00: an entirely different color.
_FARTHEST = 20.0


def show(repair: OpenRepair, shelf: Shelf, reading: Reading | None) -> None:
    """Show all parts, one below the other."""
    st.subheader("Limits of the recipe", anchor="limits")
    _limits(repair, shelf)
    st.subheader("Target color")
    _aim(repair, reading)
    st.subheader("Over the whole piece afterwards")
    _afterwards(repair, shelf)


# --- recipe ----------------------------------------------------------------------------------------------------------


def _limits(repair: OpenRepair, shelf: Shelf) -> None:
    limits = repair.limits

    def options(label: str, field: str, words: dict[int, str]) -> None:
        key = f"{field}-{repair.id}"
        st.segmented_control(
            label,
            list(words),
            format_func=words.__getitem__,
            required=True,
            key=session.showing(key, getattr(limits, field)),
            on_change=session.part_changer("limits", field, key),
        )

    options("Most coats", "coats", {n: str(n) for n in _MOST_COATS})
    options("Washes", "layers", {1: "One", 2: "A second wash or a glaze over it"})
    options("Paints in a wash", "mix", {1: "One", 2: "Up to two"})
    key = f"paints-{repair.id}"
    names = [paint.name for paint in shelf.paints if shelf.of(paint.name)]
    st.multiselect(
        "Only these paints",
        names,
        placeholder="All on the shelf",
        key=session.showing(key, [name for name in limits.paints if name in names]),
        on_change=session.part_changer("limits", "paints", key, tuple),
    )
    key = f"grain_kept-{repair.id}"
    st.selectbox(
        "Grain that must still show",
        list(_GRAIN),
        format_func=_GRAIN.__getitem__,
        key=session.showing(key, limits.grain_kept if limits.grain_kept in _GRAIN else 0.5),
        on_change=session.part_changer("limits", "grain_kept", key),
    )
    key = f"on_hand-{repair.id}"
    st.checkbox(
        "Only paints with some left in the tin",
        key=session.showing(key, limits.on_hand),
        on_change=session.part_changer("limits", "on_hand", key),
    )
    invented = [paint.invented for paint in shelf.paints]
    if any(invented) and not all(invented):
        key = f"invented-{repair.id}"
        st.checkbox(
            "Also the example's invented paints",
            key=session.showing(key, limits.invented),
            on_change=session.part_changer("limits", "invented", key),
        )
    key = f"smallest_ml-{repair.id}"
    st.selectbox(
        "Ratios to choose from",
        list(_MEASURES),
        format_func=_MEASURES.__getitem__,
        key=session.showing(key, limits.smallest_ml if limits.smallest_ml in _MEASURES else 0.0),
        on_change=session.part_changer("limits", "smallest_ml", key),
    )


# --- target ----------------------------------------------------------------------------------------------------------


def _aim(repair: OpenRepair, reading: Reading | None) -> None:
    aim = repair.aim
    kept = {ground.name: ground for ground in grounds()}
    chosen = _SOUND if aim.kept is None else aim.name if aim.name in kept else _TYPED
    key = f"aim-{repair.id}"
    st.selectbox(
        "The damage should look like",
        [_SOUND, *kept, _TYPED],
        key=session.showing(key, chosen),
        on_change=_take_aim,
        args=(key, kept, _start(repair, reading)),
    )
    if chosen == _TYPED:
        key = f"aim-lab-{repair.id}"
        assert aim.kept is not None
        st.text_input(
            "Its L*, a*, b*",
            key=session.showing(key, ", ".join(f"{value:g}" for value in aim.kept)),
            on_change=_take_lab,
            args=(key,),
        )
    elif chosen == _SOUND and reading is not None and repair.of_kind(RegionKind.SOUND):
        key = f"keep-color-{repair.id}"
        with st.popover("Keep this color for other repairs"):
            st.text_input("Name of the wood or the piece", key=key, on_change=_keep_color, args=(key, reading))
    key = f"shift-{repair.id}"
    st.selectbox(
        "Deliberate shift",
        list(_SHIFTS),
        format_func=_SHIFTS.__getitem__,
        key=session.showing(key, aim.direction),
        on_change=session.part_changer("aim", "direction", key),
    )
    if aim.direction:
        key = f"amount-{repair.id}"
        st.number_input(
            "by, in ΔE (2 is a visible step)",
            min_value=0.0,
            max_value=_FARTHEST,
            step=0.5,
            key=session.showing(key, aim.amount),
            on_change=session.part_changer("aim", "amount", key),
        )


def _start(repair: OpenRepair, reading: Reading | None) -> Lab:
    """Starting value of a typed color."""
    if reading is None or not repair.of_kind(RegionKind.SOUND):
        return _MIDDLE
    return Lab(*(round(value, 1) for value in job.surface(reading, RegionKind.SOUND).lab))


def _take_aim(key: str, kept: dict[str, Ground], start: Lab) -> None:
    chosen, aim = session.widget_value(key), session.current().aim
    if chosen == _SOUND:
        session.change(aim=replace(aim, kept=None, uncertainty=0.0, name=""))
    elif chosen in kept:
        session.change(aim=replace(aim, kept=kept[chosen].lab, uncertainty=kept[chosen].uncertainty, name=chosen))
    else:
        session.change(aim=replace(aim, kept=aim.kept or start, uncertainty=TYPED_UNCERTAINTY, name=""))


def _take_lab(key: str) -> None:
    with session.telling():
        lab = lab_of(session.widget_value(key).split(","), "color")
        session.change(aim=replace(session.current().aim, kept=lab, uncertainty=TYPED_UNCERTAINTY, name=""))


def _keep_color(key: str, reading: Reading) -> None:
    name = session.widget_value(key).strip()
    if name:
        with session.telling():
            repair = session.current()
            sound = job.surface(reading, RegionKind.SOUND)
            open_library().add(Ground(name, sound.lab, round(sound.uncertainty, 2), repair.sound_state))


# --- over everything -------------------------------------------------------------------------------------------------


def _afterwards(repair: OpenRepair, shelf: Shelf) -> None:
    limits = repair.limits
    for number, layer in enumerate(limits.then):
        with st.container(horizontal=True, vertical_alignment="center", key=f"then-{number}"):
            st.write(look.plain(format_layers((_signed(layer, shelf),))))
            st.button("Remove", key=f"then-remove-{number}", on_click=_drop_layer, args=(number,))
    with st.popover("Add a wash or a glaze"), st.form("then-form", border=False, clear_on_submit=True):
        st.selectbox("Paint", [paint.name for paint in shelf.paints if shelf.of(paint.name)], key="then-paint")
        st.text_input("Paint to water, such as 4:1 or 25 %", key="then-ratio")
        st.number_input("Coats", min_value=1, max_value=4, key="then-coats")
        st.form_submit_button("Add it", on_click=_add_layer)
    coats = list(dict.fromkeys(pair.name for pair in shelf.clear_coats))
    key = f"clear-{repair.id}"
    st.selectbox(
        "A clear coat at the end",
        ["", *coats],
        format_func=lambda name: name or "None, or not known yet",
        key=session.showing(key, limits.clear if limits.clear in coats else ""),
        on_change=session.part_changer("limits", "clear", key),
    )


def _signed(layer: Layer, shelf: Shelf) -> Layer:
    return replace(layer, paints=tuple(shelf.part(part.paint, part.parts) for part in layer.paints))


def _add_layer() -> None:
    with session.telling():
        paint = session.widget_value("then-paint")
        if paint is None:
            raise BadInput("There is no paint to add.", "Add one on the Swatches page first.")
        fraction = parse_ratio(session.widget_value("then-ratio")).paint_fraction
        layer = Layer((Part(paint),), fraction, int(session.widget_value("then-coats")))
        limits = session.current().limits
        session.change(limits=replace(limits, then=(*limits.then, layer)))


def _drop_layer(number: int) -> None:
    limits = session.current().limits
    then = tuple(layer for place, layer in enumerate(limits.then) if place != number)
    session.change(limits=replace(limits, then=then))
