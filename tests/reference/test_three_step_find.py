"""The finder of three-step cards against simulated photographs that it was never tuned on.

It was tuned on seeds 1 and 2, the limit of the white step's cast also after one wrong answer on seed 20262; the seeds
here were held out. "Wrong" is a region given without asking of which the pixels taken for white, gray or black aren't,
to 98 %, those of that step. Run this file for the whole table.
"""

from collections import Counter

import cv2
import numpy as np
import pytest

from colormatch.color.space import linear_from_encoded
from colormatch.errors import CardNotFound
from colormatch.records import CardKind
from colormatch.reference.three_step import find_steps
from colormatch.reference.three_step_find import choose_three_steps, find_three_steps_in
from tests.reference.step_kinds import ASPECTS, KINDS, ORDERS, ordered_card, step_quads, step_troubles
from tests.reference.test_gray_card_find import PURE, preview
from tests.scenes.cards import card_scenes

HELD_OUT = 20263


def outcome(encoded_rgb, cards):
    """ "found", "asked" or "wrong"; `cards` are the quads of white, gray and black of each true card."""
    try:
        card = choose_three_steps(find_three_steps_in(preview(encoded_rgb)))
    except CardNotFound:
        return "asked"
    height, width = encoded_rgb.shape[:2]
    (x, y, w, h), inside = card.region.mask(width, height)
    try:
        seen = find_steps(linear_from_encoded(encoded_rgb[y : y + h, x : x + w] / 255), inside)
    except CardNotFound:
        return "asked"
    least = [0.0]
    for quads in np.reshape(cards, (-1, 3, 4, 2)):
        shares = []
        for quad, step in zip(quads, seen, strict=True):
            truth = np.zeros((height, width), np.uint8)
            cv2.fillConvexPoly(truth, np.round(quad - 0.5).astype(np.int32), 1)
            shares.append(truth[y : y + h, x : x + w][step].mean())
        least.append(min(shares))
    return "found" if max(least) >= PURE else "wrong"


def table_of_scenes(n, seed):
    """Scenes of all orders in turn."""
    table = Counter()
    for number, order in enumerate(ORDERS):
        for scene in card_scenes(-(-n // len(ORDERS)), seed * 10 + number, ordered_card(order), ASPECTS):
            steps = [] if scene.card_quad is None else step_quads(scene.card_quad, order)
            table[str(scene.facts["kind"]), outcome(scene.photograph.encoded_rgb, steps)] += 1
    return table


def table_of_troubles(n, seed):
    return Counter((trouble.kind, outcome(trouble.encoded_rgb, trouble.cards)) for trouble in step_troubles(n, seed))


@pytest.mark.slow
def test_right_in_19_of_20_scenes_and_never_silently_wrong():
    table = table_of_scenes(60, HELD_OUT)
    assert sum(table.values()) >= 60
    assert not [key for key in table if key[1] == "wrong"], table
    whole = table["card", "found"] + table["card", "asked"]
    assert table["card", "found"] >= 0.95 * whole, table


@pytest.mark.slow
def test_troubles_are_asked_about_but_never_silently_wrong():
    table = table_of_troubles(4, HELD_OUT)
    assert {kind for kind, _ in table} == set(KINDS)
    assert not [key for key in table if key[1] == "wrong"], table
    for kind in ("large card", "bright or dark photo", "noisy phone, JPEG 45", "printed card with gaps"):
        assert table[kind, "found"] >= 3, table


def drawing(*steps, size=150, left=150):
    """A row of encoded grays on a plain brown frame."""
    drawn = np.full((600, 900, 3), (170, 120, 80), np.uint8)
    for index, color in enumerate(steps):
        drawn[200 : 200 + size, left + index * size : left + (index + 1) * size] = color
    return drawn


#: Encoded by the sRGB curve: reflectances of 0.89, 0.18 and 0.035 at a white level of 0.8.
WHITE, GRAY, BLACK = 218, 106, 47


@pytest.mark.parametrize("order", [(WHITE, GRAY, BLACK), (BLACK, GRAY, WHITE), (GRAY, WHITE, BLACK)])
def test_a_drawn_card_is_found_inside_its_outline(order):
    for turns in range(4):
        card = choose_three_steps(find_three_steps_in(np.ascontiguousarray(np.rot90(drawing(*order), turns))))
        assert card.kind is CardKind.THREE_STEP
        assert card.found == "auto"
        assert card.confidence > 0.9
        outline = np.array([[150, 200], [600, 350]])
        # A quarter turn to the left takes (x, y) to (y, width - x).
        for turn in range(turns):
            outline = np.stack([outline[:, 1], (600 if turn % 2 else 900) - outline[:, 0]], axis=1)
        low, high = outline.min(axis=0), outline.max(axis=0)
        corners = card.region.corners(*((900, 600), (600, 900))[turns % 2])
        assert (corners.min(axis=0) > low).all()
        assert (corners.max(axis=0) < high).all()
        assert np.ptp(corners, axis=0).prod() > 0.7 * (high - low).prod()


@pytest.mark.parametrize(
    ("steps", "doubt"),
    [
        ((WHITE, GRAY), "No three-step card"),
        ((WHITE, 180, 140), "No three-step card"),
        ((WHITE, 160, GRAY, 70, BLACK), "No three-step card"),
        (((218, 160, 80), (106, 60, 20), (47, 20, 5)), "No three-step card"),
        ((WHITE, GRAY, WHITE), "No three-step card"),
        ((WHITE, GRAY, BLACK, WHITE), "part of a longer row"),
        ((WHITE, 150, BLACK), "doesn't have the brightness of white, gray and black"),
    ],
)
def test_other_rows_make_it_ask(steps, doubt):
    with pytest.raises(CardNotFound, match=doubt):
        choose_three_steps(find_three_steps_in(drawing(*steps, size=120)))


@pytest.mark.parametrize(("dx", "dy", "is_row"), [(0, 0, True), (0, 60, False), (0, -60, False), (60, 0, False)])
def test_steps_that_stand_apart_or_out_of_line_are_no_card(dx, dy, is_row):
    """The three steps of a card are of one size: their middles lie in one line, one step apart."""
    drawn = drawing(WHITE, GRAY, size=120)
    drawn[200 + dy : 320 + dy, 390 + dx : 510 + dx] = BLACK
    assert bool(find_three_steps_in(drawn)) is is_row


def test_a_card_that_the_frame_cuts_makes_it_ask():
    with pytest.raises(CardNotFound):
        choose_three_steps(find_three_steps_in(drawing(WHITE, GRAY, BLACK, left=-40)))
    with pytest.raises(CardNotFound, match="extends beyond the photo"):
        choose_three_steps(find_three_steps_in(drawing(WHITE, GRAY, BLACK, left=0)))


def test_stated_reflectances_are_looked_for():
    flat = drawing(WHITE, 150, GRAY)
    with pytest.raises(CardNotFound):
        choose_three_steps(find_three_steps_in(flat))
    # The same grays as reflectances: 0.86, 0.38 and 0.18.
    assert choose_three_steps(find_three_steps_in(flat, (0.86, 0.38, 0.18))).found == "auto"


@pytest.mark.parametrize("fill", [0, 118, 255])
@pytest.mark.parametrize("shape", [(600, 800, 3), (3, 5, 3), (1, 1, 3), (1, 700, 3)])
def test_an_empty_photo_has_no_card(shape, fill):
    with pytest.raises(CardNotFound, match="No three-step card"):
        choose_three_steps(find_three_steps_in(np.full(shape, fill, np.uint8)))


if __name__ == "__main__":
    import sys

    for seed in [int(word) for word in sys.argv[1:]] or (HELD_OUT, HELD_OUT + 1):
        for table in (table_of_scenes(200, seed), table_of_troubles(12, seed)):
            for kind in dict.fromkeys(kind for kind, _ in table):
                counts = ", ".join(f"{name} {table[kind, name]:3}" for name in ("found", "asked", "wrong"))
                print(f"seed {seed}  {kind:26} {counts}", flush=True)
