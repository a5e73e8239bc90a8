"""A library of many simulated paints, to time fitting: ``python -m tests.scenes.large_shelf DIR [100 [6]]``.

Each paint is two of the simulator's paints stirred together in its own proportion, with six swatches or as many as a
third number says.
"""

import sys
from pathlib import Path

import numpy as np

from colormatch.library.store import Library
from colormatch.records import Paint, Swatch
from tests.scenes.paints import PAINTS, mixed
from tests.studies.wash import GROUNDS, SWATCH_SETS, Trial, swatches_of

SIX = SWATCH_SETS["6: mixed"]


def any_washes(count: int, rng: np.random.Generator) -> tuple[tuple[str, float, float, int], ...]:
    """So many washes as somebody may have painted them: ground, parts of paint and of water, coats."""
    grounds = rng.choice(list(GROUNDS), count)
    return tuple((str(ground), 1.0, float(rng.integers(9)), int(rng.integers(1, 4))) for ground in grounds)


def large_shelf(paints: int, seed: int = 0, each: int = 6) -> tuple[list[Paint], list[Swatch]]:
    """So many paints, and so many swatches of each: the usual six, or any."""
    rng = np.random.default_rng(seed)
    tins, swatches = [], []
    for number in range(1, paints + 1):
        one, other = rng.choice(list(PAINTS), 2, replace=False)
        name = f"Paint {number:03d}"
        tins.append(Paint(name))
        swatches += swatches_of(
            name,
            SIX if each == len(SIX) else any_washes(each, rng),
            Trial(),
            rng,
            mixed({str(one): 1.0, str(other): float(rng.uniform(0, 1))}),
        )
    return tins, swatches


def main() -> None:
    folder, numbers = Path(sys.argv[1]), [int(number) for number in sys.argv[2:]]
    count = numbers[0] if numbers else 100
    tins, swatches = large_shelf(count, each=numbers[1] if len(numbers) > 1 else 6)
    Library.open(folder).add_all([*tins, *swatches], f"{count} simulated paints")
    print(f"{count} simulated paints with {len(swatches)} swatches in {folder}")


if __name__ == "__main__":
    main()
