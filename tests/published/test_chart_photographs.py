"""Six real photographs of a 24-patch chart, corrected by the references that the chart holds.

``python -m tests.published.test_chart_photographs`` prints the figures in tests/studies/measured. The values in the
table are encoded: only then do the grays have the proportions that were published for them.
"""

from pathlib import Path

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import linear_from_encoded, linear_from_lab
from colormatch.records import Lab
from colormatch.reference.chart import chart_correction
from colormatch.reference.chart_values import SINCE_2014
from colormatch.reference.correction import Correction, gray_card_correction
from colormatch.reference.three_step import three_step_correction
from tests.scenes.spectra import colour_science

_LINES = Path(__file__).with_name("chart_photographs.csv").read_text(encoding="utf-8").splitlines()
_ROWS = [line.split(",") for line in _LINES if line.startswith("IMG")]
#: (24, 3) encoded RGB of each photograph.
PHOTOGRAPHS = {
    name: np.array([[float(value) for value in row[2:]] for row in _ROWS if row[0] == name])
    for name in sorted({row[0] for row in _ROWS})
}
WHITE, NEUTRAL_5, BLACK = 18, 21, 23


def linear(name: str) -> np.ndarray:
    return linear_from_encoded(PHOTOGRAPHS[name])


def gray_card(name: str) -> Correction:
    return gray_card_correction(linear(name)[NEUTRAL_5], Lab(*SINCE_2014[NEUTRAL_5]))


def three_steps(name: str) -> Correction:
    steps = [WHITE, NEUTRAL_5, BLACK]
    return three_step_correction(linear(name)[steps], linear_from_lab(SINCE_2014[steps])[:, 1])


def errors(name: str, correction: Correction, left_out: list[int]) -> np.ndarray:
    off = delta_e(correction.lab(linear(name)), SINCE_2014)
    return np.delete(off, left_out)


def chart_leave_one_out(name: str, patches_to_try: range = range(24)) -> tuple[np.ndarray, np.ndarray]:
    """Error of each patch of which the correction knew nothing, and what was stated."""
    off, stated = [], []
    for index in patches_to_try:
        patches = linear(name).copy()
        patches[index] = 0  # black is left out of the fit
        correction = chart_correction(patches)
        off.append(float(delta_e(correction.lab(linear(name)[index : index + 1])[0], SINCE_2014[index])))
        stated.append(correction.systematic)
    return np.array(off), np.array(stated)


def leave_one_photograph_out(off: dict[str, np.ndarray], stated: dict[str, np.ndarray]) -> dict[str, float]:
    """Share of each photograph's errors that a radius holds which only the other five have set.

    The radius is what is stated times the factor with which it holds nine in ten errors of the other five.
    """
    held = {}
    for name in off:
        others = np.concatenate([off[other] / stated[other] for other in off if other != name])
        held[name] = float(np.mean(off[name] <= np.percentile(others, 90) * stated[name]))
    return held


def all_errors(patches_to_try: range = range(24)) -> dict[str, tuple[dict[str, np.ndarray], dict[str, np.ndarray]]]:
    """By reference and photograph: errors of the patches that served no reference, and what was stated for each."""
    ways = {}
    for way, correct, left_out in (
        ("gray card", gray_card, [NEUTRAL_5]),
        ("three steps", three_steps, [WHITE, NEUTRAL_5, BLACK]),
    ):
        off = {name: errors(name, correct(name), left_out) for name in PHOTOGRAPHS}
        ways[way] = off, {name: np.full(len(off[name]), correct(name).systematic) for name in PHOTOGRAPHS}
    charts = {name: chart_leave_one_out(name, patches_to_try) for name in PHOTOGRAPHS}
    ways["chart"] = {name: off for name, (off, _) in charts.items()}, {name: told for name, (_, told) in charts.items()}
    return ways


def by_colour_science(name: str) -> np.ndarray:
    """ΔE00 of the 24 patches once neutral 5 has its published color by one gain for each channel, none of it ours."""
    colour = colour_science()
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    space = colour.RGB_COLOURSPACES["sRGB"].copy()
    space.use_derived_transformation_matrices(True)  # the standard's own are rounded to four digits
    seen = colour.models.eotf_sRGB(PHOTOGRAPHS[name])
    gray = colour.XYZ_to_RGB(colour.Lab_to_XYZ(SINCE_2014[NEUTRAL_5], d65), space)
    balanced = colour.RGB_to_XYZ(seen * gray / seen[NEUTRAL_5], space)
    return colour.delta_E(colour.XYZ_to_Lab(balanced, d65), SINCE_2014, method="CIE 2000")


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_gray_card_alone(name: str) -> None:
    np.testing.assert_allclose(errors(name, gray_card(name), []), by_colour_science(name), atol=1e-3)


def test_three_steps_are_no_worse_than_the_gray_card() -> None:
    steps = [WHITE, NEUTRAL_5, BLACK]
    gray = np.mean([errors(name, gray_card(name), steps).mean() for name in PHOTOGRAPHS])
    three = np.mean([errors(name, three_steps(name), steps).mean() for name in PHOTOGRAPHS])
    assert three <= gray


def test_chart_is_better_than_the_gray_card_on_patches_it_did_not_see() -> None:
    some = range(0, 24, 5)  # all of them take a minute; the summary has them
    gray = [errors(name, gray_card(name), [])[some] for name in PHOTOGRAPHS]
    chart = [chart_leave_one_out(name, some)[0] for name in PHOTOGRAPHS]
    assert np.mean(chart) < np.mean(gray)


@pytest.mark.slow
def test_a_radius_that_five_photographs_set_holds_the_sixth() -> None:
    """No photograph takes part in the radius that is tried on it."""
    for way, (off, stated) in all_errors().items():
        shares = leave_one_photograph_out(off, stated)
        overall = np.average(list(shares.values()), weights=[len(one) for one in off.values()])
        assert 0.85 <= overall <= 0.97, (way, shares)


def summary() -> str:
    ways = all_errors()
    rows = ["ΔE00, mean / largest", f"photograph  {''.join(f'{way:18s}' for way in ways)}"]
    for name in PHOTOGRAPHS:
        cells = [f"{off[name].mean():.2f} / {off[name].max():5.2f}".ljust(18) for off, _ in ways.values()]
        rows.append(f"{name}    {''.join(cells)}")
    rows += ["", "held by the radius as stated / by one that the other five photographs set, %"]
    held = {way: leave_one_photograph_out(off, stated) for way, (off, stated) in ways.items()}
    for name in PHOTOGRAPHS:
        inside = {way: np.mean(off[name] <= stated[name]) for way, (off, stated) in ways.items()}
        rows.append(
            f"{name}    {''.join(f'{100 * inside[way]:.0f} / {100 * held[way][name]:.0f}'.ljust(18) for way in ways)}"
        )
    cells = []
    for way, (off, stated) in ways.items():
        sizes = [len(one) for one in off.values()]
        inside = np.concatenate([off[name] <= stated[name] for name in off]).mean()
        cells.append(f"{100 * inside:.0f} / {100 * np.average(list(held[way].values()), weights=sizes):.0f}".ljust(18))
    rows.append(f"{'all':12s}{''.join(cells)}")
    for way, (off, stated) in ways.items():
        rows.append(
            f"{way}: nine in ten errors stay below {np.percentile(np.concatenate(list(off.values())), 90):.1f},"
            f" stated {np.concatenate(list(stated.values())).mean():.1f} on average"
        )
    return "\n".join(rows)


if __name__ == "__main__":
    print(summary())
