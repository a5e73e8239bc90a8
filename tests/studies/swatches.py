"""Which swatches of a paint teach the most: ``python -m tests.studies.swatches [repeats]``.

The guide's advice for building a shelf comes from this table. Simulated, as in `study_wash`: ΔE00, mean / 95th
percentile, over woods that no swatch was painted on, six dilutions and one to three coats, for its ten paints and for
ten that nothing was tuned on.
"""

from __future__ import annotations

import sys

import numpy as np

from tests.scenes import paints as truth
from tests.studies.wash import Trial, single_errors, summary

#: One swatch: (ground, parts of paint, parts of water, coats).
_FULL, _THIN = ("light wood", 1, 0, 1), ("light wood", 1, 7, 1)
_TWO_COATS = ("light wood", 1, 3, 2)
DESIGNS: dict[str, tuple[tuple[str, float, float, int], ...]] = {
    "full strength on light wood": (_FULL,),
    "1:1 on light wood": (("light wood", 1, 1, 1),),
    "1:7 on light wood": (_THIN,),
    "1:1 on white card": (("white card", 1, 1, 1),),
    "full and 1:7 on light wood": (_FULL, _THIN),
    "full and 1:1 on light wood": (_FULL, ("light wood", 1, 1, 1)),
    "full and 1:7 on white card": (("white card", 1, 0, 1), ("white card", 1, 7, 1)),
    "full on white and on black card": (("white card", 1, 0, 1), ("black card", 1, 0, 1)),
    "full, 1:7 on light wood, full on dark wood": (_FULL, _THIN, ("dark wood", 1, 0, 1)),
    "full, 1:7 and two coats of 1:3 on light wood": (_FULL, _THIN, _TWO_COATS),
    "full, 1:3, 1:7 on white card": (("white card", 1, 0, 1), ("white card", 1, 3, 1), ("white card", 1, 7, 1)),
}


def main(repeats: int) -> None:
    """Print the table."""
    rng = np.random.default_rng(2024)
    unseen = {f"paint {i}": truth.invented_paint(f"paint {i}", rng) for i in range(10)}
    print(f"Simulated. {'swatches of the paint':46} ten paints   ten unseen paints")
    for label, design in DESIGNS.items():
        off = [np.concatenate(list(single_errors(some, design, Trial(), repeats).values()))
               for some in (truth.PAINTS, unseen)]  # fmt: skip
        print(f"{len(design)}          {label:46} {summary(off[0])}  {summary(off[1])}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
