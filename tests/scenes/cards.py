"""Photographs that test a card finder: it may be right, ask, or be silently wrong."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.scene import Photograph, Scene, Shadow, Thing, project, rectangle, tilt
from tests.scenes.spectra import LIGHTS, FloatArray
from tests.scenes.surface import Surface
from tests.scenes.woods import any_wood, board

WIDTH, HEIGHT = 1200, 900
#: Of the scenes, how many show no card at all, and a card that the frame cuts.
NO_CARD, CUT_CARD = 0.2, 0.1
#: And how many have a bench of concrete, nearly as gray as a card.
GRAY_BENCH = 0.25
#: Share of the frame that a card covers.
SMALLEST_CARD, LARGEST_CARD = 0.03, 0.20
#: Longer over shorter side of gray cards.
ASPECTS = (1.0, 1.25, 1.4, 1.6)


@dataclass(frozen=True, eq=False)
class CardScene:
    """One photograph and where its card truly lies."""

    photograph: Photograph
    #: (4, 2) pixels; None when there is no card. A cut card's quad reaches out of the frame.
    card_quad: FloatArray | None
    #: The card is partly outside the frame.
    cut: bool
    #: What it shows, for a report: wood in view, light, distractors, card size.
    facts: dict[str, object]


def card_scenes(
    n: int = 200, seed: int = 1, surface: Surface | None = None, aspects: Sequence[float] = ASPECTS
) -> Iterator[CardScene]:
    """`n` photographs of wood with a card (gray by default), a cut one or none, among things that resemble one."""
    for index in range(n):
        yield card_scene(np.random.default_rng([seed, index]), surface or things.gray_card(), aspects)


def card_scene(rng: np.random.Generator, card: Surface, aspects: Sequence[float]) -> CardScene:
    view = tilt(WIDTH, HEIGHT, rng.normal(0, 8), rng.normal(0, 8))
    wood = Thing(
        "wood", "wood",
        board(any_wood(rng), (HEIGHT, WIDTH), rng, period=rng.uniform(10, 50), angle=rng.uniform(-90, 90),
              cathedral=float(rng.choice([0, 400])), pores=rng.uniform(0, 0.8)),
        project(view, rectangle(
            (rng.uniform(0.4, 0.6) * WIDTH, rng.uniform(0.4, 0.6) * HEIGHT),
            (rng.uniform(0.7, 1.5) * WIDTH, rng.uniform(0.6, 1.5) * HEIGHT), rng.normal(0, 10))),
        Shadow(0.5, (8, 10), 10),
    )  # fmt: skip
    color = things.CONCRETE if rng.random() < GRAY_BENCH else things.FIBERBOARD
    frame = rectangle((WIDTH / 2, HEIGHT / 2), (WIDTH, HEIGHT))
    bench = Thing("bench", "bench", things.bench_top((HEIGHT, WIDTH), rng, color), frame)
    laid = [bench, wood]

    kind = rng.choice(["card", "none", "cut"], p=[1 - NO_CARD - CUT_CARD, NO_CARD, CUT_CARD])
    card_quad, share = None, 0.0
    if kind != "none":
        share = float(np.exp(rng.uniform(np.log(SMALLEST_CARD), np.log(LARGEST_CARD))))
        card_quad = _card_quad(rng, view, share, aspects, cut=kind == "cut")
    chosen = rng.permutation(list(_DISTRACTORS))[: rng.integers(0, 4)]
    for name in chosen:
        quad = _clear_of(card_quad, rng, view, _DISTRACTORS[name][1])
        if quad is not None:
            laid.append(Thing(name, "distractor", _DISTRACTORS[name][0](rng), quad, Shadow(rng.uniform(0.1, 0.5))))
    if card_quad is not None:
        offset = tuple(rng.uniform(-6, 6, 2).tolist())
        shadow = Shadow(rng.uniform(0.1, 0.5), offset, rng.uniform(1.5, 8))
        laid.append(Thing("card", "card", card, card_quad, shadow))

    clouds = tuple(
        (rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT), rng.uniform(80, 400), rng.uniform(80, 400),
         rng.uniform(0.1, 0.5))
        for _ in range(rng.integers(0, 3))
    )  # fmt: skip
    lighting = Lighting(
        str(rng.choice(LIGHTS)), tuple(rng.normal(0, 0.1, 2).tolist()), rng.uniform(0, 0.25),
    )  # fmt: skip
    camera = Camera.typical(rng, blur=float(rng.choice([0, 0.6, 1.2])), noise=rng.uniform(0.003, 0.015))
    photograph = Scene(WIDTH, HEIGHT, tuple(laid), clouds).photograph(lighting, camera, rng)
    facts = {"kind": str(kind), "card_share": round(share, 3), "light": lighting.light,
             "distractors": [thing.name for thing in laid if thing.kind == "distractor"]}  # fmt: skip
    return CardScene(photograph, card_quad, kind == "cut", facts)


_DISTRACTORS = {
    "white paper": (lambda rng: things.white_paper(), (260, 360)),
    "metal ruler": (lambda rng: things.metal_ruler(rng), (700, 45)),
    "gray cloth": (lambda rng: things.gray_cloth(rng, rng.uniform(0.12, 0.3)), (320, 280)),
    "dark tape": (lambda rng: things.dark_tape(), (360, 50)),
    "painted board": (lambda rng: things.gray_painted(rng), (260, 200)),
    "masking tape": (lambda rng: things.masking_tape(rng), (330, 50)),
    "sandpaper": (lambda rng: things.sandpaper(rng), (260, 220)),
}


def _card_quad(
    rng: np.random.Generator, view: FloatArray, share: float, aspects: Sequence[float], *, cut: bool
) -> FloatArray:
    """A card that covers `share` of the frame before the tilt; wholly inside, or with 20 to 80 % of it outside."""
    aspect = rng.choice(aspects)
    area = share * WIDTH * HEIGHT
    size = (np.sqrt(area * aspect), np.sqrt(area / aspect))
    while True:
        center = rng.uniform([0, 0], [WIDTH, HEIGHT])
        quad = project(view, rectangle(tuple(center), size, rng.choice([rng.normal(0, 8), rng.uniform(-90, 90)])))
        if cut:
            inside = _share_inside(quad)
            if 0.2 <= inside <= 0.8:
                return quad
        elif (quad >= 6).all() and (quad <= [WIDTH - 6, HEIGHT - 6]).all():
            return quad


def _share_inside(quad: FloatArray) -> float:
    """Share of a quad's area that lies inside the frame, from a grid of points in it."""
    u, v = (axis.ravel()[:, None] for axis in np.meshgrid(*[np.linspace(0.02, 0.98, 25)] * 2))
    points = (1 - u) * (1 - v) * quad[0] + u * (1 - v) * quad[1] + u * v * quad[2] + (1 - u) * v * quad[3]
    return float(((points >= 0) & (points <= [WIDTH, HEIGHT])).all(1).mean())


def _clear_of(
    card: FloatArray | None, rng: np.random.Generator, view: FloatArray, size: tuple[float, float]
) -> FloatArray | None:
    """A place for a distractor whose middle circle stays off the card; None when none was found."""
    for _ in range(20):
        center = rng.uniform([0, 0], [WIDTH, HEIGHT])
        quad = project(view, rectangle(tuple(center), np.multiply(size, rng.uniform(0.7, 1.2)), rng.uniform(-90, 90)))
        if card is None:
            return quad
        reach = np.ptp(quad, axis=0).max() / 2 + np.ptp(card, axis=0).max() / 2
        if np.linalg.norm(quad.mean(0) - card.mean(0)) > reach:
            return quad
    return None
