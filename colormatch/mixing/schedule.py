"""Bench schedule: the steps of a repair with their times.

All times are common practice, no source; the maker's sheet comes first, and the user's own values replace them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

from colormatch.errors import BadInput
from colormatch.records import Layer, Paint

_MINUTE, _HOUR = 60, 3600
#: Seconds from brushing on a wash to wiping it back; a thinned glaze is wiped at once; oil soaks in.
WASH_STANDS_S, GLAZE_STANDS_S, OIL_STANDS_S = _MINUTE, 10, 10 * _MINUTE
#: Drying time before the next coat, seconds: thinned with water, with oil or spirit, and shellac.
WATER_DRIES_S, OIL_DRIES_S, SHELLAC_DRIES_S = _HOUR, 24 * _HOUR, 45 * _MINUTE
#: Seconds between clear coats, and their number.
CLEAR_DRIES_S, CLEAR_COATS = _HOUR, 3
#: Most clear coats accepted; our choice.
MOST_CLEAR_COATS = 20
#: Seconds to brush on or wipe back one coat on a small repair; for a test strip; for measuring and stirring.
BRUSH_S, STRIP_S, STIR_S = 2 * _MINUTE, 5 * _MINUTE, 5 * _MINUTE
#: Paint fraction from which a wash is handled like a glaze: in sections, wiped within seconds.
_GLAZE_FRACTION = 0.7
#: Words in a paint's kind or thinner for slow drying.
_OILY = ("oil", "alkyd", "enamel", "linseed", "tung", "spirit", "turpentine")
#: Longest time accepted, seconds: a month.
_LONGEST = 30 * 24 * _HOUR
_TIME = re.compile(r"(\d+(?:[.,]\d+)?)\s*(s|sec|seconds?|min|minutes?|h|hours?|d|days?)(?![a-z])")
_SECONDS = {"s": 1, "m": _MINUTE, "h": _HOUR, "d": 24 * _HOUR}


@dataclass(frozen=True)
class BenchStep:
    """One step at the bench."""

    #: Instruction.
    text: str
    #: Duration of the work or the wait, seconds.
    seconds: int
    #: Whether it is a wait that a timer can run for.
    wait: bool = False


@dataclass(frozen=True)
class Times:
    """The user's own times; None: the usual value for the paint."""

    #: Seconds from brushing on to wiping back.
    stands: int | None = None
    #: Seconds until the next coat.
    dries: int | None = None
    #: Seconds until the next clear coat; below, number of clear coats.
    clear_dries: int | None = None
    clear_coats: int | None = None

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if value is not None and not 0 <= value <= (MOST_CLEAR_COATS if item.name == "clear_coats" else _LONGEST):
                raise BadInput(
                    "A time or a number of coats is too large.",
                    f"Give 0 to 30 days, and 0 to {MOST_CLEAR_COATS} clear coats.",
                )


def parse_time(text: str) -> int:
    """Parse a time, in seconds: ``45 min``, ``1.5 h``, ``60 s`` or ``1 day``.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_time("45 min"), parse_time("1 h 30 min"), parse_time("10 s")
    (2700, 5400, 10)
    """
    plain = " ".join(text.lower().split())
    parts = _TIME.findall(plain)
    if not parts or _TIME.sub("", plain).strip():
        raise BadInput(f"'{text[:60]}' is not a time.", "Write it as 60 s, 45 min, 1 h 30 min or 1 day.")
    seconds = math.fsum(float(number.replace(",", ".")) * _SECONDS[unit[0]] for number, unit in parts)
    if not (math.isfinite(seconds) and seconds <= _LONGEST):
        raise BadInput(f"'{text[:60]}' is longer than a month.", "Check the number and its unit.")
    return round(seconds)


def format_time(seconds: float) -> str:
    """Format a time in words.

    Examples
    --------
    >>> format_time(45), format_time(2700), format_time(5400), format_time(86400 * 2)
    ('45 s', '45 min', '1 h 30 min', '48 h')
    """
    if seconds < 2 * _MINUTE:
        return f"{round(seconds)} s"
    hours, minutes = divmod(round(seconds / _MINUTE), 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{minutes} min"] if minutes else [])])


def usual_times(layer: Layer, paint: Paint | None = None) -> tuple[int, int]:
    """Seconds before a wash is wiped back, and seconds to dry, by the kind of its first paint.

    Parameters
    ----------
    layer : Layer
    paint : Paint, optional
        By default, a paint thinned with water.
    """
    words = f"{paint.kind} {paint.thinner}".lower() if paint else ""
    if "shellac" in words:
        return GLAZE_STANDS_S, SHELLAC_DRIES_S
    if any(word in words for word in _OILY):
        return OIL_STANDS_S, OIL_DRIES_S
    glaze = layer.paint_fraction >= _GLAZE_FRACTION or "glaze" in words
    return (GLAZE_STANDS_S if glaze else WASH_STANDS_S), WATER_DRIES_S


def schedule(
    layers: Sequence[Layer],
    paints: Mapping[str, Paint] | None = None,
    times: Times | None = None,
    *,
    then: Sequence[Layer] = (),
    clear_coat: str = "",
) -> tuple[BenchStep, ...]:
    """Steps from stirring to the last coat.

    Parameters
    ----------
    layers : sequence of Layer
        Lowest first.
    paints : mapping of Paint by name, optional
        Their kinds determine the times.
    times : Times, optional
    then : sequence of Layer
        Washes over the whole piece afterwards.
    clear_coat : str
        Name of the clear coat over everything, or empty.
    """
    times, shelf = times or Times(), paints or {}
    waits = [_waits(layer, shelf, times) for layer in layers]
    steps = [
        BenchStep("Make sure the surface is dry, scuffed with 300 grit or finer if it is sealed, and free of dust.", 0),
        BenchStep("Stir the paint, measure and mix the batch; stir it again before each coat.", STIR_S),
        BenchStep(
            "Paint a test strip on an offcut or a hidden spot in the same state; wipe it as you will the repair.",
            STRIP_S,
        ),
        BenchStep(
            "Let the test strip dry before you judge it: wet paint looks lighter or darker than dry.", waits[0][1], True
        ),
    ]
    for number, (layer, own) in enumerate(zip(layers, waits, strict=True), 1):
        steps += _coats(layer, own, f", wash {number}" if len(layers) > 1 else "")
    steps.append(BenchStep("Look at it dry, in daylight and under a lamp, before you put anything over it.", 0))
    for layer in then:
        steps += _coats(layer, _waits(layer, shelf, times), ", over the whole piece")
    if clear_coat:
        coats = CLEAR_COATS if times.clear_coats is None else times.clear_coats
        wait = CLEAR_DRIES_S if times.clear_dries is None else times.clear_dries
        for coat in range(1, coats + 1):
            steps.append(BenchStep(f"Apply a thin coat of {clear_coat} ({coat} of {coats}).", BRUSH_S))
            steps.append(BenchStep("Let it dry.", wait, True))
    return tuple(steps)


def _waits(layer: Layer, shelf: Mapping[str, Paint], times: Times) -> tuple[int, int]:
    """Seconds that a wash stands, and seconds that it dries."""
    stands, dries = usual_times(layer, shelf.get(layer.paints[0].paint))
    return stands if times.stands is None else times.stands, dries if times.dries is None else times.dries


def _coats(layer: Layer, waits: tuple[int, int], where: str) -> list[BenchStep]:
    name = " + ".join(part.called for part in layer.paints)
    stands, dries = waits
    steps = []
    for coat in range(1, layer.coats + 1):
        steps += [
            BenchStep(f"Brush {name} on thinly along the grain (coat {coat} of {layer.coats}{where}).", BRUSH_S),
            BenchStep("Let it stand before wiping.", stands, True),
            BenchStep("Wipe back along the grain with a damp rag.", BRUSH_S),
            BenchStep("Let it dry.", dries, True),
        ]
    return steps


def time_left(steps: Sequence[BenchStep], done: int = 0) -> int:
    """Seconds from the start of a step, counted from 0, to the end of the last."""
    return sum(step.seconds for step in steps[done:])
