"""Undo within a repair: what each change took the place of, kept in the repair's own document.

So it outlives a reload and a restart, and both windows of one repair share it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from colormatch.records import RegionKind

#: A repair as plain values by field.
Document = dict[str, Any]
#: Changes that can be taken back; our choice, an afternoon's work on one repair.
KEPT = 50
#: Fields of a document that hold the history itself.
PAST, FUTURE = "past", "future"

#: What the button calls a change of a field. Regions are told more closely.
_WORDS = {
    "name": "the name",
    "card_kind": "the kind of card",
    "card_value": "the card's value",
    "through": "what was learned of the camera",
    "known_wood": "which wood the sound wood is",
    "sound_state": "the state of the sound wood",
    "damage_state": "the state of the damage",
    "sound_wet": "the state of the sound wood",
    "damage_wet": "the state of the damage",
    "limits": "what the recipe may be",
    "picked": "the wash picked",
    "area": "the size of the damage",
    "smallest": "the smallest measure",
    "mixing": "how it is mixed",
    "times": "your own times",
}


#: All marks that a field holds.
_MARKS: dict[str, Callable[[Any], list[Any]]] = {
    "regions": lambda regions: regions or [],
    "check": lambda check: [one for photo in (check or {}).get("photos", ()) for one in photo["regions"]],
}


def recorded(before: Mapping[str, Any], after: Mapping[str, Any], *, apart: frozenset[str]) -> Document:
    """The document after a change, with the change in its history.

    Parameters
    ----------
    before, after : mapping
        The repair's document, history included in ``before``.
    apart : set of str
        Fields that undo leaves alone.
    """
    changed = [name for name in after if name not in apart and after[name] != before.get(name)]
    past, future = list(before.get(PAST, [])), list(before.get(FUTURE, []))
    if changed:
        was = {name: before[name] for name in changed if name in before}
        past, future = [*past, {"what": _told(changed, before, after), "was": was}][-KEPT:], []
    return {**after, PAST: past, FUTURE: future}


def without(document: Mapping[str, Any], field: str) -> Document:
    """The document whose history knows nothing of a field any more: what its changes were of is gone."""
    kept = {
        when: [change for change in document.get(when, []) if field not in change["was"]] for when in (PAST, FUTURE)
    }
    return {**document, **kept}


def is_sound(document: Mapping[str, Any]) -> bool:
    """Whether the history of a document is one that can be taken back."""
    return all(
        isinstance(change["what"], str) and change["was"].keys() <= document.keys() | {"name"}
        for changes in (document.get(PAST, []), document.get(FUTURE, []))
        for change in changes
    )


def taken_back(document: Mapping[str, Any], *, again: bool = False) -> Document | None:
    """The document with its last change taken back, or the last that was taken back made again; None: there is none."""
    source, target = (FUTURE, PAST) if again else (PAST, FUTURE)
    changes = list(document.get(source, []))
    if not changes:
        return None
    change = changes.pop()
    inverse = {"what": change["what"], "was": {name: document[name] for name in change["was"]}}
    return {**document, **change["was"], source: changes, target: [*document.get(target, []), inverse]}


def next_change(document: Mapping[str, Any], *, again: bool = False, of: str = "") -> str:
    """What undo (or redo) would change, in words; empty: nothing, or nothing ``of`` that field."""
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
