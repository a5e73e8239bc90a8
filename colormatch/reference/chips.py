"""Shop chips: objects near wood in color, measured once in CIELAB, photographed with every piece.

They correct an error beyond the neutral reference: this camera's rendering, under this light, of colors of this kind.
They fit a CIELAB shift that changes linearly with the color; a ridge pulls it toward zero. Grays that the neutral
reference has corrected count as chips without a shift: otherwise one painted chip would make woods worse than none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.records import FloatArray, ShopChip
from colormatch.reference import accuracy
from colormatch.reference.correction import Correction
from colormatch.reference.tone import usable

#: Center of the wood colors, CIELAB, and the distance over which the shift may change by its own size; our choice.
_CENTER, _SPAN = np.array([55.0, 8.0, 20.0]), 20.0
#: Ridge on the shift at the center and on its change over a span: misfit of a chip over the expected size of each,
#: squared. Measured on simulated photographs (tests/studies/references.py, seeds 1 and 7) against 0.02 to 1 and 0.1
#: to 0.6: a weaker one does better with offcuts of wood, a stronger one with a single painted chip.
_RIDGE = np.diag([0.2, 0.15, 0.15, 0.15])
#: L* of grays made correct by a neutral reference: a gray card fixes one, a tone curve fixes all.
GRAY, ALL_GRAYS = (50.0,), (95.0, 80.0, 65.0, 50.0, 35.0, 20.0)
#: ΔE00 after correction from which a chip is the wrong one or in a shadow; our choice.
_MISTAKEN = 15.0


@dataclass(frozen=True, eq=False)
class LabShift:
    """A shift in CIELAB that changes linearly with the color."""

    #: (4, 3) float; the shift at the center of the wood colors, and its change over a span of L*, a*, b*.
    coefficients: FloatArray

    def __call__(self, lab: FloatArray) -> FloatArray:
        shifted: FloatArray = lab + _terms(lab) @ self.coefficients
        return shifted


def _terms(lab: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(len(lab)), (lab - _CENTER) / _SPAN])


def with_chips(
    correction: Correction, chip_linear_rgb: FloatArray, settled: Sequence[ShopChip], grays: Sequence[float] = ()
) -> Correction:
    """Improve a correction by shop chips in the same photo.

    Parameters
    ----------
    correction : Correction
        From the neutral reference.
    chip_linear_rgb : (n, 3) float; linear sRGB, 0 to 1
        Uncorrected mean colors of the chips.
    settled : sequence of ShopChip
        The chips' records, in the same order.
    grays : sequence of float
        L* of grays that the correction made correct: `GRAY`, `ALL_GRAYS` or empty.

    Returns
    -------
    Correction

    Raises
    ------
    BadInput
        No chips, not one color for each, a chip that is clipped or black, or one far from its settled color.
    """
    chips = np.asarray(chip_linear_rgb, dtype=float).reshape(-1, 3)
    if len(chips) == 0 or len(chips) != len(settled):
        raise BadInput(
            f"{len(chips)} chips are marked, but {len(settled)} colors are known.", "Give a known color for each chip."
        )
    true = np.array([chip.lab for chip in settled])
    if not usable(chips).all():
        raise BadInput("A chip is blown out or black in the photo.", "Leave it out, or take the photo again.")
    seen = correction.lab(chips)
    off = delta_e(seen, true)
    worst = int(np.argmax(off))
    if off[worst] > _MISTAKEN:
        raise BadInput(
            f"The chip {settled[worst].name} is {off[worst]:.0f} ΔE from its known color.",
            "Check that it is the right chip, and that it is in the same light as the card.",
        )
    neutral = np.array([(lightness, 0.0, 0.0) for lightness in grays]).reshape(-1, 3)
    terms = _terms(np.concatenate([seen, neutral]))
    wanted = np.concatenate([true - seen, np.zeros_like(neutral)])
    coefficients = np.linalg.solve(terms.T @ terms + _RIDGE, terms.T @ wanted)
    words = "shift from one shop chip" if len(chips) == 1 else f"shift from {len(chips)} shop chips"
    doubt = max(chip.uncertainty for chip in settled)
    trust = accuracy.accuracy_with_chips(correction.accuracy, len(chips), doubt)
    return correction.then(LabShift(coefficients), words, trust, in_lab=True)
