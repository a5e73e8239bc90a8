"""A library of many simulated paints, to time fitting and matching: ``python -m tests.scenes.large_shelf DIR [100]``.

Each paint is two of the simulator's paints stirred together in its own proportion, with six swatches.
"""

import sys
from pathlib import Path

import numpy as np

from colormatch.library.store import Library
from colormatch.records import Paint, Swatch
from tests.scenes.paints import PAINTS, mixed
from tests.studies.wash import SWATCH_SETS, Trial, swatches_of

SIX = SWATCH_SETS["6: mixed"]


def large_shelf(paints: int, seed: int = 0) -> tuple[list[Paint], list[Swatch]]:
    """So many paints, and six swatches of each."""
    rng = np.random.default_rng(seed)
    tins, swatches = [], []
    for number in range(1, paints + 1):
        one, other = rng.choice(list(PAINTS), 2, replace=False)
        name = f"Paint {number:03d}"
        tins.append(Paint(name))
        swatches += swatches_of(name, SIX, Trial(), rng, mixed({str(one): 1.0, str(other): float(rng.uniform(0, 1))}))
    return tins, swatches


def main() -> None:
    folder, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 100
    tins, swatches = large_shelf(count)
    Library.open(folder).add_all([*tins, *swatches], f"{count} simulated paints")
    print(f"{count} simulated paints with {len(swatches)} swatches in {folder}")


if __name__ == "__main__":
    main()
