"""Find the wash that hides a repair in wood, from a photo and the user's own paints.

The names listed here are public and stable. Each is imported on first use, which keeps ``import colormatch`` fast.

Examples
--------
The whole job on the shipped, simulated example: a photo of damaged wood beside a gray card, and a shelf of invented
paints. In a photo of your own, mark regions with :meth:`Region.from_box`; ``open_workshop()`` opens your own shelf.

>>> import colormatch as cm
>>> example = cm.example()
>>> photo = cm.open_photo(example.photo)
>>> reading = cm.read_photo(photo, example.regions)
>>> workshop = cm.starter_workshop()
>>> match = cm.match_repair(reading, workshop, cm.Limits(coats=2))
>>> best = match.washes[0]
>>> print(f"{cm.format_layers(best.layers)}: {best.off}")  # doctest: +ELLIPSIS
Brown Glaze (invented), 1:3, 1 coat: ...
>>> best.low < best.expected_delta_e < best.high
True

Rank paints and swatches made in memory, without a library:

>>> ochre = cm.Swatch("Ochre", 1, 3, 1, "light wood", cm.Lab(75, 6, 20), cm.Lab(66, 12, 34))
>>> shelf = cm.Shelf((cm.Paint("Ochre"),), (ochre,))
>>> cm.match_colors(cm.Lab(62, 12, 32), cm.Lab(74, 6, 20), cm.Workshop.of(shelf)).washes[0].layers[0].paints[0].paint
'Ochre'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from colormatch.check.judge import advise as advise
    from colormatch.check.judge import judge_repair as judge_repair
    from colormatch.check.judge import judge_strips as judge_strips
    from colormatch.check.judge import what_next as what_next
    from colormatch.check.learn import before_painting as before_painting
    from colormatch.check.learn import lesson as lesson
    from colormatch.check.learn import swatch_from as swatch_from
    from colormatch.color.difference import delta_e as delta_e
    from colormatch.errors import ColorMatchError as ColorMatchError
    from colormatch.image.photo import open_photo as open_photo
    from colormatch.library.starter import example as example
    from colormatch.library.store import Library as Library
    from colormatch.mixing.amounts import mix_job as mix_job
    from colormatch.records import Box as Box
    from colormatch.records import CardKind as CardKind
    from colormatch.records import Lab as Lab
    from colormatch.records import Layer as Layer
    from colormatch.records import Limits as Limits
    from colormatch.records import Match as Match
    from colormatch.records import Paint as Paint
    from colormatch.records import Part as Part
    from colormatch.records import Reading as Reading
    from colormatch.records import Region as Region
    from colormatch.records import RegionKind as RegionKind
    from colormatch.records import Sample as Sample
    from colormatch.records import Shelf as Shelf
    from colormatch.records import Swatch as Swatch
    from colormatch.reference.card_choice import CardChoice as CardChoice
    from colormatch.reference.card_choice import parse_card_value as parse_card_value
    from colormatch.reference.neutral import balanced as balanced
    from colormatch.reference.neutral import find_neutral as find_neutral
    from colormatch.render.report import Report as Report
    from colormatch.render.report import report_page as report_page
    from colormatch.repair import match_colors as match_colors
    from colormatch.repair import match_repair as match_repair
    from colormatch.repair import picture as picture
    from colormatch.repair import read_photo as read_photo
    from colormatch.repair import surface as surface
    from colormatch.wash.ratio import format_layers as format_layers
    from colormatch.wash.ratio import parse_ratio as parse_ratio
    from colormatch.workshop import Workshop as Workshop
    from colormatch.workshop import open_workshop as open_workshop
    from colormatch.workshop import starter_workshop as starter_workshop

__version__ = "0.1.0"

#: Home module of each public name.
_HOMES = {
    "Box": "records",
    "CardChoice": "reference.card_choice",
    "CardKind": "records",
    "ColorMatchError": "errors",
    "Lab": "records",
    "Layer": "records",
    "Library": "library.store",
    "Limits": "records",
    "Match": "records",
    "Paint": "records",
    "Part": "records",
    "Reading": "records",
    "Region": "records",
    "RegionKind": "records",
    "Report": "render.report",
    "Sample": "records",
    "Shelf": "records",
    "Swatch": "records",
    "Workshop": "workshop",
    "advise": "check.judge",
    "balanced": "reference.neutral",
    "before_painting": "check.learn",
    "delta_e": "color.difference",
    "example": "library.starter",
    "find_neutral": "reference.neutral",
    "format_layers": "wash.ratio",
    "judge_repair": "check.judge",
    "judge_strips": "check.judge",
    "lesson": "check.learn",
    "match_colors": "repair",
    "match_repair": "repair",
    "mix_job": "mixing.amounts",
    "open_photo": "image.photo",
    "open_workshop": "workshop",
    "parse_card_value": "reference.card_choice",
    "parse_ratio": "wash.ratio",
    "picture": "repair",
    "read_photo": "repair",
    "report_page": "render.report",
    "starter_workshop": "workshop",
    "surface": "repair",
    "swatch_from": "check.learn",
    "what_next": "check.judge",
}
__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """Import a public name from its home module (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
