"""A photo from which swatches are being taken, as far as it has come: kept in the library until it is done with.

So a reload, a restart or a look at another page loses nothing of what was marked and typed.
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
    """What has been chosen, marked and typed."""

    #: What it is for: ``patch`` or ``board``. One of each is held.
    use: str
    #: What was typed or chosen, by the name of its field.
    words: Mapping[str, Any] = field(default_factory=dict)


def with_words(draft: Draft, **words: Any) -> Draft:
    """A draft with some words in the place of others."""
    return replace(draft, words={**draft.words, **words})


#: Undo takes back what was marked and typed, not the choice of a photo.
_APART = frozenset({"photo", "stamp", "searched"})


def held(use: str) -> Draft:
    """What is held for a use; empty where nothing is, or where its photo is gone."""
    document = _document(use)
    if not document:
        return Draft(use)
    known = {one.name: document[one.name] for one in fields(Draft) if one.name in document}
    draft = read({**known, "use": use}, Draft)
    # An undo on the shelf puts a photo away that no swatch names any more.
    return draft if not draft.photo or draft.photo in open_library().photos else Draft(use, words=draft.words)


def keep(draft: Draft, *, undoable: bool = True) -> None:
    """Hold on to it; Ctrl+Z in its photo takes back what is ``undoable``."""
    document = {name: value for name, value in plain(draft).items() if name != "use"}
    before = _document(draft.use)
    if before and before["photo"] == draft.photo:
        apart = _APART if undoable else frozenset(document)
        document = history.recorded(before, document, apart=apart)
    _save(draft.use, document)


def undoer(use: str) -> Callable[..., None]:
    """What takes back the last change of a draft, or makes it again with ``again=True``."""

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
    """What takes the editor's edits."""

    def take(edit: Edit) -> None:
        taken = session.with_edit(held(use), edit)
        if taken is not None:
            keep(taken)

    return take


def changer(use: str, name: str, key: str) -> Callable[[], None]:
    """Callback that puts a widget's value among the words of a draft."""

    def change() -> None:
        with session.telling():
            keep(with_words(held(use), **{name: session.widget_value(key)}))

    return change


def field_changer(use: str, name: str, key: str) -> Callable[[], None]:
    """Callback that puts a widget's value into a field of a draft."""

    def change() -> None:
        with session.telling():
            keep(replace(held(use), **{name: session.widget_value(key)}))

    return change
