"""Sheets printed here, so that a photo of one is recognized by its markers."""

from __future__ import annotations

import json

from app.state.library import open_library
from colormatch.sheet.layout import Plan

#: Sheets remembered; our choice, more than dry at once in a workshop.
_KEPT = 20
_SETTING = "printed-sheets"


def printed() -> tuple[Plan, ...]:
    """The last printed sheets, newest first."""
    texts = json.loads(open_library().setting(_SETTING) or "[]")
    return tuple(Plan.from_json(text) for text in texts)


def remember(plan: Plan) -> None:
    """Remember a printed sheet."""
    others = [one for one in printed() if one != plan]
    texts = [one.to_json() for one in (plan, *others)][:_KEPT]
    open_library().set_setting(_SETTING, json.dumps(texts))
