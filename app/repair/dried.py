"""What a repair holds of its checks: photos of the dried paint with their marks, and what was said of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from app.repair.document import read
from app.repair.marks import Marked
from colormatch.errors import BadInput
from colormatch.records import Layer, Part, Region, RegionKind, SurfaceState
from colormatch.wash.ratio import format_fraction, parse_ratio

#: What is checked: the repair itself, or test strips.
REPAIR, STRIPS = "repair", "strips"
#: What is marked in the photos of each, besides card and sound wood.
PAINTED = {REPAIR: RegionKind.REPAIR, STRIPS: RegionKind.STRIP}
#: What a surface is called. Swatches that were kept are known by these names.
_NAMES = {
    RegionKind.SOUND: RegionKind.SOUND.words.capitalize(),
    RegionKind.DAMAGE: "Bare wood",
    RegionKind.REPAIR: RegionKind.REPAIR.words.capitalize(),
    RegionKind.STRIP: "Strip",
}


@dataclass(frozen=True)
class DriedPhoto(Marked):
    """One photo of dried paint, under one light."""

    #: Of :data:`REPAIR` or of :data:`STRIPS`; the first or the second light.
    mode: str
    light: int

    @property
    def surfaces(self) -> tuple[Region, ...]:
        """What is to be read, named as the editor labels it."""
        return self.named(_NAMES)


@dataclass(frozen=True)
class Kept:
    """A swatch that was kept from a check."""

    #: In the library.
    number: int
    #: Name of the surface that it is of.
    name: str


@dataclass(frozen=True)
class PaintedWash:
    """What was painted, where it is not the wash that was picked."""

    paint: str = ""
    #: As typed.
    ratio: str = "1:3"
    coats: int = 1

    @property
    def layer(self) -> Layer:
        """
        Raises
        ------
        BadInput
            The ratio is none.
        """
        return Layer((Part(self.paint),), parse_ratio(self.ratio).paint_fraction, self.coats)

    @classmethod
    def of(cls, layer: Layer) -> PaintedWash:
        """Of one paint."""
        return cls(layer.paints[0].paint, format_fraction(layer.paint_fraction), layer.coats)


@dataclass(frozen=True)
class Dried:
    """All checks of a repair."""

    mode: str = REPAIR
    photos: tuple[DriedPhoto, ...] = ()
    #: What lies on the repair now, and whether some of it is still damp.
    state: SurfaceState = SurfaceState.WASHED
    wet: bool = False
    #: What was painted on the repair; None: the wash that was picked.
    other: PaintedWash | None = None
    #: What a strip that is to be kept was painted with.
    strip: PaintedWash = PaintedWash()
    kept: tuple[Kept, ...] = ()

    def shown(self, light: int) -> DriedPhoto | None:
        """The photo of what is being checked, under the first or the second light."""
        return next((one for one in self.photos if (one.mode, one.light) == (self.mode, light)), None)

    def with_photo(self, photo: DriedPhoto) -> Dried:
        """This photo in the place of the one that it follows."""
        others = tuple(one for one in self.photos if (one.mode, one.light) != (photo.mode, photo.light))
        return replace(self, photos=(*others, photo))

    def with_marks_of(self, was: Mapping[str, Any]) -> Dried:
        """The checks with the marks that an earlier document of them has in the same photos.

        Raises
        ------
        BadInput
            It is no such document.
        """
        try:
            marks = {(one.mode, one.light, one.photo): one.regions for one in read(was, Dried).photos}
        except BadInput:
            raise BadInput("This change can't be taken back: what was before it is damaged.", "Mark anew.") from None
        photos = []
        for one in self.photos:
            regions = marks.get((one.mode, one.light, one.photo), one.regions)
            photos.append(one if regions == one.regions else one.with_regions(*regions))
        return replace(self, photos=tuple(photos))

    def without(self, photo: DriedPhoto) -> Dried:
        """The checks without a photo, and without a second light that would be left alone."""
        left = [one for one in self.photos if one.mode != photo.mode or one.light < photo.light]
        return replace(self, photos=tuple(left))


def photos_gone(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    """Whether a document of checks lacks a photo that an earlier one has."""
    held = [one["photo"] for one in after.get("photos", ())]
    return any(one["photo"] not in held for one in before.get("photos", ()))
