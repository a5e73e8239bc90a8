"""Whether a camera has lightened the dark parts of a photo and darkened its light ones, place by place.

Such a camera blurs the photo, and moves each place by a share of what the blurred picture says there. A gray card is of
one tone; where it lies on something lighter, it so comes out darker towards its edges, and lighter on something darker.
How far it follows its surroundings tells that share. Where card and surroundings are equally light there is nothing to
follow, and the doubt about the share is large.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from colormatch.color.space import RGB_TO_XYZ, linear_from_encoded
from colormatch.image.photo import DecodedPhoto
from colormatch.records import Box, Flag, FlagCode, Region
from colormatch.reference.tone import LEAST_LIGHT

#: Longest side of the view in which this is measured, pixels: what changes place by place is coarse.
_VIEW = 320
#: Blurs that cameras may take the surroundings by, as shares of the view's shorter side; each is tried.
_BLURS = (1 / 24, 1 / 12, 1 / 6)
#: How many times smaller the view is blurred: the narrowest blur is still 2.5 pixels wide there.
_COARSER = 4
#: Middle of a place that is looked at, as a share of its size: outside, sharpening has left its traces.
_INNER = 0.92
#: What else may change natural log of light, standard deviations: from surface to surface; over the photo (a slope each
#: way, the lens' fall to the corners); from place to place, and bent within one (print, curl); from pixel to pixel.
_SURFACE, _SLOPE, _PLACE, _CURL, _PIXEL = 2.0, 0.3, 0.02, 0.015, 0.01
#: Pixels for which a place counts at most: neighbors share the flaws of print and file. Our choice.
_MOST = 25
#: Prior width of how much a place follows its surroundings: anything.
_FOLLOWS = 1.0
#: Standard deviations of its doubt from which a share is told: no false alarm in tests/scenes/study_tones.py.
_SURE = 2.5


class Follows(NamedTuple):
    """How far neutral places follow their surroundings."""

    #: Log light lost for each unit of log light of the blurred surroundings: s / (1 - s) where a share s of their
    #: contrast was taken away. Below 0 where contrast was raised.
    share: float
    #: Its standard deviation.
    doubt: float


def follows(photo: DecodedPhoto, places: Sequence[Region], surface: Sequence[int]) -> Follows:
    """How far neutral places follow their surroundings in log light.

    Parameters
    ----------
    photo : DecodedPhoto
    places : one or more of Region
        Each of one tone.
    surface : sequence of int
        Which surface each belongs to; those of one surface are of the same tone.

    Returns
    -------
    Follows
        With the blur by which they follow most surely.

    Notes
    -----
    Bayesian linear regression (C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, 2006,
    equation 2.8), in which everything else that may change the light has a term with a prior of its own.
    """
    import cv2

    luminance = linear_from_encoded(photo.preview(_VIEW, averaged=False) / np.float32(255)) @ RGB_TO_XYZ[1]
    light = np.log(np.maximum(luminance, LEAST_LIGHT)).astype(np.float32)
    height, width = light.shape
    levels = sorted(set(surface))
    prior = np.array(
        [*[_FOLLOWS] * len(_BLURS), _SLOPE, _SLOPE, _SLOPE]
        + [_SURFACE] * len(levels)
        + [_PLACE, _CURL, _CURL, _CURL] * len(places)
    )
    coarse = (math.ceil(width / _COARSER), math.ceil(height / _COARSER))
    small = cv2.resize(light - light.mean(), coarse, interpolation=cv2.INTER_AREA)
    arounds = [
        cv2.resize(
            cv2.GaussianBlur(small, (0, 0), blur * min(small.shape), borderType=cv2.BORDER_REFLECT), (width, height)
        )
        for blur in _BLURS
    ]
    shared = len(_BLURS) + 3
    precision, pull = np.diag(1 / prior**2), np.zeros(len(prior))
    for number, (place, level) in enumerate(zip(places, surface, strict=True)):
        corners = place.corners(width, height)
        middle, half = corners.mean(axis=0), np.ptp(corners, axis=0) / 2
        inside = place.scaled(_INNER).within(Box(0, 0, width, height), width, height)
        y, x = np.nonzero(inside)
        across, down = (x + 0.5) / width - 0.5, (y + 0.5 - height / 2) / width
        u, v = (x + 0.5 - middle[0]) / half[0], (y + 0.5 - middle[1]) / half[1]
        terms = np.zeros((len(x), len(prior)))
        terms[:, :shared] = np.stack([*(one[inside] for one in arounds), across, down, across**2 + down**2], axis=-1)
        terms[:, shared + levels.index(level)] = 1
        first = shared + len(levels) + 4 * number
        terms[:, first : first + 4] = np.stack([np.ones(len(x)), u * u - 1 / 3, v * v - 1 / 3, u * v], axis=-1)
        counts = min(1, _MOST / max(len(x), 1)) / _PIXEL**2
        # Not by BLAS: to wake its threads takes ten times as long as the sums.
        precision += counts * np.einsum("ni,nj->ij", terms, terms)
        pull += counts * np.einsum("ni,n->i", terms, light[inside] - light.mean())
    found = []
    for blur in range(len(_BLURS)):
        # One blur at a time: the others' columns are left out.
        kept = np.r_[blur, len(_BLURS) : len(prior)]
        covariance = np.linalg.inv(precision[np.ix_(kept, kept)])
        found.append(Follows(-float(covariance[0] @ pull[kept]), math.sqrt(float(covariance[0, 0]))))
    return max(found, key=lambda one: one.share / one.doubt)


def tone_flags(photo: DecodedPhoto, places: Sequence[Region], surface: Sequence[int]) -> tuple[Flag, ...]:
    """The flag ``local-tones`` where neutral places surely follow their surroundings."""
    if not places:
        return ()
    share, doubt = follows(photo, places, surface)
    if share < _SURE * doubt:
        return ()
    text = (
        "The camera has lightened dark parts of the photo and darkened light ones, the gray card among them. Take it "
        "again with HDR and filters switched off, or as camera raw, the card on the wood itself."
    )
    return (Flag(FlagCode.LOCAL_TONES, text, round(share, 2)),)
