"""What swatches that contradict each other do to the stated doubt: ``python -m tests.studies.contradiction``.

One swatch of a paint is misread by so many ΔE00 in a random direction: the wrong spot, another tin, a tin not stirred.
Printed is how often the 90 % radius holds what a newly painted wash dries to, and the mean radius, as
`study_wash.coverage` has it; with the Birge ratio and, beside it, without. Paints that nothing was tuned on; everything
is simulated.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from unittest import mock

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.records import Lab, Swatch
from colormatch.wash import paint as fit
from colormatch.wash.predict import draw_normals, predict_many
from tests.scenes import paints as truth
from tests.scenes.spectra import reflectance_to_lab
from tests.studies.wash import SWATCH_SETS, Trial, layer, reading, single_washes, swatches_of, unseen_woods

_PAIR = (("light wood", 1, 1, 1), ("light wood", 1, 1, 1))
SETS: dict[str, Sequence[tuple[str, float, float, int]]] = {
    "1:1 twice on light wood": _PAIR,
    "the same and 1:7": (*_PAIR, ("light wood", 1, 7, 1)),
    "six mixed": SWATCH_SETS["6: mixed"],
}
#: ΔE00 by which one swatch is misread.
MISREAD = (0.0, 3.0, 6.0, 12.0)
PAINTS, WOODS, REPEATS = 10, 4, 2


def misread(swatch: Swatch, off: float, rng: np.random.Generator) -> Swatch:
    """A swatch whose color is off by so much, some way or other."""
    way = rng.standard_normal(3)
    lab = np.array(swatch.lab) + off * way / np.linalg.norm(way) / axis_weights(np.array(swatch.lab))
    return replace(swatch, lab=Lab(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2])))


def coverage(
    recipe: Sequence[tuple[str, float, float, int]], off: float, learn: Callable[[list[Swatch]], fit.PaintModel]
) -> tuple[float, float]:
    """How often the 90 % radius holds what a wash dries to, and the mean radius."""
    invent = np.random.default_rng(2024)
    paints = [truth.invented_paint(f"paint {i}", invent) for i in range(PAINTS)]
    trial, inside, radii = Trial(), [], []
    for number, paint in enumerate(paints):
        name = f"paint {number}"
        recipes = [[layer(name, d, n)] for d, n in single_washes()]
        for repeat in range(REPEATS):
            rng = np.random.default_rng([repeat, number, 5])
            swatches = swatches_of(name, recipe, trial, rng, paint)
            wrong = int(rng.integers(len(swatches)))
            swatches[wrong] = misread(swatches[wrong], off, rng)
            model = learn(swatches)
            for wood in unseen_woods()[:WOODS]:
                washes = [truth.Wash(paint, d, n).scattered(rng) for d, n in single_washes()]
                lab = reflectance_to_lab(np.array([truth.dried(wood, [wash]) for wash in washes]))
                ground, chances = reading(wood, trial, rng), draw_normals(rng, 60)
                best, draws = predict_many({name: model}, recipes, ground, trial.radius(ground), chances)
                radius = np.percentile(np.asarray(delta_e(draws, best[:, None])), 90, axis=1)
                inside.append(np.asarray(delta_e(best, lab)) <= radius)
                radii.append(radius)
    return float(np.mean(inside)), float(np.mean(radii))


def without_birge(swatches: list[Swatch]) -> fit.PaintModel:
    """The fit as it would be if swatches could not contradict each other."""
    with mock.patch.object(fit, "birge_ratio", return_value=1.0):
        return fit.fit_paint(swatches)


def main() -> None:
    print("Simulated, unseen paints. The 90 % radius holds, mean radius in ΔE00")
    for label, recipe in SETS.items():
        for off in MISREAD:
            told = (
                f"{words} {inside:4.0%}, {radius:5.2f}"
                for words, (inside, radius) in (
                    ("with Birge ratio", coverage(recipe, off, fit.fit_paint)),
                    ("without", coverage(recipe, off, without_birge)),
                )
            )
            print(f"  {label:24} one misread by {off:4.1f}: {'; '.join(told)}", flush=True)


if __name__ == "__main__":
    main()
