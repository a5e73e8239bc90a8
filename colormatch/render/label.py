"""Labels for the jars that washes are kept in: HTML of true size, to print on paper or film and cut out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from colormatch.records import Lab, Layer
from colormatch.render.html import PAGES
from colormatch.wash.ratio import format_fraction

#: Width and height of a label, mm: around a small jar without meeting itself. Our choice.
LABEL = (70, 45)
#: Length of the printed line that tells whether the printer kept the size, mm.
SCALE = 50


@dataclass(frozen=True)
class Label:
    """What stands on one jar."""

    #: Name of the repair: what wood it is for.
    wood: str
    layer: Layer
    #: Number of this wash and of all, from 1: a recipe of two washes fills two jars.
    number: int
    count: int
    #: What the whole recipe is expected to dry to.
    lab: Lab
    #: Date, ISO 8601.
    made: str
    #: What is in the jar, ml; None where it is not known.
    ml: float | None = None
    thinner: str = "water"

    @property
    def heading(self) -> str:
        """Which of the washes it is, and for what."""
        return f"Wash {self.number} of {self.count} for {self.wood}" if self.count > 1 else f"For {self.wood}"

    @property
    def paints(self) -> str:
        """The paints, with their parts where there are several."""
        several = len(self.layer.paints) > 1
        return " + ".join(f"{part.parts:.3g} {part.called}" if several else part.called for part in self.layer.paints)

    @property
    def thinned(self) -> str:
        ratio = format_fraction(self.layer.paint_fraction)
        return "full strength" if ratio == "full" else f"{ratio} paint to {self.thinner}"


def label_page(labels: Sequence[Label]) -> str:
    """A page of labels with nothing else to load; prints at true size."""
    return PAGES.get_template("labels.html").render(
        title=f"Labels for {labels[0].wood}", labels=labels, label_mm=LABEL, scale_mm=SCALE
    )
