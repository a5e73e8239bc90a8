"""Six real photographs of a 24-patch chart, corrected by the references that the chart holds.

The figures, ``python -m tests.published.test_chart_photographs``, stand in DEVELOPERS.md. The values in the table are
encoded: only then do the grays stand in the proportions that were published for them.
"""

from pathlib import Path

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import linear_from_encoded, linear_from_lab
from colormatch.photo.chart import chart_correction
from colormatch.photo.chart_values import SINCE_2014
from colormatch.photo.correct import Correction, gray_card_correction
from colormatch.photo.three_step import three_step_correction
from colormatch.records import Lab

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


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_gray_card_alone(name: str) -> None:
    """As physics allows: a camera's own colors and tone curve stay."""
    assert 3.5 <= errors(name, gray_card(name), []).mean() <= 5.5


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


def summary() -> str:
    steps = [WHITE, NEUTRAL_5, BLACK]
    rows = ["photograph  gray card       three steps     chart, each patch left out   (mean / largest ΔE00)"]
    kept: dict[str, list[np.ndarray]] = {"gray card": [], "three steps": [], "chart": []}
    for name in PHOTOGRAPHS:
        gray, three = errors(name, gray_card(name), [NEUTRAL_5]), errors(name, three_steps(name), steps)
        chart, stated = chart_leave_one_out(name)
        rows.append(
            f"{name}    {gray.mean():.2f} / {gray.max():5.2f}    {three.mean():.2f} / {three.max():5.2f}"
            f"    {chart.mean():.2f} / {chart.max():5.2f}"
        )
        kept["gray card"].append(gray <= gray_card(name).systematic)
        kept["three steps"].append(three <= three_steps(name).systematic)
        kept["chart"].append(chart <= stated)
    for way, inside in kept.items():
        rows.append(f"stated 90 % radius holds {100 * np.concatenate(inside).mean():.0f} % of the errors: {way}")
    return "\n".join(rows)


if __name__ == "__main__":
    print(summary())
