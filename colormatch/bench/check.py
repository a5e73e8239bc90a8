"""Judge what is painted and dry: a repair beside sound wood, or test strips, in one photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.words import ACCEPTABLE, VISIBLE, describe_off, verdict
from colormatch.records import SIGMA_PER_RADIUS, Lab, Sample

#: Draws behind a range; the 5th and 95th percentile are then good to about 0.03 ΔE.
_DRAWS = 4000
#: Fixed, so that the same photo gives the same figures.
_SEED = 0


@dataclass(frozen=True)
class Check:
    """How a dried surface compares with sound wood in the same photo."""

    name: str
    lab: Lab
    #: ΔE00 to the sound wood.
    delta_e: float
    #: 5th and 95th percentile of it, given both readings' uncertainty.
    low: float
    high: float
    #: What is off, in words.
    off: str
    #: What somebody who looks would say.
    verdict: str

    @property
    def done(self) -> bool:
        """Whether to stop: nobody would see it, or the photo can't tell a better one from it."""
        return self.delta_e < VISIBLE or (self.low < VISIBLE and self.delta_e < ACCEPTABLE)


def compare(painted: Sample, sound: Sample, shared: float = 0.0) -> Check:
    """Compare a dried surface with sound wood of the same photo.

    Parameters
    ----------
    painted, sound : Sample
        Their random parts count in full; what both share cancels, up to ``shared``.
    shared : float
        Error that the photo's correction leaves in a difference, ΔE00, 90 % radius.

    Returns
    -------
    Check
    """
    rng = np.random.default_rng(_SEED)
    target, color = np.asarray(sound.lab), np.asarray(painted.lab)
    spread = np.sqrt(painted.random**2 + sound.random**2 + shared**2) * SIGMA_PER_RADIUS
    drawn = color + rng.standard_normal((_DRAWS, 3)) * spread / axis_weights(color)
    low, high = np.percentile(delta_e(drawn, target), (5, 95))
    seen = float(delta_e(color, target))
    return Check(
        painted.name,
        painted.lab,
        seen,
        float(min(low, seen)),
        float(max(high, seen)),
        describe_off(painted.lab, sound.lab),
        verdict(seen),
    )


def rank_strips(strips: list[Sample], sound: Sample, shared: float = 0.0) -> list[Check]:
    """Test strips of one photo, nearest to the sound wood first; equals stay in their order."""
    return sorted((compare(strip, sound, shared) for strip in strips), key=lambda check: check.delta_e)
