"""Photographs that are harder on a card finder than `tests.scenes.cards`: one kind of trouble each."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.scene import Scene, Shadow, Thing, project, rectangle, tilt
from tests.scenes.spectra import LIGHTS, FloatArray, bump, edge, flat
from tests.scenes.surface import Surface, blot, plain, smooth_noise
from tests.scenes.woods import any_wood, board

WIDTH, HEIGHT = 1200, 900
Rng = np.random.Generator


@dataclass(frozen=True, eq=False)
class Trouble:
    """A photograph and the true cards in it."""

    kind: str
    #: (h, w, 3) uint8
    encoded_rgb: FloatArray
    #: (n, 4, 2) pixels; each of them may be taken for the card.
    cards: FloatArray


def troubles(n: int, seed: int) -> Iterator[Trouble]:
    """`n` photographs of each kind."""
    for number, (kind, make) in enumerate(KINDS.items()):
        for index in range(n):
            yield make(kind, np.random.default_rng([seed, number, index]))


def photograph(
    kind: str, rng: Rng, laid: list[Thing], cards: list[FloatArray], *, quality: int = 95,
    lighting: dict[str, object] | None = None, clouds: tuple = (), **camera: object,
) -> Trouble:  # fmt: skip
    wood = Thing(
        "wood", "wood",
        board(any_wood(rng), (HEIGHT, WIDTH), rng, period=rng.uniform(10, 50), angle=rng.uniform(-90, 90),
              cathedral=float(rng.choice([0, 400])), pores=rng.uniform(0, 0.8)),
        rectangle((WIDTH / 2, HEIGHT / 2), (WIDTH, HEIGHT)),
    )  # fmt: skip
    scene = Scene(WIDTH, HEIGHT, (wood, *laid), clouds)
    light = Lighting(str(rng.choice(LIGHTS)), tuple(rng.normal(0, 0.1, 2).tolist()), rng.uniform(0, 0.25),
                     **(lighting or {}))  # fmt: skip
    settings = {"blur": float(rng.choice([0.6, 1.2])), "noise": rng.uniform(0.003, 0.015), **camera}
    encoded = scene.photograph(light, Camera.typical(rng, **settings), rng).encoded_rgb
    jpeg = cv2.imencode(".jpg", encoded[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return Trouble(kind, cv2.imdecode(jpeg, cv2.IMREAD_COLOR)[..., ::-1], np.array(cards).reshape(-1, 4, 2))


def place(rng: Rng, low: float, high: float, aspect: float | None = None, angle: float | None = None) -> FloatArray:
    """A quad wholly in the frame that covers between `low` and `high` of it, seen from a tipped camera."""
    while True:
        area = rng.uniform(low, high) * WIDTH * HEIGHT
        ratio = rng.choice([1.0, 1.25, 1.4]) if aspect is None else aspect
        size = (np.sqrt(area * ratio), np.sqrt(area / ratio))
        turn = float(rng.choice([rng.normal(0, 5), rng.uniform(-90, 90)])) if angle is None else angle
        view = tilt(WIDTH, HEIGHT, rng.normal(0, 8), rng.normal(0, 8))
        quad = project(view, rectangle(tuple(rng.uniform([0, 0], [WIDTH, HEIGHT])), size, turn))
        if (quad > 8).all() and (quad < [WIDTH - 8, HEIGHT - 8]).all():
            return quad


def thing(surface: Surface, quad: FloatArray, rng: Rng) -> Thing:
    return Thing("thing", "thing", surface, quad, Shadow(rng.uniform(0.1, 0.5), tuple(rng.uniform(-6, 6, 2)), 4))


def _card(quad: FloatArray, rng: Rng) -> Thing:
    return thing(things.gray_card(), quad, rng)


def _large(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.25, 0.6, angle=rng.normal(0, 4))
    return photograph(kind, rng, [_card(quad, rng)], [quad])


def _exposure(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.04, 0.2)
    return photograph(kind, rng, [_card(quad, rng)], [quad], white_level=float(np.exp(rng.uniform(-0.9, 0.3))))


def _shaded(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.05, 0.2)
    clouds = ((*(quad.mean(0) + rng.normal(0, 80, 2)), *rng.uniform(60, 150, 2), rng.uniform(0.2, 0.6)),)
    return photograph(kind, rng, [_card(quad, rng)], [quad], clouds=clouds)


def _glare(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.05, 0.2)
    spot = (*(quad.mean(0) / WIDTH), rng.uniform(0.03, 0.1), rng.uniform(0.02, 0.3))
    return photograph(kind, rng, [_card(quad, rng)], [quad], lighting={"glare": spot})


def _phone(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.04, 0.2)
    return photograph(kind, rng, [_card(quad, rng)], [quad], quality=45, local_tone=0.3, s_curve=0.35, noise=0.03)


def _printed(kind: str, rng: Rng) -> Trouble:
    """A card with a line of print and a cross."""
    quad = place(rng, 0.05, 0.2)
    mark = np.zeros((160, 240), np.uint8)
    cv2.putText(mark, "18 % gray", (20, 145), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 2)
    cv2.drawMarker(mark, (120, 80), 255, cv2.MARKER_CROSS, 20, 2)
    card = things.gray_card().overlaid(plain(flat(0.04), (160, 240)), mark / np.float32(255))
    return photograph(kind, rng, [thing(card, quad, rng)], [quad])


def _covered(kind: str, rng: Rng) -> Trouble:
    """Tape over a corner of the card."""
    quad = place(rng, 0.06, 0.2)
    tape = rectangle(tuple(quad[0] * 0.9 + quad.mean(0) * 0.1), (300, 45), rng.uniform(-90, 90))
    return photograph(kind, rng, [_card(quad, rng), thing(things.masking_tape(rng), tape, rng)], [quad])


def _on_paper(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.04, 0.1)
    paper = quad.mean(0) + (quad - quad.mean(0)) * 1.5
    return photograph(kind, rng, [thing(things.white_paper(), paper, rng), _card(quad, rng)], [quad])


def _two(kind: str, rng: Rng) -> Trouble:
    left, right = (place(rng, 0.03, 0.08) * [0.48, 1] + [offset, 0] for offset in (0, 0.52 * WIDTH))
    return photograph(kind, rng, [_card(left, rng), _card(right, rng)], [left, right])


def alone(surface: Callable[[Rng], Surface], low: float, high: float, aspect: float | None = None, **camera: float):
    """One thing that is no card."""

    def make(kind: str, rng: Rng) -> Trouble:
        drawn = {name: float(np.exp(rng.uniform(-most, most))) * 0.75 for name, most in camera.items()}
        return photograph(kind, rng, [thing(surface(rng), place(rng, low, high, aspect), rng)], [], **drawn)

    return make


def _colored(rng: Rng) -> Surface:
    """Smooth and strongly colored: red, green, blue or purple paint."""
    base = [1 - edge(600, 20), bump(530, 40), bump(450, 40), bump(440, 40) + 1 - edge(620, 20)][rng.integers(4)]
    return plain(0.05 + rng.uniform(0.15, 0.4) * base)


def _filler(kind: str, rng: Rng) -> Trouble:
    """A smooth gray patch of filler with a wandering outline."""
    shape = (HEIGHT, WIDTH)
    mask = blot(shape, tuple(rng.uniform([400, 300], [800, 600])), tuple(rng.uniform(90, 200, 2)), rng, softness=4)
    shares = np.stack([mask, 1 - mask], -1).astype(np.float32)
    gray = Surface(shares, np.stack([flat(rng.uniform(0.15, 0.35)), things.FIBERBOARD]))
    grit = (1 + 0.15 * smooth_noise(shape, (40, 3), rng))[..., None]
    textured = Surface(np.concatenate([shares[..., :1], shares[..., 1:] * grit], -1), gray.reflectances)
    return photograph(kind, rng, [Thing("wood", "wood", textured, rectangle((600, 450), (1200, 900)))], [])


def _three_steps(kind: str, rng: Rng) -> Trouble:
    quad = place(rng, 0.09, 0.3, aspect=3.0, angle=rng.normal(0, 5))
    first, second = (quad[0] + (quad[1] - quad[0]) * t for t in (1 / 3, 2 / 3))
    fourth, third = (quad[3] + (quad[2] - quad[3]) * t for t in (1 / 3, 2 / 3))
    gray = np.array([first, second, third, fourth])
    return photograph(kind, rng, [thing(things.three_step_card(), quad, rng)], [gray])


#: What the photographs show. Where `cards` is empty, asking is the only right answer.
KINDS: dict[str, Callable[[str, Rng], Trouble]] = {
    "large card": _large,
    "bright or dark photo": _exposure,
    "shadow on the card": _shaded,
    "glare on the card": _glare,
    "noisy phone, JPEG 45": _phone,
    "printed card": _printed,
    "covered corner": _covered,
    "card on white paper": _on_paper,
    "two cards": _two,
    "three-step card": _three_steps,
    "chart only": alone(lambda rng: things.chart(), 0.3, 0.7, 1.4),
    "white paper only": alone(lambda rng: things.white_paper(), 0.04, 0.2, 1.4, white_level=0.35),
    "black plate only": alone(lambda rng: plain(flat(0.04)), 0.04, 0.2, 1.4, white_level=0.35),
    "colored board only": alone(_colored, 0.04, 0.2),
    "gray cloth only": alone(lambda rng: things.gray_cloth(rng), 0.04, 0.2),
    "brushed gray only": alone(lambda rng: things.gray_painted(rng), 0.04, 0.2),
    "gray filler only": _filler,
}
