"""Rename photos: a photo is named by its bytes, so all references to a cleaned one change."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from colormatch.library.columns import R
from colormatch.library.repairs import SavedRepair
from colormatch.records import Paint, Swatch

_SHA256 = re.compile(r"\b[0-9a-f]{64}\b")


def record_renamed(record: R, names: Mapping[str, str]) -> R:
    """A record with its photo renamed.

    Parameters
    ----------
    record : R
    names : mapping
        New name of each photo; empty removes it, with the spot marked in it.
    """
    if not isinstance(record, Paint | Swatch) or record.photo not in names:
        return record
    changes: dict[str, Any] = {"photo": names[record.photo]}
    if isinstance(record, Swatch) and not names[record.photo]:
        changes["region"] = ()
    return replace(record, **changes)


def repair_renamed(repair: SavedRepair, names: Mapping[str, str]) -> SavedRepair:
    """A repair with its photos renamed in its list and document; the document still names photos left behind."""
    photos = tuple(name for photo in repair.photos if (name := names.get(photo, photo)))
    document = _SHA256.sub(lambda found: names.get(found[0]) or found[0], repair.document)
    return replace(repair, photos=photos, document=document)
