"""What to doubt about the swatches behind a ranking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from colormatch.color.difference import delta_e
from colormatch.records import Shelf, Swatch
from colormatch.wash.paint import PaintModel, distinct
from colormatch.wash.ratio import format_ratio

#: ΔE00 between a swatch and its ground below which the paint can't be seen in it.
_NO_TRACE = 0.3
#: Paint fraction above which a wash must leave a trace.
_STRONG = 0.25


def shelf_doubts(shelf: Shelf, models: Mapping[str, PaintModel], names: Sequence[str]) -> tuple[str, ...]:
    """Sentences about the swatches of some paints, and about paints without any.

    Parameters
    ----------
    shelf : Shelf
    models : mapping of PaintModel by name
    names : sequence of str; the paints whose swatches matter
    """
    said = []
    for name in names:
        # That there is one swatch only shows in the width of the range already.
        said += [flag.text for flag in models[name].flags if flag.code != "one-swatch"]
        said += [_no_trace(s) for s in shelf.of(name) if _hides_nothing(s)]
        copies = len(shelf.of(name)) - len(distinct(shelf.of(name)))
        if copies:
            said.append(f"{name} has {copies} swatch{'es' * (copies > 1)} entered twice; each counts once.")
    silent = sorted(paint.name for paint in shelf.paints if paint.name not in models)
    if silent:
        said.append(f"Left out for want of a swatch: {', '.join(silent)}.")
    return tuple(said)


def _hides_nothing(swatch: Swatch) -> bool:
    return swatch.paint_fraction >= _STRONG and float(delta_e(swatch.lab, swatch.ground_lab)) < _NO_TRACE


def _no_trace(swatch: Swatch) -> str:
    ratio = format_ratio(swatch.paint_parts, swatch.water_parts)
    return (
        f"The swatch {ratio} of {swatch.paint} on {swatch.ground} has the color of its ground; "
        "check that the right spot was read."
    )
