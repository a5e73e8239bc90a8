"""Report of a repair in HTML that opens offline and prints: pictures, recipe, certainty, steps, checks, labels."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from colormatch.color.difference import delta_e
from colormatch.color.words import verdict
from colormatch.mixing.amounts import Amounts, Batch
from colormatch.mixing.measures import Practice
from colormatch.mixing.schedule import BenchStep, format_time, time_left
from colormatch.records import Lab, Match, RankedWash, Reading
from colormatch.render.html import PAGES
from colormatch.render.label import LABEL, Label
from colormatch.wash.ratio import format_layers

#: Washes listed in the report's ranking; the app shows all.
_LISTED = 6


@dataclass(frozen=True, eq=False)
class Report:
    """Content of a report; empty parts are left out."""

    title: str
    #: Date on which the wash was picked, ISO 8601.
    made: str
    reading: Reading
    match: Match
    #: The picked wash.
    wash: RankedWash
    #: JPEG files: the white-balanced damage; below, the wash pictured over it, or None if one of its paints is gone.
    before: bytes
    after: bytes | None
    #: Photos of the dried repair, each with its caption.
    photos: Sequence[tuple[str, bytes]] = ()
    amounts: Amounts | None = None
    #: Assumptions of the amounts.
    practice: Practice | None = None
    #: Painted area, cm²; None if a batch was asked for.
    area_cm2: float | None = None
    steps: Sequence[BenchStep] = ()
    cautions: Sequence[str] = ()
    #: Each check of the dried repair: date and subject, then result.
    checks: Sequence[tuple[str, str]] = ()
    labels: Sequence[Label] = ()
    #: Whether the photo is simulated.
    simulated: bool = False
    #: Invented paints in the wash.
    invented: Sequence[str] = ()
    #: Reason why amounts are missing, or assumption behind them that the user didn't confirm; or empty.
    lacking: str = ""


def report_page(report: Report) -> str:
    """The report as one self-contained HTML page without scripts."""
    match, reading = report.match, report.reading
    signs = ["The photo is simulated."] * report.simulated
    signs += [f"{' and '.join(report.invented)}: invented, not for sale."] * bool(report.invented)
    simulated = [] if report.after is None else [("Simulated: as the wash should dry", report.after)]
    pictures = [("The damage, white-balanced by the card", report.before), *simulated, *report.photos]
    corrected = [f"Corrected by: {'; then '.join(reading.steps)}."] * bool(reading.steps)
    return PAGES.get_template("report.html").render(
        title=report.title,
        report=report,
        match=match,
        wash=report.wash,
        signs=signs,
        pictures=[(caption, base64.b64encode(picture).decode("ascii")) for caption, picture in pictures],
        cups=_cups(report),
        assumed=_assumed(report),
        how_sure=_how_sure(report),
        ranking=match.washes[:_LISTED],
        notes=list(dict.fromkeys([*match.advice, *corrected, *(f.text for f in reading.doubts_about_samples())])),
        label_mm=LABEL,
        format_layers=format_layers,
        format_time=format_time,
        time_left=time_left,
        verdict=verdict,
    )


def _cups(report: Report) -> list[tuple[Batch, list[tuple[str, ...]]]]:
    """Each wash's batch and the rows of its table; empty if the amounts are unknown."""
    if report.amounts is None or report.practice is None:
        return []
    cups = []
    for batch in report.amounts.batches:
        rows: list[tuple[str, ...]] = []
        for measure in batch.measures:
            said = report.practice.spoken(measure.ml, measure.density)
            main = said.pop(report.practice.unit)
            rows.append((measure.name, main, f"{measure.parts:.3g}", ", ".join(said.values())))
        cups.append((batch, rows))
    return cups


def _assumed(report: Report) -> list[str]:
    """Assumptions behind the amounts, and the cost of the paint."""
    if report.amounts is None or report.practice is None:
        return []
    practice, cost = report.practice, report.amounts.cost
    said = [
        f"1 ml is assumed to cover {practice.coverage:g} cm² in one coat, with {100 * practice.waste:g} % more for cup "
        f"and brush; a drop is assumed to hold {practice.drop_ml:g} ml; grams use "
        f"{'the densities given' if practice.densities else 'the density of water'}."
    ]
    if report.area_cm2 is not None:
        said.insert(0, f"For {report.area_cm2:.3g} cm²:")
    if cost is not None:
        said.append(f"Its paint costs {cost:.2f}, in the currency of your prices.")
    return said


def _how_sure(report: Report) -> list[str]:
    match, wash = report.match, report.wash
    known = "measured on a swatch of it" if wash.basis == "measured" else "calculated from swatches of its paints"
    left = report.reading.difference.radius(float(delta_e(match.target, match.ground)))
    return [
        f"In {100 * wash.unseen:.0f} of 100 cases nobody would see the difference. Remaining difference: {wash.off}.",
        f"The wash's color is {known}, {wash.swatches} in all.",
        f"Sound wood {_numbers(match.target)}, known to ΔE {match.target_uncertainty:.1f}; damage "
        f"{_numbers(match.ground)}, known to ΔE {match.ground_uncertainty:.1f} (nine times in ten). Most of that "
        f"error is common to both: the error of their difference after the correction is ΔE {left:.1f}.",
        *(flag.text for flag in wash.flags),
        "The picture of the washed damage is simulated; a test strip decides.",
    ]


def _numbers(lab: Lab) -> str:
    return f"L* {lab.L:.1f}, a* {lab.a:.1f}, b* {lab.b:.1f}"
