"""A repair as a JSON file of the exchange folder.

Its document is stored as one text, exactly as in the library, so that it comes back identical.
"""

from __future__ import annotations

import json
import re

from colormatch.errors import BadInput, ExchangeError
from colormatch.library.columns import is_sha256
from colormatch.library.repairs import MAX_DOCUMENT, SavedRepair, check_repair

#: Largest file, bytes: a character of the document takes at most six.
MAX_REPAIR_BYTES = 6 * MAX_DOCUMENT
_NAME = re.compile(r"repairs/[^/]+\.json")


class UnreadableRepair(ExchangeError):
    """One repair of a folder is unreadable; the others are not affected."""


def repair_file(number: int) -> str:
    """Name of a repair's file; the numbers give the order of import."""
    return f"repairs/{number:05}.json"


def is_repair_file(name: str) -> bool:
    """Whether a file name in the folder is that of a repair."""
    return _NAME.fullmatch(name) is not None


def write_repair(repair: SavedRepair) -> bytes:
    """Serialize a repair to the bytes of its file."""
    return (json.dumps(vars(repair), indent=1, ensure_ascii=False) + "\n").encode()


def read_repair(name: str, content: bytes) -> SavedRepair:
    """The inverse of :func:`write_repair`.

    Raises
    ------
    UnreadableRepair
        It is not a repair, or is invalid.
    """
    try:
        found = json.loads(content)
        repair = SavedRepair(
            name=_text(found, "name"),
            document=_text(found, "document"),
            version=_whole(found.get("version", 1)),
            photos=tuple(found.get("photos", ())),
            created=_text({"created": "", **found}, "created"),
            changed=_text({"changed": "", **found}, "changed"),
        )
        check_repair(repair)
    except BadInput as error:
        raise _refused(name, error.what.rstrip(".")) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise _refused(name, "it is not a repair written by this program") from None
    if not all(isinstance(one, str) and is_sha256(one) for one in repair.photos):
        raise _refused(name, "its list of photos is unreadable")
    return repair


def _text(found: dict[str, object], key: str) -> str:
    value = found[key]
    if not isinstance(value, str):
        raise TypeError(key)
    return value


def _whole(value: object) -> int:
    if type(value) is not int:
        raise TypeError(value)
    return value


def _refused(name: str, reason: str) -> UnreadableRepair:
    return UnreadableRepair(f"{name}: {reason}.", "This repair is left out; the rest can be imported.", file=name)
