"""What to do when: the steps of a repair with their times.

All times are common practice, no source; the maker's sheet comes first, and the user's own figures replace them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from colormatch.records import Layer

#: Seconds that a wash stands before it is wiped back; a thinned glaze is wiped at once.
WASH_STANDS_S, GLAZE_STANDS_S = 60, 10
#: Seconds to dry before the next coat.
BETWEEN_COATS_S = 3600
#: A clear coat until the next one can go on.
SEALER_RECOAT_S = 3600
#: Brushing on one coat over a small repair; a test strip; stirring.
BRUSH_S, STRIP_S, STIR_S = 120, 300, 120
TOP_COATS = 3
#: Paint fraction from which a wash is so strong that it is worked like a glaze: in sections, wiped within seconds.
_GLAZE_FRACTION = 0.7


@dataclass(frozen=True)
class Step:
    """One step at the bench."""

    #: What to do.
    text: str
    #: How long it takes or how long to wait, seconds.
    seconds: int
    #: Whether it is a wait that a timer can run for.
    wait: bool = False


@dataclass(frozen=True)
class Times:
    """The user's own figures, in seconds."""

    stands: int | None = None
    between_coats: int = BETWEEN_COATS_S


def schedule(layers: Sequence[Layer], times: Times | None = None, *, clear_coat: str = "") -> tuple[Step, ...]:
    """Steps from stirring to the last coat.

    Parameters
    ----------
    layers : sequence of Layer
        Lowest first.
    times : Times, optional
    clear_coat : str
        Name of the clear coat that goes over everything, or empty.

    Returns
    -------
    tuple of Step
    """
    times = times or Times()
    steps = [
        Step("Make sure the surface is dry, scuffed with 300 grit or finer if sealed, and free of dust.", 0),
        Step("Stir the paint and the batch well, and again before each coat.", STIR_S),
        Step("Paint a test strip on an offcut or a hidden spot in the same state; wipe it like the real one.", STRIP_S),
        Step(
            "Let the test strip dry, and look: wet paint looks lighter or darker than dry.", times.between_coats, True
        ),
    ]
    for number, layer in enumerate(layers, 1):
        name = " + ".join(part.paint for part in layer.paints)
        strong = layer.paint_fraction >= _GLAZE_FRACTION
        stands = times.stands if times.stands is not None else (GLAZE_STANDS_S if strong else WASH_STANDS_S)
        for coat in range(1, layer.coats + 1):
            which = f"coat {coat} of {layer.coats}" + (f", layer {number}" if len(layers) > 1 else "")
            steps.append(Step(f"Brush on {name} thinly along the grain ({which}).", BRUSH_S))
            steps.append(Step("Leave it.", stands, True))
            steps.append(Step("Wipe back along the grain with a damp rag.", BRUSH_S))
            steps.append(Step("Let it dry.", times.between_coats, True))
    steps.append(Step("Look at it dry, in daylight and under a lamp, before anything goes over it.", 0))
    if clear_coat:
        for coat in range(1, TOP_COATS + 1):
            steps.append(Step(f"Lay a thin coat of {clear_coat} ({coat} of {TOP_COATS}).", BRUSH_S))
            steps.append(Step("Let it dry.", SEALER_RECOAT_S, True))
    return tuple(steps)


def whole_time(steps: Sequence[Step]) -> int:
    """Seconds from the first step to the end of the last."""
    return sum(step.seconds for step in steps)
