"""Cache keys: a photo with its marks and reference, the target of a match, a state of the library."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from colormatch.records import CameraPhoto, Lab, Region, ShopChip
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.known_colors import SeenBefore


@dataclass(frozen=True)
class Reference:
    """Everything in a photo that its correction depends on."""

    card: CardChoice
    #: Plain white areas that give the illumination.
    white: tuple[Region, ...] = ()
    #: Shop chips, named as in the library.
    chips: tuple[Region, ...] = ()
    #: Records of the chips.
    settled: tuple[ShopChip, ...] = ()
    #: Photos that taught the photo's camera in its light.
    taught: tuple[CameraPhoto, ...] = ()
    #: Wood that was read before.
    known: tuple[SeenBefore, ...] = ()


@dataclass(frozen=True)
class MarkedPhoto:
    """Everything that the colors of a photo's surfaces depend on."""

    path: Path
    reference: Reference
    #: Regions to read or to show.
    regions: tuple[Region, ...]


@dataclass(frozen=True)
class LibraryState:
    """State of a library at some time."""

    folder: Path
    #: Changes with any change in the library.
    stamp: str


@dataclass(frozen=True)
class Aim:
    """Target of a match: by default the sound wood of the photo."""

    #: Target color; None: the sound wood.
    kept: Lab | None = None
    #: Uncertainty of that color: ΔE00, 90 % radius.
    uncertainty: float = 0.0
    #: Name of that color, typed or from the library.
    name: str = ""
    #: Shift of the target: "warmer", "cooler", "darker" or "lighter", and its size in ΔE00; empty: none.
    direction: str = ""
    amount: float = 2.0

    @property
    def shift(self) -> tuple[str, float] | None:
        """The shift as an argument of `repair.match_repair`."""
        return (self.direction, self.amount) if self.direction else None
