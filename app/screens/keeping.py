"""Keep a dried repair or a strip as a swatch, which makes its paint better known."""

from __future__ import annotations

import streamlit as st

from app import cache
from app.repair import work
from app.repair.dried import STRIPS, Kept
from app.repair.open_repair import OpenRepair
from app.screens import outcome
from app.state import session
from app.state.library import open_library
from app.widgets import fitting, look
from colormatch.check import judge, learn
from colormatch.check.learn import Lesson
from colormatch.errors import ColorMatchError
from colormatch.library.starter import install_starter
from colormatch.records import CardKind, Layer, Part, Reading, RegionKind, Sample, Swatch
from colormatch.repair import surface
from colormatch.wash.ratio import format_layers
from colormatch.workshop import paint_named


def show(repair: OpenRepair, photo: Reading) -> None:
    """Offer to keep it, or show what was kept and learned."""
    st.subheader("Keep what you learned")
    name, sample, layers = _chosen(repair, photo)
    library = open_library()
    kept = next((one for one in repair.check.kept if one.name == _mark(repair, name)), None)
    stored = {one.id: one.record for one in library.all(Swatch)}
    if kept is not None and kept.number in stored:
        _show_kept(kept, stored[kept.number])
        return
    if not layers:
        st.write("Enter what was painted to keep it as a swatch: it makes the next match with that paint more certain.")
        return
    before = outcome.before_painting(repair, photo)
    if before is None:
        st.write("The photo of the damage is unreadable, so the wood under the paint is unknown.")
        return
    try:
        swatch = learn.swatch_from(
            sample,
            photo,
            before,
            layers,
            repair.name or "repair",
            repair.damage_state,
            work.today(),
            photo.photo.sha256,
        )
    except ColorMatchError as error:
        st.write(look.plain(str(error)))
        return
    shelf = fitting.workshop()
    with st.spinner("Fitting the paint to it"):
        learned = cache.lesson(swatch, shelf.shelf.of(swatch.paint), paint_named(shelf.shelf, swatch.paint).kind)
    surer = "" if photo.card.kind is CardKind.CHART24 else " A 24-patch chart would give it more weight."
    wash = look.plain(format_layers(layers))
    st.write(f"{wash} on this wood, read to ΔE {swatch.uncertainty:.1f} (nine times in ten).{surer}")
    look.facts(_gain(learned, "would be", swatch.uncertainty))
    if shelf.lent:
        st.write("These paints belong to the example. To keep a swatch, put them on your shelf first.")
        st.button("Put the example's paints on my shelf", key="install-starter", on_click=_install)
        return
    st.button(
        f"Keep {'the repair' if name == 'Repair' else look.plain(name.lower())} as a swatch",
        key="keep-swatch",
        type="primary",
        on_click=_keep,
        args=(swatch, _mark(repair, name)),
    )


def _chosen(repair: OpenRepair, photo: Reading) -> tuple[str, Sample, tuple[Layer, ...]]:
    """The surface to keep, with its layers."""
    if repair.check.mode != STRIPS:
        return "Repair", surface(photo, RegionKind.REPAIR), outcome.painted_layers(repair)
    strips = {strip.name: strip for strip in judge.strips_of(photo)}
    form, _ = st.columns([4, 9])
    with form:
        name = st.selectbox("Strip", list(strips), key=f"strip-{repair.id}")
        outcome.wash_form(repair, repair.check.strip, "strip")
    try:
        layers = (repair.check.strip.layer,) if repair.check.strip.paint else ()
    except ColorMatchError:  # reported by the form
        layers = ()
    return name, strips[name], layers


def _mark(repair: OpenRepair, name: str) -> str:
    """Identifies surfaces across all photos of this repair."""
    shown = repair.check.shown(1)
    return f"{name} in {shown.photo if shown else ''}"


def _install() -> None:
    with session.telling():
        install_starter(open_library())


def _keep(swatch: Swatch, mark: str) -> None:
    with session.telling():
        number = open_library().add(swatch)
        others = tuple(one for one in session.current().check.kept if one.name != mark)
        session.change_check(kept=(*others, Kept(number, mark)))


def _show_kept(kept: Kept, swatch: Swatch) -> None:
    library = open_library()
    shelf = library.shelf()
    others = tuple(s.record for s in library.all(Swatch) if s.id != kept.number and s.record.paint == swatch.paint)
    with st.spinner("Fitting the paint to it"):
        learned = cache.lesson(swatch, others, paint_named(shelf, swatch.paint).kind)
    layer = Layer((Part(swatch.paint),), swatch.paint_fraction, swatch.coats)
    words = look.plain(f"{format_layers([layer])} on {swatch.ground}")
    st.write(f"**Kept:** {words}. The match and the advice use it from now on.")
    look.facts(_gain(learned, "are", swatch.uncertainty))
    st.button("Remove the swatch", key="drop-swatch", on_click=_drop, args=(kept.number,))


def _drop(number: int) -> None:
    with session.telling():
        open_library().remove(Swatch, number)


def _gain(learned: Lesson, verb: str, doubt: float) -> list[tuple[str, str]]:
    """Gain in certainty about the paint; ``doubt`` is the swatch's own uncertainty, ΔE."""
    after = f"{learned.after:.1f}"
    if learned.before is None or learned.missed is None:
        known = f"Its washes on this wood {verb} known to ΔE {after}, nine times in ten."
        return [("First swatch of this paint", known)]
    better = learned.before - learned.after
    if better >= 0.05:
        gain = f"were known to ΔE {learned.before:.1f} and {verb} known to {after}, nine times in ten."
    else:
        gain = f"are known to ΔE {learned.before:.1f} already; this swatch adds almost nothing."
    within = ", which is within the photo's own error" if learned.missed <= doubt else ""
    missed = f"The paint's model was off by ΔE {learned.missed:.1f} on this wash{within}."
    return [("What it adds", f"{missed} On this wood its washes {gain}")]
