"""Result of a check: the remaining difference, and how to reduce it."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app import cache
from app.repair import work
from app.repair.dried import STRIPS, DriedPhoto, PaintedWash
from app.repair.open_repair import OpenRepair
from app.repair.work import PickedRecipe
from app.server import pictures
from app.state import answers, session
from app.state.library import library_state
from app.widgets import fitting, look
from colormatch.check import judge, learn
from colormatch.check.compare import Check, Judged, against_expected
from colormatch.check.next_step import Move, NextStep, worth_doing
from colormatch.color.words import ACCEPTABLE, NOTHING, VISIBLE
from colormatch.errors import ColorMatchError
from colormatch.records import Layer, Match, RankedWash, Reading, RegionKind, SurfaceState
from colormatch.repair import surface
from colormatch.wash.ratio import format_layers

_DASHES = f"The dashes: at {VISIBLE} half of all people see a difference, at {ACCEPTABLE} half no longer accept it."
_ORDINAL = ("first", "second")
#: Option for a wash other than the picked one.
_OTHER = "Another wash"


def show(repair: OpenRepair, photos: Sequence[Reading]) -> Judged | None:
    """Show the difference. Returns the judged repair; None for strips, and if it is unknown."""
    try:
        if repair.check.mode == STRIPS:
            _show_strips(judge.judge_strips(photos))
            return None
        judged = judge.judge_repair(photos)
    except ColorMatchError as error:
        st.error(look.plain(str(error)))
        return None
    check = judged.worse
    st.subheader(f"{check.verdict.capitalize()}: ΔE {check.delta_e:.1f}")
    st.html(look.edge_to_edge(check.sound, check.lab, ("Sound wood", "Repair, dry")))
    end = look.scale_end(one.high for one in judged.lights)
    for place, one in enumerate(judged.lights):
        if len(judged.lights) > 1:
            st.markdown(f"**{_ORDINAL[place].capitalize()} light: ΔE {one.delta_e:.1f}**, {one.verdict}")
        st.html(look.range_bar(one.low, one.delta_e, one.high, end))
    st.write(f"Nine times in ten it lies between {check.low:.1f} and {check.high:.1f}. {_DASHES}")
    rows = [("What is off", f"The repair is {check.off}." if check.off != NOTHING else "Nothing to see.")]
    if judged.one_light_only:
        rows.append(("In the two lights", judged.one_light_only))
    expected = _expected(repair)
    if expected is not None:
        rows.append(("Compared with the forecast", against_expected(check, expected)))
    look.facts(rows)
    return judged


def _show_strips(strips: Sequence[Judged]) -> None:
    best = strips[0]
    st.subheader(f"{look.plain(best.name)} comes closest: ΔE {best.worse.delta_e:.1f}")
    if len(best.lights) > 1:
        st.write("Ranked by the worse of the two lights, because a match must hold in both.")
    end = look.scale_end(one.worse.high for one in strips)
    st.html("".join(_row(one.worse, one.one_light_only, end) for one in strips))
    if len(strips) > 1 and strips[1].worse.low < best.worse.high:
        st.write("The bars of the first two overlap, so the photo doesn't show which is closer. Trust your eye.")
    st.write(f"Each bar covers ΔE nine times in ten. {_DASHES}")


def _row(check: Check, one_light_only: str, end: float) -> str:
    words = f"ΔE {check.delta_e:.1f} ({check.low:.1f} to {check.high:.1f}), {check.off}. {one_light_only}"
    bar = look.range_bar(check.low, check.delta_e, check.high, end)
    return look.wash_row(check.sound, check.lab, check.name, words, bar)


# --- what was painted, and what was expected of it -------------------------------------------------------------------


def picked_layers(repair: OpenRepair) -> tuple[Layer, ...]:
    """The picked wash, and layers added since; empty if there are none."""
    wash, over = _picked(repair), _laid_over(repair)
    return (*(wash.layers if wash else ()), *(over.layers if over else ()))


def _laid_over(repair: OpenRepair) -> RankedWash | None:
    """The wash recommended by Check and mixed, once a later photo than that of the recommendation exists."""
    shown = repair.check.shown(1)
    return repair.over.wash if repair.over and shown and shown.photo != repair.over.settings else None


def _picked(repair: OpenRepair) -> RankedWash | None:
    """The wash picked for mixing, or else the one picked in the ranking."""
    if repair.recipe is not None:
        return repair.recipe.wash
    fitting.workshop()
    with st.spinner("Trying washes of your paints"):
        match = answers.ranked(repair)
    return answers.picked(repair, match) if isinstance(match, Match) else None


def _expected(repair: OpenRepair) -> RankedWash | None:
    """Prediction for exactly the wash painted last."""
    wash = _laid_over(repair) or _picked(repair)
    return wash if wash is not None and painted_layers(repair) == picked_layers(repair) else None


def painted_layers(repair: OpenRepair) -> tuple[Layer, ...]:
    """Known layers on the repair."""
    if repair.check.other is None:
        return picked_layers(repair)
    try:
        return (repair.check.other.layer,) if repair.check.other.paint else ()
    except ColorMatchError:  # the typed ratio; the form reports it
        return ()


def ask_painted(repair: OpenRepair) -> None:
    """Ask which wash is on the repair."""
    layers = picked_layers(repair)
    as_picked = f"As picked: {format_layers(layers)}" if layers else "Not known"
    key = f"painted-{repair.id}"
    st.selectbox(
        "What is on it",
        (as_picked, _OTHER),
        key=session.showing(key, as_picked if repair.check.other is None else _OTHER),
        on_change=lambda: session.change_check(
            other=_first(repair) if session.widget_value(key) == _OTHER else None,
        ),
    )
    if repair.check.other is not None:
        wash_form(repair, repair.check.other, "other")


def _first(repair: OpenRepair) -> PaintedWash:
    layers = painted_layers(repair)
    return PaintedWash.of(layers[0]) if len(layers) == 1 and len(layers[0].paints) == 1 else PaintedWash()


def wash_form(repair: OpenRepair, wash: PaintedWash, field: str) -> None:
    """Paint, ratio and coats of one wash, stored in a field of the check."""
    names = [paint.name for paint in fitting.workshop().shelf.paints]
    keys = {name: f"{field}-{name}-{repair.id}" for name in ("paint", "ratio", "coats")}

    def take() -> None:
        values = {name: session.widget_value(key) for name, key in keys.items()}
        session.change_check(
            **{field: PaintedWash(values["paint"] or "", str(values["ratio"]).strip(), values["coats"])}
        )

    st.selectbox(
        "Paint",
        names,
        placeholder="Choose a paint",
        key=session.showing(keys["paint"], wash.paint if wash.paint in names else None),
        on_change=take,
    )
    st.text_input("Paint to water, such as 1:3", key=session.showing(keys["ratio"], wash.ratio), on_change=take)
    st.segmented_control(
        "Coats", (1, 2, 3, 4), key=session.showing(keys["coats"], wash.coats), required=True, on_change=take
    )
    try:
        if wash.paint:
            _ = wash.layer
    except ColorMatchError as error:
        st.error(look.plain(str(error)))


# --- advice ----------------------------------------------------------------------------------------------------------


def advise(repair: OpenRepair, judged: Judged) -> None:
    """Recommendations, best first."""
    st.subheader("What to do now")
    if judged.done:
        st.write(f"**{look.plain(judge.advise(judged, ())[0])}**")
        return
    with st.spinner("Trying washes over it"):
        steps = next_steps(repair, judged)
    if steps is None:
        return
    if isinstance(steps, ColorMatchError):
        st.error(look.plain(str(steps)))
        return
    better = worth_doing(steps)
    words = [look.plain(sentence) for sentence in judge.advise(judged, steps)]
    st.write(f"**{words[0]}**" if not better else f"**Best: {look.plain(judge.words_of(better[0]))}.** {words[-1]}")
    if better and better[0].layers and st.button("Mix this: amounts and times", key="mix-over", type="primary"):
        session.change(over=_recipe(repair, judged.worse, better[0]), progress=work.Progress())
        st.switch_page("screens/mix.py", query_params=session.link())
    st.write(
        "Each wash is shown over the repair as it is now, beside the sound wood. The expected ΔE to the sound wood "
        "averages all uncertainties, so the value for leaving the repair as it is can differ a little from the reading "
        "above; nine times in ten the result is within the bar."
    )
    end = look.scale_end(step.high for step in steps)
    st.html("".join(_step_row(judged.worse, step, step in better, end) for step in steps))


def next_steps(repair: OpenRepair, judged: Judged) -> tuple[NextStep, ...] | ColorMatchError | None:
    """All options, best first; None if the photo lacks a mark."""
    shown = repair.check.shown(judged.lights.index(judged.worse) + 1)
    marked = answers.marked_dried(repair, shown, shown.surfaces) if shown else None
    if marked is None:
        return None
    washed = repair.check.state is SurfaceState.WASHED
    before = _damage(repair)
    return cache.what_next(
        marked,
        library_state(),
        repair.limits,
        painted_layers(repair) if washed else (),
        before.damage if before and washed else None,
    )


def _recipe(repair: OpenRepair, check: Check, step: NextStep) -> PickedRecipe:
    """A step as a wash to mix; its settings are the photo it was recommended for."""
    shown = repair.check.shown(1)
    wash = RankedWash(1, step.layers, step.lab, step.expected_delta_e, step.low, step.high, "modelled", 0, 1, step.off)
    return PickedRecipe(wash, check.sound, check.lab, shown.photo if shown else "", work.today())


def _step_row(check: Check, step: NextStep, worth: bool, end: float) -> str:
    words = judge.outlook(step)
    if step.move is not Move.LEAVE:
        words += "" if worth else ": not worth it"
    bar = look.range_bar(step.low, step.expected_delta_e, step.high, end)
    return look.wash_row(check.sound, step.lab, judge.words_of(step), words[0].upper() + words[1:], bar)


def before_and_now(repair: OpenRepair, shown: DriedPhoto) -> None:
    """The damage before and the repair now, each corrected by its card."""
    now = answers.marked_dried(repair, shown, shown.of_kind(RegionKind.REPAIR))
    if now is None:
        return
    before = answers.marked(repair, repair.of_kind(RegionKind.DAMAGE))
    for side, word, marked in zip(st.columns(2, gap="small"), ("Before", "Now"), (before, now), strict=True):
        with side, st.spinner("Painting the picture"):
            jpeg, (width, height) = cache.near(marked)
            st.html(look.picture(pictures.publish(jpeg), width, height, f"The damaged place: {word.lower()}"))
            st.write(word)


def _damage(repair: OpenRepair) -> learn.Before | None:
    """The damage before painting, from the first photo."""
    reading = answers.read(repair, repair.surfaces)
    if isinstance(reading, ColorMatchError):
        return None
    return learn.before_painting(reading)


def before_painting(repair: OpenRepair, photo: Reading) -> learn.Before | None:
    """The ground under the paint: bare wood marked in the same photo, or else the damage before painting."""
    if not photo.of_kind(RegionKind.DAMAGE):
        return _damage(repair)
    sample = surface(photo, RegionKind.DAMAGE)
    return learn.Before(sample.lab, None, sample.random)
