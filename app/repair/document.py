"""Convert repairs to plain JSON values and back.

A document may come from an untrusted source: every value must match the type of its field, at any depth.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Any, NoReturn, TypeVar, get_type_hints

from cattrs import Converter
from cattrs.errors import ForbiddenExtraKeysError
from cattrs.gen import make_dict_unstructure_fn, override

from colormatch.errors import BadInput, ColorMatchError
from colormatch.records import Limits, Part

T = TypeVar("T")

#: Largest whole number; larger ones are inexact in a browser (ECMAScript, Number.MAX_SAFE_INTEGER).
_LARGEST = 2**53 - 1
#: Reads and writes each kind of value; hooks for kinds with an older format read that too.
CONVERTER = Converter(detailed_validation=False, forbid_extra_keys=True, unstruct_collection_overrides={tuple: list})


def plain(value: object) -> Any:
    """Convert a value to JSON's objects, lists, numbers and text."""
    return CONVERTER.unstructure(value)


def read(held: object, kind: type[T]) -> T:
    """Inverse of :func:`plain`.

    Raises
    ------
    BadInput
        It doesn't have the type.
    ColorMatchError
        The value's own checks refuse it, such as a region's `RegionError`.
    """
    try:
        return CONVERTER.structure(held, kind)
    except ColorMatchError:
        raise
    except (ArithmeticError, AttributeError, ForbiddenExtraKeysError, LookupError, TypeError, ValueError):
        raise BadInput(
            "A saved item is unreadable: another version of the program wrote it, or it was damaged.",
            "Open it with the version that wrote it.",
        ) from None


# --- plain values, checked strictly -----------------------------------------------------------------------------------


def _refuse(held: object) -> NoReturn:
    raise TypeError(type(held).__name__)


def _float(held: object, _: Any) -> float:
    return held if type(held) in (int, float) and math.isfinite(held) else _refuse(held)  # type: ignore[arg-type, return-value]


def _int(held: object, _: Any) -> int:
    return held if type(held) is int and abs(held) <= _LARGEST else _refuse(held)


def _bool(held: object, _: Any) -> bool:
    return held if isinstance(held, bool) else _refuse(held)


def _str(held: object, kind: Any) -> Any:
    """Text that can be encoded, or the member of an enumeration of such text."""
    halves = isinstance(held, str) and any("\ud800" <= letter <= "\udfff" for letter in held)
    return kind(held) if isinstance(held, str) and not halves else _refuse(held)


for _kind, _reader in ((float, _float), (int, _int), (bool, _bool), (str, _str)):
    CONVERTER.register_structure_hook(_kind, _reader)


# --- formats shorter than field by field ------------------------------------------------------------------------------


def _is_named_tuple(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, tuple) and hasattr(kind, "_fields")


def _named_tuple(held: Any, kind: Any) -> Any:
    kinds = get_type_hints(kind).values()
    return kind(*(CONVERTER.structure(one, of) for one, of in zip(held, kinds, strict=True)))


CONVERTER.register_unstructure_hook(StrEnum, lambda member: member.value)
CONVERTER.register_structure_hook_func(_is_named_tuple, _named_tuple)
CONVERTER.register_unstructure_hook_func(_is_named_tuple, lambda value: [plain(one) for one in value])


@CONVERTER.register_unstructure_hook
def _plain_part(part: Part) -> list[Any]:
    return [part.paint, part.parts, *[True] * part.invented]


@CONVERTER.register_structure_hook
def _part(held: Any, _: Any) -> Part:
    if isinstance(held, dict):  # recipes of earlier versions
        held = held["paint"], held["parts"], held.get("invented", False)
    paint, parts, *invented = held
    return Part(_str(paint, str), _float(parts, float), *(_bool(one, bool) for one in invented))


# Omits fields that no page sets; registered after the hook for the parts of its layers, which it includes.
_UNSET = override(omit=True)
CONVERTER.register_unstructure_hook(
    Limits, make_dict_unstructure_fn(Limits, CONVERTER, batch_ml=_UNSET, top=_UNSET, seed=_UNSET)
)
