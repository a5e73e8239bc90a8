"""Names of surface states on pages."""

from __future__ import annotations

from colormatch.records import SurfaceState

#: States of wood before painting.
STATES = {state: state.capitalize() for state in SurfaceState}
#: States of a surface in a photo.
DRY_STATES = {state: f"{word} and dry" for state, word in STATES.items()}
