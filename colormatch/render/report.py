"""A repair on one page of HTML that opens offline and prints: pictures, colors, recipe, how sure."""

from __future__ import annotations

import base64
import io
from html import escape
from pathlib import Path

import numpy as np

from colormatch.color.space import hex_from_lab, in_gamut
from colormatch.records import ByteArray, Lab, Match, Reading
from colormatch.wash.ratio import format_layers

_STYLE = """
body{font:16px/1.45 sans-serif;color:#111;background:#fff;max-width:60rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:2rem}
.pair{display:flex;flex-wrap:wrap;gap:12px;background:#777;padding:12px}.pair figure{margin:0;flex:1 1 18rem}
.pair img{width:100%;display:block}.pair figcaption{color:#fff;padding-top:4px}
table{border-collapse:collapse;width:100%}td,th{text-align:left;padding:6px 10px 6px 0;border-bottom:1px solid #ccc}
.chips{background:#777;padding:0;white-space:nowrap;width:120px}.chips span{display:inline-block;width:60px;height:36px}
.num{font-variant-numeric:tabular-nums}
@media print{body{margin:0;font-size:12px}.pair,.chips span{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
"""
#: Shown with every recipe: common practice, no source; local codes, the maker's sheet and licensed practice come first.
CAUTIONS = (
    "Old coatings may hold lead: test before sanding. Keep sanding dust down with extraction and a fitting respirator.",
    "Shellac, solvents and spraying need ventilation, no flames or sparks, and the right respirator.",
    "Rags with oil or stain can ignite by themselves: dry them flat outdoors, or keep them under water in a closed "
    "metal can.",
    "Local codes, the maker's sheet and licensed practice come before anything written here.",
)


def write_report(
    path: Path,
    title: str,
    reading: Reading,
    match: Match,
    before: ByteArray,
    after: ByteArray,
    *,
    simulated: bool = False,
) -> None:
    """Write a report.

    Parameters
    ----------
    path : Path
        An HTML file; it needs no other file and no network.
    title : str
    reading : Reading
    match : Match
    before, after : (h, w, 3) uint8; encoded sRGB
        The photo white-balanced, and the best wash pictured in it.
    simulated : bool
        Whether photo and paints themselves are invented.

    Raises
    ------
    OSError
        The file can't be written.
    """
    path.write_text(report(title, reading, match, before, after, simulated=simulated), encoding="utf-8")


def report(
    title: str, reading: Reading, match: Match, before: ByteArray, after: ByteArray, *, simulated: bool = False
) -> str:
    """The page as text; see :func:`write_report`."""
    wanted = _chip(match.finished or match.target)
    rows = "\n".join(
        f"<tr><td class=num>{wash.rank}</td><td class=chips>{wanted}{_chip(wash.lab)}</td>"
        f"<td>{escape(format_layers(wash.layers))}</td><td class=num>{wash.expected_delta_e:.1f}</td>"
        f"<td class=num>{wash.low:.1f} to {wash.high:.1f}</td><td>{escape(wash.off)}</td></tr>"
        for wash in match.washes
    )
    notes = [*match.advice, *reading.steps, *(flag.text for sample in reading.samples for flag in sample.flags)]
    invented = "<p><b>Photo and paints of this example are simulated.</b></p>" if simulated else ""
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{escape(title)}</title><style>{_STYLE}</style>
<h1>{escape(title)}</h1>{invented}
<div class="pair">{_figure(before, "Now, white-balanced")}{_figure(after, "With the first wash below: simulated")}</div>
<h2>Colors</h2>
<p>Sound wood {_numbers(match.target)}, known to ± {match.target_uncertainty:.1f} ΔE00.
Damage {_numbers(match.ground)}, known to ± {match.ground_uncertainty:.1f} ΔE00 (nine times in ten).</p>
<h2>Washes, best first</h2>
<table><tr><th></th><th>sound wood | wash</th><th>paint to water</th><th>ΔE00</th><th>90 % range</th>
<th>stays off</th></tr>
{rows}</table>
<h2>Notes</h2><ul>{"".join(f"<li>{escape(note)}</li>" for note in dict.fromkeys(notes))}</ul>
<p>Color on a screen or on paper is a guide; the test strip decides. Try the wash on a hidden spot or an offcut in the
same state, and judge it dry.</p>
<h2>Cautions</h2><ul>{"".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)}</ul>
</html>
"""


def _chip(lab: Lab) -> str:
    shown = "" if in_gamut(np.asarray(lab)) else " title='outside what a screen can show'"
    return f"<span style='background:{hex_from_lab(np.asarray(lab))}'{shown}></span>"


def _numbers(lab: Lab) -> str:
    return f"L* {lab.L:.1f}, a* {lab.a:.1f}, b* {lab.b:.1f}"


def _figure(encoded_rgb: ByteArray, caption: str) -> str:
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(encoded_rgb).save(stream, "JPEG", quality=90)
    source = base64.b64encode(stream.getvalue()).decode("ascii")
    picture = f'<img alt="{escape(caption)}" src="data:image/jpeg;base64,{source}">'
    return f"<figure>{picture}<figcaption>{escape(caption)}</figcaption></figure>"
