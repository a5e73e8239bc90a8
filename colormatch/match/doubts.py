"""Doubts about the swatches behind a ranking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from colormatch.records import Flag, FlagCode, Layer, Shelf
from colormatch.wash.paint import PaintModel, distinct


def mix_not_painted(layers: Sequence[Layer]) -> tuple[Flag, ...]:
    """Flag of a recipe with a mix: it is computed from swatches of each paint, which hardly tell what their parts count
    for beside each other.
    """
    mixes = [layer for layer in layers if len(layer.paints) > 1]
    if not mixes:
        return ()
    names = " and ".join(part.called for part in mixes[0].paints)
    text = (
        f"What the parts of {names} count for in a mix isn't known from swatches of each alone; "
        "stir a spoonful and paint it beside the damage first. Tints of each with white tell most: "
        "enter a mix that you paint as a paint of its own."
    )
    return (Flag(FlagCode.MIX_NOT_PAINTED, text, len(mixes)),)


def shelf_doubts(shelf: Shelf, models: Mapping[str, PaintModel], names: Sequence[str]) -> tuple[str, ...]:
    """Sentences about the swatches of some paints, and about paints without swatches.

    Parameters
    ----------
    shelf : Shelf
    models : mapping of PaintModel by name
    names : sequence of str; the paints whose swatches matter
    """
    said = []
    for name in names:
        # The width of the range already shows that there is only one swatch.
        said += [flag.text for flag in models[name].flags if flag.code is not FlagCode.ONE_SWATCH]
        copies = len(shelf.of(name)) - len(distinct(shelf.of(name)))
        if copies:
            said.append(f"{name} has {copies} swatch{'es' * (copies > 1)} entered twice; each counts once.")
    silent = sorted(paint.name for paint in shelf.paints if paint.name not in models)
    if silent:
        said.append(f"Left out because they have no swatch: {', '.join(silent)}.")
    return tuple(said)
