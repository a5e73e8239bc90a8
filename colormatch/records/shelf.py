"""Records of a library: paints, swatches, clear coats, and the grounds and references used to measure them."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

from colormatch.errors import BadInput
from colormatch.records.color import Lab, lab_of
from colormatch.records.names import name_key
from colormatch.records.reading import CardKind, LightKind, SurfaceState
from colormatch.records.recipe import Part, check_coats

#: Maker of the shipped example's paints. A user who owns such a paint replaces it with the real maker.
INVENTED = "invented"


@dataclass(frozen=True)
class Paint:
    """A can of paint on the shelf."""

    name: str
    maker: str = ""
    #: The user's own term: acrylic, chalk, milk paint, stain, glaze ...
    kind: str = ""
    #: Thinner used with it.
    thinner: str = "water"
    #: Price of one can of ``size_ml``, in the user's own currency.
    price: float | None = None
    size_ml: float | None = None
    on_hand_ml: float | None = None
    notes: str = ""
    #: SHA-256 of a photo of the can, or empty.
    photo: str = ""
    #: Unknown columns of an imported file, kept unchanged.
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A paint needs a name.", "Type the name on the tin.")
        for label, value in (("price", self.price), ("size", self.size_ml), ("amount on hand", self.on_hand_ml)):
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise BadInput(f"The {label} of {self.name} is {value:g}.", "Give a number of zero or more.")

    @property
    def invented(self) -> bool:
        """Whether the paint belongs to the shipped example and can't be bought."""
        return name_key(self.maker) == INVENTED


@dataclass(frozen=True)
class Swatch:
    """A wash painted on a known ground and measured when dry."""

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
    #: Uncertainty of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    #: State of the ground when painted.
    state: SurfaceState = SurfaceState.BARE
    #: ISO 8601 date, or empty.
    taken: str = ""
    #: SHA-256 of the photo the color was read from, or empty.
    photo: str = ""
    notes: str = ""
    #: How the color was measured, in words: "photo, gray card", "instrument" ...; or empty.
    measured: str = ""
    #: Corners of the spot in that photo: x and y in fractions of the upright photo; or empty.
    region: tuple[tuple[float, float], ...] = ()
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not (math.isfinite(self.paint_parts) and math.isfinite(self.water_parts)) or self.paint_parts <= 0:
            raise BadInput(f"A swatch of {self.paint} has no paint in it.", "Give one or more parts of paint.")
        if self.water_parts < 0:
            raise BadInput(
                f"The water parts of a swatch of {self.paint} are negative.", "Give zero or more parts of water."
            )
        if not self.paint_fraction > 0:
            raise BadInput(f"The parts of a swatch of {self.paint} are too large.", "Give smaller numbers of parts.")
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
    """One spot before and after a clear coat."""

    name: str
    bare_lab: Lab
    sealed_lab: Lab
    #: Surface under it, such as "bare wood" or "washed wood".
    on: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A clear coat needs a name.", "Type the name on the tin.")
        lab_of(self.bare_lab, f"bare color under {self.name}")
        lab_of(self.sealed_lab, f"sealed color under {self.name}")


@dataclass(frozen=True)
class Ground:
    """A wood or card used as the ground for washes, measured once and named."""

    name: str
    lab: Lab
    #: Uncertainty of ``lab``: ΔE00, 90 % radius.
    uncertainty: float = 1.0
    state: SurfaceState = SurfaceState.BARE
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        _check_named_color("ground", self.name, self.lab, self.uncertainty)


@dataclass(frozen=True)
class ShopChip:
    """A secondary reference: an object of known, stable color, photographed with every job; for example an offcut."""

    name: str
    lab: Lab
    #: Uncertainty of ``lab``: ΔE00, 90 % radius.
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
    #: Value stated by its maker, in the form of ``--card-value``; empty: the usual value of its kind.
    value: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("A card needs a name.", "Type one that distinguishes it from your other cards.")
        if self.kind is CardKind.NONE:
            raise BadInput(f"The card {self.name} has an unknown kind.", "Give a kind such as gray or chart24.")


class Development(StrEnum):
    """Encoding of a photo's values."""

    DEVELOPED = "developed"
    RAW = "raw"


@dataclass(frozen=True)
class CameraPhoto:
    """Contribution of one photo of a chart or three-step card to a learned camera."""

    #: Name of the photo, different from the camera's other photos.
    name: str
    #: Make, model and lens as stated in the file, or the name given by the user.
    camera: str
    light: LightKind
    development: Development
    #: Natural logs of red over green and blue over green of the middle gray, before balancing.
    cast_red: float
    cast_blue: float
    #: Patches after balancing by the middle gray: linear sRGB and CIELAB, six numbers each, separated by ``;``.
    patches: str
    taken: str = ""
    notes: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.camera.strip():
            raise BadInput("A camera's photo needs a name and a camera.", "Name the camera it was taken with.")
        if not (math.isfinite(self.cast_red) and math.isfinite(self.cast_blue)):
            raise BadInput(
                f"The cast of the camera's photo {self.name} is not a number.", "Learn it from the photo again."
            )
        self.patch_values  # noqa: B018  # raises if unreadable

    @property
    def patch_values(self) -> tuple[tuple[float, ...], ...]:
        """Six numbers for each patch: linear red, green, blue; L*, a*, b*."""
        try:
            rows = tuple(tuple(float(cell) for cell in row.split(",")) for row in self.patches.split(";"))
        except ValueError:
            rows = ()
        if not rows or any(len(row) != 6 or not all(math.isfinite(cell) for cell in row) for row in rows):
            what = f"The patches of the camera's photo {self.name} are unreadable."
            raise BadInput(what, "Learn it from the photo again.")
        return rows


def _check_named_color(what: str, name: str, lab: Lab, uncertainty: float) -> None:
    if not name.strip():
        raise BadInput(f"A {what} needs a name.", "Type one that you will recognize.")
    lab_of(lab, f"color of the {what} {name}")
    if not (math.isfinite(uncertainty) and uncertainty >= 0):
        raise BadInput(f"The {what} {name} has no valid uncertainty.", "Give zero or more ΔE.")


@dataclass(frozen=True)
class Shelf:
    """The parts of the user's library that a match needs."""

    paints: tuple[Paint, ...] = ()
    swatches: tuple[Swatch, ...] = ()
    clear_coats: tuple[ClearCoatPair, ...] = ()

    def __repr__(self) -> str:
        return f"Shelf({len(self.paints)} paints, {len(self.swatches)} swatches, {len(self.clear_coats)} clear coats)"

    def of(self, paint: str) -> tuple[Swatch, ...]:
        """Swatches of one paint, in the library's order."""
        return self._by_paint.get(paint, ())

    def part(self, paint: str, parts: float = 1.0) -> Part:
        """A share of one of the shelf's paints in a mix."""
        return Part(paint, parts, paint in self._invented)

    def without_invented(self, kept: Collection[str]) -> Shelf:
        """The same shelf without example paints, except those in ``kept``; unchanged if the user has no paints.
        Swatches stay.
        """
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
