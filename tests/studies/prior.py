"""Whether a fixed color matrix after a gray card would help: ``python -m tests.studies.prior [--photos N]``.

Tried because one gray in a camera raw misses its goal, and not adopted: see measured/prior.md. A linear map of a*, b*
to a shift is fitted on the colored patches of the simulated chart, never on woods, over all cameras and lights but the
one that it is then tried on. Figures are ΔE00 of woods, mean now / with the map; simulated.
"""

import argparse

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.image.sensor import Sensor
from colormatch.reference.correction import gray_card_correction
from tests.scenes.camera import CAMERAS, Camera, color_matrix
from tests.scenes.spectra import LIGHTS
from tests.studies.references import patches, photographed

#: Colored patches of a chart.
_COLORED = 18


def study(photos: int, seed: int) -> str:
    rng = np.random.default_rng(seed)
    what = patches(rng)
    colored = slice(what.chart.start, what.chart.start + _COLORED)
    read = {}
    for name in CAMERAS:
        for light in LIGHTS:
            for number in range(photos):
                camera = Camera.typical(rng, name=name, output="raw-like")
                seen = photographed(what.reflectances, light, camera, rng)
                card = seen[what.steps][1]
                correction = gray_card_correction(card, raw=True, sensor=Sensor(color_matrix(name, light)))
                read[name, light, number] = correction.lab(seen)
    rows = []
    for place, held_out in enumerate((CAMERAS, LIGHTS)):
        now, then = [], []
        for one in held_out:
            rest = [lab[colored] for key, lab in read.items() if key[place] != one]
            seen, off = np.concatenate(rest), np.concatenate([what.lab[colored] - lab for lab in rest])
            shift = np.linalg.lstsq(seen[:, 1:], off, rcond=None)[0]
            woods = np.concatenate([lab[what.woods] for key, lab in read.items() if key[place] == one])
            true = np.tile(what.lab[what.woods], (len(woods) // len(what.lab[what.woods]), 1))
            now.append(delta_e(woods, true))
            then.append(delta_e(woods + woods[:, 1:] @ shift, true))
            rows.append(f"{one:10s} held out: {now[-1].mean():.2f} / {then[-1].mean():.2f}")
        before, after = np.concatenate(now), np.concatenate(then)
        rows.append(
            f"all: mean {before.mean():.2f} / {after.mean():.2f},"
            f" 95th percentile {np.percentile(before, 95):.2f} / {np.percentile(after, 95):.2f}"
        )
    return "\n".join(rows)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=4, help="of each camera under each light (4)")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    print(study(chosen.photos, chosen.seed))
