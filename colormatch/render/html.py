"""HTML from the templates of a folder: whatever a value holds is only text in it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from colormatch.color.space import hex_from_lab, in_gamut


@cache
def templates(folder: Path) -> Environment:
    """The templates of a folder, escaping on; ``hex`` and ``on_screen`` tell of a color how a screen shows it."""
    held = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    held.filters |= {"hex": hex_from_lab, "on_screen": lambda lab: bool(in_gamut(np.asarray(lab)))}
    return held


#: Those of the report and the labels.
PAGES = templates(Path(__file__).with_name("templates"))
