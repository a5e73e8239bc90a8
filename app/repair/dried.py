"""Checks of a repair: photos of the dried paint with their marks, and the user's statements about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from app.repair.document import read
from app.repair.marks import Marked
from colormatch.errors import BadInput
from colormatch.records import Layer, Part, Region, RegionKind, SurfaceState
from colormatch.wash.ratio import format_fraction, parse_ratio

#: Subject of a check: the repair itself, or test strips.
REPAIR, STRIPS = "repair", "strips"
#: Kind of region marked in the photos of each, besides card and sound wood.
PAINTED = {REPAIR: RegionKind.REPAIR, STRIPS: RegionKind.STRIP}
#: Names of surfaces, also used to identify swatches kept from checks.
_NAMES = {
    RegionKind.SOUND: RegionKind.SOUND.words.capitalize(),
    RegionKind.DAMAGE: "Bare wood",
    RegionKind.REPAIR: RegionKind.REPAIR.words.capitalize(),
    RegionKind.STRIP: "Strip",
}


@dataclass(frozen=True)
class DriedPhoto(Marked):
    """One photo of dried paint in one light."""

    #: :data:`REPAIR` or :data:`STRIPS`; below, the first or the second light.
    mode: str
    light: int

    @property
    def surfaces(self) -> tuple[Region, ...]:
        """Regions to read, named as in the editor."""
        return self.named(_NAMES)


@dataclass(frozen=True)
class Kept:
    """A swatch kept from a check."""

    #: Number in the library.
    number: int
    #: Name of its surface.
    name: str


@dataclass(frozen=True)
class PaintedWash:
    """The painted wash, if it is not the picked one."""

    paint: str = ""
    #: As typed.
    ratio: str = "1:3"
    coats: int = 1

    @property
    def layer(self) -> Layer:
        """Raises
        ------
        BadInput
            The ratio is invalid.
        """
        return Layer((Part(self.paint),), parse_ratio(self.ratio).paint_fraction, self.coats)

    @classmethod
    def of(cls, layer: Layer) -> PaintedWash:
        """Wash of one paint."""
        return cls(layer.paints[0].paint, format_fraction(layer.paint_fraction), layer.coats)


@dataclass(frozen=True)
class Dried:
    """All checks of a repair."""

    mode: str = REPAIR
    photos: tuple[DriedPhoto, ...] = ()
    #: State of the repair now; below, whether some of it is still damp.
    state: SurfaceState = SurfaceState.WASHED
    wet: bool = False
    #: The wash on the repair; None: the picked wash.
    other: PaintedWash | None = None
    #: The wash of a strip that will be kept.
    strip: PaintedWash = PaintedWash()
    kept: tuple[Kept, ...] = ()

    def shown(self, light: int) -> DriedPhoto | None:
        """The photo of the current subject, in the first or the second light."""
        return next((one for one in self.photos if (one.mode, one.light) == (self.mode, light)), None)

    def with_photo(self, photo: DriedPhoto) -> Dried:
        """Replace the photo of the same subject and light."""
        others = tuple(one for one in self.photos if (one.mode, one.light) != (photo.mode, photo.light))
        return replace(self, photos=(*others, photo))

    def with_marks_of(self, was: Mapping[str, Any]) -> Dried:
        """The checks with the marks of an earlier document in the same photos.

        Raises
        ------
        BadInput
            The document is invalid.
        """
        try:
            marks = {(one.mode, one.light, one.photo): one.regions for one in read(was, Dried).photos}
        except BadInput:
            raise BadInput("Undo is impossible here: the earlier state is damaged.", "Mark the photo again.") from None
        photos = []
        for one in self.photos:
            regions = marks.get((one.mode, one.light, one.photo), one.regions)
            photos.append(one if regions == one.regions else one.with_regions(*regions))
        return replace(self, photos=tuple(photos))

    def without(self, photo: DriedPhoto) -> Dried:
        """The checks without a photo, and without a second light that would remain alone."""
        left = [one for one in self.photos if one.mode != photo.mode or one.light < photo.light]
        return replace(self, photos=tuple(left))


def photos_gone(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    """Whether a document of checks lacks a photo of an earlier one."""
    held = [one["photo"] for one in after.get("photos", ())]
    return any(one["photo"] not in held for one in before.get("photos", ()))
