"""Words of the shelf's choices."""

from __future__ import annotations

from colormatch.records import SurfaceState

#: State of the wood that was painted on.
STATES = {
    SurfaceState.BARE: "Bare",
    SurfaceState.SEALED: "Sealed",
    SurfaceState.WASHED: "Washed",
    SurfaceState.TOP_COATED: "Top-coated",
}
