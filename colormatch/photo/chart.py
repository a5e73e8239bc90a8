"""A 24-patch chart: find it in a photo, read its patches, and correct the photo by them.

The camera's tone curve comes first, from the gray row; then a root polynomial turns the camera's colors into those of
the observer. Root polynomials don't change with exposure (G. D. Finlayson, M. Mackiewicz, A. Hurlbert, "Color
correction using root-polynomial regression", IEEE Transactions on Image Processing 24(5), 2015).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.space import lab_from_linear, linear_from_encoded, linear_from_lab
from colormatch.errors import BadInput, CardNotFound, CardUnusable
from colormatch.photo import accuracy
from colormatch.photo.chart_values import COLUMNS, GRAY_ROW, ROWS, SINCE_2014
from colormatch.photo.correct import Correction
from colormatch.photo.tone import fit_tone, usable
from colormatch.records import BoolArray, ByteArray, Card, CardKind, Flag, FloatArray, Region, RegionKind

if TYPE_CHECKING:
    from colormatch.photo.read import DecodedPhoto

# --- finding ---------------------------------------------------------------------------------------------------------

#: Longest sides of the pictures that are searched, pixels. The detector misses a plain chart at one size and finds it
#: at the next, and more surely upright than lying.
_SEARCH_SIDES = (600, 800, 450, 1100, 520, 700)
#: Distance between patches over a patch's pitch, and the detector's margin around the outer patches, in pitches.
_GAP, _DETECTOR_MARGIN = 1 / 11, 1 / 11
#: Margins, in pitches, that people may leave around the outer patches when they mark the four corners.
_MARKED_MARGINS = (0.0, _DETECTOR_MARGIN, 0.25, 0.4)
#: Side of a patch's cell in the straightened chart, pixels; the middle part of it that is read, and the wider part that
#: is all patch only where the margin was guessed right.
_CELL, _READ, _PATCH = 48, 0.5, 0.84
#: Least share of the patches' log light that the reference explains, up to a gain and a contrast for each channel;
#: simulated and real charts reach 0.93 and more, a chart turned the wrong way stays below 0.5.
_LEAST_FIT = 0.85
#: A patch is plain where the spread of its log light stays below this, and so many of them must be.
_PLAIN_SPREAD, _LEAST_PLAIN = 0.12, 20
#: Added before the logarithm: channels of saturated patches are often cut to zero.
_FLOOR = 0.01


@dataclass(frozen=True, eq=False)
class ReadChart:
    """The patches of a chart as the photo holds them."""

    #: (24, 3) float; mean linear sRGB of each patch, in the reference's order.
    linear_rgb: FloatArray
    #: (4, 2) float; corners of the block of patches in the picture it was read from, pixels, dark skin's corner first.
    corners: FloatArray
    #: How well the reference explains them, 0 to 1.
    fit: float
    #: Spread of log light inside nearly whole patches, their mean.
    spread: float


def find_chart(photo: DecodedPhoto) -> Card:
    """The 24-patch chart in a photo, upright or turned.

    Returns
    -------
    Card
        Its region's corners start at the dark skin patch and go around by way of bluish green, black and white.

    Raises
    ------
    CardNotFound
        There is none, or a part of it is hidden or outside the photo.
    """
    for side in _SEARCH_SIDES:
        found = find_chart_in(photo.preview(side))
        if found is not None:
            return Card(CardKind.CHART24, found[0], "auto", round(found[1].fit, 3))
    raise CardNotFound(
        "No whole 24-patch chart was found in the photo.",
        "Mark its four corners, or take the photo again with all patches in view and without glare.",
    )


def find_chart_in(preview: ByteArray) -> tuple[Region, ReadChart] | None:
    """The chart in a small picture, or None.

    Parameters
    ----------
    preview : (h, w, 3) uint8; encoded sRGB
    """
    import cv2

    linear_rgb = linear_from_encoded(preview.astype(np.float32) / 255)
    height, width = preview.shape[:2]
    # Noise and fine grain break the outlines of patches; a small median keeps edges and takes both away.
    calm = cv2.medianBlur(np.ascontiguousarray(preview[..., ::-1]), 3)
    for turns in range(4):
        turned = np.ascontiguousarray(np.rot90(calm, turns))
        detector = cv2.mcc.CCheckerDetector.create()
        threads = cv2.getNumThreads()
        try:
            # It draws at random; one thread and one seed give the same answer for the same photo every time.
            cv2.setNumThreads(1)
            cv2.setRNGSeed(0)
            found = detector.process(turned, 1)
        finally:
            cv2.setNumThreads(threads)
        # Without a find there is no best chart, and asking for it ends the process.
        if not found:
            continue
        box = _turned_back(np.asarray(detector.getBestColorChecker().getBox(), dtype=float), turns, width, height)
        read = _read_best(linear_rgb, box, (_DETECTOR_MARGIN,))
        if read is not None:
            points = tuple((float(x / width), float(y / height)) for x, y in read.corners)
            return Region(RegionKind.CARD, points, "chart"), read
    return None


def _turned_back(corners: FloatArray, turns: int, width: int, height: int) -> FloatArray:
    """Corners in a picture from those in the picture turned by so many quarter turns to the left (`numpy.rot90`)."""
    for _ in range(turns):
        # One quarter turn to the left moved (x, y) to (y, width - x) of a picture that was this wide.
        wide = width if turns % 2 == 1 else height
        turns -= 1
        corners = np.stack([wide - corners[:, 1], corners[:, 0]], axis=1)
    return corners


def read_chart(photo: DecodedPhoto, region: Region) -> ReadChart:
    """The patches of a chart whose four corners are marked or were found.

    Parameters
    ----------
    photo : DecodedPhoto
    region : Region
        Four corners, in order around the chart, at the outer patches or somewhat outside them; any of them first.

    Raises
    ------
    CardNotFound
        What lies there isn't a whole, plainly lit 24-patch chart.
    BadInput
        The region hasn't four corners.
    """
    if len(region.points) != 4:
        raise BadInput("A chart is marked by its four corners.", "Mark the outer corners of its four corner patches.")
    width, height = photo.facts.width, photo.facts.height
    box = region.box(width, height)
    corners = _clockwise(region.corners(width, height) - (box.x, box.y))
    read = _read_best(photo.linear(box), corners, _MARKED_MARGINS)
    if read is None:
        raise CardNotFound(
            "The marked corners don't hold a whole 24-patch chart.",
            "Mark the outer corners of its four corner patches, and keep glare and shadows off it.",
        )
    return ReadChart(read.linear_rgb, read.corners + np.array([box.x, box.y]), read.fit, read.spread)


def _clockwise(corners: FloatArray) -> FloatArray:
    """Corners in the order in which a chart's are named, whichever way around they were marked."""
    (x0, y0), (x1, y1) = corners[2] - corners[0], corners[3] - corners[1]
    return corners if x0 * y1 > x1 * y0 else corners[::-1]


def _read_best(linear_rgb: FloatArray, corners: FloatArray, margins: tuple[float, ...]) -> ReadChart | None:
    """Read the chart in each orientation and with each margin; the best, if the reference explains it."""
    reads = [
        _read(linear_rgb, np.roll(corners, -first, axis=0), margin)
        for margin in margins
        for first in range(len(corners))
    ]
    # The fit tells the orientation, the spread tells the margin.
    best = max((read for read in reads if read is not None), key=lambda read: read.fit - read.spread, default=None)
    return best if best is not None and best.fit >= _LEAST_FIT else None


def _read(linear_rgb: FloatArray, corners: FloatArray, margin: float) -> ReadChart | None:
    """Straighten the chart and take the middles of its patches; None where they leave the picture or aren't plain."""
    import cv2

    height, width = linear_rgb.shape[:2]
    rim = np.array([[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]], dtype=np.float32)
    outward = np.sign(rim - rim.mean(axis=0)) * np.float32(margin - _GAP / 2)
    straight = ((rim + outward) * _CELL).astype(np.float32)
    # OpenCV puts whole coordinates at pixel centers, regions put them at pixel edges.
    there = cv2.getPerspectiveTransform(straight - 0.5, (corners - 0.5).astype(np.float32))
    outer = (rim - np.sign(rim - rim.mean(axis=0)) * np.float32(_GAP / 2)) * _CELL - 0.5
    block = cv2.perspectiveTransform(outer[None], there)[0].astype(float) + 0.5
    if block.min() < -0.5 or (block > np.array([width, height]) + 0.5).any():
        return None
    chart = cv2.warpPerspective(
        np.ascontiguousarray(linear_rgb, dtype=np.float32),
        there,
        (COLUMNS * _CELL, ROWS * _CELL),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    pixels, whole = _middles(chart, _READ), _middles(chart, _PATCH)
    if (_log_spread(pixels) < _PLAIN_SPREAD).sum() < _LEAST_PLAIN:
        return None
    patches = pixels.mean(axis=1)
    return ReadChart(patches, block, chart_fit(patches), float(_log_spread(whole).mean()))


def _middles(chart: FloatArray, share: float) -> FloatArray:
    """(24, n, 3) float; the pixels in the middle of each cell of a straightened chart, a share of its side wide."""
    inset = round(_CELL * (1 - share) / 2)
    cells = chart.reshape(ROWS, _CELL, COLUMNS, _CELL, 3)[:, inset:-inset, :, inset:-inset]
    return cells.transpose(0, 2, 1, 3, 4).reshape(ROWS * COLUMNS, -1, 3).astype(float)


def _log_spread(pixels: FloatArray) -> FloatArray:
    """(n,) float; standard deviation of the log of light within each patch."""
    spread: FloatArray = np.log(np.maximum(pixels.mean(axis=2), 0) + _FLOOR).std(axis=1)
    return spread


def chart_fit(patch_linear_rgb: FloatArray) -> float:
    """How far the published colors explain 24 patches: 1 is fully, 0 not at all.

    Parameters
    ----------
    patch_linear_rgb : (24, 3) float; linear sRGB

    Returns
    -------
    float
        Share of the variance of log light left after a gain and a rising contrast for each channel is taken off.
    """
    seen = np.log(np.maximum(patch_linear_rgb, 0) + _FLOOR)
    true = np.log(np.maximum(linear_from_lab(SINCE_2014), 0) + _FLOOR)
    seen, true = seen - seen.mean(axis=0), true - true.mean(axis=0)
    norms = np.sqrt((seen**2).sum(axis=0) * (true**2).sum(axis=0))
    correlation = (seen * true).sum(axis=0) / np.maximum(norms, 1e-12)
    return float(np.mean(np.maximum(correlation, 0) ** 2))


# --- correcting ------------------------------------------------------------------------------------------------------

#: Degree of the root polynomial: 3 measured better than 2 and than a matrix on simulated photographs, and as well on
#: real ones (see DEVELOPERS.md).
DEGREE = 3
#: Expected misfit of a patch in about ΔE00, and how far a coefficient strays from those of a camera that needs no
#: correction: together the ridge. From tests/scenes/study.py; the results hardly change between half and twice it.
_MISFIT, _COEFFICIENT_SIGMA = 1.0, 0.1
#: Least number of patches, and of grays among them, that must be neither clipped nor black.
_LEAST_PATCHES, _LEAST_GRAYS = 16, 3
#: Darkest linear value at which the slope of CIELAB is taken.
_DARKEST = 0.002


@dataclass(frozen=True, eq=False)
class RootPolynomial:
    """Products of channels under roots, times a matrix."""

    #: (terms, 3) float, unitless.
    coefficients: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        out: FloatArray = root_terms(linear_rgb) @ self.coefficients
        return np.maximum(out, 0)


def root_terms(linear_rgb: FloatArray) -> FloatArray:
    """(n, 13) float; the root-polynomial terms of (n, 3) linear RGB, the channels themselves first."""
    expand = _colour_science().characterisation.polynomial_expansion_Finlayson2015
    terms: FloatArray = expand(np.maximum(linear_rgb, 0), DEGREE, root_polynomial_expansion=True)
    return terms


@cache
def _colour_science() -> Any:
    """colour-science, imported when the first chart is used: it takes two seconds, warns of optional plotting, and
    changes how NumPy prints."""
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        import colour
    return colour


def fit_root_polynomial(linear_rgb: FloatArray, reference_lab: FloatArray) -> RootPolynomial:
    """Root polynomial from colors to their CIELAB.

    Parameters
    ----------
    linear_rgb : (n, 3) float; linear sRGB, tone curve undone
    reference_lab : (n, 3) float; CIELAB

    Notes
    -----
    Least squares in about ΔE00: the slope of CIELAB at the reference turns errors of linear light into those of
    lightness and color. A ridge draws the coefficients towards no change.
    """
    terms = root_terms(linear_rgb)
    identity = np.eye(terms.shape[1], 3)
    true = linear_from_lab(reference_lab)
    slopes = _lab_slopes(np.maximum(true, _DARKEST)) * axis_weights(reference_lab)[..., None]
    # Residual i of patch k is sum over channel c and term f of slopes[k, i, c] terms[k, f] coefficients[f, c].
    design = np.einsum("kic,kf->kifc", slopes, terms).reshape(-1, identity.size)
    wanted = np.einsum("kic,kc->ki", slopes, true - terms @ identity).ravel()
    ridge = (_MISFIT / _COEFFICIENT_SIGMA) ** 2 * np.eye(identity.size)
    change = np.linalg.solve(design.T @ design + ridge, design.T @ wanted)
    return RootPolynomial(identity + change.reshape(identity.shape))


def _lab_slopes(linear_rgb: FloatArray) -> FloatArray:
    """(n, 3, 3) float; change of L*, a*, b* (rows) with linear red, green and blue, by central differences."""
    steps = 1e-4 * np.eye(3)
    colors = linear_rgb[:, None]
    return ((lab_from_linear(colors + steps) - lab_from_linear(colors - steps)) / 2e-4).swapaxes(1, 2)


def chart_correction(patch_linear_rgb: FloatArray, reference_lab: FloatArray = SINCE_2014) -> Correction:
    """Tone curve and colors from a 24-patch chart.

    Parameters
    ----------
    patch_linear_rgb : (24, 3) float; linear sRGB, 0 to 1
        Mean colors of the patches, in the reference's order.
    reference_lab : (24, 3) float; CIELAB
        What the patches are; see `chart_values`.

    Returns
    -------
    Correction
        Its uncertainty follows the errors of the chart's own patches, each read without its own help.

    Raises
    ------
    CardUnusable
        Too many patches are clipped or black.
    """
    patches = np.asarray(patch_linear_rgb, dtype=float)
    keep = usable(patches)
    # A saturated patch may hold nothing in one channel and still serve; only its brightest channel can spoil it.
    keep[: GRAY_ROW.start] = usable(patches[: GRAY_ROW.start].max(axis=1, keepdims=True))
    if keep.sum() < _LEAST_PATCHES or keep[GRAY_ROW].sum() < _LEAST_GRAYS:
        raise CardUnusable(
            f"Only {keep.sum()} of the chart's 24 patches are neither blown out nor black.",
            "Take the photo again with the exposure turned down a little.",
        )
    flags: tuple[Flag, ...] = ()
    if not keep.all():
        left_out = int((~keep).sum())
        text = f"{left_out} of the chart's 24 patches are blown out or black and were left out."
        flags = (Flag("patches-left-out", text, float(left_out)),)
    start = Correction((), (), (), accuracy.chart(_held_out_errors(patches, reference_lab, keep)), flags)
    curve, colors = _fit(patches, reference_lab, keep)
    return start.then(curve, "tone curve from the chart's gray row").then(
        colors, f"colors from the chart's {keep.sum()} patches (root polynomial of degree {DEGREE})"
    )


def _fit(patches: FloatArray, reference_lab: FloatArray, keep: BoolArray) -> tuple[Any, RootPolynomial]:
    grays = np.flatnonzero(keep)
    grays = grays[grays >= GRAY_ROW.start]
    curve = fit_tone(patches[grays], linear_from_lab(reference_lab[grays]))
    return curve, fit_root_polynomial(curve(patches[keep]), reference_lab[keep])


def _held_out_errors(patches: FloatArray, reference_lab: FloatArray, keep: BoolArray) -> FloatArray:
    """(n,) ΔE00 of each kept patch under a correction fitted without it."""
    errors = []
    for index in np.flatnonzero(keep):
        others = keep.copy()
        others[index] = False
        curve, colors = _fit(patches, reference_lab, others)
        errors.append(
            float(delta_e(lab_from_linear(colors(curve(patches[index : index + 1])))[0], reference_lab[index]))
        )
    return np.array(errors)
