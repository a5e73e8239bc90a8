"""Measure the color of a marked region and how well it represents the whole surface; combine several regions.

The color is the mean of linear light, converted to CIELAB: the appearance of grain from a step away. Pixels along one
grain line are copies of each other, so their number says nothing about the accuracy of the mean; the profile across
the grain does, and several patches do it best.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.space import RGB_TO_XYZ, lab_from_linear, linear_from_lab
from colormatch.errors import RegionError
from colormatch.image.photo import DecodedPhoto
from colormatch.records import BoolArray, Flag, FlagCode, FloatArray, Lab, Region, Sample
from colormatch.reference.tone import CLIPPED

#: (n, 3) linear RGB of the photo in, (n, 3) CIELAB out.
ToLab = Callable[[FloatArray], FloatArray]

#: Fewest pixels of a region, about 5 x 5; a smaller one may be a slip of the hand. Our choice.
FEWEST_PIXELS = 25
#: Pixels, about 32 x 32, below which JPEG blocks or a single grain line may dominate the color. Our choice.
_SMALL_PATCH = 1000
#: Glare: pixels this many median absolute deviations above the median of log luminance. Cuts 0.2 % of clean wood, and
#: changes its color by at most 0.07 ΔE00 (60 simulated boards, grain of 8 to 200 pixels).
_GLARE_MAD = 3.0
#: Share above which the bright part is half of the surface rather than glare, and nothing is cut. Our choice.
_MOST_GLARE = 0.25
#: Shares of pixels from which glare and clipping are flagged. Our choice; with normally distributed log luminance, 2.2
#: % are above the glare limit.
_GLARE_SHARE = 0.03
_CLIPPED_SHARE = 0.01
#: Glare adds the lamp's light, neutral after white balance; light figure adds the wood's own color. Colorfulness of the
#: excess of the bright part over that of the rest, above which it is figure: 0.88 to 1.12 on 60 simulated boards, 0 to
#: 0.41 with a highlight.
_OWN_COLOR = 0.6
#: Encoded value of the brightest channel below which 8-bit steps and noise exceed 1 ΔE00.
_DARK = 0.1
#: ΔE00 between light and dark parts from which a surface is two-toned: the variation within one wood surface is about 2
#: (Buchelt and Wagenführ 2012).
_TWO_TONES = 2.0
#: Share of gradients agreeing on one direction from which a grain direction is reported. Our choice.
_COHERENT = 0.15
#: Independent stretches of the profile across the grain below which one patch is not enough; one or two edges in it
#: count as 3 to 4.4.
_FEW_STRETCHES = 5.0
#: ΔE00 between the two halves of a region, along the grain, that suggests more than one surface.
_VARIED = 3.0
#: Error invisible from one patch: slow color changes between it and the rest of the board. ΔE00, 90 % radius; below the
#: variation of 2 within one wood surface (Buchelt and Wagenführ 2012), chosen by tests/scenes/study_grain.py. A surface
#: with less figure than this, such as paint or a chip, gets its own figure instead.
_SLOW_CHANGE = 1.0
#: Student's t for the 90 % radius, two-sided, since errors of a grain lie on one line, from field to grain line:
#: degrees of freedom and the 0.95 quantile (SciPy's stdtrit). It is nearly linear in 1 / freedom, within 1.2 %;
#: importing SciPy would take twice as long as decoding the photo.
_FREEDOM = (1, 1.2, 1.5, 2, 3, 4, 5, 7, 10, 15, 30, math.inf)
_STUDENT = (6.314, 4.796, 3.705, 2.920, 2.353, 2.132, 2.015, 1.895, 1.812, 1.753, 1.697, 1.645)
_TINY = 1e-6


def sample_region(photo: DecodedPhoto, region: Region, to_lab: ToLab, systematic: float) -> Sample:
    """Measure the color of one region.

    Parameters
    ----------
    photo : DecodedPhoto
    region : Region
        Any polygon.
    to_lab : (n, 3) linear RGB -> (n, 3) CIELAB
        The photo's correction.
    systematic : float; ΔE00, 90 % radius
        Error left by that correction.

    Returns
    -------
    Sample

    Raises
    ------
    RegionError
        Fewer than :data:`FEWEST_PIXELS` pixels.
    """
    name = region.name or str(region.kind)
    part = photo.part(region)
    linear_rgb, inside, count = part.linear_rgb, part.inside, part.pixels
    if count < FEWEST_PIXELS:
        raise RegionError(
            f"The region '{name}' contains only {count} pixels.",
            "Mark a larger piece, or take the photo from closer.",
            pixels=count,
        )
    brightness = np.log(np.maximum(linear_rgb @ RGB_TO_XYZ[1].astype(np.float32), _TINY))
    used, flags = _without_glare(linear_rgb, brightness, inside, to_lab)
    flags += _exposure_flags(photo.encoded(part.box, part.every)[used])
    if count < _SMALL_PATCH:
        text = f"The region '{name}' is small ({count} pixels); a larger one is more reliable."
        flags.append(Flag(FlagCode.SMALL_PATCH, text, float(count)))

    mean = _mean(linear_rgb, used)
    lab = _one_lab(to_lab, mean)
    grain = _grain(brightness, used)
    random, few = _random_error(linear_rgb, used, grain.across, to_lab)
    flags += few + _halves_flag(linear_rgb, used, grain.along, to_lab)
    field, line = _two_tones(linear_rgb, brightness, used, to_lab)
    return Sample(
        name,
        lab,
        random,
        systematic,
        int(used.sum()) * part.every**2,
        field,
        line,
        grain.angle,
        tuple(flags),
        region,
    )


def combine(samples: Sequence[Sample], name: str) -> Sample:
    """Combine several patches of one surface into one color, with equal weights.

    Parameters
    ----------
    samples : one or more
        Samples of one photo.
    name : str

    Returns
    -------
    Sample
        The random part comes from the patches' spread by Student's t for three or more, from half their difference for
        two. The patches' own estimates set a lower limit, since patches may agree by luck.

    Raises
    ------
    RegionError
        No samples.
    """
    if not samples:
        raise RegionError(f"No patch of '{name}' is marked.", "Mark the wood in the photo, three patches or more.")
    # The last digit of a floating-point sum depends on its order; the result must not.
    samples = sorted(samples, key=lambda s: (s.region.order if s.region else (), s.lab))
    labs = np.array([s.lab for s in samples])
    lab = _mean_of_labs([s.lab for s in samples])
    n = len(samples)
    own = math.sqrt(sum(s.random**2 for s in samples)) / n
    squares = float(np.sum(delta_e(labs, np.asarray(lab)) ** 2))
    flags = list(dict.fromkeys(flag for s in samples for flag in s.flags))
    random = own
    if n == 2:
        apart = float(delta_e(labs[0], labs[1]))
        random = max(own, apart / 2)
        if apart > 2 * own and apart > _TWO_TONES:
            text = f"Two patches of '{name}' differ by {apart:.1f} ΔE; mark a third."
            flags.append(Flag(FlagCode.PATCHES_DISAGREE, text, apart))
    elif n > 2:
        random = max(own, _radius(squares / (n - 1) / n, n - 1))
    fields = [s.field_lab for s in samples if s.field_lab]
    lines = [s.grain_lab for s in samples if s.grain_lab]
    return Sample(
        name,
        lab,
        random,
        max(s.systematic for s in samples),
        sum(s.pixels for s in samples),
        _mean_of_labs(fields) if fields else None,
        _mean_of_labs(lines) if lines else None,
        _mean_angle([s.grain_angle for s in samples if s.grain_angle is not None]),
        tuple(flags),
        samples[0].region if n == 1 else None,
    )


# --- which pixels ----------------------------------------------------------------------------------------------------


def _without_glare(
    linear_rgb: FloatArray, brightness: FloatArray, inside: BoolArray, to_lab: ToLab
) -> tuple[BoolArray, list[Flag]]:
    """Cut only the bright end: wood has dark lines of its own, but no highlights."""
    values = brightness[inside]
    middle = np.median(values)
    spread = np.median(np.abs(values - middle))
    used: BoolArray = inside & (brightness <= middle + _GLARE_MAD * max(spread, _TINY))
    share = 1 - float(used.sum() / values.size)
    if share > _MOST_GLARE:
        text = (
            "The region has a bright and a dark part: it shines, or it covers two surfaces; mark one surface at a "
            "time, without shine."
        )
        return inside, [Flag(FlagCode.GLARE_OR_TWO_SURFACES, text, share)]
    if share <= _GLARE_SHARE:
        return used, []
    if _is_figure(_mean(linear_rgb, used), _mean(linear_rgb, inside & ~used), to_lab):
        return inside, []
    return used, [Flag(FlagCode.GLARE, f"{100 * share:.0f} % of the region shines; that part was left out.", share)]


def _is_figure(rest: FloatArray, bright: FloatArray, to_lab: ToLab) -> bool:
    """Whether the bright part of a surface shows more of the surface's own color than of the lamp's."""
    own, lighter = linear_from_lab(to_lab(np.stack([rest, bright])))
    return _colorfulness(lighter - own) > _OWN_COLOR * _colorfulness(own)


def _colorfulness(linear_rgb: FloatArray) -> float:
    """Colorfulness: 0 for neutral light, 1 for light without one of the primaries."""
    return float(1 - linear_rgb.min() / linear_rgb.max())


def _exposure_flags(encoded_rgb: FloatArray) -> list[Flag]:
    top = encoded_rgb.max(axis=-1)
    clipped = float(np.mean(top >= CLIPPED))
    if clipped > _CLIPPED_SHARE:
        text = f"{100 * clipped:.0f} % of the region is overexposed, so its color is unreliable."
        return [Flag(FlagCode.CLIPPED, text, clipped)]
    brightest = float(np.median(top))
    if brightest < _DARK:
        return [Flag(FlagCode.TOO_DARK, "The region is very dark in the photo; add light.", brightest)]
    return []


# --- grain -----------------------------------------------------------------------------------------------------------


class _Grain(NamedTuple):
    #: Degrees, 0 to 180; None without a clear direction.
    angle: float | None
    #: (h, w) float; position across the grain and along it, whole pixels.
    across: FloatArray
    along: FloatArray


def _grain(brightness: FloatArray, used: BoolArray) -> _Grain:
    """Find the direction of the grain from the structure tensor, summed over the region.

    Source: J. Bigün and G. H. Granlund, "Optimal orientation detection of linear symmetry", ICCV 1987.
    """
    import cv2

    # Cut pixels get the median so that they add no edges; smoothing reduces noise and JPEG blocks.
    filled = np.where(used, brightness, np.median(brightness[used]))
    smooth = cv2.GaussianBlur(filled, (0, 0), 1.5, borderType=cv2.BORDER_REFLECT)
    gy, gx = np.gradient(smooth) if min(used.shape) > 1 else (filled * 0, filled * 0)
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    # Pixels outside the box are outside the region too.
    inner = cv2.erode(used.astype(np.uint8), cross, iterations=2, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    inner = inner if inner.any() else used
    xx, yy, xy = (float(np.sum(p[inner], dtype=float)) for p in (gx * gx, gy * gy, gx * gy))
    steepest = 0.5 * math.atan2(2 * xy, xx - yy)
    coherence = math.hypot(xx - yy, 2 * xy) / max(xx + yy, _TINY**2)
    y, x = np.indices(used.shape)
    across: FloatArray = np.asarray(np.round(x * math.cos(steepest) + y * math.sin(steepest)))
    along: FloatArray = np.asarray(np.round(y * math.cos(steepest) - x * math.sin(steepest)))
    angle = round(math.degrees(steepest) + 90, 1) % 180
    return _Grain(angle if coherence >= _COHERENT else None, across, along)


def _profile(
    linear_rgb: FloatArray, used: BoolArray, position: FloatArray, to_lab: ToLab
) -> tuple[FloatArray, FloatArray]:
    """Mean color at each whole position, (m, 3) CIELAB, and its number of pixels, (m,)."""
    where = (position[used] - position[used].min()).astype(int)
    count = np.bincount(where).astype(float)
    sums = np.stack([np.bincount(where, linear_rgb[used][:, i]) for i in range(3)], axis=-1)
    filled = count > 0
    return to_lab(sums[filled] / count[filled, None]), count[filled]


def _random_error(
    linear_rgb: FloatArray, used: BoolArray, across: FloatArray, to_lab: ToLab
) -> tuple[float, list[Flag]]:
    """Error of this patch's mean as the mean of the whole surface: ΔE00, 90 % radius.

    The variance of the mean of a correlated series is its variance divided by the number of independent stretches;
    their length follows from the autocorrelation up to its first zero (the integral scale of time series; see G. I.
    Taylor, Proc. London Math. Soc. 20, 1921).
    """
    labs, weights = _profile(linear_rgb, used, across, to_lab)
    mean = np.average(labs, axis=0, weights=weights)
    # Scaled to about ΔE00, so that the three axes can be added.
    steps = (labs - mean) * axis_weights(mean)
    variance = float(np.average(np.sum(steps**2, axis=1), weights=weights))
    if variance < _TINY:
        return 0.0, []
    length = float(weights.sum() ** 2 / np.sum(weights**2))
    # Autocovariance of the weighted profile by the fast Fourier transform, padded against wrapping around.
    weighted = steps * weights[:, None]
    size = 2 * len(weights)
    spectrum = np.sum(np.abs(np.fft.rfft(weighted, size, axis=0)) ** 2, axis=1)
    overlap = np.abs(np.fft.rfft(weights, size)) ** 2
    lags = len(weights) // 2 + 1
    covariance = np.fft.irfft(spectrum, size)[:lags] / np.maximum(np.fft.irfft(overlap, size)[:lags], 1)
    correlation = covariance / covariance[0]
    below = np.flatnonzero(correlation <= 0)
    end = below[0] if below.size else lags
    stretches = length / (1 + 2 * float(np.sum(correlation[1:end])))
    # The mean uses up one degree of freedom; a patch of barely two stretches says next to nothing.
    freedom = max(stretches - 1, 1.0)
    flags = []
    if stretches < _FEW_STRETCHES and math.sqrt(variance) > _TWO_TONES / 2:
        text = "The grain is coarse for this region; mark a larger one, or three or more in different places."
        flags.append(Flag(FlagCode.COARSE_GRAIN, text, stretches))
    slow = min(math.sqrt(variance), _SLOW_CHANGE)
    return math.hypot(_radius(variance / freedom, freedom), slow), flags


def _radius(variance: float, freedom: float) -> float:
    """90 % radius of a mean whose variance was estimated with some degrees of freedom."""
    student = np.interp(-1 / freedom, [-1 / tabled for tabled in _FREEDOM], _STUDENT)
    return float(student) * math.sqrt(variance)


def _halves_flag(linear_rgb: FloatArray, used: BoolArray, along: FloatArray, to_lab: ToLab) -> list[Flag]:
    """Flag a change along the grain: wood hardly changes there within one patch, so the light or the surface does."""
    near = used & (along <= (along[used].min() + along[used].max()) / 2)
    far = used & ~near
    if not (near.any() and far.any()):
        return []
    labs = to_lab(np.stack([_mean(linear_rgb, half) for half in (near, far)]))
    apart = float(delta_e(labs[0], labs[1]))
    if apart <= _VARIED:
        return []
    text = f"The region changes by {apart:.1f} ΔE from one half to the other; mark an even piece."
    return [Flag(FlagCode.VARIED, text, apart)]


# --- tones -----------------------------------------------------------------------------------------------------------


def _two_tones(
    linear_rgb: FloatArray, brightness: FloatArray, used: BoolArray, to_lab: ToLab
) -> tuple[Lab | None, Lab | None]:
    """Colors of the field and the grain lines, separated by the largest between-class variance (Otsu 1979)."""
    import cv2

    values = brightness[used]
    low, high = np.percentile(values, (0.5, 99.5))
    scaled = np.clip((values - low) / max(high - low, _TINY) * 255, 0, 255).astype(np.uint8)
    split, _ = cv2.threshold(scaled, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    light = scaled > split
    if light.all() or not light.any():
        return None, None
    of_field = used.copy()
    of_field[used] = light
    field, line = (_one_lab(to_lab, _mean(linear_rgb, part)) for part in (of_field, used & ~of_field))
    return (field, line) if delta_e(field, line) >= _TWO_TONES else (None, None)


def _mean(linear_rgb: FloatArray, which: BoolArray) -> FloatArray:
    """(3,) float; mean of the selected (h, w, 3) pixels, summed in double precision."""
    import cv2

    return np.array(cv2.mean(linear_rgb, which.astype(np.uint8))[:3])


def _one_lab(to_lab: ToLab, linear_rgb: FloatArray) -> Lab:
    return Lab.from_array(to_lab(linear_rgb[None])[0])


def _mean_of_labs(labs: Sequence[Lab]) -> Lab:
    """Mean of several colors in linear light."""
    if len(labs) == 1:
        return labs[0]
    mean = linear_from_lab(np.array(labs)).mean(axis=0)
    return Lab.from_array(lab_from_linear(mean))


def _mean_angle(angles: Sequence[float]) -> float | None:
    """Mean of directions, which have a period of 180 degrees."""
    if not angles:
        return None
    doubled = np.exp(2j * np.radians(angles)).sum()
    return round(float(np.degrees(np.angle(doubled)) / 2), 1) % 180
