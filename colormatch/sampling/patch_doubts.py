"""Flag a patch that differs from the other patches of its surface, or is too even compared with its board.

The spread of the patches enters the uncertainty whatever its cause. If one patch causes it, or holds less grain than
the board, the user can fix it once told which patch and why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.image.photo import DecodedPhoto
from colormatch.records import Flag, FlagCode, FloatArray, Region, RegionKind, Sample
from colormatch.reference.correction import mean_color
from colormatch.reference.tone import LEAST_LIGHT
from colormatch.sampling.sample import ToLab
from colormatch.sampling.surroundings import ends, log_luminance, middle_color, rim, some_pixels, spread

#: Limits for naming one of three or more patches: difference from the mean of the others, ΔE00; ratio to the spread of
#: the others around their mean (three evenly spaced patches give 3); ratio to the random part of the others. Tuned by
#: ``tests/studies/patches.py``.
_OFF, _SPREADS, _RANDOM = 4.0, 4.0, 1.5
#: Share of lightness in a difference from which it is one of brightness; a highlight takes as much of the color. Our
#: choice.
_BRIGHTNESS = 0.5
#: Ring of board around a patch that is compared, as multiples of the patch's size.
_RIM = (1.1, 5.0)
#: Largest ratio of light in any channel at which surroundings count as the same board.
_SAME_BOARD = 2.0
#: Ratio of a patch's spread to that of its board (including the other patches) below which the patch is too even, tuned
#: by ``tests/studies/patches.py``; and the color difference, ΔE00, from which that matters: more than the variation of
#: 2 within one wood surface (Buchelt and Wagenführ 2012), since three patches cover smaller ones by their spread.
_EVEN, _MATTERS = 0.65, 2.5
#: L* above which a reading is implausible for wood or its damage: white paper has about 95 (common practice, no
#: source).
_PAPER = 95.0
#: Names of the thirds of a photo, row by row.
_PLACES = (
    ("at the upper left", "at the top", "at the upper right"),
    ("at the left", "in the middle", "at the right"),
    ("at the lower left", "at the bottom", "at the lower right"),
)


def same_surface(regions: Sequence[Region]) -> list[list[Region]]:
    """Group regions by surface: sound wood, the repair, and patches with the same name."""
    found: dict[tuple[RegionKind, str], list[Region]] = {}
    for region in regions:
        if region.kind in (RegionKind.SOUND, RegionKind.REPAIR):
            found.setdefault((region.kind, ""), []).append(region)
        elif region.kind is RegionKind.PATCH:
            found.setdefault((region.kind, region.name), []).append(region)
    return list(found.values())


def patch_doubts(
    photo: DecodedPhoto, samples: Mapping[Region, Sample], to_lab: ToLab, card: Region | None = None
) -> dict[Region, tuple[Flag, ...]]:
    """Doubts about each region as a patch of its surface.

    Parameters
    ----------
    photo : DecodedPhoto
    samples : mapping of Region to Sample
        All marked regions and their samples.
    to_lab : (n, 3) linear RGB -> (n, 3) CIELAB
        The photo's correction.
    card : Region, optional
        Region of the reference, which is not board.

    Returns
    -------
    mapping of Region to tuple of Flag
        ``patch-off`` for one of three or more that differs from the others, ``patch-too-even`` for one with less grain
        than the board around it and a different color, ``lighter-than-paper``.
    """
    doubts: dict[Region, list[Flag]] = {region: [] for region in samples}
    marked = [*samples, *([card] if card else [])]
    for patches in same_surface(list(samples)):
        pixels = {patch: some_pixels(photo, patch)[0] for patch in patches}
        for patch, own in pixels.items():
            # Paint is surrounded by the wood it is compared with, however similar they look.
            around = _around(photo, patch, middle_color(own), marked) if patch.kind is RegionKind.SOUND else []
            others = [other for which, other in pixels.items() if which != patch]
            doubts[patch] += _too_even(own, around, others, patch, to_lab)
        if off := _off([samples[patch] for patch in patches]):
            doubts[patches[off.which]].append(off.flag(patches[off.which]))
    for region, sample in samples.items():
        if region.kind not in (RegionKind.CHIP, RegionKind.WHITE) and sample.lab.L > _PAPER:
            text = (
                f"{_named(region)} reads lighter than white paper. Unless it is painted white, the card is in shadow "
                "or is darker than stated: lay it beside the wood, in the same light, and photograph again."
            )
            doubts[region].append(Flag(FlagCode.LIGHTER_THAN_PAPER, text, round(sample.lab.L, 1)))
    return {region: tuple(told) for region, told in doubts.items()}


# --- one unlike the others -------------------------------------------------------------------------------------------


class _Off(NamedTuple):
    """A patch that differs from the others of its surface."""

    which: int
    #: Its color minus the mean of the others.
    step: FloatArray
    #: That difference in ΔE00.
    apart: float

    def flag(self, region: Region) -> Flag:
        lighter, *_ = self.step
        how = "away from"
        if abs(lighter) > _BRIGHTNESS * float(np.linalg.norm(self.step)):
            how = "lighter than" if lighter > 0 else "darker than"
        text = (
            f"{_named(region)} is {self.apart:.0f} ΔE {how} the other patches of its surface: it may be in a "
            "highlight, in a shadow or on another piece. Move it, or turn the work until it looks like the others."
        )
        return Flag(FlagCode.PATCH_OFF, text, round(self.apart, 1))


def _off(samples: Sequence[Sample]) -> _Off | None:
    """The patch farther from the others than they are from one another; None for fewer than three."""
    if len(samples) < 3:
        return None
    found = []
    for which, sample in enumerate(samples):
        others = [*samples[:which], *samples[which + 1 :]]
        labs, lab = np.array([other.lab for other in others]), np.asarray(sample.lab)
        mean = labs.mean(axis=0)
        spread = float(delta_e(labs, mean).max())
        own = float(np.sqrt(np.mean([other.random**2 for other in others])))
        apart = float(delta_e(lab, mean))
        found.append((apart / max(_OFF, _SPREADS * spread, _RANDOM * own), _Off(which, lab - mean, apart)))
    far, worst = max(found, key=lambda one: one[0])
    return worst if far > 1 else None


# --- too even a spot -------------------------------------------------------------------------------------------------


def _too_even(
    own: FloatArray, around: list[FloatArray], others: list[FloatArray], region: Region, to_lab: ToLab
) -> tuple[Flag, ...]:
    """Flag a patch from its pixels, those around it and those of the other patches, each (n, 3)."""
    if not (around or others):
        return ()
    parts = [*around, *others]
    of_board = np.average([mean_color(pixels) for pixels in parts], axis=0, weights=[len(pixels) for pixels in parts])
    apart = float(delta_e(*to_lab(np.stack([mean_color(own), of_board]))))
    if apart < _MATTERS:
        return ()
    # Light may change between parts, so only the spread within each part counts.
    # The other patches are the surface, as marked; what lies around may be another, coarser one.
    of_parts = float(np.median([spread(pixels) for pixels in others or around]))
    dark, light = ends(np.concatenate(parts))
    share, middle = spread(own) / max(of_parts, LEAST_LIGHT), float(np.median(log_luminance(own)))
    # A patch lighter or darker than all of the board is a highlight or another piece, not grain.
    if share > _EVEN or not dark <= middle <= light:
        return ()
    text = (
        f"{_named(region)} is too even for this varied board, and {apart:.0f} ΔE away from the rest of it. Mark a "
        "larger piece, across several grain lines, or three pieces apart from one another."
    )
    return (Flag(FlagCode.PATCH_TOO_EVEN, text, round(share, 2)),)


def _around(photo: DecodedPhoto, region: Region, color: FloatArray, marked: Sequence[Region]) -> list[FloatArray]:
    """(n, 3) linear light of each sector around a patch that looks like the same board."""
    low, high = color / _SAME_BOARD, color * _SAME_BOARD
    return [
        pixels
        for pixels in rim(photo, region, _RIM, marked).values()
        if ((low < (middle := middle_color(pixels))) & (middle < high)).all()
    ]


def _named(region: Region) -> str:
    """A patch by name and place in the photo."""
    column, row = (min(int(3 * share), 2) for share in np.mean(region.points, axis=0).tolist())
    return f"The patch '{region.name or region.kind}' {_PLACES[row][column]}"
