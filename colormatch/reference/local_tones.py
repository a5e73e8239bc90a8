"""Detect a camera that lightened dark parts of a photo and darkened light ones, locally.

Such a camera blurs the photo and shifts each place by a share of the blurred value there. A gray card has one tone: on
a lighter background its edges then come out darker, on a darker background lighter. How far the card follows its
surroundings gives that share. If card and surroundings are equally light, there is nothing to follow and the share is
very uncertain.
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

#: Longest side of the view for this measurement, pixels; local tone changes are coarse.
_VIEW = 320
#: Possible blur radii of cameras, relative to the view's shorter side; each is tried.
_BLURS = (1 / 24, 1 / 12, 1 / 6)
#: Further reduction of the view for blurring; the narrowest blur is still 2.5 pixels wide there.
_COARSER = 4
#: Central share of an area that is used; the rim carries traces of sharpening.
_INNER = 0.92
#: Other causes of change in natural log of light, standard deviations: from surface to surface; over the photo (a slope
#: each way, the lens's falloff to the corners); from area to area, and bending within one (print, curl); pixel to
#: pixel.
_SURFACE, _SLOPE, _PLACE, _CURL, _PIXEL = 2.0, 0.3, 0.02, 0.015, 0.01
#: Most pixels that an area counts for: neighbors share the flaws of print and file. Our choice.
_MOST = 25
#: Prior standard deviation of how much an area follows its surroundings: wide open.
_FOLLOWS = 1.0
#: Standard deviations from zero from which a share is flagged: no false alarm in tests/scenes/study_tones.py.
_SURE = 2.5


class Follows(NamedTuple):
    """How far neutral areas follow their surroundings."""

    #: Log light lost for each unit of log light of the blurred surroundings: s / (1 - s) where a share s of their
    #: contrast was taken away. Below 0 where contrast was raised.
    share: float
    #: Standard deviation of the share.
    doubt: float


def follows(photo: DecodedPhoto, places: Sequence[Region], surface: Sequence[int]) -> Follows:
    """Estimate how far neutral areas follow their surroundings in log light.

    Parameters
    ----------
    photo : DecodedPhoto
    places : one or more of Region
        Each of uniform tone.
    surface : sequence of int
        Surface of each; those of one surface have the same tone.

    Returns
    -------
    Follows
        For the blur with the most certain result.

    Notes
    -----
    Bayesian linear regression (C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, 2006,
    equation 2.8), where every other cause of change in the light has its own term and prior.
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
        # Not by BLAS: waking its threads takes ten times as long as the sums.
        precision += counts * np.einsum("ni,nj->ij", terms, terms)
        pull += counts * np.einsum("ni,n->i", terms, light[inside] - light.mean())
    found = []
    for blur in range(len(_BLURS)):
        # One blur at a time: columns of the others are left out.
        kept = np.r_[blur, len(_BLURS) : len(prior)]
        covariance = np.linalg.inv(precision[np.ix_(kept, kept)])
        found.append(Follows(-float(covariance[0] @ pull[kept]), math.sqrt(float(covariance[0, 0]))))
    return max(found, key=lambda one: one.share / one.doubt)


def tone_flags(photo: DecodedPhoto, places: Sequence[Region], surface: Sequence[int]) -> tuple[Flag, ...]:
    """The flag ``local-tones`` if neutral areas clearly follow their surroundings."""
    if not places:
        return ()
    share, doubt = follows(photo, places, surface)
    if share < _SURE * doubt:
        return ()
    text = (
        "The camera has lightened dark parts of the photo and darkened light ones, the gray card among them. Take it "
        "again with HDR and filters off, or as camera raw, with the card on the wood itself."
    )
    return (Flag(FlagCode.LOCAL_TONES, text, round(share, 2)),)
