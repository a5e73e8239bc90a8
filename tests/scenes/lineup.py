"""A plain photograph for accuracy studies: references in a row above, samples in a grid below."""

from collections.abc import Mapping

import numpy as np

from tests.scenes import things
from tests.scenes.scene import Scene, Shadow, Thing, rectangle
from tests.scenes.spectra import flat
from tests.scenes.surface import Surface, plain

#: Width and height of each reference, pixels.
REFERENCES = {"gray card": (240, 160), "three-step card": (360, 120), "chart": (420, 280)}
#: Height of the row of references, and side of a sample's cell.
_ROW, _CELL = 320, 130


def lineup(
    samples: Mapping[str, Surface], references: tuple[str, ...] = ("gray card",), *, chips: int = 0, columns: int = 10
) -> Scene:
    """A scene that holds references, `chips` shop chips and samples, straight and well apart, on a dark gray sheet.

    Things are named by their reference, "chip 1" and so on, or by the sample's name.
    """
    makers = {"gray card": things.gray_card, "three-step card": things.three_step_card, "chart": things.chart}
    laid: list[Thing] = []
    x = 20.0
    for name in references:
        width, height = REFERENCES[name]
        center = (x + width / 2, _ROW / 2)
        laid.append(Thing(name, name, makers[name](), rectangle(center, (width, height)), Shadow(0.2)))
        x += width + 30
    shown = {f"chip {number}": surface for number, surface in enumerate(things.chips()[:chips], 1)} | dict(samples)
    for index, (name, surface) in enumerate(shown.items()):
        center = ((index % columns + 0.5) * _CELL, _ROW + (index // columns + 0.5) * _CELL)
        kind = "chip" if name.startswith("chip ") else "wood"
        laid.append(Thing(name, kind, surface, rectangle(center, (_CELL - 20, _CELL - 20))))
    width = int(max(x, columns * _CELL))
    height = _ROW + -(-len(shown) // columns) * _CELL
    sheet = Thing("sheet", "bench", plain(flat(0.12)), rectangle((width / 2, height / 2), np.array([width, height])))
    return Scene(width, height, (sheet, *laid))
