"""Labels for the jars that washes are kept in: HTML of true size, to print on paper or film and cut out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from colormatch.color.space import hex_from_lab
from colormatch.records import Lab, Layer
from colormatch.wash.ratio import format_fraction

#: Width and height of a label, mm: around a small jar without meeting itself. Our choice.
LABEL = (70, 45)
#: Length of the printed line that tells whether the printer kept the size, mm.
SCALE = 50
#: What every page of ours forbids itself: to load or run anything.
SEALED = (
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; img-src data:; '
    "style-src 'unsafe-inline'\">"
)
LABEL_STYLE = f"""
.labels{{display:flex;flex-wrap:wrap;gap:6mm}}
.label{{box-sizing:border-box;width:{LABEL[0]}mm;height:{LABEL[1]}mm;border:.25mm dashed #000;padding:2.5mm 3mm;
background:#fff;color:#000;font:3.1mm/1.3 sans-serif;display:flex;flex-direction:column;gap:.6mm;overflow:hidden;
break-inside:avoid;overflow-wrap:anywhere}}
.label .of,.label .what{{flex:none;display:-webkit-box;-webkit-box-orient:vertical;-webkit-line-clamp:2;
overflow:hidden}}
.label .of{{font-size:2.7mm;line-height:1.25}}
.label .what{{font-weight:700;font-size:5mm;line-height:1.15}}
.label .row{{display:flex;gap:3mm;align-items:stretch;margin-top:auto}}
.label .chip{{width:13mm;min-height:13mm;flex:none;print-color-adjust:exact;-webkit-print-color-adjust:exact}}
.label .facts{{flex:1;min-width:0}}
.label .facts b{{display:block;font-size:4.2mm;white-space:nowrap;overflow:hidden;text-overflow:ellipsis}}
"""
_STYLE = """
@page{margin:12mm}
body{font:4mm/1.4 sans-serif;color:#000;background:#fff;margin:12mm}
p{max-width:120mm;margin:0 0 5mm}
@media print{body{margin:0}}
"""


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


def label_html(label: Label) -> str:
    """One label, for a page that holds :data:`LABEL_STYLE`."""
    layer = label.layer
    several = len(layer.paints) > 1
    paints = " + ".join(f"{part.parts:.3g} {part.called}" if several else part.called for part in layer.paints)
    ratio = format_fraction(layer.paint_fraction)
    thinned = "full strength" if ratio == "full" else f"{ratio} paint to {label.thinner}"
    which = f"Wash {label.number} of {label.count} for " if label.count > 1 else "For "
    volume = "" if label.ml is None else f", {label.ml:.3g} ml"
    return (
        f'<div class="label"><div class="of">{escape(which + label.wood)}</div>'
        f'<div class="what">{escape(paints)}</div>'
        f'<div class="row"><div class="chip" style="background:{hex_from_lab(np.asarray(label.lab))}"></div>'
        f'<div class="facts"><b>{escape(thinned)}</b>{layer.coats} coat{"s" if layer.coats > 1 else ""}, '
        f"wiped back<br>Mixed {escape(label.made)}{volume}<br>Stir. Test first; judge it dry.</div></div></div>"
    )


def label_page(labels: Sequence[Label]) -> str:
    """A page of labels with nothing else to load; prints at true size."""
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8">{SEALED}<meta name="viewport" content="width=device-width">
<title>Labels for {escape(labels[0].wood)}</title><style>{_STYLE}{LABEL_STYLE}</style>
<p>Print at 100 %, not fitted to the page, and cut along the dashes. This line is {SCALE} mm long:</p>
<svg width="{SCALE}mm" height="4mm" viewBox="0 0 {SCALE} 4" role="img" aria-label="scale">
<path d="M.15 0v4M.15 2h{SCALE - 0.3}M{SCALE - 0.15} 0v4" fill="none" stroke="#000" stroke-width=".3"/></svg>
<p>The patch of color is what the recipe is expected to dry to, as far as a printer can show it.</p>
<div class="labels">{"".join(map(label_html, labels))}</div>
</html>
"""
