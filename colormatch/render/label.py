"""Labels for jars of mixed wash: HTML at true size, to print on paper or film and cut out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from colormatch.records import Lab, Layer
from colormatch.render.html import PAGES
from colormatch.wash.ratio import format_fraction

#: Width and height of a label, mm: fits around a small jar without overlap. Our choice.
LABEL = (70, 45)
#: Length of the printed line for checking the printer's scale, mm.
SCALE = 50


@dataclass(frozen=True)
class Label:
    """Content of one label."""

    #: Name of the repair.
    wood: str
    layer: Layer
    #: Number of this wash, from 1, and number of washes; a recipe of two washes fills two jars.
    number: int
    count: int
    #: Expected dried color of the whole recipe.
    lab: Lab
    #: Date, ISO 8601.
    made: str
    #: Volume in the jar, ml; None if unknown.
    ml: float | None = None
    thinner: str = "water"

    @property
    def heading(self) -> str:
        """Number of the wash, and name of the repair."""
        return f"Wash {self.number} of {self.count} for {self.wood}" if self.count > 1 else f"For {self.wood}"

    @property
    def paints(self) -> str:
        """The paints, with parts if there are several."""
        several = len(self.layer.paints) > 1
        return " + ".join(f"{part.parts:.3g} {part.called}" if several else part.called for part in self.layer.paints)

    @property
    def thinned(self) -> str:
        ratio = format_fraction(self.layer.paint_fraction)
        return "full strength" if ratio == "full" else f"{ratio} paint to {self.thinner}"


def label_page(labels: Sequence[Label]) -> str:
    """HTML page of labels, self-contained, at true size."""
    return PAGES.get_template("labels.html").render(
        title=f"Labels for {labels[0].wood}", labels=labels, label_mm=LABEL, scale_mm=SCALE
    )
