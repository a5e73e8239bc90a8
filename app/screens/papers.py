"""Papers for the bench: a job's report and the jar's label."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import partial
from html import escape

import streamlit as st

from app import cache
from app.repair.dried import REPAIR
from app.repair.open_repair import STAND_IN, OpenRepair
from app.repair.work import TYPED, PickedRecipe
from app.screens import outcome
from app.state import answers, cup
from app.state.cup import Cup
from app.state.library import library_state
from colormatch.check import judge
from colormatch.check.compare import Judged
from colormatch.errors import BadInput, ColorMatchError
from colormatch.library import starter
from colormatch.mixing.cautions import cautions
from colormatch.mixing.schedule import schedule
from colormatch.records import Layer, Match, Paint, Reading, RegionKind
from colormatch.render.label import Label, label_page
from colormatch.render.report import Report, report_page
from colormatch.workshop import Workshop


def offer(repair: OpenRepair) -> None:
    """Buttons for the report and label of a job with a picked wash; each file is made on demand."""
    for word, make, what in (("Report", report, "report"), ("Label for the jar", label, "label")):
        st.download_button(
            word,
            partial(_made, make, repair),
            file_name=_file_name(repair, what),
            mime="text/html",
            key=f"{what}-{repair.id}",
            on_click="ignore",
        )


def _made(make: Callable[[OpenRepair], str], repair: OpenRepair) -> str:
    """Make a file; since the page can no longer report an error during a download, the file contains it."""
    try:
        return make(repair)
    except ColorMatchError as error:
        return f"<!doctype html><meta charset=utf-8><title>Not made</title><p>{escape(str(error))}</p>"


def label(repair: OpenRepair) -> str:
    """A page with one label per jar."""
    recipe = repair.over or _recipe(repair)
    return label_page(_labels(repair, recipe, _cup(repair, recipe), _paints()))


def report(repair: OpenRepair) -> str:
    """The report as one page of HTML.

    Raises
    ------
    ColorMatchError
        The photo, the reading or the ranking fails.
    """
    recipe, paints = _recipe(repair), _paints()
    layers = recipe.wash.layers
    reading, match = answers.read(repair, repair.to_match), answers.ranked(repair)
    if not isinstance(reading, Reading):
        raise reading
    if not isinstance(match, Match):
        raise match
    before, after = _pictures(repair, recipe)
    filled, seen = _cup(repair, recipe), _checked(repair)
    clear = repair.limits.clear
    return report_page(
        Report(
            repair.name,
            recipe.made,
            reading,
            match,
            recipe.wash,
            before,
            after,
            [(when, jpeg) for when, _, jpeg in seen],
            amounts=filled.amounts if filled else None,
            lacking=_lacking(repair, recipe),
            practice=filled.practice if filled else None,
            area_cm2=filled.area_cm2 if filled else None,
            steps=schedule(layers, paints, repair.times, then=repair.limits.then, clear_coat=clear) if layers else (),
            cautions=cautions(_used(layers, paints), clear_coat=bool(clear)),
            checks=[*((when, words) for when, words, _ in seen), *_advised(repair)],
            labels=_labels(repair, recipe, filled, paints),
            simulated=repair.photo == starter.example().photo.stem,
            invented=[name for name in recipe.paints if name in paints and paints[name].invented],
        )
    )


def _pictures(repair: OpenRepair, recipe: PickedRecipe) -> tuple[bytes, bytes | None]:
    """The damage before and, simulated, after the wash; the latter only if the shelf still has the wash's paints."""
    if not _workshop().models.keys() >= set(recipe.paints):
        damage = tuple(region for region in repair.to_match if region.kind is RegionKind.DAMAGE)
        return cache.near(answers.marked(repair, damage))[0], None
    marked = answers.marked(repair, repair.to_match)
    before, after, _ = cache.pictured(marked, library_state(), recipe.ground, recipe.wash.layers)
    return before, after


def checked(repair: OpenRepair) -> list[tuple[str, str]]:
    """Results of each check of the dried repair: light, then result."""
    return [(when, words) for when, words, _ in _checked(repair)]


def _checked(repair: OpenRepair) -> list[tuple[str, str, bytes]]:
    """The same with the repair's picture."""
    judged, jpegs = _judged(repair)
    if judged is None:
        return []
    lights = judged.lights
    several = ("Checked dry under the first light", "Under the second light") if len(lights) > 1 else ("Checked dry",)
    return [
        (
            when,
            f"ΔE {light.delta_e:.1f} ({light.low:.1f} to {light.high:.1f} nine times in ten), {light.verdict}, "
            f"{light.off}",
            jpeg,
        )
        for when, light, jpeg in zip(several, lights, jpegs, strict=True)
    ]


def _advised(repair: OpenRepair) -> list[tuple[str, str]]:
    """Recommendations of Check for the dried repair; empty if there are none."""
    judged, _ = _judged(repair)
    steps = () if judged is None or judged.done else outcome.next_steps(repair, judged)
    if judged is None or steps is None or isinstance(steps, ColorMatchError):
        return []
    return [("Advised", " ".join(judge.advise(judged, steps)))]


def _judged(repair: OpenRepair) -> tuple[Judged | None, list[bytes]]:
    """The dried repair with its pictures; missing marks and errors are left to the Check page."""
    photos: list[Reading] = []
    jpegs = []
    for shown in sorted(repair.check.photos, key=lambda one: one.light):
        if shown.mode != REPAIR or repair.check.wet:
            continue
        reading = answers.read_dried(repair, shown)
        if not isinstance(reading, Reading):
            continue
        try:
            judge.judge_repair([reading])
        except ColorMatchError:
            continue
        photos.append(reading)
        painted = answers.marked_dried(repair, shown, shown.of_kind(RegionKind.REPAIR))
        assert painted is not None  # its reading has a card
        jpegs.append(cache.near(painted)[0])
    return (judge.judge_repair(photos) if photos else None), jpegs


def _recipe(repair: OpenRepair) -> PickedRecipe:
    if repair.recipe is None:
        raise BadInput("You haven't picked a wash for this repair yet.", "Open it and go to Mix.")
    return repair.recipe


def _workshop() -> Workshop:
    return cache.workshop(library_state())


def _paints() -> dict[str, Paint]:
    return {paint.name: paint for paint in _workshop().shelf.paints}


def _used(layers: Sequence[Layer], paints: dict[str, Paint]) -> list[Paint]:
    names = dict.fromkeys(part.paint for layer in layers for part in layer.paints)
    return [paints[name] for name in names if name in paints]


def _cup(repair: OpenRepair, recipe: PickedRecipe) -> Cup | None:
    """The amounts; None if the size is unknown or a paint is gone."""
    try:
        return cup.fill(repair, recipe.wash.layers, _paints()) if recipe.wash.layers else None
    except BadInput:
        return None


def _lacking(repair: OpenRepair, recipe: PickedRecipe) -> str:
    """Reason for an empty cup, or that the size of the damage is assumed."""
    if not recipe.wash.layers:
        return ""
    try:
        cup.fill(repair, recipe.wash.layers, _paints())
    except BadInput as error:
        return f"The amounts are missing: {error}"
    assumed = repair.mixing.amount_by == TYPED and repair.area == STAND_IN
    return f"The size of the damage is not known yet; the amounts assume {STAND_IN}." if assumed else ""


def _labels(repair: OpenRepair, recipe: PickedRecipe, filled: Cup | None, paints: dict[str, Paint]) -> list[Label]:
    layers = recipe.wash.layers
    volumes = [batch.ml for batch in filled.amounts.batches] if filled else [None] * len(layers)
    return [
        Label(
            repair.name,
            layer,
            number,
            len(layers),
            recipe.wash.lab,
            recipe.made,
            volume,
            paints[layer.paints[0].paint].thinner if layer.paints[0].paint in paints else "water",
        )
        for number, (layer, volume) in enumerate(zip(layers, volumes, strict=True), 1)
    ]


def _file_name(repair: OpenRepair, what: str) -> str:
    """A file name valid on every system."""
    plain = re.sub(r"[^\w-]+", "-", repair.name.lower()).strip("-")[:40]
    return f"{what}-{plain or repair.id}.html"
