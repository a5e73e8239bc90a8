"""Form on the Mix page for the amount, with the content of the cup."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import streamlit as st

from app.repair.open_repair import STAND_IN, OpenRepair
from app.repair.work import BATCH, MARKED, TYPED, PickedRecipe
from app.state import cup, session
from app.state.cup import Cup
from app.state.library import open_library
from app.widgets import look
from colormatch.errors import ColorMatchError
from colormatch.mixing.amounts import Batch, area_takes, easy_ml, mix_batch
from colormatch.mixing.measures import WATER, Practice, parse_card_size
from colormatch.records import Layer, Paint, RegionKind
from colormatch.wash.ratio import format_layers
from colormatch.workshop import Workshop, rounding_cost

#: Smallest measures offered, as strings for `Practice`.
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
#: Ratio of the batch to the area's need from which the excess is mentioned; our choice.
_AMPLE = 1.5
_AMOUNT_BY = {TYPED: "An area that I type", MARKED: "The area marked in the photo", BATCH: "A batch"}


def show(repair: OpenRepair, recipe: PickedRecipe, paints: dict[str, Paint], workshop: Workshop) -> None:
    """Ask for the amount, and show the cup."""
    st.subheader("How much")
    key = f"amount_by-{repair.id}"
    by = st.segmented_control(
        "Amount from",
        list(_AMOUNT_BY),
        format_func=_AMOUNT_BY.__getitem__,
        required=True,
        key=session.showing(key, repair.mixing.amount_by),
        on_change=session.part_changer("mixing", "amount_by", key),
        label_visibility="collapsed",
    )
    _SIZES[by or repair.mixing.amount_by](repair)
    amounts_at = st.container()
    _measures(repair, recipe)
    try:
        filled = cup.fill(repair, recipe.wash.layers, paints)
    except ColorMatchError as error:
        amounts_at.error(look.plain(str(error)))
        return
    if filled.amounts.cost != recipe.cost:
        costed, now = replace(recipe, cost=filled.amounts.cost), session.current()
        session.keep(replace(now, over=costed) if repair.over else replace(now, recipe=costed), undoable=False)
    with amounts_at:
        _show_amounts(recipe, filled, workshop)


def _typed(repair: OpenRepair) -> None:
    key = f"area-{repair.id}"
    st.text_input(
        "Size of the damage, such as 40cm2, 6 sq in, 4x10cm, or several: 4x10cm + 3x2cm",
        key=session.showing(key, repair.area),
        on_change=session.changer("area", key, lambda text: text.strip() or repair.area),
    )
    if repair.area == STAND_IN:
        st.write(f"**The program assumes {STAND_IN} until you type the size.**")


def _batch(repair: OpenRepair) -> None:
    key = f"batch-{repair.id}"
    st.text_input(
        "Amount of each wash, such as 30 ml, 2 tbsp or 1/2 cup",
        key=session.showing(key, repair.mixing.batch),
        on_change=session.part_changer("mixing", "batch", key, lambda text: text.strip() or repair.mixing.batch),
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
        return  # reported with the amounts
    by, way = 100 * abs(found.perspective - 1), "more" if found.perspective > 1 else "less"
    st.write(
        f"The marked damage measures **{found.cm2:.3g} cm²**, nine times in ten between {found.low:.3g} and "
        f"{found.high:.3g}. The camera's tilt is corrected as far as the card shows it; without that correction the "
        f"area would be {by:.0f} % {way}. This holds for damage that lies flat beside the card."
    )
    for flag in found.flags:
        st.write(look.plain(flag.text))


def _keep_card_size(text: str) -> None:
    with session.telling():
        if text.strip():
            parse_card_size(text)
            open_library().set_setting(cup.CARD_SIZE, text.strip())


#: Inputs for the size, by its source.
_SIZES = {TYPED: _typed, MARKED: _marked, BATCH: _batch}


def _measures(repair: OpenRepair, recipe: PickedRecipe) -> None:
    key = f"smallest-{repair.id}"
    st.selectbox(
        "Smallest measure you have",
        list(_MEASURES),
        format_func=_MEASURES.__getitem__,
        key=session.showing(key, repair.smallest if repair.smallest in _MEASURES else "1 ml"),
        on_change=session.changer("smallest", key),
    )
    mixing = repair.mixing
    with st.expander("Assumptions"):
        _figure("1 ml covers in one coat, cm²", "coverage", mixing.coverage, (1.0, 2000.0, 10.0), repair)
        _figure("Extra for cup and brush, %", "waste", 100 * mixing.waste, (0.0, 500.0, 5.0), repair, lambda v: v / 100)
        _figure("Volume of one drop, ml", "drop_ml", mixing.drop_ml, (0.001, 1.0, 0.01), repair)
        held = dict(mixing.densities)
        for name in recipe.paints:
            _figure(
                f"{look.plain(name)} weighs, g per ml (by its data sheet; water {WATER:g})",
                "densities",
                held.get(name, WATER),
                (0.5, 3.0, 0.05),
                repair,
                partial(_with_density, held, name),
                name,
            )


def _with_density(held: Mapping[str, float], name: str, value: float) -> tuple[tuple[str, float], ...]:
    return tuple({**held, name: value}.items())


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
        on_change=session.part_changer("mixing", field, key, read),
    )


def _show_amounts(recipe: PickedRecipe, filled: Cup, workshop: Workshop) -> None:
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
                f"The area takes {' and '.join(f'{ml:.2g} ml' for ml in taken)}; a smaller amount is hard to measure "
                "or to pick up with a brush."
            )
    if format_layers(amounts.layers) != format_layers(layers):
        words.append(f"With these measures the wash is {look.plain(format_layers(amounts.layers))}.")
    easy = easy_ml(layers[0], amounts.batches[0].ml, practice) if filled.area_cm2 is None and len(layers) == 1 else ()
    if easy:
        words.append(f"{' or '.join(_size(ml, layers[0], practice) for ml in easy)} can be measured more exactly.")
    words.append(f"Rounding to {practice.smallest} moves the color by ΔE {moved:.1f}.")
    words.append(f"Adding {practice.smallest} too much paint would move it by ΔE {slip:.1f}.")
    if amounts.cost is not None:
        each = [f"{batch.cost:.2f}" for batch in amounts.batches if batch.cost is not None]
        parts = f" ({' and '.join(each)} for each batch)" if len(each) > 1 else ""
        words.append(f"Its paint costs {amounts.cost:.2f}{parts}, in the currency of your prices.")
    st.write(" ".join(words))
    for flag in amounts.flags:
        st.warning(look.plain(flag.text))


def _size(ml: float, layer: Layer, practice: Practice) -> str:
    """A batch size with its ingredients: 4 ml (1 + 3)."""
    batch = mix_batch(layer, ml, practice=practice)
    return f"{ml:.3g} ml ({' + '.join(f'{measure.ml:.3g}' for measure in batch.measures)})"


def _portions(batch: Batch, practice: Practice) -> list[tuple[str, str, str]]:
    """Name, amount in the chosen measure, and amounts in all others, for each ingredient."""
    rows = []
    for measure in batch.measures:
        said = practice.spoken(measure.ml, measure.density)
        main = said.pop(practice.unit)
        rows.append((measure.name, main, " · ".join([_parts(measure.parts), *said.values()])))
    return rows


def _parts(parts: float) -> str:
    amount = f"{parts:.3g}"
    return f"{amount} part" if amount == "1" else f"{amount} parts"
