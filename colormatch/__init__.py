"""Find the wash that hides a repair in wood, from a photo and the user's own paints.

The names listed here are the public surface; they are stable, and what they return is documented at their home. Each is
imported when it is first asked for, so that ``import colormatch`` is quick.

Examples
--------
The whole job on the shipped, simulated example: a photo of damaged wood beside a gray card, and a shelf of invented
paints. For a photo of your own, mark regions with :meth:`Region.from_box`; your own shelf is ``open_workshop()``.

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
"""

from __future__ import annotations

from importlib import import_module

#: As type checkers know it; `typing` itself would be a tenth of the way to ``--help``.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from colormatch.color.difference import delta_e as delta_e
    from colormatch.errors import ColorMatchError as ColorMatchError
    from colormatch.image.photo import open_photo as open_photo
    from colormatch.library.starter import example as example
    from colormatch.library.store import Library as Library
    from colormatch.mixing.amounts import mix_job as mix_job
    from colormatch.records import Box as Box
    from colormatch.records import CardKind as CardKind
    from colormatch.records import Lab as Lab
    from colormatch.records import Limits as Limits
    from colormatch.records import Paint as Paint
    from colormatch.records import Region as Region
    from colormatch.records import RegionKind as RegionKind
    from colormatch.records import Swatch as Swatch
    from colormatch.reference.card_choice import CardChoice as CardChoice
    from colormatch.reference.card_choice import parse_card_value as parse_card_value
    from colormatch.repair import match_colors as match_colors
    from colormatch.repair import match_repair as match_repair
    from colormatch.repair import read_photo as read_photo
    from colormatch.repair import surface as surface
    from colormatch.wash.ratio import format_layers as format_layers
    from colormatch.wash.ratio import parse_ratio as parse_ratio
    from colormatch.workshop import open_workshop as open_workshop
    from colormatch.workshop import starter_workshop as starter_workshop

__version__ = "0.1.0"

#: Where each public name lives.
_HOMES = {
    "Box": "records",
    "CardChoice": "reference.card_choice",
    "CardKind": "records",
    "ColorMatchError": "errors",
    "Lab": "records",
    "Library": "library.store",
    "Limits": "records",
    "Paint": "records",
    "Region": "records",
    "RegionKind": "records",
    "Swatch": "records",
    "delta_e": "color.difference",
    "example": "library.starter",
    "format_layers": "wash.ratio",
    "match_colors": "repair",
    "match_repair": "repair",
    "mix_job": "mixing.amounts",
    "open_photo": "image.photo",
    "open_workshop": "workshop",
    "parse_card_value": "reference.card_choice",
    "parse_ratio": "wash.ratio",
    "read_photo": "repair",
    "starter_workshop": "workshop",
    "surface": "repair",
}
__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """A public name, from its home (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
