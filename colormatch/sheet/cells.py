"""Read a photographed sheet of swatches: find its markers, locate the cells, measure the light, and sample the
colors.

The photo is not resampled: cells of the plan are mapped onto the original photo and sampled there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import RGB_TO_XYZ
from colormatch.errors import BadInput, PhotoError
from colormatch.image.photo import DecodedPhoto
from colormatch.records import Flag, FlagCode, FloatArray, Region, RegionKind, Sample
from colormatch.reference.correction import Correction, Gains
from colormatch.sampling.sample import combine, sample_region
from colormatch.sheet.layout import BARE, GAP, Cell, Geometry, Plan, Rect, geometry_of_marker, is_name_mark
from colormatch.sheet.light import SheetLight, SheetToPhoto, even_light, region_of

#: Longest side of the preview for finding markers, pixels; a module of 2 mm is still 10 pixels wide.
_PREVIEW_SIDE = 2400
#: Fewest of the eight markers; with fewer than half, too much of the sheet is a guess. Our choice.
FEWEST_MARKERS = 4
#: Luminance over the cell's median from which a pixel shines, and share of shining pixels from which the cell is
#: flagged;
#: noise alone stays below both. Our choices.
_SHINES, _SHINING = 1.25, 0.02
#: Share of a cell left out along each edge, for its outline and slips of the brush.
INSET = 0.2
#: The same for a gray card in its place, which may be 5 mm askew.
_CARD_INSET = 0.15
#: Smoothing of the bent-sheet spline, so that a corner found half a pixel off doesn't bend the cells. In units of
#: (1/10 of the sheet)². Our choice: on 100 simulated sheets that curl by up to 12 mm every cell is found within 0.26 of
#: its half width (tests/studies/boards.py).
_SMOOTHING = 0.05
#: Luminance between the cells, relative to the measured light, below which there is a shadow. Our choice.
_SHADOW = 0.8
#: ΔE00 between a cell's ninths and their center from which the cell is uneven. Wood varies by 2 within one surface
#: (Buchelt and Wagenführ 2012).
_UNEVEN = 3.0
#: A ninth this much closer to the ground than the strongest ninths was probably missed by the brush; flagged only if
#: the paint changes the color by the second value, ΔE00. Our choices.
_MISSED_SHARE, _TELLING = 0.4, 5.0
#: ΔE00 from the ground below which a cell looks unpainted: the visible threshold (0.8, Paravina et al. 2015).
_UNPAINTED = 0.8


class FoundSheet(NamedTuple):
    """A sheet in a photo."""

    geometry: Geometry
    #: Marker number -> (4, 2) float; its corners in pixels of the upright photo, clockwise from the sheet's top left.
    markers: dict[int, FloatArray]
    #: Number of the name mark, if found.
    name_mark: int | None


@dataclass(frozen=True)
class CellReading:
    """Reading of one cell."""

    cell: Cell
    #: Sampled region.
    region: Region
    #: Flagged for gloss, unevenness, missed spots and shadow.
    sample: Sample
    #: ΔE00 from the bare ground.
    from_ground: float

    @property
    def painted(self) -> bool:
        """Whether it differs visibly from the ground."""
        return self.from_ground >= _UNPAINTED


@dataclass(frozen=True)
class BoardReading:
    """Reading of a sheet or a board."""

    #: All bare cells combined.
    ground: Sample
    #: All cells except the bare ones, painted or not, row by row.
    cells: tuple[CellReading, ...]
    flags: tuple[Flag, ...] = ()


def marker_dictionary() -> Any:
    """OpenCV's dictionary of the square markers on sheets."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)


def find_sheet(photo: DecodedPhoto) -> FoundSheet:
    """Find the markers of a sheet.

    Raises
    ------
    PhotoError
        Fewer than :data:`FEWEST_MARKERS` markers of one sheet, or more than one sheet.
    """
    import cv2

    preview = photo.preview(_PREVIEW_SIDE)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(marker_dictionary(), parameters)
    quads, numbers, _ = detector.detectMarkers(cv2.cvtColor(preview, cv2.COLOR_RGB2GRAY))
    scale = np.array(photo.pixels.size) / preview.shape[1::-1]
    # OpenCV counts from the center of the first pixel, colormatch from its corner.
    found = [
        (int(number), (np.asarray(quad, dtype=float).reshape(4, 2) + 0.5) * scale)
        for number, quad in zip(np.ravel(numbers) if numbers is not None else (), quads, strict=True)
    ]
    votes = Counter(geometry_of_marker(number) for number, _ in found if not is_name_mark(number))
    geometry, count = votes.most_common(1)[0] if votes else (None, 0)
    if geometry is None or count < FEWEST_MARKERS:
        raise PhotoError(
            f"Only {count} of the sheet's 8 corner and edge markers are visible."
            if count
            else "No printed swatch sheet was found in the photo.",
            "Take the photo again with the whole sheet in it, sharp and from above, or give the board's four corners.",
            markers=count,
        )
    mine = [(n, quad) for n, quad in found if not is_name_mark(n) and geometry_of_marker(n) == geometry]
    if len({n for n, _ in mine}) < len(mine):
        raise PhotoError("More than one swatch sheet is in the photo.", "Photograph one sheet at a time.")
    marks = [n for n, _ in found if is_name_mark(n)]
    return FoundSheet(geometry, dict(mine), marks[0] if len(marks) == 1 else None)


def check_plan(found: FoundSheet, plan: Plan) -> None:
    """Check that a photographed sheet matches a layout.

    Raises
    ------
    BadInput
        Its rows, columns, paper or names differ.
    """
    seen, told = found.geometry, plan.geometry
    if seen != told:
        raise BadInput(
            f"The photo shows a sheet of {seen.rows} rows and {seen.columns} columns on {seen.paper} paper, "
            f"but the layout has {told.rows} and {told.columns} on {told.paper}.",
            "Give the layout or the names that were printed on this sheet.",
        )
    if found.name_mark not in (None, plan.name_mark):
        raise BadInput(
            "The names on the sheet in the photo differ from the layout.",
            "Give the layout that was saved with this sheet, or its names as they appear on it.",
        )


def map_sheet(found: FoundSheet, plan: Plan) -> SheetToPhoto:
    """Map the sheet to the photo: a plane in perspective, plus a smooth bend for curled paper.

    Parameters
    ----------
    found : FoundSheet
    plan : Plan
        A plan with the same geometry.

    Returns
    -------
    (n, 2) mm -> (n, 2) pixels
    """
    import cv2
    from scipy.interpolate import RBFInterpolator

    places = plan.markers
    on_sheet = np.concatenate([places[number].corners for number in found.markers])
    in_photo = np.concatenate(list(found.markers.values()))
    plane, _ = cv2.findHomography(on_sheet, in_photo, 0)
    flat = _perspective(plane, on_sheet)
    unit = plan.size[0] / 10
    # A thin plate is the smoothest surface through the residuals of the plane (Duchon 1977).
    bend = RBFInterpolator(on_sheet / unit, in_photo - flat, kernel="thin_plate_spline", smoothing=_SMOOTHING)
    return lambda points: _perspective(plane, points) + bend(points / unit)


def map_corners(plan: Plan, corners: Sequence[tuple[float, float]]) -> SheetToPhoto:
    """Map a board without markers to the photo, from the four corners of its cells.

    Parameters
    ----------
    plan : Plan
    corners : four (x, y), pixels of the upright photo
        Clockwise from the top left.

    Raises
    ------
    BadInput
        They don't form a quadrilateral.
    """
    import cv2

    quad = np.asarray(corners, dtype=np.float32)
    if quad.shape != (4, 2) or not cv2.isContourConvex(quad) or cv2.contourArea(quad) < 1:
        raise BadInput(
            "The four corners don't form a four-sided board.",
            "Give them clockwise from the top left, each as x,y in pixels.",
        )
    plane = cv2.getPerspectiveTransform(plan.window.inset(0).corners.astype(np.float32), quad)
    return lambda points: _perspective(plane, points)


def card_region(photo: DecodedPhoto, plan: Plan, where: SheetToPhoto) -> Region:
    """Region of the gray card, inset."""
    return region_of(photo, where, plan.card_place.inset(_CARD_INSET), RegionKind.CARD, "card")


def read_cells(
    photo: DecodedPhoto, plan: Plan, where: SheetToPhoto, correction: Correction, light: SheetLight = even_light
) -> BoardReading:
    """Read the colors of all cells.

    Parameters
    ----------
    photo : DecodedPhoto
    plan : Plan
    where : SheetToPhoto
        From :func:`map_sheet` or :func:`map_corners`.
    correction : Correction
        From the gray card, or `sheet_correction`.
    light : SheetLight
        From `light_on_sheet`.

    Raises
    ------
    RegionError
        A cell reaches outside the photo or is too small in it.
    """
    samples = [_sample(photo, cell, where, correction, light) for cell in plan.cells]
    ground = combine(
        [sample for cell, (_, sample) in zip(plan.cells, samples, strict=True) if cell.column == BARE], BARE
    )
    between = [_between(photo, cell, where, light) for cell in plan.cells]
    usual = float(np.median(between))
    readings = []
    for cell, (region, sample), near in zip(plan.cells, samples, between, strict=True):
        if cell.column == BARE:
            continue
        # Even paint is so plain that the sampler would take its noise for gloss.
        shining = _shining(photo, region)
        flags = [
            f
            for f in sample.flags
            if f.code not in (FlagCode.GLARE, FlagCode.GLARE_OR_TWO_SURFACES) or shining >= _SHINING
        ]
        if near < _SHADOW * usual:
            text = f"Beside '{sample.name}' the sheet is {100 * (1 - near / usual):.0f} % darker: a shadow, or paint."
            flags.append(Flag(FlagCode.SHADOW, text, near / usual))
        flags += _ninths(photo, cell, where, correction, light, ground, sample)
        apart = float(delta_e(np.asarray(sample.lab), np.asarray(ground.lab)))
        if apart < _UNPAINTED:
            flags.append(Flag(FlagCode.UNPAINTED, f"'{sample.name}' looks like the bare ground.", apart))
        if sample.lab.L > 100:
            text = f"'{sample.name}' reads lighter than white (L* {sample.lab.L:.0f}); the swatch gets L* 100."
            flags.append(Flag(FlagCode.LIGHTER_THAN_WHITE, text, sample.lab.L))
        readings.append(CellReading(cell, region, replace(sample, flags=tuple(flags)), apart))
    return BoardReading(ground, tuple(readings))


# --- inside ----------------------------------------------------------------------------------------------------------


def _perspective(plane: FloatArray, points: FloatArray) -> FloatArray:
    moved = np.column_stack([points, np.ones(len(points))]) @ plane.T
    flat: FloatArray = moved[:, :2] / moved[:, 2:]
    return flat


def _evened(correction: Correction, light: SheetLight, rect: Rect) -> Callable[[FloatArray], FloatArray]:
    """The correction, adjusted for the light at one place of the sheet."""
    gains = 1 / light(np.array([rect.center]))[0]
    return correction.then(Gains(gains), "even light").lab


def _sample(
    photo: DecodedPhoto, cell: Cell, where: SheetToPhoto, correction: Correction, light: SheetLight
) -> tuple[Region, Sample]:
    region = region_of(photo, where, cell.rect.inset(INSET), RegionKind.PATCH, f"{cell.row}, {cell.column}")
    return region, sample_region(photo, region, _evened(correction, light, cell.rect), correction.systematic)


def _shining(photo: DecodedPhoto, region: Region) -> float:
    """Share of a cell's pixels that are unusually bright."""
    box, inside = photo.mask(region)
    brightness = photo.linear(box)[inside] @ RGB_TO_XYZ[1].astype(np.float32)
    return float(np.mean(brightness > _SHINES * np.median(brightness)))


def _between(photo: DecodedPhoto, cell: Cell, where: SheetToPhoto, light: SheetLight) -> float:
    """Luminance beside a cell relative to the measured light: the brightest of its four sides, so that paint over
    the outline is not taken for a shadow.
    """
    left, top, right, bottom = cell.rect
    far, near = 0.75 * GAP, 0.25 * GAP
    sides = (
        Rect(left, top - far, right, top - near),
        Rect(left, bottom + near, right, bottom + far),
        Rect(left - far, top, left - near, bottom),
        Rect(right + near, top, right + far, bottom),
    )
    brightness = []
    for side in sides:
        box, inside = photo.mask(region_of(photo, where, side, RegionKind.WHITE, "gap"))
        if inside.any():
            linear_rgb = photo.linear(box)[inside].mean(axis=0, dtype=float) / light(np.array([side.center]))[0]
            brightness.append(float(RGB_TO_XYZ[1] @ linear_rgb))
    return max(brightness, default=0.0)


def _ninths(
    photo: DecodedPhoto,
    cell: Cell,
    where: SheetToPhoto,
    correction: Correction,
    light: SheetLight,
    ground: Sample,
    sample: Sample,
) -> list[Flag]:
    """Flag a cell that the brush partly missed, or that dried in clouds."""
    inner = cell.rect.inset(INSET)
    means = []
    for i in range(3):
        for j in range(3):
            part = inner.part(j / 3, i / 3, (j + 1) / 3, (i + 1) / 3)
            box, inside = photo.mask(region_of(photo, where, part, RegionKind.PATCH, sample.name))
            if inside.any():
                means.append(photo.linear(box)[inside].mean(axis=0, dtype=float))
    labs = _evened(correction, light, cell.rect)(np.array(means))
    from_ground = np.sort(delta_e(labs, np.asarray(ground.lab)))
    strongest = float(from_ground[-2:].mean())
    missed = float(np.mean(from_ground < _MISSED_SHARE * strongest))
    if strongest >= _TELLING and missed > 0:
        return [Flag(FlagCode.HALF_PAINTED, f"About {100 * missed:.0f} % of '{sample.name}' looks unpainted.", missed)]
    apart = float(delta_e(labs, np.median(labs, axis=0)).max())
    if apart >= _UNEVEN:
        return [Flag(FlagCode.UNEVEN, f"'{sample.name}' varies by {apart:.1f} ΔE within the cell.", apart)]
    return []
