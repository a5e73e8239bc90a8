"""One more wash over a dried one, whose color has been read: ``python -m tests.studies.second_wash [pairs]``.

The second wash is laid on the surface that the first has formed, or on what the same color would be as bare wood.
Printed is how far the second's color is from the truth, ΔE00 mean / 95th percentile, for two paints and for one more
coat of the same; ten paints by another physics, six swatches each. Everything is simulated.
"""

import sys

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.records import Lab
from colormatch.wash.predict import draw_normals, predict_many
from tests.scenes import paints as truth
from tests.scenes.spectra import reflectance_to_lab
from tests.scenes.woods import any_wood
from tests.studies.wash import SWATCH_SETS, Trial, fitted, layer, summary

PAIRS = 400
FRACTIONS = (1.0, 0.5, 0.25, 0.125)


def main() -> None:
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else PAIRS
    models = fitted(Trial(), 0, SWATCH_SETS["6: mixed"])
    names, chances = list(models), draw_normals(np.random.default_rng(0), 1)
    print(f"Simulated, {pairs} pairs. ΔE00 mean/95th percentile of the second wash: surface known, taken as bare wood")
    for label, same in (("another paint", False), ("one more coat", True)):
        rng = np.random.default_rng(17)
        errors = []
        for _ in range(pairs):
            wood = any_wood(rng).field
            below = names[int(rng.integers(len(names)))]
            above = below if same else names[int(rng.integers(len(names)))]
            fractions = rng.choice(FRACTIONS, 2)
            fractions[1] = fractions[0] if same else fractions[1]
            washes = [truth.Wash(truth.PAINTS[n], float(d), 1) for n, d in zip((below, above), fractions, strict=True)]
            first, both = (reflectance_to_lab(truth.dried(wood, some)) for some in (washes[:1], washes))
            lower, upper = (layer(n, float(d)) for n, d in zip((below, above), fractions, strict=True))
            found = [
                predict_many(models, [[upper]], Lab(*first), 0.0, chances, painted=painted)[0][0]
                for painted in ([lower], [])
            ]
            errors.append([float(delta_e(lab, both)) for lab in found])
        known, bare = np.array(errors).T
        print(f"  {label:14} {summary(known)}, {summary(bare)}")


if __name__ == "__main__":
    main()
