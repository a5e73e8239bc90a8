"""What pages ask by: a photo with its marks and its reference, what the damage is to become, a library as it stood."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from colormatch.records import CameraPhoto, Lab, Region, ShopChip
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.known_colors import SeenBefore


@dataclass(frozen=True)
class Reference:
    """Everything in a photo that its colors are corrected by."""

    card: CardChoice
    #: Plain white places that tell how the light falls.
    white: tuple[Region, ...] = ()
    #: Shop chips, each named as the library names it.
    chips: tuple[Region, ...] = ()
    #: What they are.
    settled: tuple[ShopChip, ...] = ()
    #: Photos that taught the photo's camera in its light.
    taught: tuple[CameraPhoto, ...] = ()
    #: Wood that was read before.
    known: tuple[SeenBefore, ...] = ()


@dataclass(frozen=True)
class MarkedPhoto:
    """All that the colors of a photo's surfaces follow from."""

    path: Path
    reference: Reference
    #: What is to be read, or shown.
    regions: tuple[Region, ...]


@dataclass(frozen=True)
class LibraryState:
    """A library as it stood at some time."""

    folder: Path
    #: Changes with everything in it.
    stamp: str


@dataclass(frozen=True)
class Aim:
    """What the damage is to look like: by default the sound wood of the photo."""

    #: A color instead of the sound wood; None: the sound wood.
    kept: Lab | None = None
    #: Of that color: ΔE00, 90 % radius.
    uncertainty: float = 0.0
    #: What that color is of, as typed or as the library names it.
    name: str = ""
    #: "warmer", "cooler", "darker" or "lighter" than that, by so many ΔE00; empty: just that.
    direction: str = ""
    amount: float = 2.0

    @property
    def shift(self) -> tuple[str, float] | None:
        """As `repair.match_repair` takes it."""
        return (self.direction, self.amount) if self.direction else None
