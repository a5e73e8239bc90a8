"""The wash model on paints that follow another law than its own: ``python -m tests.studies.other_law [--seed N]``.

The truth is `tests.scenes.transport` (radiative transfer, islands of film, Fresnel's surface): ten invented paints,
woods that no swatch was painted on, six dilutions, one to three coats. Each figure is ΔE00, mean / 95th percentile,
against what the wash dries to when its film comes out as it should; "holds" is how often the stated 90 % radius holds
a newly painted one. Hands and water are as in practice unless said otherwise: films scatter by 12 %, parts of water are
off by 15 %. Simulated.
"""

import argparse

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.wash.paint import fit_paint
from colormatch.wash.predict import draw_normals, predict_many
from tests.scenes import transport
from tests.scenes.paints import Wash
from tests.scenes.spectra import FloatArray, reflectance_to_lab
from tests.studies.wash import (
    SWATCH_SETS,
    WATER,
    Trial,
    layer,
    predicted,
    reading,
    single_washes,
    swatches_of,
    unseen_woods,
)

PAINTS = 10


def errors(seed: int, label: str, trial: Trial) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Errors against the usual film, whether the radius held a new one, and the radii."""
    woods = unseen_woods()
    grounds = reflectance_to_lab(woods)
    washes = single_washes()
    off, inside, radii = [], [], []
    for number in range(PAINTS):
        rng = np.random.default_rng([seed, number])
        paint = transport.invented_paint(f"paint {number}", rng)
        model = {paint.name: fit_paint(swatches_of(paint.name, SWATCH_SETS[label], trial, rng, paint, transport.dried))}
        recipes = [[layer(paint.name, d, n)] for d, n in washes]
        lab = np.stack([reflectance_to_lab(transport.dried(woods, [Wash(paint, d, n)])) for d, n in washes])
        off.append(delta_e(predicted(model, recipes, grounds), lab))
        for wood in woods[::2]:
            painted = [Wash(paint, d, n).scattered(rng, trial.scatter, trial.water) for d, n in washes]
            dry = reflectance_to_lab(np.array([transport.dried(wood, [wash]) for wash in painted]))
            ground = reading(wood, trial, rng)
            best, draws = predict_many(model, recipes, ground, trial.radius(ground), draw_normals(rng, 60))
            radius = np.percentile(delta_e(draws, best[:, None]), 90, axis=1)
            inside.append(delta_e(best, dry) <= radius)
            radii.append(radius)
    return np.array(off).ravel(), np.array(inside).ravel(), np.array(radii).ravel()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, default=0)
    seed = parser.parse_args().seed
    print("Simulated, another law. ΔE00, mean/95th percentile; coverage of the stated 90 % radius, mean radius")
    for title, trial in (
        ("hands and water as in practice", Trial(water=WATER)),
        ("films and water exact", Trial(scatter=0.0)),
    ):
        print(title)
        for label in SWATCH_SETS:
            off, inside, radii = errors(seed, label, trial)
            print(
                f"  {label:44} {off.mean():5.2f}/{np.percentile(off, 95):5.2f}  holds {inside.mean():4.0%}"
                f"  stated {radii.mean():5.2f}"
            )


if __name__ == "__main__":
    main()
