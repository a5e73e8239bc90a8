"""Learn from a dried repair or strip: make a swatch of it, and measure the gain in certainty about its paint."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.records import Lab, Layer, Part, Reading, RegionKind, Sample, SurfaceState, Swatch
from colormatch.repair import difference_error, surface

if TYPE_CHECKING:
    pass

#: Paint fractions for stating the uncertainty of a paint: one coat of 1:1, 1:3 and 1:7.
_USUAL = (1 / 2, 1 / 4, 1 / 8)

#: Share of a photo's remaining error that counts in a swatch kept from a check; ground and dried color share the
#: remainder.
#: The stated radius then covered 87 % of 30 simulated repairs, for the dried color relative to its ground, which is
#: what a paint is learned from. (For the color alone: 63 %.)
_SHARED = 0.5


@dataclass(frozen=True)
class Before:
    """The damage before it was painted."""

    damage: Lab
    #: Sound wood of the same photo; links that photo to the later one. None: both were taken in the same light.
    sound: Lab | None = None
    #: Uncertainty of the damage relative to the sound wood (or alone, without sound wood): ΔE00, 90 % radius.
    uncertainty: float = 0.0


def before_painting(photo: Reading) -> Before:
    """Read the damage from its photo.

    Raises
    ------
    RegionError
        No damage is marked.
    """
    damage = surface(photo, RegionKind.DAMAGE)
    if not photo.of_kind(RegionKind.SOUND):
        return Before(damage.lab, None, damage.uncertainty)  # no link to another photo
    sound = surface(photo, RegionKind.SOUND)
    return Before(
        damage.lab, sound.lab, math.hypot(damage.random, sound.random, difference_error(photo, damage.lab, sound.lab))
    )


def swatch_from(
    painted: Sample,
    photo: Reading,
    before: Before,
    layers: Sequence[Layer],
    ground: str,
    state: SurfaceState = SurfaceState.BARE,
    taken: str = "",
    sha256: str = "",
) -> Swatch:
    """Make a swatch from a dried repair or a test strip.

    Parameters
    ----------
    painted : Sample
        The dried surface, from ``photo``.
    photo : Reading
        Has a sample of sound wood.
    before : Before
        The ground. If it is from another photo, the sound wood links both: the dried color is shifted by the difference
        of the two readings of sound wood, which has not changed.
    layers : sequence of Layer
        One wash of one paint.
    ground, state, taken, sha256
        As in :class:`Swatch`.

    Raises
    ------
    BadInput
        There is more than one wash or paint.
    """
    if len(layers) != 1 or len(layers[0].paints) != 1:
        raise BadInput(
            "It has several washes or paints on it, but a swatch describes only one paint.",
            "Check it as a repair; to learn, paint a test strip of one wash of one paint.",
        )
    layer = layers[0]
    lab = np.asarray(painted.lab)
    doubts = [painted.random, before.uncertainty, _SHARED * painted.systematic]
    if before.sound is not None:
        sound = surface(photo, RegionKind.SOUND)
        lab = lab + np.asarray(before.sound) - np.asarray(sound.lab)
        doubts += [sound.random, difference_error(photo, painted.lab, sound.lab)]
    L, a, b = (float(v) for v in lab)
    parts, water = _parts(layer.paint_fraction)
    return Swatch(
        layer.paints[0].paint,
        parts,
        water,
        layer.coats,
        ground,
        before.damage,
        Lab(min(max(L, 0.0), 100.0), a, b),
        round(math.hypot(*doubts), 2),
        state,
        taken,
        sha256,
        "Kept from a check.",
    )


def _parts(paint_fraction: float) -> tuple[float, float]:
    """Parts of paint and water; the paint is one part."""
    return 1.0, round(1 / paint_fraction - 1, 6)


@dataclass(frozen=True)
class Lesson:
    """Effect of a new swatch on the model of its paint, on its own ground; all ΔE00."""

    #: Difference between the model's prediction without the swatch and the reading.
    missed: float | None
    #: 90 % radius of the predictions for the paint's common washes, without and with the swatch.
    before: float | None
    after: float


def lesson(swatch: Swatch, others: Sequence[Swatch], kind: str = "") -> Lesson:
    """Refit a paint with one more swatch.

    Parameters
    ----------
    swatch : Swatch
    others : sequence of Swatch
        Other swatches of the same paint; empty if it is the first, without an earlier prediction.
    kind : str
        Kind stated on the can.
    """
    from colormatch.wash.paint import PaintModel, fit_paint
    from colormatch.wash.predict import draw_normals, predict, predict_many

    chances = draw_normals(np.random.default_rng(0))
    layer = Layer((Part(swatch.paint),), swatch.paint_fraction, swatch.coats)

    def doubt(model: PaintModel) -> float:
        recipes = [[Layer((Part(swatch.paint),), fraction)] for fraction in _USUAL]
        lab, draws = predict_many({swatch.paint: model}, recipes, swatch.ground_lab, 0.0, chances)
        return float(np.percentile(delta_e(draws, lab[:, None]), 90, axis=1).mean())

    after = doubt(fit_paint([*others, swatch], kind))
    if not others:
        return Lesson(None, None, after)
    model = fit_paint(others, kind)
    given, _ = predict({swatch.paint: model}, [layer], swatch.ground_lab, 0.0, chances)
    return Lesson(float(delta_e(given, swatch.lab)), doubt(model), after)
