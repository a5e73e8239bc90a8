"""Files shipped with the program: the starter library, and their location."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from colormatch.errors import LibraryError
from colormatch.library.exchange import read_exchange
from colormatch.library.merge import ImportPlan, import_exchange
from colormatch.library.store import Library
from colormatch.records import Box, ClearCoatPair, Layer, Paint, Part, Region, RegionKind, Shelf, Swatch

_PACKAGE = Path(__file__).resolve().parent.parent
#: Note of the example's swatches and clear coats.
_SIMULATED = "simulated"


def bundled(name: str) -> Path:
    """Path of a shipped folder, in an installed copy or in a checkout.

    Parameters
    ----------
    name : str
        ``swatches`` or ``app``.

    Raises
    ------
    LibraryError
        The installation lacks it.
    """
    for folder in (_PACKAGE / "_bundled" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise LibraryError(f"The shipped folder '{name}' is missing.", "Install the program again.")


def starter_shelf() -> Shelf:
    """The starter library's paints, swatches and clear coats, for users without their own.

    Raises
    ------
    LibraryError
        The installation lacks it, or it is damaged.
    """
    return read_exchange(bundled("swatches")).shelf


def install_starter(library: Library) -> ImportPlan:
    """Import the starter library, as one step that can be undone."""
    return import_exchange(library, bundled("swatches"))


def remove_example(library: Library, repair: int) -> None:
    """Remove the example's repair with its paints, swatches and clear coats, as one step that can be undone.

    Items needed by the user's own records stay: paints named in another repair or with swatches from other photos, and
    clear coats named in another repair.

    Parameters
    ----------
    library : Library
    repair : int
        Its number.
    """
    shown = example()
    photos = {shown.photo.stem, shown.dried.stem}
    swatches = [stored.record for stored in library.all(Swatch)]
    own = {one.paint for one in swatches if one.notes != _SIMULATED and one.photo not in photos}
    others = [stored.record.document for stored in library.repairs() if stored.id != repair]

    def is_free(name: str) -> bool:
        return not any(json.dumps(name) in document for document in others)

    invented = [one for one in library.all(Paint) if one.record.invented and one.record.name not in own]
    paints = [one for one in invented if is_free(one.record.name)]
    simulated = [one for one in library.all(ClearCoatPair) if one.record.notes == _SIMULATED]
    coats = [one for one in simulated if is_free(one.record.name)]
    along = " and its paints" if paints else ""
    with library.step(f"removed the repair {library.repair(repair).name}{along}") as step:
        step.remove_repair(repair)
        for paint in paints:
            step.remove(Paint, paint.id)
        for coat in coats:
            step.remove(ClearCoatPair, coat.id)


@dataclass(frozen=True)
class Example:
    """The shipped repair: a simulated photo with its marks."""

    title: str
    photo: Path
    #: Regions of sound wood and of damage.
    regions: tuple[Region, ...]
    #: Region of the gray card, for marking it by hand.
    card: Region
    #: Outline of the damage to paint, for the picture of the repair.
    outline: Region
    #: A simulated photo of the same piece painted and dry; below, its marks of sound wood and of the repair, and the
    #: wash. The card is in the same place.
    dried: Path
    dried_regions: tuple[Region, ...]
    painted: Layer


def example() -> Example:
    """The shipped repair.

    Raises
    ------
    LibraryError
        The installation lacks it.
    """
    from PIL import Image

    folder = bundled("swatches")
    described = json.loads((folder / "demo.json").read_text(encoding="utf-8"))
    with Image.open(folder / described["photo"]) as opened:
        width, height = opened.size

    def region(kind: RegionKind, box: list[int], name: str) -> Region:
        return Region.from_box(kind, Box(*box), width, height, name)

    sound = [region(RegionKind.SOUND, box, f"sound {i}") for i, box in enumerate(described["sound"], 1)]
    damage = [region(RegionKind.DAMAGE, box, f"damage {i}") for i, box in enumerate(described["damage"], 1)]
    card = region(RegionKind.CARD, described["card"], "card")
    traced = tuple((x / width, y / height) for x, y in described["outline"])
    outline = Region(RegionKind.DAMAGE, traced, "damage")
    dried = described["dried"]
    repair = [region(RegionKind.REPAIR, box, f"repair {i}") for i, box in enumerate(dried["repair"], 1)]
    wash = dried["painted"]
    return Example(
        described["title"],
        folder / described["photo"],
        (*sound, *damage),
        card,
        outline,
        folder / dried["photo"],
        (*sound, *repair),
        Layer((Part(wash["paint"]),), wash["paint_fraction"], wash["coats"]),
    )
