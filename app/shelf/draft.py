"""Draft of swatches from a photo, stored in the library until it is finished.

A reload, a restart or a visit to another page therefore loses no marks and no input.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

from app.repair import history
from app.repair.document import plain, read
from app.repair.marks import Edit, MarkedByCard, stamp_after
from app.state import session
from app.state.library import open_library


@dataclass(frozen=True)
class Draft(MarkedByCard):
    """Chosen photo, marks and input."""

    #: Purpose: ``patch`` or ``board``. One draft of each is stored.
    use: str
    #: Input by name of its field.
    words: Mapping[str, Any] = field(default_factory=dict)


def with_words(draft: Draft, **words: Any) -> Draft:
    """A draft with some input replaced."""
    return replace(draft, words={**draft.words, **words})


#: Undo covers marks and input, not the choice of a photo.
_APART = frozenset({"photo", "stamp", "searched"})


def held(use: str) -> Draft:
    """The stored draft for a purpose; empty if there is none, or if its photo is gone."""
    document = _document(use)
    if not document:
        return Draft(use)
    known = {one.name: document[one.name] for one in fields(Draft) if one.name in document}
    draft = read({**known, "use": use}, Draft)
    # An undo on the shelf deletes photos that no swatch names any more.
    return draft if not draft.photo or draft.photo in open_library().photos else Draft(use, words=draft.words)


def keep(draft: Draft, *, undoable: bool = True) -> None:
    """Store the draft; Ctrl+Z in its photo undoes changes that are ``undoable``."""
    document = {name: value for name, value in plain(draft).items() if name != "use"}
    before = _document(draft.use)
    if before and before["photo"] == draft.photo:
        apart = _APART if undoable else frozenset(document)
        document = history.recorded(before, document, apart=apart)
    _save(draft.use, document)


def undoer(use: str) -> Callable[..., None]:
    """Callback that undoes (or, with ``again=True``, redoes) the last change of a draft."""

    def undo(*, again: bool = False) -> None:
        with session.telling():
            document = history.taken_back(_document(use), again=again)
            if document is not None:
                _save(use, {**document, "stamp": stamp_after(document["stamp"])})

    return undo


def _document(use: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(open_library().setting(f"draft-{use}") or "{}")
    return found


def _save(use: str, document: Mapping[str, Any]) -> None:
    open_library().set_setting(f"draft-{use}", json.dumps(document))


def taker(use: str) -> Callable[[Edit], None]:
    """Callback for the editor's edits."""

    def take(edit: Edit) -> None:
        taken = session.with_edit(held(use), edit)
        if taken is not None:
            keep(taken)

    return take


def changer(use: str, name: str, key: str) -> Callable[[], None]:
    """Callback that stores a widget's value in the input of a draft."""

    def change() -> None:
        with session.telling():
            keep(with_words(held(use), **{name: session.widget_value(key)}))

    return change


def field_changer(use: str, name: str, key: str) -> Callable[[], None]:
    """Callback that stores a widget's value in a field of a draft."""

    def change() -> None:
        with session.telling():
            keep(replace(held(use), **{name: session.widget_value(key)}))

    return change
