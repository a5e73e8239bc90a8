"""HTML from Jinja2 templates with autoescape."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from colormatch.color.space import hex_from_lab, in_gamut


@cache
def templates(folder: Path) -> Environment:
    """Environment for the templates of a folder, with autoescape; ``hex`` and ``on_screen`` are color filters."""
    held = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    held.filters |= {"hex": hex_from_lab, "on_screen": lambda lab: bool(in_gamut(np.asarray(lab)))}
    return held


#: Templates of the report and the labels.
PAGES = templates(Path(__file__).with_name("templates"))
