"""One paint: its washes over a wood, the fit of its model, and its swatches."""

from __future__ import annotations

from collections import Counter

import streamlit as st

from app import cache
from app.server import pictures
from app.shelf import way_up, woods
from app.shelf.woods import Wood
from app.state import address, session
from app.state.library import open_library, stored
from app.widgets import chips, fitting, look
from colormatch import repair as job
from colormatch.color.words import NOTHING, verdict
from colormatch.errors import ColorMatchError
from colormatch.library import Library, Stored
from colormatch.match.advice import WORTH_A_SWATCH
from colormatch.match.grid import WashGrid
from colormatch.records import Paint, RegionKind, Swatch
from colormatch.wash.ratio import format_fraction, format_layers
from colormatch.workshop import FitError, Workshop, fit_errors, grid_over

#: Number of swatches from which the next one is chosen by its expected gain; the first two are standard.
_ENOUGH = 2
#: Swatches listed at first: the last ones added.
_FIRST = 40


def show() -> None:
    """The view."""
    library = open_library()
    number = address.number()
    way_up.show("Your paints")
    if number is None:
        return
    paint = library.get(Paint, number)
    st.header(look.plain(paint.name))
    _describe(library, paint)
    _actions(number)
    swatches = [one for one in stored(Swatch) if one.record.paint == paint.name]
    if not swatches:
        _first_swatches(paint)
        return
    workshop = fitting.workshop()
    surfaces = [wood for kind in (RegionKind.DAMAGE, RegionKind.SOUND) if (wood := woods.of_repair(kind))]
    main_side, word_side = st.columns([5, 4], gap="medium")
    with main_side:
        st.subheader("Over a wood")
        # The most common ground comes first, unless a repair is open.
        usual = Counter(one.record.ground for one in swatches).most_common(1)[0][0]
        first = surfaces[0].name if surfaces else usual
        wood = woods.choose("Which wood?", f"over-{number}", [*surfaces, *woods.known()], first)
        if wood is not None:
            grid = grid_over(workshop, paint.name, wood.lab, wood.uncertainty)
            _show_grid(grid, wood)
    with word_side:
        st.subheader("The best swatch to paint next")
        if wood is not None:
            st.write(_next(workshop, paint.name, len(swatches), grid, wood))
        look.cautions([("", flag.text) for flag in workshop.models[paint.name].flags])
        _show_swatches(swatches, fit_errors(workshop, paint.name))


def _describe(library: Library, paint: Paint) -> None:
    said = [paint.maker, paint.kind, f"thinned with {paint.thinner}" if paint.thinner else ""]
    if paint.size_ml is not None:
        said.append(f"tin of {paint.size_ml:g} ml")
    if paint.price is not None:
        said.append(f"{paint.price:g} a tin")
    if paint.on_hand_ml is not None:
        said.append(f"{paint.on_hand_ml:g} ml left" if paint.on_hand_ml else "none left")
    st.write(look.plain(" · ".join(word for word in said if word)))
    if paint.notes:
        st.text(paint.notes)
    if paint.photo:
        path = library.photos.path(paint.photo)
        address = pictures.publish(cache.as_taken(path))
        st.html(f'<div class="tin">{look.picture(address, *cache.size(path), f"The tin of {paint.name}")}</div>')


def _actions(number: int) -> None:
    with st.container(horizontal=True, gap="small", key="paint-actions"):
        st.button("Swatch from a photo", key="patch", type="primary", on_click=address.go, args=("patch", number))
        st.button("Swatch by numbers", key="add-swatch", on_click=address.go, args=("add-swatch", number))
        st.button("Edit", key="edit-paint", on_click=address.go, args=("edit-paint", number))
        st.button("Duplicate", key="duplicate-paint", on_click=_duplicate, args=(number,))
        st.button("Delete", key="delete-paint", on_click=_delete, args=(number,))


def _duplicate(number: int) -> None:
    with session.telling():
        address.go("paint", open_library().duplicate(Paint, number))


def _delete(number: int) -> None:
    with session.telling():
        open_library().remove(Paint, number)
        address.go()


def _first_swatches(paint: Paint) -> None:
    st.html(chips.strip([]))
    st.subheader("It needs a swatch")
    st.write(
        f"The program doesn't know the color of this paint yet. Brush {look.plain(paint.name)} on bare wood, once at "
        "full strength and once thinned 1:7, wipe it as you would on a repair, let it dry, and photograph each beside "
        "bare wood and the gray card. In simulations two such swatches leave an uncertainty of 1.2 ΔE for every other "
        "dilution; one leaves twice as much."
    )


# --- grid ------------------------------------------------------------------------------------------------------------


def _show_grid(grid: WashGrid, wood: Wood) -> None:
    st.html(chips.grid_table(grid, wood.lab))
    measured = any(cell.measured for row in grid.rows for cell in row)
    halves = " In cells marked measured, the left half is your swatch and the right half the computed color." * measured
    st.write(
        f"Computed from your swatches over {look.plain(wood.name)}: the color that a wash should dry to, and the ΔE "
        f"that it stays within nine times in ten, including variation in brushing.{halves} A screen shows colors "
        "roughly."
    )


def _next(workshop: Workshop, paint: str, swatches: int, grid: WashGrid, wood: Wood) -> str:
    """The next swatch to paint, with the reason."""
    reading = woods.repair_reading()
    if reading is not None and wood.name.endswith(woods.OPEN):
        try:
            found = job.swatch_worth_painting(reading, workshop, paint)
        except ColorMatchError as error:
            return look.plain(str(error))
        if found is not None and found.before - found.after >= WORTH_A_SWATCH:
            return (
                f"**{look.plain(format_layers([found.layer]))}** on wood like the damage. It should reduce the "
                f"expected ΔE of the open repair, with this paint alone, from about {found.before:.1f} to about "
                f"{found.after:.1f}."
            )
        return (
            "None for the open repair: the remaining uncertainty comes from the brush and the reading, not the paint."
        )
    cell = grid.least_sure
    words = look.plain(f"{format_fraction(cell.layer.paint_fraction)}, {chips.coats_word(cell.layer.coats)}")
    on = look.plain(wood.name)
    why = f"It is the least certain of all these washes: ± {cell.uncertainty:.1f} ΔE over {on}."
    if swatches < _ENOUGH:
        why += " In simulations a second swatch, far from the first in strength, halves the uncertainty."
    return f"**{words}** on {on}. {why}"


# --- swatches --------------------------------------------------------------------------------------------------------


def _show_swatches(swatches: list[Stored[Swatch]], errors: tuple[FitError, ...]) -> None:
    st.subheader("1 swatch" if len(swatches) == 1 else f"{len(swatches)} swatches")
    st.write("Each shows how far it is from the model that was learned from all of them.")
    rows = list(zip(swatches, errors, strict=True))
    if len(rows) > _FIRST and not st.checkbox(f"Show all {len(rows)}", key="all-swatches"):
        rows = rows[-_FIRST:]
    for one, error in rows:
        with st.container(horizontal=True, gap="small", vertical_alignment="center", key=f"swatch-row-{one.id}"):
            st.html(chips.swatch_chip(one.record.lab, one.record.ground_lab, "the swatch on its wood"), width=96)
            st.markdown(_swatch_words(one.record, error))
            with st.popover("Change", key=f"swatch-{one.id}"):
                _swatch_actions(one)


def _swatch_words(swatch: Swatch, error: FitError) -> str:
    fit = f"Model {error.delta_e:.1f} ΔE off, {verdict(error.delta_e)}"
    if error.off != NOTHING:
        fit += f": {error.off}"
    said = [f"Read to ± {swatch.uncertainty:.1f} ΔE", swatch.measured, swatch.taken]
    more = look.plain(", ".join(word for word in said if word))
    return f"**{look.plain(chips.wash_words(swatch))}**  \n{fit}.  \n{more}"


def _swatch_actions(stored: Stored[Swatch]) -> None:
    number = stored.id
    if stored.record.notes:
        st.text(stored.record.notes)
    st.button("Edit", key=f"edit-swatch-{number}", width="stretch", on_click=address.go, args=("edit-swatch", number))
    st.button(
        "Duplicate", key=f"duplicate-swatch-{number}", width="stretch", on_click=_duplicate_swatch, args=(number,)
    )
    st.button("Delete", key=f"delete-swatch-{number}", width="stretch", on_click=_delete_swatch, args=(number,))


def _duplicate_swatch(number: int) -> None:
    with session.telling():
        open_library().duplicate(Swatch, number)


def _delete_swatch(number: int) -> None:
    with session.telling():
        open_library().remove(Swatch, number)
