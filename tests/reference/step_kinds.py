"""Photographs that are hard on a finder of three-step cards: one kind of trouble each."""

import itertools
from collections.abc import Callable, Iterator

import cv2
import numpy as np

from tests.reference.card_kinds import Rng, Trouble, alone, photograph, place, thing
from tests.scenes import things
from tests.scenes.scene import rectangle
from tests.scenes.spectra import FloatArray, flat
from tests.scenes.surface import Surface, plain
from tests.scenes.things import THREE_STEPS

#: Longer over shorter side of three-step cards: steps from upright to lying ones.
ASPECTS = (1.5, 2.0, 3.0, 4.0)
#: Ways in which white, gray and black may follow each other.
ORDERS = tuple(itertools.permutations(range(3)))


def step_quads(quad: FloatArray, order: tuple[int, ...]) -> FloatArray:
    """(3, 4, 2) corners of the white, the gray and the black step of a card that lies in `quad`."""
    to_quad = cv2.getPerspectiveTransform(
        np.array([[0, 0], [3, 0], [3, 1], [0, 1]], np.float32), quad.astype(np.float32)
    )
    cells = np.array([[[i, 0], [i + 1, 0], [i + 1, 1], [i, 1]] for i in np.argsort(order)], np.float32)
    return cv2.perspectiveTransform(cells.reshape(1, -1, 2), to_quad)[0].reshape(3, 4, 2)


def ordered_card(order: tuple[int, ...]) -> Surface:
    return things.three_step_card(steps=tuple(THREE_STEPS[i] for i in order))


def step_troubles(n: int, seed: int) -> Iterator[Trouble]:
    """`n` photographs of each kind; ``cards`` holds the white, the gray and the black step, or nothing."""
    for number, (kind, make) in enumerate(KINDS.items()):
        for index in range(n):
            yield make(kind, np.random.default_rng([seed, number, index]))


def _card(kind: str, rng: Rng, low: float, high: float, **settings: object) -> Trouble:
    quad = place(rng, low, high, aspect=float(rng.choice(ASPECTS)))
    order = ORDERS[rng.integers(6)]
    return photograph(kind, rng, [thing(ordered_card(order), quad, rng)], list(step_quads(quad, order)), **settings)


def _exposure(kind: str, rng: Rng) -> Trouble:
    return _card(kind, rng, 0.04, 0.2, white_level=float(np.exp(rng.uniform(-0.9, 0.1))))


def _phone(kind: str, rng: Rng) -> Trouble:
    return _card(kind, rng, 0.05, 0.2, quality=45, local_tone=0.3, s_curve=0.35, noise=0.03)


def _shaded(kind: str, rng: Rng) -> Trouble:
    quad, order = place(rng, 0.06, 0.2, aspect=3.0), ORDERS[rng.integers(6)]
    clouds = ((*(quad.mean(0) + rng.normal(0, 80, 2)), *rng.uniform(60, 150, 2), rng.uniform(0.2, 0.6)),)
    laid = [thing(ordered_card(order), quad, rng)]
    return photograph(kind, rng, laid, list(step_quads(quad, order)), clouds=clouds)


def _printed(kind: str, rng: Rng) -> Trouble:
    """A card with a printed word on its gray step, and gaps between the steps."""
    quad, order = place(rng, 0.06, 0.2, aspect=3.0), ORDERS[rng.integers(6)]
    mark = np.zeros((120, 360), np.uint8)
    cv2.putText(mark, "18 %", (int(np.argsort(order)[1]) * 120 + 30, 110), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 255, 1)
    mark[:, 117:123] = mark[:, 237:243] = 255
    card = ordered_card(order).overlaid(plain(flat(0.5), (120, 360)), mark / np.float32(255))
    return photograph(kind, rng, [thing(card, quad, rng)], list(step_quads(quad, order)))


def _on_paper(kind: str, rng: Rng) -> Trouble:
    quad, order = place(rng, 0.05, 0.1, aspect=3.0), ORDERS[rng.integers(6)]
    paper = quad.mean(0) + (quad - quad.mean(0)) * 1.5
    laid = [thing(things.white_paper(), paper, rng), thing(ordered_card(order), quad, rng)]
    return photograph(kind, rng, laid, list(step_quads(quad, order)))


def _covered(kind: str, rng: Rng) -> Trouble:
    """A hand's breadth of something over an end of the card: from a third of a step to one and a half of them."""
    quad, order = place(rng, 0.06, 0.25, aspect=3.0), ORDERS[rng.integers(6)]
    share = rng.uniform(1 / 9, 1 / 2)
    low, high = (quad[a] + (quad[b] - quad[a]) * share for a, b in ((0, 1), (3, 2)))
    away = (quad[0] - quad[1]) * 0.1
    across = (quad[3] - quad[0]) * 0.2
    cover = np.array([quad[0] + away - across, low - across, high + across, quad[3] + away + across])
    surface = [things.white_paper(), things.dark_tape(), things.gray_cloth(rng), things.masking_tape(rng),
               things.gray_card()][rng.integers(5)]  # fmt: skip
    # The right answers are to ask, or to give a region whose steps are true all the same.
    return photograph(kind, rng, [thing(ordered_card(order), quad, rng), thing(surface, cover, rng)],
                      list(step_quads(quad, order)))  # fmt: skip


def _row(steps: Callable[[Rng], list[FloatArray]], aspect: float) -> Callable[[str, Rng], Trouble]:
    """A strip of such reflectances that is no three-step card."""

    def make(kind: str, rng: Rng) -> Trouble:
        tones = steps(rng)
        step = np.arange(360) * len(tones) // 360
        shares = np.broadcast_to(np.eye(len(tones), dtype=np.float32)[step], (120, 360, len(tones)))
        surface = Surface(np.ascontiguousarray(shares), np.stack(tones))
        return photograph(kind, rng, [thing(surface, place(rng, 0.06, 0.25, aspect=aspect), rng)], [])

    return make


def _colors(rng: Rng) -> list[FloatArray]:
    """Light, middle and dark like the card, but a paint of one hue."""
    from tests.scenes.spectra import bump, edge

    hue = [1 - edge(590, 25), bump(540, 50), bump(460, 50)][rng.integers(3)]
    return [np.clip(level * (0.35 + 0.65 * hue), 0, 1) for level in rng.permutation([0.9, 0.25, 0.06])]


def _near_grays(rng: Rng) -> list[FloatArray]:
    """Three grays of a wedge, too near each other for white, gray and black."""
    return [flat(value) for value in rng.permutation([0.6, 0.33, 0.18])]


def _apart(kind: str, rng: Rng) -> Trouble:
    """White paper, a gray card and black tape of unequal sizes side by side."""
    laid, left = [], 200.0
    for surface in rng.permutation(3):
        width, height = rng.uniform(120, 200), rng.uniform(120, 260)
        made = [things.white_paper(), things.gray_card(), things.dark_tape()][surface]
        quad = rectangle((left + width / 2, 450 + rng.uniform(-30, 30)), (width, height), rng.normal(0, 4))
        laid.append(thing(made, quad, rng))
        left += width + rng.uniform(10, 60)
    return photograph(kind, rng, laid, [])


def _two_of_three(rng: Rng) -> list[FloatArray]:
    return [flat(value) for value in (rng.permutation(THREE_STEPS)[:2]).tolist()]


def _two_cards(kind: str, rng: Rng) -> Trouble:
    """Two whole cards; either may be taken."""
    quads = [rectangle((600 + rng.uniform(-80, 80), y), (480, 160), rng.normal(0, 6)) for y in (250, 650)]
    steps = [step_quads(quad, ORDERS[0]) for quad in quads]
    return photograph(kind, rng, [thing(ordered_card(ORDERS[0]), quad, rng) for quad in quads], steps)


#: What the photographs show. Where `cards` is empty, asking is the only right answer.
KINDS: dict[str, Callable[[str, Rng], Trouble]] = {
    "large card": lambda kind, rng: _card(kind, rng, 0.25, 0.5),
    "bright or dark photo": _exposure,
    "noisy phone, JPEG 45": _phone,
    "shadow on the card": _shaded,
    "printed card with gaps": _printed,
    "card on white paper": _on_paper,
    "covered end": _covered,
    "wedge of five": _row(lambda rng: [flat(v) for v in np.geomspace(0.89, 0.035, 5)], 4.0),
    "wedge of seven": _row(lambda rng: [flat(v) for v in np.geomspace(0.89, 0.035, 7)], 5.0),
    "wedge of three near grays": _row(_near_grays, 3.0),
    "three colored steps": _row(_colors, 3.0),
    "two of three steps": _row(_two_of_three, 2.0),
    "paper, card and tape": _apart,
    "two cards": _two_cards,
    "chart only": alone(lambda rng: things.chart(), 0.3, 0.7, 1.4),
    "gray card only": alone(lambda rng: things.gray_card(), 0.04, 0.2, 1.4),
}
