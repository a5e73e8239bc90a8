"""Mix: how much of what goes into the cup for the picked wash, what to do when, and what to take to the bench."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import streamlit as st

from app import cached, cup, look, papers, session, work
from app.cup import Cup
from app.session import OpenRepair
from app.timer import now_ms, timer
from app.work import BATCH, MARKED, TYPED, Recipe
from colormatch.bench.amounts import Batch, area_takes
from colormatch.bench.cautions import cautions
from colormatch.bench.measures import WATER, Practice, parse_card_size
from colormatch.bench.schedule import CLEAR_DRIES_S, Step, format_time, parse_time, schedule, time_left, usual_times
from colormatch.errors import ColorMatchError
from colormatch.records import Layer, Match, Paint, RegionKind
from colormatch.wash.ratio import format_layers
from colormatch.workshop import Workshop, rounding_cost

#: Smallest measures that are offered, as `Practice` reads them.
_MEASURES = {
    "1 ml": "1 ml: a measuring cup, a syringe",
    "0.5 ml": "0.5 ml: a syringe",
    "0.1 ml": "0.1 ml: a small syringe",
    "5 ml": "5 ml: a measuring cup",
    "1/4 tsp": "1/4 teaspoon",
    "1 tsp": "1 teaspoon",
    "1 drop": "1 drop",
    "1 g": "1 g: a kitchen scale",
    "0.1 g": "0.1 g: a fine scale",
}
#: How much more than the area takes is told; our choice.
_AMPLE = 1.5
_AMOUNT_BY = {TYPED: "Its size, typed", MARKED: "Its size in the photo", BATCH: "A batch"}


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
    recipe = _settle(repair, match)
    st.header(format_layers(recipe.wash.layers))
    _tell_changes(recipe, _fresh(repair, match))
    if not recipe.wash.layers:
        st.write("There is nothing to mix: the damage is best left as it is.")
        return
    workshop = cached.workshop(library.folder, library.stamp())
    paints = {paint.name: paint for paint in workshop.shelf.paints}
    gone = [name for name in _names(recipe.wash.layers) if name not in paints]
    if gone:
        st.error(f"{gone[0]} is not on your shelf any more. Add it again, or pick another wash on the Match page.")
        return
    cup, bench = st.columns(2, gap="large")
    with cup:
        _cup(session.current(), recipe, paints, workshop)
    with bench:
        _bench(session.current(), recipe, paints)
        with st.container(key="go"):
            st.page_link("steps/check.py", label="Check it once it is dry", query_params=session.link())
        st.subheader("Take it along")
        with st.container(horizontal=True, gap="small"):
            papers.offer(session.current())


# --- the recipe ------------------------------------------------------------------------------------------------------


def _fresh(repair: OpenRepair, match: Match) -> Recipe:
    """The picked wash as it is ranked now."""
    settings = repair.photo, repair.card(), repair.to_match, repair.limits, repair.aim, repair.picked
    wash = session.picked(repair, match)
    return Recipe(wash, match.finished or match.target, match.ground, work.settings_key(settings), work.today())


def _settle(repair: OpenRepair, match: Match) -> Recipe:
    """The recipe of the job: as it was first ranked under these settings, even if the shelf has changed since."""
    fresh = _fresh(repair, match)
    kept = repair.recipe
    if kept is not None and kept.settings == fresh.settings:
        return kept
    session.keep(replace(repair, recipe=fresh, progress=work.Progress()), undoable=False)
    return fresh


def _tell_changes(kept: Recipe, fresh: Recipe) -> None:
    """Say so where the shelf would give another answer today than when the wash was picked."""
    same_wash = kept.wash.layers == fresh.wash.layers
    if same_wash and kept.wash.expected_delta_e == fresh.wash.expected_delta_e:
        return
    now = "the same wash" if same_wash else format_layers(fresh.wash.layers)
    st.write(
        f"Picked on {kept.made} and expected at ΔE {kept.wash.expected_delta_e:.1f}. Your shelf has changed since: "
        f"today {now} would stand in its place, expected at ΔE {fresh.wash.expected_delta_e:.1f}."
    )
    st.button("Take today's answer", key="renew", on_click=session.change, kwargs={"recipe": fresh})


def _names(layers: tuple[Layer, ...]) -> list[str]:
    return list(dict.fromkeys(part.paint for layer in layers for part in layer.paints))


# --- the cup ---------------------------------------------------------------------------------------------------------


def _changer(group: str, field: str, key: str, read: Callable[[Any], Any] = lambda value: value) -> Callable[[], None]:
    """Callback that puts a widget's value into one field of a group of the open repair's settings."""

    def change() -> None:
        with session.telling():
            held = getattr(session.current(), group)
            session.change(**{group: replace(held, **{field: read(session.widget_value(key))})})

    return change


def _cup(repair: OpenRepair, recipe: Recipe, paints: dict[str, Paint], workshop: Workshop) -> None:
    st.subheader("How much")
    key = f"amount_by-{repair.id}"
    by = st.segmented_control(
        "How much, by",
        list(_AMOUNT_BY),
        format_func=_AMOUNT_BY.__getitem__,
        required=True,
        key=session.showing(key, repair.mixing.amount_by),
        on_change=_changer("mixing", "amount_by", key),
        label_visibility="collapsed",
    )
    _SIZES[by](repair)
    amounts_at = st.container()
    _measures(repair, recipe)
    try:
        filled = cup.fill(repair, recipe.wash.layers, paints)
    except ColorMatchError as error:
        amounts_at.error(str(error))
        return
    if filled.amounts.cost != recipe.cost:
        session.keep(replace(session.current(), recipe=replace(recipe, cost=filled.amounts.cost)), undoable=False)
    with amounts_at:
        _show_amounts(recipe, filled, workshop)


def _typed(repair: OpenRepair) -> None:
    key = f"area-{repair.id}"
    st.text_input(
        "How large is the damage? Such as 40cm2, 6 sq in, 4x10cm, or several: 4x10cm + 3x2cm",
        key=session.showing(key, repair.area),
        on_change=session.changer("area", key),
    )


def _batch(repair: OpenRepair) -> None:
    key = f"batch-{repair.id}"
    st.text_input(
        "How much of each wash? Such as 30 ml, 2 tbsp or 1/2 cup",
        key=session.showing(key, repair.mixing.batch),
        on_change=_changer("mixing", "batch", key, str.strip),
    )


def _marked(repair: OpenRepair) -> None:
    key = "card-size"
    size = st.text_input(
        "How large is your card? Measure it once: 100x65mm or 4x6in",
        key=session.showing(key, cup.card_size()),
        on_change=lambda: _keep_card_size(session.widget_value(key)),
    )
    if not size or not repair.of_kind(RegionKind.CARD):
        return
    try:
        found = cup.marked(repair)
    except ColorMatchError:
        return  # told with the amounts
    by, way = 100 * abs(found.perspective - 1), "more" if found.perspective > 1 else "less"
    st.write(
        f"The marked damage measures **{found.cm2:.3g} cm²**, nine times in ten between {found.low:.3g} and "
        f"{found.high:.3g}. The camera's tilt is taken out as far as the card tells it: as if from straight above it "
        f"would be {by:.0f} % {way}. It holds for damage that lies flat beside the card."
    )
    for flag in found.flags:
        st.write(flag.text)


def _keep_card_size(text: str) -> None:
    with session.telling():
        if text.strip():
            parse_card_size(text)
        session.open_library().set_setting(cup.CARD_SIZE, text.strip())


#: What asks for the size, by where it comes from.
_SIZES = {TYPED: _typed, MARKED: _marked, BATCH: _batch}


def _measures(repair: OpenRepair, recipe: Recipe) -> None:
    key = f"smallest-{repair.id}"
    st.selectbox(
        "Smallest measure at hand",
        list(_MEASURES),
        format_func=_MEASURES.__getitem__,
        key=session.showing(key, repair.smallest if repair.smallest in _MEASURES else "1 ml"),
        on_change=session.changer("smallest", key),
    )
    mixing = repair.mixing
    with st.expander("What is assumed"):
        _figure("1 ml covers in one coat, cm²", "coverage", mixing.coverage, (1.0, 2000.0, 10.0), repair)
        _figure("More for cup and brush, %", "waste", 100 * mixing.waste, (0.0, 500.0, 5.0), repair, lambda v: v / 100)
        _figure("One drop holds, ml", "drop_ml", mixing.drop_ml, (0.001, 1.0, 0.01), repair)
        held = dict(mixing.densities)
        for name in _names(recipe.wash.layers):
            _figure(
                f"{name} weighs, g per ml (by its data sheet; water {WATER:g})",
                "densities",
                held.get(name, WATER),
                (0.5, 3.0, 0.05),
                repair,
                lambda value, name=name: tuple((held | {name: value}).items()),
                name,
            )


def _figure(
    label: str,
    field: str,
    value: float,
    limits: tuple[float, float, float],
    repair: OpenRepair,
    read: Callable[[float], Any] = lambda value: value,
    name: str = "",
) -> None:
    key = f"{field}{name}-{repair.id}"
    low, high, step = limits
    st.number_input(
        label,
        min_value=low,
        max_value=high,
        step=step,
        format="%.3g" if step >= 0.05 else "%.3f",
        key=session.showing(key, float(value)),
        on_change=_changer("mixing", field, key, read),
    )


def _show_amounts(recipe: Recipe, filled: Cup, workshop: Workshop) -> None:
    layers, amounts, practice = recipe.wash.layers, filled.amounts, filled.practice
    for number, batch in enumerate(amounts.batches, 1):
        st.subheader(f"Into the cup: {batch.ml:.3g} ml" + (f", wash {number}" if len(layers) > 1 else ""))
        st.html(look.portions(_portions(batch, practice)))
    moved = rounding_cost(workshop, layers, amounts.layers, recipe.ground)
    slipped = [amounts.batches[0].slip, *amounts.layers[1:]]
    slip = rounding_cost(workshop, amounts.layers, slipped, recipe.ground)
    words = []
    if filled.area_cm2 is not None:
        taken = [area_takes(filled.area_cm2, layer.coats, practice) for layer in layers]
        if any(batch.ml > _AMPLE * ml for batch, ml in zip(amounts.batches, taken, strict=True)):
            words.append(
                f"The area takes {' and '.join(f'{ml:.2g} ml' for ml in taken)}; less than this can't be measured well "
                "or taken up with a brush."
            )
    if format_layers(amounts.layers) != format_layers(layers):
        words.append(f"Measured so it is {format_layers(amounts.layers)}.")
    words.append(f"Rounding to {practice.smallest} moves the color by ΔE {moved:.1f}.")
    words.append(f"A slip of {practice.smallest} too much paint would move it by ΔE {slip:.1f}.")
    if amounts.cost is not None:
        each = [f"{batch.cost:.2f}" for batch in amounts.batches if batch.cost is not None]
        parts = f" ({' and '.join(each)} for each batch)" if len(each) > 1 else ""
        words.append(f"The paint in it costs {amounts.cost:.2f}{parts}, in the currency of your prices.")
    st.write(" ".join(words))
    for flag in amounts.flags:
        st.warning(flag.text)


def _portions(batch: Batch, practice: Practice) -> list[tuple[str, str, str]]:
    """For each thing its name, the amount in the measure at hand, and the same in all others."""
    rows = []
    for measure in batch.measures:
        said = practice.spoken(measure.ml, measure.density)
        main = said.pop(practice.unit)
        rows.append((measure.name, main, " · ".join([_parts(measure.parts), *said.values()])))
    return rows


def _parts(parts: float) -> str:
    amount = f"{parts:.3g}"
    return f"{amount} part" if amount == "1" else f"{amount} parts"


# --- the bench -------------------------------------------------------------------------------------------------------


def _bench(repair: OpenRepair, recipe: Recipe, paints: dict[str, Paint]) -> None:
    layers = recipe.wash.layers
    steps = schedule(layers, paints, repair.times, clear_coat=repair.limits.clear)
    st.subheader("What to do")
    _at_hand(repair, steps)
    done = min(repair.progress.step, len(steps))
    look.numbered([step.text + (f" ({format_time(step.seconds)})" if step.seconds else "") for step in steps], done)
    _own_times(repair, recipe, paints)
    st.subheader("Take care")
    used = [paints[name] for name in _names(layers)]
    look.sentences(cautions(used, clear_coat=bool(repair.limits.clear)))


def _at_hand(repair: OpenRepair, steps: tuple[Step, ...]) -> None:
    """The step that is next, its timer, and when all will be done."""
    done, ends = min(repair.progress.step, len(steps)), repair.progress.ends
    with st.container(key="step"):
        if done == len(steps):
            st.write("**All steps are done.** Photograph it dry with the card beside it.")
        else:
            step = steps[done]
            st.write(f"**Step {done + 1} of {len(steps)}.** {step.text}")
            left = time_left(steps, done)
            if ends:
                left = time_left(steps, done + 1) + max(0, ends - now_ms()) / 1000
                timer(
                    ends,
                    f"until {_clock(datetime.fromtimestamp(ends / 1000, session.time_zone()))}",
                    f"timer-{repair.id}",
                )
            finished = datetime.now(session.time_zone()) + timedelta(seconds=left)
            st.write(f"All done at about {_clock(finished)}, if you go on now.")
        with st.container(horizontal=True, gap="small"):
            if done < len(steps) and steps[done].wait and not ends:
                label = f"Start the timer: {format_time(steps[done].seconds)}"
                st.button(label, key="start", type="primary", on_click=_start, args=(steps[done].seconds,))
            if done < len(steps):
                st.button("Done, next step", key="next", on_click=_go, args=(done + 1,))
            if done:
                st.button("Back one step", key="back", on_click=_go, args=(done - 1,))


def _start(seconds: int) -> None:
    held = session.current().progress
    session.change(progress=replace(held, ends=now_ms() + 1000 * seconds))


def _go(step: int) -> None:
    session.change(progress=work.Progress(step))


def _clock(moment: datetime) -> str:
    today = datetime.now(moment.tzinfo).date()
    if moment.date() == today:
        return f"{moment:%H:%M}"
    return f"{moment:%H:%M} {'tomorrow' if (moment.date() - today).days == 1 else f'on {moment:%A}'}"


def _own_times(repair: OpenRepair, recipe: Recipe, paints: dict[str, Paint]) -> None:
    first = recipe.wash.layers[0]
    stands, dries = usual_times(first, paints[first.paints[0].paint])
    with st.expander("Your own times"):
        st.write("The usual ones are common practice for the kind of paint. The maker's sheet knows better.")
        _time("From brushing on to wiping back", "stands", stands, repair)
        _time("Dry before the next coat", "dries", dries, repair)
        if repair.limits.clear:
            _time("Dry before the next clear coat", "clear_dries", CLEAR_DRIES_S, repair)


def _time(label: str, field: str, usual: int, repair: OpenRepair) -> None:
    key = f"{field}-{repair.id}"
    held = getattr(repair.times, field)
    st.text_input(
        label,
        placeholder=f"usual: {format_time(usual)}",
        key=session.showing(key, "" if held is None else format_time(held)),
        on_change=_changer("times", field, key, lambda text: parse_time(text) if text.strip() else None),
    )


show()
