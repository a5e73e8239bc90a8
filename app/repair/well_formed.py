"""Whether a value read from a document is what its fields promise: a document may come from anybody."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

#: Largest whole number; beyond it, the browser's numbers are not exact any more (ECMAScript, Number.MAX_SAFE_INTEGER).
_LARGEST = 2**53 - 1


def well_formed(value: object, kind: Any) -> bool:
    """Whether a value has the type of an annotation, all the way down: numbers finite, text that can be written.

    Parameters
    ----------
    value : object
    kind : type
        A dataclass, a NamedTuple, an enumeration, ``tuple``, a union, or a plain type.
    """
    origin, inside = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return any(well_formed(value, one) for one in inside)
    if origin is tuple:
        if not isinstance(value, tuple):
            return False
        kinds = inside[:1] * len(value) if inside[1:] == (...,) else inside
        return len(kinds) == len(value) and all(map(well_formed, value, kinds))
    if kind is float:
        return type(value) in (int, float) and math.isfinite(value)  # type: ignore[arg-type]
    if kind is int:
        return type(value) is int and abs(value) <= _LARGEST
    if kind is str:
        return isinstance(value, str) and not any("\ud800" <= letter <= "\udfff" for letter in value)  # halves of one
    if kind in (bool, NoneType) or not isinstance(value, kind):
        return type(value) is kind
    return all(well_formed(getattr(value, name), one) for name, one in _parts(kind).items())


@cache
def _parts(kind: Any) -> dict[str, Any]:
    """Name and annotation of each field; none of what has no fields."""
    names = [one.name for one in fields(kind)] if is_dataclass(kind) else getattr(kind, "_fields", ())
    hints = get_type_hints(kind) if names else {}
    return {name: hints[name] for name in names}
