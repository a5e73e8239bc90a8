"""Undo within a repair: earlier states are stored in the repair's own document.

It therefore survives a reload and a restart, and is shared by all windows of one repair.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from colormatch.records import RegionKind

#: A repair as plain values by field.
Document = dict[str, Any]
#: Most changes that can be undone; our choice, an afternoon's work on one repair.
KEPT = 50
#: Fields of a document for the history itself.
PAST, FUTURE = "past", "future"

#: Names of changed fields for the button; marks get more detail.
_WORDS = {
    "name": "the name",
    "card_kind": "the kind of card",
    "card_value": "the card's value",
    "through": "what was learned about the camera",
    "known_wood": "which wood the sound wood is",
    "sound_state": "the state of the sound wood",
    "damage_state": "the state of the damage",
    "sound_wet": "the state of the sound wood",
    "damage_wet": "the state of the damage",
    "limits": "the limits of the recipe",
    "picked": "the wash picked",
    "area": "the size of the damage",
    "smallest": "the smallest measure",
    "mixing": "how it is mixed",
    "times": "your own times",
}


#: All marks in a field.
_MARKS: dict[str, Callable[[Any], list[Any]]] = {
    "regions": lambda regions: regions or [],
    "check": lambda check: [one for photo in (check or {}).get("photos", ()) for one in photo["regions"]],
}


def recorded(before: Mapping[str, Any], after: Mapping[str, Any], *, apart: frozenset[str]) -> Document:
    """Add a change to a document's history.

    Parameters
    ----------
    before, after : mapping
        The repair's document; ``before`` includes its history.
    apart : set of str
        Fields excluded from undo.
    """
    changed = [name for name in after if name not in apart and after[name] != before.get(name)]
    past, future = list(before.get(PAST, [])), list(before.get(FUTURE, []))
    if changed:
        was = {name: before[name] for name in changed if name in before}
        past, future = [*past, {"what": _told(changed, before, after), "was": was}][-KEPT:], []
    return {**after, PAST: past, FUTURE: future}


def without(document: Mapping[str, Any], field: str) -> Document:
    """The document without a field's history, whose subject is gone."""
    kept = {
        when: [change for change in document.get(when, []) if field not in change["was"]] for when in (PAST, FUTURE)
    }
    return {**document, **kept}


def is_sound(document: Mapping[str, Any]) -> bool:
    """Whether the history of a document is valid."""
    return all(
        isinstance(change["what"], str) and change["was"].keys() <= document.keys() | {"name"}
        for changes in (document.get(PAST, []), document.get(FUTURE, []))
        for change in changes
    )


def taken_back(document: Mapping[str, Any], *, again: bool = False) -> Document | None:
    """The document after undo (or redo) of its last change; None if there is none."""
    source, target = (FUTURE, PAST) if again else (PAST, FUTURE)
    changes = list(document.get(source, []))
    if not changes:
        return None
    change = changes.pop()
    inverse = {"what": change["what"], "was": {name: document[name] for name in change["was"]}}
    return {**document, **change["was"], source: changes, target: [*document.get(target, []), inverse]}


def next_change(document: Mapping[str, Any], *, again: bool = False, of: str = "") -> str:
    """Description of the next change to undo (or redo); empty: none, or none ``of`` that field."""
    changes = document.get(FUTURE if again else PAST, [])
    return changes[-1]["what"] if changes and (not of or of in changes[-1]["was"]) else ""


def _told(changed: list[str], before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    field = next((name for name in changed if name in _MARKS), changed[0])
    if field not in _MARKS:
        return _WORDS.get(field, "a setting")
    old, new = _MARKS[field](before.get(field)), _MARKS[field](after[field])
    gone, come = ([one for one in some if one not in others] for some, others in ((old, new), (new, old)))
    if not gone and not come:
        return "the order of the marks"
    kind = RegionKind((come or gone)[0]["kind"])
    if len(new) == len(old):
        one = kind in (RegionKind.CARD, RegionKind.DAMAGE)
        return f"changing the {kind}'s mark" if one else f"changing a mark of {_called(kind)}"
    return f"{'marking' if len(new) > len(old) else 'deleting'} {_called(kind)}"


def _called(kind: RegionKind) -> str:
    return "the repair" if kind is RegionKind.REPAIR else kind.words
