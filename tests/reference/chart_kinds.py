"""Photographs that test the finder of charts: whole, partly hidden, cut by the frame, and things that resemble one."""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from tests.reference.charts import chart_surface
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.scene import Scene, Shadow, Thing, project, rectangle, tilt
from tests.scenes.spectra import LIGHTS, FloatArray, edge, flat
from tests.scenes.surface import Surface, plain
from tests.scenes.woods import any_wood, board

WIDTH, HEIGHT = 1600, 1200
#: Longer side of a chart over the frame's width; a camera tipped by up to so many degrees; a whole quarter turn and
#: so many degrees (standard deviation) beside it.
SMALLEST, LARGEST, MOST_TIPPED, ASKEW = 0.15, 1.0, 25.0, 6.0
#: Pixels between a whole chart and the frame.
CLEAR = 4
Rng = np.random.Generator


@dataclass(frozen=True, eq=False)
class ChartScene:
    """A photograph, and the chart that may be taken from it."""

    kind: str
    #: (h, w, 3) uint8
    encoded_rgb: FloatArray
    #: (4, 2) pixels; corners of the block of patches, dark skin's first; None where nothing may be found.
    corners: FloatArray | None
    #: Longer side of the chart over the frame's width, before the tilt; 0 where there is none.
    share: float


def chart_scenes(kind: str, n: int, seed: int) -> Iterator[ChartScene]:
    """`n` photographs of one of `KINDS`."""
    for index in range(n):
        yield _scene(kind, np.random.default_rng([seed, KINDS.index(kind), index]))


def _scene(kind: str, rng: Rng) -> ChartScene:
    share, quad, view = _placed(kind, rng)
    laid, corners = [], None
    if kind in ("whole", "covered", "cut"):
        # From 2 to 5 texture pixels of a patch's 30 lie between patches, and a rim of a tenth to half a patch about it.
        gap, rim = int(rng.integers(2, 6)), int(rng.integers(3, 16))
        data = str(rng.choice(["BabelColor Average", "ISO 17321-1"]))
        surface = chart_surface(data, gap=gap, rim=rim)
        margin = rim / np.array(surface.shape[::-1], float)
        block = np.array([margin, [1 - margin[0], margin[1]], 1 - margin, [margin[0], 1 - margin[1]]], np.float32)
        corners = _within(quad, block)
        laid.append(_thing("chart", surface, quad, rng))
        if kind == "covered":
            laid.append(_cover(corners, rng))
    elif kind != "wood":
        laid.append(_thing("other", _LIKE_A_CHART[kind](rng), quad, rng))
    for surface, extent in (
        (things.white_paper(), (370, 480)),
        (things.metal_ruler(rng), (900, 60)),
        (things.sandpaper(rng), (350, 300)),
        (things.masking_tape(rng), (440, 66)),
        (things.gray_card(), (300, 210)),
    ):
        if rng.random() < 0.25:
            place = rectangle(tuple(rng.uniform([0, 0], [WIDTH, HEIGHT])), extent, rng.uniform(-90, 90))
            # Below the chart, which may lie on it.
            laid.insert(0, _thing("bystander", surface, project(view, place), rng))
    wood = board(any_wood(rng), (HEIGHT, WIDTH), rng, period=rng.uniform(14, 70), angle=rng.uniform(-90, 90),
                 cathedral=float(rng.choice([0, 400])), pores=rng.uniform(0, 0.8))  # fmt: skip
    frame = rectangle((WIDTH / 2, HEIGHT / 2), (WIDTH, HEIGHT))
    light = Lighting(str(rng.choice(LIGHTS)), tuple(rng.normal(0, 0.1, 2).tolist()), rng.uniform(0, 0.25))
    camera = Camera.typical(rng, blur=float(rng.choice([0.6, 1.2])), noise=rng.uniform(0.003, 0.015))
    scene = Scene(WIDTH, HEIGHT, (Thing("wood", "wood", wood, frame), *laid))
    encoded_rgb = scene.photograph(light, camera, rng).encoded_rgb
    return ChartScene(kind, encoded_rgb, corners if kind == "whole" else None, share if laid else 0.0)


def _placed(kind: str, rng: Rng) -> tuple[float, FloatArray, FloatArray]:
    """Share of the width before the tilt, quad and the camera's view of something of a chart's form."""
    share = float(np.exp(rng.uniform(np.log(SMALLEST), np.log(LARGEST))))
    while True:
        tipped, way = rng.uniform(0, MOST_TIPPED), rng.uniform(0, 2 * np.pi)
        view = tilt(WIDTH, HEIGHT, tipped * np.cos(way), tipped * np.sin(way))
        size = np.array([1, 0.68]) * share * WIDTH
        angle = 90 * rng.integers(4) + rng.normal(0, ASKEW)
        quad = project(view, rectangle(tuple(rng.uniform([0, 0], [WIDTH, HEIGHT])), tuple(size), angle))
        inside = ((quad >= CLEAR) & (quad <= [WIDTH - CLEAR, HEIGHT - CLEAR])).all()
        if kind == "cut":
            # Between a sixth and four fifths of it outside: no less than a column or two thirds of a row.
            if 0.2 < _share_inside(quad) < 0.83:
                return share, quad, view
        elif inside:
            return share, quad, view
        else:
            # A large one that stands upright or is tipped far doesn't fit; it ends up as large as it can be.
            share *= 0.995


def _share_inside(quad: FloatArray) -> float:
    grid = np.stack(np.meshgrid(*[np.linspace(0, 1, 30)] * 2), axis=-1).reshape(-1, 2).astype(np.float32)
    points = _within(quad, grid)
    return float(((points >= 0) & (points <= [WIDTH, HEIGHT])).all(axis=1).mean())


def _within(quad: FloatArray, points: FloatArray) -> FloatArray:
    """(n, 2) pixels of points (n, 2) in fractions of a quad."""
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    there = cv2.getPerspectiveTransform(unit, np.asarray(quad, np.float32))
    return cv2.perspectiveTransform(np.asarray(points, np.float32)[None], there)[0].astype(float)


def _thing(name: str, surface: Surface, quad: FloatArray, rng: Rng) -> Thing:
    return Thing(name, name, surface, quad, Shadow(rng.uniform(0.1, 0.5), tuple(rng.uniform(-6, 6, 2)), 4))


def _cover(corners: FloatArray, rng: Rng) -> Thing:
    """Something that hides one patch or more, up to half of the chart, and is itself partly beside it or not."""
    color = (
        plain(flat(0.2)), plain(flat(0.03)), plain(0.75 - 0.4 * edge(480, 30)), plain(0.15 + 0.4 * (1 - edge(580, 30)))
    )[rng.integers(4)]  # fmt: skip
    columns, rows = int(rng.integers(1, 4)), int(rng.integers(1, 5))
    left, top = rng.integers(0, 7 - columns), rng.integers(0, 5 - rows)
    cell = np.array([6, 4])
    low, high = (np.array([left, top]) - 0.05) / cell, (np.array([left + columns, top + rows]) + 0.05) / cell
    quad = _within(corners, np.array([low, [high[0], low[1]], high, [low[0], high[1]]]))
    return _thing("cover", color, quad, rng)


def _squares(rows: int, columns: int, reflectances: FloatArray, gap: int = 4, ground: float = 0.03) -> Surface:
    """A grid of squares (rows * columns, 81) on a plain ground."""
    side, rim = 30, 8
    tone = np.full([2 * rim + count * (side + gap) - gap for count in (rows, columns)], rows * columns)
    for index in range(rows * columns):
        row, column = divmod(index, columns)
        top, left = rim + row * (side + gap), rim + column * (side + gap)
        tone[top : top + side, left : left + side] = index
    tones = np.concatenate([reflectances, flat(ground)[None]])
    return Surface(np.eye(len(tones), dtype=np.float32)[tone], tones)


def _colors(count: int, rng: Rng) -> FloatArray:
    """(count, 81) smooth reflectances of all hues."""
    middles, widths = rng.uniform(420, 680, count), rng.uniform(20, 60, count)
    heights, floors = rng.uniform(-0.6, 0.6, count), rng.uniform(0.05, 0.8, count)
    return np.stack([
        np.clip(floor + height * edge(middle, width), 0.03, 0.9)
        for middle, width, height, floor in zip(middles, widths, heights, floors, strict=True)
    ])  # fmt: skip


def _other_order(rng: Rng) -> Surface:
    """The patches of a chart in another order, or mirrored."""
    surface = chart_surface()
    if rng.random() < 0.5:
        return Surface(np.ascontiguousarray(surface.shares[:, ::-1]), surface.reflectances)
    order = np.concatenate([rng.permutation(24), [24]])
    return Surface(surface.shares, surface.reflectances[order])


def _keyboard(rng: Rng) -> Surface:
    light = rng.random() < 0.5
    keys = flat(0.75 if light else 0.06) * rng.normal(1, 0.03, (60, 1))
    return _squares(5, 12, keys, gap=5, ground=0.4 if light else 0.02)


_LIKE_A_CHART = {
    "other patches": lambda rng: _squares(4, 6, _colors(24, rng)),
    "other order": _other_order,
    "larger grid": lambda rng: _squares(7, 10, _colors(70, rng)),
    "tiles": lambda rng: _squares(5, 7, (0.5 - 0.2 * edge(500, 40)) * rng.normal(1, 0.15, (35, 1)), ground=0.5),
    "keyboard": _keyboard,
}
#: What the photographs show: a whole chart, which is to be found, and what mustn't be taken for one.
KINDS = ("whole", "covered", "cut", "wood", *_LIKE_A_CHART)
