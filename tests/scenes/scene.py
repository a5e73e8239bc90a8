"""Scenes: surfaces laid on a bench, photographed, with the truth about every pixel box.

Pixel coordinates are continuous: x from 0 to the width, so pixel i covers i to i + 1. A quad lists the corners of a
thing clockwise from its own top left.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.scenes import spectra
from tests.scenes.camera import Camera, Lighting, develop, raw_weights, sensitivities
from tests.scenes.spectra import FloatArray
from tests.scenes.surface import Surface

#: OpenCV warps at most four channels: three of a basis and the coverage.
_CHANNELS = 3
Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class Shadow:
    """What a thing's edge, raised above the bench, takes from the light beside it."""

    #: Share of the light that is lost in the middle of the shadow.
    depth: float = 0.35
    #: Pixels, right and down, by which the shadow lies off the thing.
    offset: tuple[float, float] = (3.0, 4.0)
    #: Standard deviation of the soft edge, pixels.
    softness: float = 4.0


@dataclass(frozen=True, eq=False)
class Thing:
    """A surface somewhere in the photograph."""

    name: str
    #: "wood", "gray card", "three-step card", "chart", "chip", "bench" or "distractor".
    kind: str
    surface: Surface
    #: (4, 2) pixels: where the surface's corners fall.
    quad: FloatArray
    shadow: Shadow | None = None

    @property
    def lab(self) -> FloatArray:
        """(3,) true CIELAB of the whole thing."""
        return self.surface.lab()


@dataclass(frozen=True, eq=False)
class Photograph:
    """What the camera saved, with what was in front of it."""

    #: (h, w, 3) uint8 or uint16 encoded; float32 linear when the camera is raw-like.
    encoded_rgb: FloatArray
    scene: "Scene"
    lighting: Lighting
    camera: Camera


@dataclass(frozen=True, eq=False)
class Scene:
    """Things in the order in which they were laid down; the first should cover the frame."""

    width: int
    height: int
    things: tuple[Thing, ...]
    #: Soft shadows of things outside the frame: center x, y, radius x, y in pixels, and depth.
    clouds: tuple[tuple[float, float, float, float, float], ...] = field(default=())

    def __getitem__(self, name: str) -> Thing:
        return next(thing for thing in self.things if thing.name == name)

    def seen_by(self, weights: FloatArray, box: Box | None = None) -> FloatArray:
        """(h, w, n) float32 responses for (81, n) spectral weights in even light, of the frame or of a box in it."""
        return self._lay([thing.surface.reflectances @ weights for thing in self.things], box)

    def tone_shares(self, box: Box) -> list[FloatArray]:
        """For each thing, in order, the mean share (tones,) that each of its tones has in a box (x, y, w, h)."""
        counts = [len(thing.surface.reflectances) for thing in self.things]
        ends = np.cumsum(counts)[:-1]
        own = np.split(np.eye(sum(counts)), ends)
        return np.split(self._lay(own, box).mean((0, 1), dtype=float), ends)

    def mean_reflectance(self, box: Box) -> FloatArray:
        """(81,) true mean reflectance of the pixels of a box (x, y, w, h)."""
        shares = self.tone_shares(box)
        return sum(share @ thing.surface.reflectances for share, thing in zip(shares, self.things, strict=True))

    def lab(self, box: Box) -> FloatArray:
        """(3,) true CIELAB (D65, 2 degrees) of the mean reflectance of a box."""
        return spectra.xyz_to_lab(self.seen_by(spectra.observer(), box).mean((0, 1), dtype=float))

    def shading(self) -> FloatArray:
        """(h, w) float32 share of the light that the shadows leave."""
        shading = np.ones((self.height, self.width), np.float32)
        for thing in self.things:
            if thing.shadow is not None:
                _cast(shading, thing.quad, thing.shadow)
        y, x = np.mgrid[: self.height, : self.width].astype(np.float32)
        for center_x, center_y, radius_x, radius_y, depth in self.clouds:
            away = ((x - center_x) / radius_x) ** 2 + ((y - center_y) / radius_y) ** 2
            shading *= 1 - depth * np.exp(-0.5 * away)
        return shading

    def photograph(self, lighting: Lighting, camera: Camera, rng: np.random.Generator) -> Photograph:
        """Light the scene, expose and develop it. The camera balances for the first light."""
        shape = (self.height, self.width)
        raw = self.seen_by(raw_weights(camera.name, lighting.light))
        if lighting.second is not None:
            # Balanced for the first light, the second keeps its cast: raw of white differs from 1, 1, 1.
            sensed = sensitivities(camera.name)
            cast = spectra.light(lighting.second) @ sensed / (spectra.light(lighting.light) @ sensed)
            other = self.seen_by(raw_weights(camera.name, lighting.second) * cast / cast[1])
            share = lighting.second_field(shape)[..., None]
            raw = raw * (1 - share) + other * share
        light = lighting.field(shape) * self.shading()
        raw = raw * light[..., None] + np.atleast_3d(lighting.glare_field(shape))
        encoded_rgb = develop(raw.astype(np.float32), lighting.light, camera, rng)
        return Photograph(encoded_rgb, self, lighting, camera)

    def _lay(self, responses: list[FloatArray], box: Box | None) -> FloatArray:
        """Place every thing, whose tones respond (tones, n), one over the other."""
        left, top, width, height = box or (0, 0, self.width, self.height)
        canvas = np.zeros((height, width, responses[0].shape[1]), np.float32)
        for first in range(0, canvas.shape[2], _CHANNELS):
            some = np.s_[..., first : first + _CHANNELS]
            for thing, response in zip(self.things, responses, strict=True):
                _place(canvas[some], thing.surface, response[some], thing.quad - [left, top])
        return canvas


def _place(canvas: FloatArray, surface: Surface, response: FloatArray, quad: FloatArray) -> None:
    """Warp a surface, whose tones respond (tones, n), into its quad on the canvas, edges antialiased."""
    window = _window(quad, canvas.shape, margin=1)
    if window is None:
        return
    x0, y0, x1, y1 = window
    texture = surface.mix(response)
    # Brought to the frame's pixel pitch first, one bilinear warp neither aliases nor blurs much.
    sides = np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1)
    size = (max(2, round((sides[0] + sides[2]) / 2)), max(2, round((sides[1] + sides[3]) / 2)))
    if size != texture.shape[1::-1]:
        shrinks = size[0] * size[1] < texture.shape[0] * texture.shape[1]
        texture = cv2.resize(texture, size, interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR)
        texture = texture.reshape(size[1], size[0], canvas.shape[2])
    layer = np.concatenate([texture, np.ones((*texture.shape[:2], 1), np.float32)], axis=2)
    corners = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], np.float32)
    # OpenCV puts whole coordinates at pixel centers, we at pixel edges.
    warp = cv2.getPerspectiveTransform(corners - 0.5, (quad - [x0, y0] - 0.5).astype(np.float32))
    layer = cv2.warpPerspective(layer, warp, (x1 - x0, y1 - y0), flags=cv2.INTER_LINEAR)
    below = canvas[y0:y1, x0:x1]
    below *= 1 - layer[..., -1:]
    below += layer[..., :-1]


def _cast(shading: FloatArray, quad: FloatArray, shadow: Shadow) -> None:
    """Darken beside a thing; the thing itself lies above the shadows of what was laid before."""
    margin = int(3 * shadow.softness + max(map(abs, shadow.offset))) + 2
    window = _window(quad, shading.shape, margin)
    if window is None:
        return
    x0, y0, x1, y1 = window
    # The blur has to see the part of the shadow that lies outside the frame.
    pad = int(3 * shadow.softness) + 1
    origin = np.array([x0 - pad, y0 - pad])
    shape = (y1 - y0 + 2 * pad, x1 - x0 + 2 * pad)
    dark = cv2.GaussianBlur(_filled(quad - origin + shadow.offset, shape), (0, 0), shadow.softness)
    covered = _filled(quad - origin, shape)
    inner = np.s_[pad : pad + y1 - y0, pad : pad + x1 - x0]
    dark, covered = dark[inner], covered[inner]
    shading[y0:y1, x0:x1] = shading[y0:y1, x0:x1] * (1 - shadow.depth * dark) * (1 - covered) + covered


def _filled(quad: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """(h, w) float32 coverage of a quad, antialiased to 1/16 pixel."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round((quad - 0.5) * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
    return mask.astype(np.float32) / 255


def _window(quad: FloatArray, shape: tuple[int, ...], margin: int) -> Box | None:
    """The pixels around a quad, x0, y0, x1, y1, inside the frame; None when it lies outside."""
    low, high = np.floor(quad.min(0)) - margin, np.ceil(quad.max(0)) + margin
    x0, y0 = np.maximum(low, 0).astype(int)
    x1, y1 = np.minimum(high, [shape[1], shape[0]]).astype(int)
    return (int(x0), int(y0), int(x1), int(y1)) if x1 > x0 and y1 > y0 else None


def box_inside(quad: FloatArray, share: float = 0.6) -> Box:
    """A pixel box about a quad's middle, `share` of its extent; inside it as long as it is not turned far."""
    middle, half = quad.mean(0), np.ptp(quad, axis=0) * share / 2
    x, y = np.ceil(middle - half).astype(int)
    x1, y1 = np.floor(middle + half).astype(int)
    return int(x), int(y), int(x1 - x), int(y1 - y)


def rectangle(center: tuple[float, float], size: tuple[float, float], angle: float = 0.0) -> FloatArray:
    """(4, 2) corners of a rectangle turned by `angle` degrees from the x axis towards y."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2 * size
    return corners @ np.array([[c, s], [-s, c]]) + center


def tilt(width: int, height: int, pitch: float, yaw: float) -> FloatArray:
    """(3, 3) homography of the frame for a camera tipped by `pitch` and `yaw` degrees, about the frame's middle."""
    focal = 1.2 * max(width, height)
    p, q = np.radians(pitch), np.radians(yaw)
    about_x = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    about_y = np.array([[np.cos(q), 0, np.sin(q)], [0, 1, 0], [-np.sin(q), 0, np.cos(q)]])
    rotation = about_x @ about_y
    # The bench is the plane z = focal in front of the camera, turned about its own middle.
    plane = np.column_stack([rotation[:, 0], rotation[:, 1], [0, 0, focal]])
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    homography = lens @ plane @ np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    return homography / homography[2, 2]


def project(homography: FloatArray, points: FloatArray) -> FloatArray:
    """(n, 2) points through a homography."""
    homogeneous = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return homogeneous[:, :2] / homogeneous[:, 2:]
