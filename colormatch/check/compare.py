"""Compare dried paint (a repair or test strips) with sound wood in the same photo, one photo per light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.words import ACCEPTABLE, VISIBLE, describe_off, verdict
from colormatch.errors import RegionError
from colormatch.records import SIGMA_PER_RADIUS, Lab, RankedWash, Sample, SurfaceState

#: Draws for a range; its 5th and 95th percentile are then accurate to about 0.03 ΔE.
_DRAWS = 4000
#: Fixed, so that equal photos give equal results.
_SEED = 0
#: Surfaces without a clear coat; washed and bare wood may be compared.
_UNCOATED = (SurfaceState.BARE, SurfaceState.WASHED)


@dataclass(frozen=True)
class Check:
    """Comparison of a dried surface with sound wood in the same photo."""

    name: str
    lab: Lab
    #: Sound wood in that photo.
    sound: Lab
    #: ΔE00 to the sound wood.
    delta_e: float
    #: 5th and 95th percentile, from the uncertainty of both readings.
    low: float
    high: float
    #: Difference in words.
    off: str
    #: Visibility of the difference, in words.
    verdict: str

    @property
    def done(self) -> bool:
        """Whether to stop: the difference is invisible, or the photo can't show an improvement."""
        return self.delta_e < VISIBLE or (self.low < VISIBLE and self.delta_e < ACCEPTABLE)


@dataclass(frozen=True)
class Judged:
    """A surface compared in every light it was photographed in."""

    #: One check per light.
    lights: tuple[Check, ...]

    @property
    def name(self) -> str:
        return self.lights[0].name

    @property
    def worse(self) -> Check:
        """The light with the larger difference; a match has to hold in both."""
        return max(self.lights, key=lambda check: check.delta_e)

    @property
    def done(self) -> bool:
        """Whether to stop, judged in every light."""
        return all(check.done for check in self.lights)

    @property
    def one_light_only(self) -> str:
        """Sentence about a match in only one light, with its certainty; otherwise empty."""
        better = min(self.lights, key=lambda check: check.delta_e)
        if not better.delta_e < ACCEPTABLE <= self.worse.delta_e:
            return ""
        which, other = (("first", "second")[self.lights.index(check)] for check in (better, self.worse))
        sure = better.high < self.worse.low
        held = f"The match {'holds' if sure else 'seems to hold'} in the {which} light only"
        end = f"in the {other} it is {self.worse.off}"
        return f"{held}; {end}." if sure else f"{held}; {end}. The two ranges overlap, so look at it in both lights."


def compare(painted: Sample, sound: Sample, shared: float = 0.0) -> Check:
    """Compare a dried surface with sound wood of the same photo.

    Parameters
    ----------
    painted, sound : Sample
        Their random parts count in full; their common error cancels, except for ``shared``.
    shared : float
        Error left by the photo's correction in a difference, ΔE00, 90 % radius.

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
        sound.lab,
        seen,
        float(min(low, seen)),
        float(max(high, seen)),
        describe_off(painted.lab, sound.lab),
        verdict(seen),
    )


def rank_strips(lights: Sequence[Sequence[Check]]) -> list[Judged]:
    """Rank test strips by the worse of their lights, closest to the sound wood first; ties keep their order.

    Parameters
    ----------
    lights : sequence of sequence of Check
        Strips of each photo, with the same names.

    Raises
    ------
    RegionError
        The photos don't show the same strips.
    """
    first, *others = lights
    by_name = [{check.name: check for check in checks} for checks in lights]
    for checks in others:
        names, here = [check.name for check in first], [check.name for check in checks]
        if sorted(names) != sorted(here):
            raise RegionError(
                f"The first photo shows the strips {', '.join(names)}; the second shows {', '.join(here) or 'none'}.",
                "Mark the same strips in both photos, in the same order.",
            )
    judged = [Judged(tuple(checks[check.name] for checks in by_name)) for check in first]
    return sorted(judged, key=lambda one: one.worse.delta_e)


def against_expected(check: Check, wash: RankedWash) -> str:
    """How a check compares with what had been expected of the wash, in a sentence or two."""
    expected = f"Expected was ΔE {wash.expected_delta_e:.1f} ({wash.low:.1f} to {wash.high:.1f})"
    if check.low > wash.high:
        return (
            f"{expected}; the result is farther off. The usual reasons: a different ratio or number of coats, more or "
            "less wiped off, or photos taken in a different light."
        )
    if check.high < wash.low:
        return f"{expected}; the result is closer than that."
    return f"{expected}; the result agrees with it within the accuracy of the photo."


def unlike(sound: SurfaceState, painted: SurfaceState) -> str:
    """Warning about comparing a coated with an uncoated surface; empty if both are alike."""
    if (sound in _UNCOATED) == (painted in _UNCOATED):
        return ""
    coated, other = ("repair", "sound wood") if sound in _UNCOATED else ("sound wood", "repair")
    return (
        f"The {coated} has a clear coat and the {other} has none, so the comparison isn't fair: a clear coat darkens "
        f"wood and makes its color stronger. Give the {other} the same coat, or compare before either is coated."
    )
