"""Mix page: content of the cup for the picked wash, the steps with their times, and papers for the bench."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import streamlit as st

from app.repair import work
from app.repair.open_repair import OpenRepair, lacking
from app.repair.work import PickedRecipe
from app.screens import cup_form, drying, papers
from app.screens.timer import now_ms, timer
from app.state import answers, session
from app.widgets import fitting, look
from colormatch.errors import ColorMatchError
from colormatch.mixing.cautions import cautions
from colormatch.mixing.schedule import (
    CLEAR_COATS,
    CLEAR_DRIES_S,
    MOST_CLEAR_COATS,
    BenchStep,
    format_time,
    parse_time,
    schedule,
    time_left,
    usual_times,
)
from colormatch.records import Limits, Match, Paint
from colormatch.repair import BOTH_BARE
from colormatch.wash.ratio import format_layers


def show() -> None:
    """The page."""
    repair = session.current()
    missing = lacking(repair)
    if missing:
        look.not_yet("Nothing to mix yet", missing, session.link())
        return
    workshop = fitting.workshop()
    with st.spinner("Trying washes of your paints"):
        match = answers.ranked(repair)
    if isinstance(match, ColorMatchError):
        look.refused(match, session.link())
        return
    recipe = repair.over or _settle(repair, match)
    st.header(look.plain(format_layers(recipe.wash.layers)))
    if repair.over:
        st.write("This wash goes over the dried repair, as Check advised.")
        first = {"over": None, "progress": work.Progress()}
        st.button("Back to the first wash", key="first-wash", on_click=session.change, kwargs=first)
    else:
        _tell_changes(recipe, _fresh(repair, match))
    if not recipe.wash.layers:
        st.write("There is nothing to mix: it is best to leave the damage as it is.")
        return
    paints = {paint.name: paint for paint in workshop.shelf.paints}
    gone = [name for name in recipe.paints if name not in paints]
    if gone:
        name = look.plain(gone[0])
        st.error(
            f"{name} is no longer on your shelf. Take today's answer, pick another wash on the Match page, "
            "or add the paint again."
        )
        return
    invented = [look.plain(name) for name in recipe.paints if paints[name].invented]
    if invented:
        st.warning(
            f"{' and '.join(invented)}: invented for the example. You can't buy these paints, so don't mix from this."
        )
    cup, bench = st.columns(2, gap="large")
    with cup:
        cup_form.show(session.current(), recipe, paints, workshop)
    with bench:
        _bench(session.current(), recipe, paints)
        with st.container(key="go"):
            st.page_link("screens/check.py", label="Check it once it is dry", query_params=session.link())
        st.subheader("Take it along")
        with st.container(horizontal=True, gap="small"):
            papers.offer(session.current())


# --- the recipe ------------------------------------------------------------------------------------------------------


def _fresh(repair: OpenRepair, match: Match) -> PickedRecipe:
    """The picked wash as currently ranked."""
    settings: tuple[object, ...] = (
        repair.photo, answers.reference(repair), repair.to_match, repair.limits, repair.aim, repair.picked
    )  # fmt: skip
    # Only where they differ from what recipes settled before they existed were ranked with.
    later = repair.limits.grain_kept, repair.states
    if later != (Limits.grain_kept, BOTH_BARE):
        settings = *settings, *later
    wash = answers.picked(repair, match)
    return PickedRecipe(wash, match.wanted, match.ground, work.settings_key(settings), work.today())


def _settle(repair: OpenRepair, match: Match) -> PickedRecipe:
    """The recipe of the job: as first ranked under these settings, even if the shelf has changed since."""
    fresh = _fresh(repair, match)
    kept = repair.recipe
    if kept is not None and kept.settings == fresh.settings:
        return kept
    session.keep(replace(repair, recipe=fresh, progress=work.Progress()), undoable=False)
    return fresh


def _tell_changes(kept: PickedRecipe, fresh: PickedRecipe) -> None:
    """Notice if the shelf would now give a different answer."""
    same_wash = kept.wash.layers == fresh.wash.layers
    if same_wash and kept.wash.expected_delta_e == fresh.wash.expected_delta_e:
        return
    now = "the same wash" if same_wash else look.plain(format_layers(fresh.wash.layers))
    st.write(
        f"Picked on {kept.made} and expected at ΔE {kept.wash.expected_delta_e:.1f}. Your shelf has changed since: "
        f"today {now} would replace it, expected at ΔE {fresh.wash.expected_delta_e:.1f}."
    )
    st.button("Take today's answer", key="renew", on_click=session.change, kwargs={"recipe": fresh})


# --- the bench -------------------------------------------------------------------------------------------------------


def _bench(repair: OpenRepair, recipe: PickedRecipe, paints: dict[str, Paint]) -> None:
    layers = recipe.wash.layers
    steps = schedule(layers, paints, repair.times, then=repair.limits.then, clear_coat=repair.limits.clear)
    st.subheader("What to do")
    _at_hand(repair, steps)
    done = min(repair.progress.step, len(steps))
    look.numbered([step.text + (f" ({format_time(step.seconds)})" if step.seconds else "") for step in steps], done)
    _own_times(repair, recipe, paints)
    drying.others(repair)
    st.subheader("Take care")
    used = [paints[name] for name in recipe.paints]
    look.sentences(cautions(used, clear_coat=bool(repair.limits.clear)))


def _at_hand(repair: OpenRepair, steps: tuple[BenchStep, ...]) -> None:
    """The next step, its timer, and the time when all will be done."""
    done, ends = min(repair.progress.step, len(steps)), repair.progress.ends
    with st.container(key="step"):
        if done == len(steps):
            st.write("**All steps are done.** Photograph the dry repair with the card beside it.")
        else:
            step = steps[done]
            st.write(f"**Step {done + 1} of {len(steps)}.** {look.plain(step.text)}")
            left: float = time_left(steps, done)
            if ends:
                left = time_left(steps, done + 1) + max(0, ends - now_ms()) / 1000
                timer(ends, drying.until(ends), f"timer-{repair.id}")
            finished = datetime.now(session.time_zone()) + timedelta(seconds=left)
            st.write(f"You will finish at about {drying.clock(finished)} if you continue now.")
        with st.container(horizontal=True, gap="small"):
            if done < len(steps) and steps[done].wait and ends <= now_ms():
                label = f"Start the timer: {format_time(steps[done].seconds)}"
                st.button(label, key="start", type="primary", on_click=_start, args=(steps[done].seconds,))
            if done < len(steps):
                st.button("Done, next step", key="next", on_click=_go, args=(done + 1,))
            if done:
                st.button("Back one step", key="back", on_click=_go, args=(done - 1,))


def _start(seconds: int) -> None:
    session.change(progress=session.current().progress.timed(now_ms() + 1000 * seconds))


def _go(step: int) -> None:
    session.change(progress=session.current().progress.at(step, now_ms()))


def _own_times(repair: OpenRepair, recipe: PickedRecipe, paints: dict[str, Paint]) -> None:
    first = recipe.wash.layers[0]
    stands, dries = usual_times(first, paints[first.paints[0].paint])
    with st.expander("Your own times"):
        st.write("The default times are common practice for the kind of paint. The maker's sheet takes precedence.")
        _time("From brushing on to wiping back", "stands", stands, repair)
        _time("Dry before the next coat", "dries", dries, repair)
        if repair.limits.clear:
            _time("Dry before the next clear coat", "clear_dries", CLEAR_DRIES_S, repair)
            key = f"clear_coats-{repair.id}"
            held = repair.times.clear_coats
            st.number_input(
                "Clear coats",
                min_value=0,
                max_value=MOST_CLEAR_COATS,
                key=session.showing(key, CLEAR_COATS if held is None else held),
                on_change=session.part_changer("times", "clear_coats", key),
            )


def _time(label: str, field: str, usual: int, repair: OpenRepair) -> None:
    key = f"{field}-{repair.id}"
    held = getattr(repair.times, field)
    st.text_input(
        label,
        placeholder=f"usual: {format_time(usual)}",
        key=session.showing(key, "" if held is None else format_time(held)),
        on_change=session.part_changer("times", field, key, lambda text: parse_time(text) if text.strip() else None),
    )


show()
