"""Mix: how much of what goes into the cup for the picked wash, and what to do when."""

from __future__ import annotations

import streamlit as st

from app import cached, look, session
from app.session import OpenRepair
from colormatch.bench.amounts import Batch, measurable_ml, mix_batch, parse_area, wash_needed
from colormatch.bench.cautions import cautions
from colormatch.bench.schedule import Step, schedule, whole_time
from colormatch.errors import ColorMatchError
from colormatch.records import Layer, Limits, Match, Paint, RankedWash
from colormatch.wash.ratio import format_fraction, format_layers, parse_volume
from colormatch.workshop import Workshop, rounding_cost

#: Smallest measures that are offered, as `parse_volume` reads them.
_MEASURES = ("1 ml", "0.5 ml", "5 ml", "1/4 tsp", "1 tsp", "1 drop")


def show() -> None:
    """The page."""
    repair = session.current()
    lacking = session.lacking(repair)
    if lacking:
        look.not_yet("Nothing to mix yet", lacking, session.link())
        return
    library = session.open_library()
    with st.spinner("Fitting your paints and trying their washes"):
        match = session.ranked(repair)
    if isinstance(match, ColorMatchError):
        st.error(str(match))
        return
    wash = session.picked(repair, match)
    st.subheader(f"Wash {wash.rank}: {format_layers(wash.layers)}")
    if not wash.layers:
        st.write("There is nothing to mix: the damage is best left as it is.")
        return
    _show(repair, match, wash, cached.workshop(library.folder, library.stamp()))


def _show(repair: OpenRepair, match: Match, wash: RankedWash, workshop: Workshop) -> None:
    cup, bench = st.columns(2, gap="large")
    with cup:
        area, smallest = _inputs(repair)
        paints = {paint.name: paint for paint in workshop.shelf.paints}
        try:
            cm2, ml = parse_area(area), parse_volume(smallest)
        except ColorMatchError as error:
            st.error(str(error))
        else:
            for layer in wash.layers:
                volume = measurable_ml(layer, wash_needed(cm2, layer.coats), ml)
                _show_batch(layer, mix_batch(layer, volume, paints, ml), match, workshop)
            st.write(
                "Assumed: 1 ml covers 100 cm² in one coat; a fifth more for cup and brush, and as much as can be "
                "measured well."
            )
    with bench:
        steps = schedule(wash.layers, clear_coat=repair.limits.clear)
        st.subheader("What to do")
        look.numbered([step.text + _time(step) for step in steps])
        st.write(f"With the drying it takes about {max(1, round(whole_time(steps) / 3600))} hours.")
        st.subheader("Take care")
        look.sentences(_cautions(wash, paints, repair.limits))


def _inputs(repair: OpenRepair) -> tuple[str, str]:
    area_key, measure_key = f"area-{repair.id}", f"smallest-{repair.id}"
    area = st.text_input(
        "How large is the damage? Such as 40cm2, 4x10cm or 6 sq in",
        value=repair.area,
        key=area_key,
        on_change=session.changer("area", area_key),
    )
    smallest = st.selectbox(
        "Smallest measure at hand",
        _MEASURES,
        index=_MEASURES.index(repair.smallest),
        key=measure_key,
        on_change=session.changer("smallest", measure_key),
    )
    return area, smallest


def _show_batch(layer: Layer, batch: Batch, match: Match, workshop: Workshop) -> None:
    st.subheader(f"Into the cup: {batch.ml:g} ml")
    look.facts([(measure.name, f"{measure.ml:g} ml (exactly {measure.exact_ml:.2f})") for measure in batch.measures])
    mixed = format_fraction(batch.layer.paint_fraction)
    moved = rounding_cost(workshop.shelf, layer, batch.layer, match.ground)
    st.write(f"Measured so it is {mixed}, which moves the color by {moved:.1f} ΔE.")
    if batch.cost is not None:
        st.write(f"The paint in it costs {batch.cost:.2f}.")
    for flag in batch.flags:
        st.write(flag.text)


def _time(step: Step) -> str:
    if step.seconds == 0:
        return ""
    return f" ({step.seconds} seconds)" if step.seconds < 120 else f" ({round(step.seconds / 60)} minutes)"


def _cautions(wash: RankedWash, paints: dict[str, Paint], limits: Limits) -> tuple[str, ...]:
    used = [paints[part.paint] for layer in wash.layers for part in layer.paints]
    said = [cautions(paint.thinner, clear_coat=bool(limits.clear), kind=paint.kind) for paint in used]
    # The deferral stands last, whatever the paints.
    return tuple(dict.fromkeys([line for lines in said for line in lines[:-1]] + [said[0][-1]]))


show()
