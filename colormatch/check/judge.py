"""Judge a dried repair or test strips, and recommend the next step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from colormatch.check.compare import Check, Judged, compare, rank_strips
from colormatch.records import Lab, Layer, Limits, Reading, RegionKind, Sample
from colormatch.repair import difference_error, surface, task_of
from colormatch.sampling.sample import combine
from colormatch.workshop import Workshop, offered

if TYPE_CHECKING:
    from colormatch.check.next_step import NextStep


def judge_repair(photos: Sequence[Reading]) -> Judged:
    """Compare a dried repair with sound wood, in one photo per light.

    Raises
    ------
    RegionError
        No sound wood or no repair is marked.
    """
    return Judged(tuple(_compared(photo, surface(photo, RegionKind.REPAIR)) for photo in photos))


def judge_strips(photos: Sequence[Reading]) -> list[Judged]:
    """Rank test strips beside sound wood, in one photo per light: closest first, by the worse of the lights.

    Raises
    ------
    RegionError
        No sound wood is marked, or the photos don't show the same strips.
    """
    return rank_strips([[_compared(photo, strip) for strip in strips_of(photo)] for photo in photos])


def strips_of(reading: Reading) -> list[Sample]:
    """Test strips in a photo; regions with the same name are combined."""
    named: dict[str, list[Sample]] = {}
    for sample in reading.of_kind(RegionKind.STRIP):
        named.setdefault(sample.name, []).append(sample)
    return [combine(places, name) for name, places in named.items()]


def _compared(photo: Reading, painted: Sample) -> Check:
    sound = surface(photo, RegionKind.SOUND)
    return compare(painted, sound, difference_error(photo, painted.lab, sound.lab))


# --- go on or stop ---------------------------------------------------------------------------------------------------


def what_next(
    photo: Reading,
    workshop: Workshop,
    limits: Limits | None = None,
    painted: Sequence[Layer] = (),
    before: Lab | None = None,
) -> tuple[NextStep, ...]:
    """List the possible steps for a dried repair, best expected result first, including leaving it alone.

    Parameters
    ----------
    photo : Reading
        Reading of the dried repair.
    workshop : Workshop
    limits : Limits, optional
    painted : sequence of Layer
        Washes on the repair, lowest first; empty if unknown or under a clear coat.
    before : Lab, optional
        The damage before it was painted; needed for wiping back.

    Raises
    ------
    RegionError, PaintError, NothingToRank
    """
    from colormatch.check.next_step import next_steps

    known = all(part.paint in workshop.models for layer in painted for part in layer.paints)
    task = replace(task_of(photo, RegionKind.REPAIR), painted=tuple(painted) if known else ())
    shelf, allowed = offered(workshop, limits)
    return next_steps(task, shelf, workshop.models, allowed, before)


def advise(judged: Judged, steps: Sequence[NextStep]) -> list[str]:
    """Recommendation in plain sentences, best first."""
    from colormatch.check.next_step import worth_doing

    if judged.done:
        return ["Stop here: another coat is unlikely to improve it. Seal it like the rest of the piece."]
    better = worth_doing(tuple(steps))
    if not better:
        return [
            "Stop here: nothing on the shelf is expected to bring it clearly closer, and each coat hides more grain."
        ]
    return [f"{words_of(step)}: {outlook(step)}." for step in better] + [
        "Try it on a test strip or a corner first, let it dry, and check again."
    ]


def words_of(step: NextStep) -> str:
    """A step in words."""
    from colormatch.check.next_step import WIPED, Move
    from colormatch.wash.ratio import format_layers

    stays = f"{WIPED[0]:.0%} to {WIPED[1]:.0%}"
    return {
        Move.LEAVE: "Leave it as it is",
        Move.AGAIN: f"One more coat of the same, {format_layers(step.layers)}",
        Move.WASH: f"Over it, {format_layers(step.layers)}",
        Move.GLAZE: f"A glaze over it, {format_layers(step.layers)}",
        Move.WIPE: f"Wipe back with a damp rag while the paint is still soft (assumed: {stays} of the film stays)",
    }[step.move]


def outlook(step: NextStep) -> str:
    """Expected result of a step, in words."""
    from colormatch.check.next_step import Move

    expected = f"expected ΔE {step.expected_delta_e:.1f} ({step.low:.1f} to {step.high:.1f})"
    return expected if step.move is Move.LEAVE else f"{expected}, closer than now {100 * step.better:.0f} times in 100"


# --- learn -----------------------------------------------------------------------------------------------------------
