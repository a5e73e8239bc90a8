"""States of a surface, as pages name them."""

from __future__ import annotations

from colormatch.records import SurfaceState

#: Of wood that was painted on.
STATES = {state: state.capitalize() for state in SurfaceState}
#: Of a surface as it lies in a photo.
DRY_STATES = {state: f"{word} and dry" for state, word in STATES.items()}
