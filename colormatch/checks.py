"""The job after the wash has dried, in a few calls: judge it, go on or stop, and learn from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from colormatch.bench.check import Check, Judged, compare, rank_strips
from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.photo.sample import combine
from colormatch.records import Lab, Layer, Limits, Part, Reading, Region, RegionKind, Sample, SurfaceState, Swatch
from colormatch.repair import surface, task_of
from colormatch.workshop import Workshop, offered

if TYPE_CHECKING:
    from colormatch.bench.next_step import NextStep

#: Paint fractions over which a paint's doubt is stated: one coat of 1:1, 1:3 and 1:7.
_USUAL = (1 / 2, 1 / 4, 1 / 8)

#: Share of what a photo's correction leaves that counts in a kept swatch: ground and dried color share the rest. The
#: stated radius then held 87 % of 30 simulated repairs, the dried color beside its ground, which is what a paint is
#: learned from. (By itself the color is known less well: 63 %.)
_SHARED = 0.5

#: A photo that was read, and its regions in step.
Photographed = tuple[Reading, Sequence[Region]]


def judge_repair(photos: Sequence[Photographed]) -> Judged:
    """A dried repair beside sound wood, in one photo for each light.

    Raises
    ------
    RegionError
        No sound wood or no repair is marked.
    """
    return Judged(tuple(_compared(photo, surface(*photo, RegionKind.REPAIR)) for photo in photos))


def judge_strips(photos: Sequence[Photographed]) -> list[Judged]:
    """Test strips beside sound wood, in one photo for each light; the nearest first, by the worse of the lights.

    Raises
    ------
    RegionError
        No sound wood is marked, or the photos don't show the same strips.
    """
    return rank_strips([[_compared(photo, strip) for strip in strips_of(*photo)] for photo in photos])


def strips_of(reading: Reading, regions: Sequence[Region]) -> list[Sample]:
    """The test strips of a photo; places of one name are taken together."""
    named: dict[str, list[Sample]] = {}
    for sample, region in zip(reading.samples, regions, strict=True):
        if region.kind is RegionKind.STRIP:
            named.setdefault(sample.name, []).append(sample)
    return [combine(places, name) for name, places in named.items()]


def _compared(photo: Photographed, painted: Sample) -> Check:
    return compare(painted, surface(*photo, RegionKind.SOUND), photo[0].difference)


# --- go on or stop ---------------------------------------------------------------------------------------------------


def what_next(
    photo: Photographed,
    workshop: Workshop,
    limits: Limits | None = None,
    painted: Sequence[Layer] = (),
    before: Lab | None = None,
) -> tuple[NextStep, ...]:
    """All that can be done about a dried repair, the best expected result first; leaving it is among them.

    Parameters
    ----------
    photo : Photographed
        Of the dried repair.
    workshop : Workshop
    limits : Limits, optional
    painted : sequence of Layer
        What lies on the repair, lowest first, as its topmost surface; empty where that is not known or a clear coat
        lies over it.
    before : Lab, optional
        The damage before it was painted; needed for wiping back.

    Raises
    ------
    RegionError, PaintError, NothingToRank
    """
    from colormatch.bench.next_step import next_steps

    known = all(part.paint in workshop.models for layer in painted for part in layer.paints)
    task = replace(task_of(*photo, RegionKind.REPAIR), painted=tuple(painted) if known else ())
    shelf, allowed = offered(workshop, limits)
    return next_steps(task, shelf, workshop.models, allowed, before)


def advise(judged: Judged, steps: Sequence[NextStep]) -> list[str]:
    """What to do, in plain sentences, the best first."""
    from colormatch.bench.next_step import worth_doing

    if judged.done:
        return ["Stop here: another coat can hardly make it better. Seal it like the rest of the piece."]
    better = worth_doing(tuple(steps))
    if not better:
        return [
            "Stop here: nothing on the shelf is expected to bring it clearly nearer, and each coat hides more grain."
        ]
    return [f"{words_of(step)}: {outlook(step)}." for step in better] + [
        "Try it on a test strip or a corner first, let it dry, and check again."
    ]


def words_of(step: NextStep) -> str:
    """A step in words."""
    from colormatch.bench.next_step import WIPED, Move
    from colormatch.wash.ratio import format_layers

    stays = f"{WIPED[0]:.0%} to {WIPED[1]:.0%}"
    return {
        Move.LEAVE: "Leave it as it is",
        Move.AGAIN: f"One more coat of the same, {format_layers(step.layers)}",
        Move.WASH: f"Over it, {format_layers(step.layers)}",
        Move.GLAZE: f"A glaze over it, {format_layers(step.layers)}",
        Move.WIPE: f"Wipe back with a damp rag while it still gives (assumed: {stays} of the film stays)",
    }[step.move]


def outlook(step: NextStep) -> str:
    """What is expected of a step, in words."""
    from colormatch.bench.next_step import Move

    expected = f"expected ΔE {step.expected_delta_e:.1f} ({step.low:.1f} to {step.high:.1f})"
    return expected if step.move is Move.LEAVE else f"{expected}, nearer than now {100 * step.better:.0f} times in 100"


# --- learn -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Before:
    """The damage before it was painted."""

    damage: Lab
    #: The sound wood of the same photo; it ties that photo to the later one. None: both show the same light.
    sound: Lab | None = None
    #: Of the damage beside the sound wood: ΔE00, 90 % radius. Without sound wood, of the damage by itself.
    uncertainty: float = 0.0


def before_painting(photo: Photographed) -> Before:
    """What the photo of the damage says.

    Raises
    ------
    RegionError
        No damage is marked.
    """
    damage = surface(*photo, RegionKind.DAMAGE)
    if not any(region.kind is RegionKind.SOUND for region in photo[1]):
        return Before(damage.lab, None, damage.uncertainty)  # nothing ties it to another photo
    sound = surface(*photo, RegionKind.SOUND)
    return Before(damage.lab, sound.lab, math.hypot(damage.random, sound.random, photo[0].difference))


def swatch_from(
    painted: Sample,
    photo: Photographed,
    before: Before,
    layers: Sequence[Layer],
    ground: str,
    state: SurfaceState = SurfaceState.BARE,
    taken: str = "",
    sha256: str = "",
) -> Swatch:
    """A swatch from a dried repair or a test strip.

    Parameters
    ----------
    painted : Sample
        The dried surface, of ``photo``.
    photo : Photographed
        With sound wood.
    before : Before
        The ground. Where its photo was another one, the sound wood of both ties them: the dried color is moved by what
        the sound wood was read apart, since that piece of wood has not changed.
    layers : sequence of Layer
        What was painted; one wash of one paint.
    ground, state, taken, sha256
        As a :class:`Swatch` has them.

    Raises
    ------
    BadInput
        More than one wash or paint lies there.
    """
    if len(layers) != 1 or len(layers[0].paints) != 1:
        raise BadInput(
            "Several washes or paints lie on it, and a swatch teaches about one paint only.",
            "Check it as a repair; to learn, paint a test strip of one wash of one paint.",
        )
    layer, reading = layers[0], photo[0]
    lab = np.asarray(painted.lab)
    doubts = [painted.random, before.uncertainty, reading.difference, _SHARED * painted.systematic]
    if before.sound is not None:
        sound = surface(*photo, RegionKind.SOUND)
        lab = lab + np.asarray(before.sound) - np.asarray(sound.lab)
        doubts.append(sound.random)
    L, a, b = (float(v) for v in lab)
    parts, water = _parts(layer.paint_fraction)
    return Swatch(
        layer.paints[0].paint,
        parts,
        water,
        layer.coats,
        ground,
        before.damage,
        Lab(min(max(L, 0.0), 100.0), a, b),
        round(math.hypot(*doubts), 2),
        state,
        taken,
        sha256,
        "Kept from a check.",
    )


def _parts(paint_fraction: float) -> tuple[float, float]:
    """Parts of paint and of water, the paint one part."""
    return 1.0, round(1 / paint_fraction - 1, 6)


@dataclass(frozen=True)
class Lesson:
    """What a new swatch teaches about its paint, on its own ground; all ΔE00."""

    #: Between what the paint's model gave for this wash before it knew the swatch, and what was read.
    missed: float | None
    #: 90 % radius of what the paint's usual washes are expected to dry to, without and with the swatch.
    before: float | None
    after: float


def lesson(swatch: Swatch, others: Sequence[Swatch], kind: str = "") -> Lesson:
    """Refit a paint with one swatch more.

    Parameters
    ----------
    swatch : Swatch
    others : sequence of Swatch
        Of the same paint; empty where it is the first, and nothing could be predicted so far.
    kind : str
        The paint's, as its tin says.
    """
    from colormatch.wash.paint import PaintModel, fit_paint
    from colormatch.wash.predict import draw_chances, predict, predict_many

    chances = draw_chances(np.random.default_rng(0))
    layer = Layer((Part(swatch.paint),), swatch.paint_fraction, swatch.coats)

    def doubt(model: PaintModel) -> float:
        recipes = [[Layer((Part(swatch.paint),), fraction)] for fraction in _USUAL]
        lab, draws = predict_many({swatch.paint: model}, recipes, swatch.ground_lab, 0.0, chances)
        return float(np.percentile(delta_e(draws, lab[:, None]), 90, axis=1).mean())

    after = doubt(fit_paint([*others, swatch], kind))
    if not others:
        return Lesson(None, None, after)
    model = fit_paint(others, kind)
    given, _ = predict({swatch.paint: model}, [layer], swatch.ground_lab, 0.0, chances)
    return Lesson(float(delta_e(given, swatch.lab)), doubt(model), after)
