"""A painted sheet, simulated: our own page, spectral paints in its cells, bent, tilted, lit and photographed."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from colormatch.sheet.layout import BARE, GAP, Plan, Rect
from colormatch.sheet.pdf import sheet_picture
from colormatch.sheet.swatches import parse_column
from tests.scenes import spectra
from tests.scenes.camera import Camera, Lighting, develop, raw_weights
from tests.scenes.files import encoded
from tests.scenes.paints import PAINTS, Wash, dried
from tests.scenes.scene import Photograph, Scene
from tests.scenes.spectra import FloatArray
from tests.scenes.things import FIBERBOARD, white_paper

#: Pixels for a millimeter of the sheet as it is drawn before it is photographed.
_SCALE = 8.0
#: mm; distance of the camera, and how far the bench reaches beyond the sheet.
_DISTANCE, _BENCH = 520.0, 12.0
#: Reflectance of black printing ink.
_INK = 0.04


@dataclass(frozen=True)
class Pose:
    """How the sheet lies before the camera."""

    #: Degrees: away from straight above, in which direction, and turned in the picture.
    tilt: float = 0.0
    toward: float = 0.0
    turn: float = 0.0
    #: mm that the middle stands above the edges, along the width or the height.
    curl: float = 0.0
    across: bool = True


@dataclass(frozen=True, eq=False)
class PaintedSheet:
    """A photograph of a sheet, with the truth."""

    jpeg: bytes
    #: (row, column) -> (3,) true CIELAB, the bare ones too.
    labs: dict[tuple[str, str], FloatArray]
    #: (row, column) -> (2,) true pixel of the cell's middle.
    centers: dict[tuple[str, str], FloatArray]
    #: Of the window of cells, clockwise from the top left: (4, 2) pixels.
    corners: FloatArray


@cache
def paint_names() -> tuple[str, ...]:
    return tuple(PAINTS)


def photographed(
    plan: Plan,
    rng: np.random.Generator,
    pose: Pose | None = None,
    lighting: Lighting | None = None,
    camera: Camera | None = None,
    *,
    width: int = 1800,
    marred: dict[tuple[str, str], str] | None = None,
) -> PaintedSheet:
    """Paint a sheet and photograph it; the rows' names are taken as the simulator's paints in order.

    Parameters
    ----------
    marred : (row, column) -> "half", "bare", "gloss", "cloudy" or "shadow", optional
        Cells that went wrong.
    """
    marred = marred or {}
    pose = pose or Pose()
    lighting = lighting or Lighting()
    paper = white_paper((1, 1)).reflectances[0]
    tones: list[FloatArray] = [paper, np.full_like(paper, _INK), np.full_like(paper, 0.18), FIBERBOARD]
    page = np.asarray(sheet_picture(plan, _SCALE * 25.4))
    label = np.where(page, 0, 1).astype(np.uint8)
    extra = np.zeros(page.shape, np.float32)
    shade = np.ones(page.shape, np.float32)
    card = plan.card_place.center
    half = np.array([85.6, 53.98]) / 2 - 0.5 + rng.uniform(-1, 1)
    label[_box(Rect(card[0] - half[0], card[1] - half[1], card[0] + half[0], card[1] + half[1]))] = 2
    labs = {}
    for cell in plan.cells:
        key = (cell.row, cell.column)
        box = _box(cell.rect)
        if cell.column == BARE or marred.get(key) == "bare":
            labs[key] = spectra.reflectance_to_lab(paper)
            continue
        ratio, coats = parse_column(cell.column)
        paint = PAINTS[paint_names()[plan.rows.index(cell.row) % len(PAINTS)]]
        tones.append(dried(paper, [Wash(paint, ratio.paint_fraction, coats).scattered(rng)]))
        labs[key] = spectra.reflectance_to_lab(tones[-1])
        # The brush slips over the outline by up to a millimeter, and misses its edge by as much.
        slips = cell.rect.left, cell.rect.top, cell.rect.right, cell.rect.bottom
        painted = Rect(*(v + s for v, s in zip(slips, rng.uniform(-1, 1, 4), strict=True)))
        if marred.get(key) == "half":
            painted = painted._replace(right=cell.rect.center[0])
        label[_box(painted)] = len(tones) - 1
        shape = extra[box].shape
        if marred.get(key) == "gloss":
            y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
            extra[box] += (0.35 * np.exp(-6 * (x**2 + y**2))).astype(np.float32)
        elif marred.get(key) == "cloudy":
            shade[box] *= np.linspace(0.5, 1.5, shape[1], dtype=np.float32)
        elif marred.get(key) == "shadow":
            left, top, right, bottom = cell.rect
            shade[_box(Rect(left - GAP, top - GAP, right + GAP, bottom + GAP))] *= 0.55
    camera = camera or Camera.typical(rng)
    responses = (np.array(tones) @ raw_weights(camera.name, lighting.light)).astype(np.float32)
    sheet = responses[label] * shade[..., None] + extra[..., None]

    height = round(width * 4 / 3)
    view = _view(plan, pose, (height, width))
    on_sheet, slope = view.sheet_points()
    raw = cv2.remap(
        cv2.GaussianBlur(sheet, (0, 0), 0.9), (on_sheet * _SCALE - 0.5).astype(np.float32), None, cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=(-1, -1, -1),
    )  # fmt: skip
    raw = np.where(raw < 0, responses[3], raw)
    # A bent sheet leans toward the light or away from it.
    light = lighting.field((height, width)) * (1 + 0.5 * slope)
    picture = develop((raw * light[..., None]).astype(np.float32), lighting.light, camera, rng)
    jpeg = encoded(Photograph(picture, Scene(width, height, ()), lighting, camera), "JPEG", quality=90)
    centers = {(c.row, c.column): view.photo_points(np.array([c.rect.center]))[0] for c in plan.cells}
    return PaintedSheet(jpeg, labs, centers, view.photo_points(plan.window.corners))


def _box(rect: Rect) -> tuple[slice, slice]:
    left, top, right, bottom = (round(v * _SCALE) for v in rect)
    return np.s_[max(top, 0) : bottom, max(left, 0) : right]


@dataclass(frozen=True, eq=False)
class _View:
    """A pinhole camera over a sheet that is bent into an arch."""

    size: FloatArray
    pose: Pose
    shape: tuple[int, int]
    #: (3, 3) rows: the picture's x, y and depth in the sheet's axes.
    axes: FloatArray
    focal: float
    shift: FloatArray

    def _arch(self, points: FloatArray) -> FloatArray:
        along = points[..., 0 if self.pose.across else 1] / (self.size[0 if self.pose.across else 1] / 2)
        return self.pose.curl * (1 - along**2)

    def photo_points(self, on_sheet: FloatArray) -> FloatArray:
        flat = on_sheet - self.size / 2
        # Depth grows away from the camera: what stands up is nearer.
        solid = np.concatenate([flat, -self._arch(flat)[..., None]], axis=-1) @ self.axes.T
        return self.focal * solid[..., :2] / (solid[..., 2:] + _DISTANCE) + self.shift

    def sheet_points(self) -> tuple[FloatArray, FloatArray]:
        """(h, w, 2) mm that each pixel sees, and the slope of the paper there."""
        # Smooth enough to be computed at every eighth pixel.
        coarse = tuple(-(-side // 8) for side in self.shape)
        y, x = (np.mgrid[: coarse[0], : coarse[1]] + 0.5) * (np.array(self.shape) / coarse)[:, None, None]
        ray = np.stack([(x - self.shift[0]) / self.focal, (y - self.shift[1]) / self.focal, np.ones_like(x)], -1)
        ray = ray @ self.axes
        eye = np.array([0.0, 0.0, -_DISTANCE]) @ self.axes
        height = np.zeros(coarse)
        for _ in range(12):
            flat = eye[:2] + ((-height - eye[2]) / ray[..., 2])[..., None] * ray[..., :2]
            height = self._arch(np.clip(flat, -self.size, self.size))
        axis = 0 if self.pose.across else 1
        half = self.size[axis] / 2
        slope = -2 * self.pose.curl * np.clip(flat[..., axis] / half, -1, 1) / half
        size = self.shape[::-1]
        points = cv2.resize((flat + self.size / 2).astype(np.float32), size, interpolation=cv2.INTER_CUBIC)
        return points, cv2.resize(slope.astype(np.float32), size)


def _view(plan: Plan, pose: Pose, shape: tuple[int, int]) -> _View:
    tilt, toward, turn = np.radians([pose.tilt, pose.toward, pose.turn])

    def about_depth(angle: float) -> FloatArray:
        c, s = np.cos(angle), np.sin(angle)
        return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    c, s = np.cos(tilt), np.sin(tilt)
    lean = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    axes = about_depth(turn) @ about_depth(toward) @ lean @ about_depth(-toward)
    size = np.array(plan.size)
    unit = _View(size, pose, shape, axes, 1.0, np.zeros(2))
    w, h = plan.size
    outline = unit.photo_points(
        np.array([(-_BENCH, -_BENCH), (w + _BENCH, -_BENCH), (w + _BENCH, h + _BENCH), (-_BENCH, h + _BENCH)])
    )
    low, high = outline.min(axis=0), outline.max(axis=0)
    focal = float(min(np.array(shape[::-1]) / (high - low)))
    shift = np.array(shape[::-1]) / 2 - focal * (low + high) / 2
    return _View(size, pose, shape, axes, focal, shift)
