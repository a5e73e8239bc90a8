"""A job on a few pages of HTML that open offline and print: pictures, recipe, how sure, what to do, checks, labels."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from colormatch.color.space import hex_from_lab, in_gamut
from colormatch.color.words import verdict
from colormatch.mixing.amounts import Amounts
from colormatch.mixing.measures import Practice
from colormatch.mixing.schedule import BenchStep, format_time, time_left
from colormatch.records import Lab, Match, RankedWash, Reading
from colormatch.render.label import LABEL_STYLE, SEALED, Label, label_html
from colormatch.wash.ratio import format_layers

#: Washes that the ranking lists; the app shows them all.
_LISTED = 6
_STYLE = """
@page{margin:14mm 15mm}
body{font:16px/1.45 sans-serif;color:#111;background:#fff;max-width:60rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .2rem;overflow-wrap:anywhere}
h2{font-size:1.15rem;margin:1.6rem 0 .4rem;break-after:avoid}
p,ul,ol{margin:.4rem 0}li{padding:.1rem 0}
.when{color:#333;margin:0 0 .8rem}
.invented{border:2px solid #111;padding:.4rem .8rem;font-weight:700}
.pair{display:flex;flex-wrap:wrap;gap:10px;background:#777;padding:10px;break-inside:avoid}
.pair figure{margin:0;flex:1 1 16rem}.pair img{width:100%;display:block}
figcaption{color:#fff;padding-top:4px;font-size:.9rem}
.recipe{display:flex;flex-wrap:wrap;gap:0 1.5rem;align-items:center;margin:1rem 0;break-inside:avoid}
.recipe .words{flex:1 1 20rem}.recipe .words b{font-size:1.35rem;line-height:1.25;display:block}
.big{display:flex;width:12rem;height:6rem;flex:none}.big span{flex:1}
table{border-collapse:collapse;width:100%}tr{break-inside:avoid}
td,th{text-align:left;padding:5px 10px 5px 0;border-bottom:1px solid #bbb;vertical-align:top}
th{font-weight:600;font-size:.9rem;white-space:nowrap}
.chips{white-space:nowrap;width:90px}.chips span{display:inline-block;width:40px;height:26px}
.num{font-variant-numeric:tabular-nums;white-space:nowrap}
.cols{columns:2 20rem;column-gap:2rem}.cols li{break-inside:avoid}
.steps li{break-inside:avoid}
section{break-inside:avoid}
@media print{body{margin:0;max-width:none;padding:0;font-size:10pt;line-height:1.33}
h2{margin-top:.9rem}td,th{padding:3px 10px 3px 0}.chips span{height:20px}
.recipe{margin:.6rem 0}.big{height:5rem}
.pair figure{flex-basis:30%}.recipe .words{flex-basis:50%}
.pair,.chips span,.big span{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
"""


@dataclass(frozen=True, eq=False)
class Report:
    """All that a report tells; what is empty is left out."""

    title: str
    #: Date on which the wash was picked, ISO 8601.
    made: str
    reading: Reading
    match: Match
    #: The wash that was picked.
    wash: RankedWash
    #: JPEG files: the damage white-balanced, and the wash pictured over it; None where a paint of it is gone.
    before: bytes
    after: bytes | None
    #: The dried repair as it was photographed later, each with its caption.
    photos: Sequence[tuple[str, bytes]] = ()
    amounts: Amounts | None = None
    #: What the amounts assume.
    practice: Practice | None = None
    #: Of what is painted, cm²; None where a batch was asked for.
    area_cm2: float | None = None
    steps: Sequence[BenchStep] = ()
    cautions: Sequence[str] = ()
    #: Each check of the dried repair: when and of what, and what was seen.
    checks: Sequence[tuple[str, str]] = ()
    labels: Sequence[Label] = ()
    #: Whether the photo itself is simulated.
    simulated: bool = False
    #: Paints of the wash that are invented.
    invented: Sequence[str] = ()
    #: Why there are no amounts, or what they rest on that nobody has said; empty: nothing is to be said.
    lacking: str = ""


def report_page(report: Report) -> str:
    """The report as one HTML page that loads and runs nothing."""
    match, wash = report.match, report.wash
    wanted = match.finished or match.target
    signs = ["The photo is simulated."] * report.simulated
    signs += [f"{' and '.join(report.invented)}: invented, no such tin can be bought."] * bool(report.invented)
    invented = f"<p class=invented>{escape(' '.join(signs))}</p>" if signs else ""
    pictures = [
        _figure(report.before, "The damage, white-balanced by the card"),
        *([] if report.after is None else [_figure(report.after, "Simulated: as the wash should dry")]),
        *(_figure(picture, caption) for caption, picture in report.photos),
    ]
    seen_by = [flag.text for flag in report.reading.doubts_about_samples()]
    return f"""<!doctype html>
<html lang="en"><meta charset="utf-8">{SEALED}<meta name="viewport" content="width=device-width">
<title>{escape(report.title)}</title><style>{_STYLE}{LABEL_STYLE}</style>
<h1>{escape(report.title)}</h1><p class=when>Wash picked on {escape(report.made)}</p>{invented}
<div class="recipe"><div class="words"><b>{escape(format_layers(wash.layers))}</b>
Expected to stay off by ΔE {wash.expected_delta_e:.1f} ({wash.low:.1f} to {wash.high:.1f} nine times in ten):
{escape(verdict(wash.expected_delta_e))}.</div>
<div><div class="big">{_chip(wanted)}{_chip(wash.lab)}</div>Sound wood | wash, dry</div></div>
<div class="pair">{"".join(pictures)}</div>
{_cup(report)}
<section><h2>How sure</h2>{_list(_how_sure(report))}</section>
{_checks(report.checks)}
{_steps(report.steps)}
<h2>Take care</h2>{_list(report.cautions, "cols")}
{_labels(report.labels)}
<section><h2>Washes as they are ranked today, best first</h2>{_ranking(match)}</section>
<h2>Notes</h2>{_list(dict.fromkeys([*match.advice, *_corrected(report.reading), *seen_by]))}
</html>
"""


def _corrected(reading: Reading) -> list[str]:
    return [f"Corrected by: {'; then '.join(reading.steps)}."] if reading.steps else []


def _cup(report: Report) -> str:
    if report.amounts is None or report.practice is None:
        lacking = f"<section><h2>Into the cup</h2><p>{escape(report.lacking)}</p></section>"
        return lacking if report.lacking else ""
    practice, blocks = report.practice, []
    for number, batch in enumerate(report.amounts.batches, 1):
        which = f", wash {number}" if len(report.amounts.batches) > 1 else ""
        rows = []
        for measure in batch.measures:
            said = practice.spoken(measure.ml, measure.density)
            main = said.pop(practice.unit)
            rows.append((measure.name, main, f"{measure.parts:.3g}", ", ".join(said.values())))
        head = ("", "measure", "parts", "which is")
        blocks.append(f"<h2>Into the cup{which}: {batch.ml:.3g} ml</h2>{_table(head, rows)}")
    size = f"For {report.area_cm2:.3g} cm²: " if report.area_cm2 is not None else ""
    assumed = (
        f"{size}1 ml is assumed to cover {practice.coverage:g} cm² in one coat, with {100 * practice.waste:g} % more "
        f"for cup and brush; a drop to hold {practice.drop_ml:g} ml; grams go by "
        f"{'the densities given' if practice.densities else 'the density of water'}."
    )
    cost = report.amounts.cost
    costs = "" if cost is None else f" The paint in it costs {cost:.2f}, in the currency of your prices."
    flags = _list(flag.text for flag in report.amounts.flags)
    doubt = f"<p><b>{escape(report.lacking)}</b></p>" if report.lacking else ""
    return f"<section>{''.join(blocks)}{doubt}<p>{escape(assumed + costs)}</p>{flags}</section>"


def _how_sure(report: Report) -> list[str]:
    match, wash = report.match, report.wash
    known = "measured on a swatch of it" if wash.basis == "measured" else "worked out from swatches of its paints"
    return [
        f"In {100 * wash.unseen:.0f} of 100 cases nobody would see the difference. What stays off: {wash.off}.",
        f"The wash's color is {known}, {wash.swatches} in all.",
        f"Sound wood {_numbers(match.target)}, known to ΔE {match.target_uncertainty:.1f}; damage "
        f"{_numbers(match.ground)}, known to ΔE {match.ground_uncertainty:.1f} (nine times in ten). Most of that both "
        f"share: what the correction leaves in their difference is ΔE {report.reading.difference:.1f}.",
        *(flag.text for flag in wash.flags),
        "The picture of the washed damage is simulated; a test strip decides.",
    ]


def _checks(checks: Sequence[tuple[str, str]]) -> str:
    if not checks:
        return ""
    items = "".join(f"<li><b>{escape(when)}</b>: {escape(words)}</li>" for when, words in checks)
    return f"<section><h2>Checked when dry</h2><ul>{items}</ul></section>"


def _steps(steps: Sequence[BenchStep]) -> str:
    if not steps:
        return ""
    items = "".join(
        f"<li>{escape(step.text)}{f' ({format_time(step.seconds)})' if step.seconds else ''}</li>" for step in steps
    )
    return f"<h2>What to do: {format_time(time_left(steps))} in all</h2><ol class=steps>{items}</ol>"


def _ranking(match: Match) -> str:
    wanted = _chip(match.finished or match.target)
    rows = "".join(
        f"<tr><td class=num>{wash.rank}</td><td class=chips>{wanted}{_chip(wash.lab)}</td>"
        f"<td>{escape(format_layers(wash.layers))}</td><td class=num>{wash.expected_delta_e:.1f}</td>"
        f"<td class=num>{wash.low:.1f} to {wash.high:.1f}</td><td>{escape(wash.off)}</td></tr>"
        for wash in match.washes[:_LISTED]
    )
    head = (
        "<tr><th></th><th>wood | wash</th><th>paint to water</th><th>ΔE</th><th>90 % range</th><th>stays off</th></tr>"
    )
    return f"<table>{head}{rows}</table>"


def _labels(labels: Sequence[Label]) -> str:
    if not labels:
        return ""
    return f"<section><h2>For the jar</h2><div class=labels>{''.join(map(label_html, labels))}</div></section>"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = "".join(f"<th>{escape(cell)}</th>" for cell in head)
    lines = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return f"<table><tr>{cells}</tr>{lines}</table>"


def _list(lines: Iterable[str], look: str = "") -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<ul class="{look}">{items}</ul>' if items else ""


def _chip(lab: Lab) -> str:
    shown = "" if in_gamut(np.asarray(lab)) else " title='outside what a screen can show'"
    return f"<span style='background:{hex_from_lab(np.asarray(lab))}'{shown}></span>"


def _numbers(lab: Lab) -> str:
    return f"L* {lab.L:.1f}, a* {lab.a:.1f}, b* {lab.b:.1f}"


def _figure(jpeg: bytes, caption: str) -> str:
    source = base64.b64encode(jpeg).decode("ascii")
    picture = f'<img alt="{escape(caption)}" src="data:image/jpeg;base64,{source}">'
    return f"<figure>{picture}<figcaption>{escape(caption)}</figcaption></figure>"
