"""What a library keeps: paints, their swatches, clear coats, and what they are measured on and beside."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

from colormatch.errors import BadInput
from colormatch.records.color import Lab, lab_of
from colormatch.records.names import name_key
from colormatch.records.reading import CardKind, LightKind
from colormatch.records.recipe import Part, check_coats

#: What the shipped example states as the maker of its paints; whoever owns such a tin writes its real maker over it.
INVENTED = "invented"


class SurfaceState(StrEnum):
    """What lies on the wood where it is read. Like is compared with like."""

    BARE = "bare"
    SEALED = "sealed"
    WASHED = "washed"
    TOP_COATED = "top-coated"


@dataclass(frozen=True)
class Paint:
    """A tin on the shelf."""

    name: str
    maker: str = ""
    #: Free words of the user: acrylic, chalk, milk paint, stain, glaze ...
    kind: str = ""
    #: What it is thinned with.
    thinner: str = "water"
    #: For one tin of ``size_ml``, in the user's own currency.
    price: float | None = None
    size_ml: float | None = None
    on_hand_ml: float | None = None
    notes: str = ""
    #: SHA-256 of a photo of the tin, or empty.
    photo: str = ""
    #: Columns of an imported file that the program does not know, kept as they came.
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A paint needs a name.", "Type the name that stands on the tin.")
        for label, value in (("price", self.price), ("size", self.size_ml), ("amount on hand", self.on_hand_ml)):
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise BadInput(f"The {label} of {self.name} is {value:g}.", "Give a number of zero or more.")

    @property
    def invented(self) -> bool:
        """Whether it is one of the shipped example's, which nobody can buy."""
        return name_key(self.maker) == INVENTED


@dataclass(frozen=True)
class Swatch:
    """A wash that was painted on a known ground and measured when dry."""

    paint: str
    #: Parts of paint and of water; full strength is (1, 0).
    paint_parts: float
    water_parts: float
    #: Number of coats, 1 or more.
    coats: int
    #: Name of the ground, such as "light wood".
    ground: str
    #: Color of the ground before painting.
    ground_lab: Lab
    #: Color of the dried wash.
    lab: Lab
    #: Of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    #: State of the ground when painted.
    state: SurfaceState = SurfaceState.BARE
    #: ISO 8601 date, or empty.
    taken: str = ""
    #: SHA-256 of the photo it was read from, or empty.
    photo: str = ""
    notes: str = ""
    #: How the color was measured, in words: "photo, gray card", "instrument" ...; or empty.
    measured: str = ""
    #: Corners of the spot in the photo that it was read from: x and y in fractions of the upright photo; or empty.
    region: tuple[tuple[float, float], ...] = ()
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not (math.isfinite(self.paint_parts) and math.isfinite(self.water_parts)) or self.paint_parts <= 0:
            raise BadInput(f"A swatch of {self.paint} has no paint in it.", "Give one or more parts of paint.")
        if self.water_parts < 0:
            raise BadInput(f"A swatch of {self.paint} has less than no water.", "Give zero or more parts of water.")
        if not self.paint_fraction > 0:
            raise BadInput(f"A swatch of {self.paint} has parts beyond all use.", "Give smaller numbers of parts.")
        check_coats(self.coats, f"a swatch of {self.paint}")
        if not (math.isfinite(self.uncertainty) and self.uncertainty >= 0):
            raise BadInput(f"A swatch of {self.paint} has no valid uncertainty.", "Give zero or more ΔE.")
        if not all(0 <= value <= 1 for corner in self.region for value in corner):
            raise BadInput(f"The spot of a swatch of {self.paint} lies outside its photo.", "Mark it again.")
        lab_of(self.ground_lab, f"ground of a swatch of {self.paint}")
        lab_of(self.lab, f"color of a swatch of {self.paint}")

    @property
    def paint_fraction(self) -> float:
        """Volume of paint in the wash, 0 < d <= 1."""
        return self.paint_parts / (self.paint_parts + self.water_parts)


@dataclass(frozen=True)
class ClearCoatPair:
    """The same spot before and after a clear coat."""

    name: str
    bare_lab: Lab
    sealed_lab: Lab
    #: What it was laid on, such as "bare wood" or "washed wood".
    on: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A clear coat needs a name.", "Type the name that stands on the tin.")
        lab_of(self.bare_lab, f"bare color under {self.name}")
        lab_of(self.sealed_lab, f"sealed color under {self.name}")


@dataclass(frozen=True)
class Ground:
    """A wood or a card that washes are tried on, measured once and named."""

    name: str
    lab: Lab
    #: Of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    state: SurfaceState = SurfaceState.BARE
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        _check_named_color("ground", self.name, self.lab, self.uncertainty)


@dataclass(frozen=True)
class ShopChip:
    """A thing of settled color that lies in many photos and ties them together, such as an offcut kept on the bench."""

    name: str
    lab: Lab
    #: Of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        _check_named_color("shop chip", self.name, self.lab, self.uncertainty)


@dataclass(frozen=True)
class OwnCard:
    """A card or a chart that the user owns."""

    name: str
    kind: CardKind
    #: What its maker states, in the form of the command line's ``--card-value``; empty: the usual one of its kind.
    value: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A card needs a name.", "Type one that tells it from your other cards.")
        if self.kind is CardKind.NONE:
            raise BadInput(f"The card {self.name} is of no kind.", "Say gray, three-step or chart24.")


class Development(StrEnum):
    """What a photo's numbers are."""

    DEVELOPED = "developed"
    RAW = "raw"


@dataclass(frozen=True)
class CameraPhoto:
    """What one photo with a chart or a three-step card teaches of the camera that took it."""

    #: Tells it from the camera's other photos.
    name: str
    #: Make, model and lens as the photo's file states them, or as the user named it.
    camera: str
    light: LightKind
    development: Development
    #: Natural log of red and of blue over green of its middle gray, before balancing.
    cast_red: float
    cast_blue: float
    #: Its patches, balanced by its middle gray: linear sRGB and CIELAB of each, six numbers, patches parted by ``;``.
    patches: str
    taken: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.camera.strip():
            raise BadInput("A camera's photo needs a name and a camera.", "Name the camera it was taken with.")
        if not (math.isfinite(self.cast_red) and math.isfinite(self.cast_blue)):
            raise BadInput(
                f"The cast of the camera's photo {self.name} is no number.", "Learn it from the photo again."
            )
        self.patch_values  # noqa: B018  # refuses what can't be read

    @property
    def patch_values(self) -> tuple[tuple[float, ...], ...]:
        """Six numbers for each patch: linear red, green, blue; L*, a*, b*."""
        try:
            rows = tuple(tuple(float(cell) for cell in row.split(",")) for row in self.patches.split(";"))
        except ValueError:
            rows = ()
        if not rows or any(len(row) != 6 or not all(math.isfinite(cell) for cell in row) for row in rows):
            what = f"The patches of the camera's photo {self.name} can't be read."
            raise BadInput(what, "Learn it from the photo again.")
        return rows


def _check_named_color(what: str, name: str, lab: Lab, uncertainty: float) -> None:
    if not name.strip():
        raise BadInput(f"A {what} needs a name.", "Type one that you will know it by.")
    lab_of(lab, f"color of the {what} {name}")
    if not (math.isfinite(uncertainty) and uncertainty >= 0):
        raise BadInput(f"The {what} {name} has no valid uncertainty.", "Give zero or more ΔE.")


@dataclass(frozen=True)
class Shelf:
    """All that a match needs to know of the user's library."""

    paints: tuple[Paint, ...] = ()
    swatches: tuple[Swatch, ...] = ()
    clear_coats: tuple[ClearCoatPair, ...] = ()

    def __repr__(self) -> str:
        return f"Shelf({len(self.paints)} paints, {len(self.swatches)} swatches, {len(self.clear_coats)} clear coats)"

    def of(self, paint: str) -> tuple[Swatch, ...]:
        """Swatches of one paint, in the library's order."""
        return self._by_paint.get(paint, ())

    def part(self, paint: str, parts: float = 1.0) -> Part:
        """A share of one of its paints in a mix."""
        return Part(paint, parts, paint in self._invented)

    def without_invented(self, kept: Collection[str]) -> Shelf:
        """The user's own paints and the named ones; all, where the user has none. Swatches stay."""
        own = any(not paint.invented for paint in self.paints)
        return replace(self, paints=tuple(p for p in self.paints if not (own and p.invented) or p.name in kept))

    @cached_property
    def _invented(self) -> frozenset[str]:
        return frozenset(paint.name for paint in self.paints if paint.invented)

    @cached_property
    def _by_paint(self) -> dict[str, tuple[Swatch, ...]]:
        found: dict[str, list[Swatch]] = {}
        for swatch in self.swatches:
            found.setdefault(swatch.paint, []).append(swatch)
        return {paint: tuple(swatches) for paint, swatches in found.items()}
