"""The card in another light than the wood, in simulated photos: asked about, and not where all is well."""

from __future__ import annotations

import pytest

from tests.scenes.study_light import CASES, WAYS, noticed

GRAY_CARD = WAYS[0]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "code", "share"),
    [
        ("wood in a shadow that takes a third", "wood-other-light", 0.7),
        ("wood in a shadow that takes four fifths", "wood-other-light", 1),
        ("card in a shadow that takes a third", "wood-other-light", 0.5),
        ("card in a shadow that takes four fifths", "wood-other-light", 1),
        ("bulb and daylight, 30 % at one edge", "light-mixed", 0.9),
    ],
)
def test_card_and_wood_in_different_light(case: str, code: str, share: float) -> None:
    counts, _ = noticed(GRAY_CARD, case, photos=6, seed=5)
    assert round(counts[code], 6) >= share


@pytest.mark.slow
@pytest.mark.parametrize("case", [case for case in CASES if case.startswith(("ordinary", "local"))])
def test_no_question_where_the_light_is_one(case: str) -> None:
    counts, _ = noticed(GRAY_CARD, case, photos=6, seed=5)
    assert counts["wood-other-light"] == counts["light-mixed"] == 0
