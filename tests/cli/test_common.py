"""What the commands share."""

from colormatch.cli.common import CARD_KINDS, STATES
from colormatch.cli.records import SORTS
from colormatch.library.find import Sort
from colormatch.records import CardKind, SurfaceState


def test_the_words_that_options_take_are_those_of_the_records() -> None:
    """They are written out, so that ``--help`` imports no records."""
    assert tuple(SurfaceState) == STATES
    assert tuple(kind for kind in CardKind if kind is not CardKind.NONE) == CARD_KINDS
    assert tuple(Sort) == SORTS
