"""Models of several paints at once, of which no kind is known but what their names tell."""

from collections.abc import Sequence

from colormatch.records import Swatch
from colormatch.wash.paint import PaintModel, fit_paint


def fit_paints(swatches: Sequence[Swatch]) -> dict[str, PaintModel]:
    """A model for every paint among the swatches, by name."""
    names = dict.fromkeys(swatch.paint for swatch in swatches)
    return {name: fit_paint([swatch for swatch in swatches if swatch.paint == name]) for name in names}
