"""Describe the quality of a photo in words."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot
from typing import Any

from app.repair.marks import FOUND
from app.repair.open_repair import SURFACES, OpenRepair
from app.state import cameras
from app.widgets import look
from colormatch import repair as job
from colormatch.color.words import NOTHING, describe_off
from colormatch.lessons import photos_word
from colormatch.records import CardKind, Difference, Flag, FlagCode, Lab, Reading, RegionKind, Sample
from colormatch.reference.stand_in import STAND_INS

#: Flag codes grouped by cause: causes of wrong colors before those of less certain ones, and in each group the surest
#: sign first. All others follow. Our choice.
_CAUSES = (
    (FlagCode.CARD_IN_SHADOW, FlagCode.WOOD_OTHER_LIGHT, FlagCode.CARD_OTHER_LIGHT, FlagCode.LIGHTER_THAN_PAPER),
    (FlagCode.LIGHT_MIXED,),
    (FlagCode.LOCAL_TONES, FlagCode.LIGHT_PATCHY, FlagCode.CARD_SHADOW),
    (FlagCode.CLIPPED, FlagCode.GLARE_OR_TWO_SURFACES, FlagCode.PATCH_OFF),
    (FlagCode.PATCHES_DISAGREE, FlagCode.PATCH_TOO_EVEN, FlagCode.VARIED, FlagCode.COARSE_GRAIN, FlagCode.SMALL_PATCH),
    (FlagCode.OTHER_LIGHT, FlagCode.CARD_UNEVEN, FlagCode.LIGHT_UNEVEN),
    (
        FlagCode.CARD_TEXTURED,
        FlagCode.CARD_CAST,
        FlagCode.CARD_DARK,
        FlagCode.CARD_SMALL,
        FlagCode.TOO_DARK,
        FlagCode.BLURRED,
    ),
)
#: Patches of sound wood the page asks for; three or more show by their spread how reliable one is.
PATCHES = 3


def judged(repair: OpenRepair, reading: Reading) -> list[tuple[str, str]]:
    """Statements about a reading, as subject and text."""
    rows = [("Card", _card(repair, reading)), ("Light", _light(reading))]
    if reading.learned is not None:
        name, light, photos = reading.learned
        said = f"{name}: corrected by the gray card, then by what was learned about it in {cameras.LIGHTS[light]}"
        rows.append(("Camera", f"{said} from {photos_word(photos)}."))
    if len(reading.steps) > 1:
        rows.append(("Corrected by", "; then ".join(reading.steps) + "."))
    for kind, name in SURFACES.items():
        marked = len(repair.of_kind(kind))
        if marked:
            patches = f"{marked} patch" + ("es" if marked > 1 else "")
            sample = job.surface(reading, kind)
            rows.append((f"{name}, {patches}", _color(sample, reading.difference)))
    rows.append(("What would make it more reliable", _surer(repair, reading)))
    return rows


def doubts(reading: Reading, surfaces: Iterable[tuple[str, Sample]]) -> list[tuple[str, str]]:
    """Cautions for a photo and its named surfaces, most important first."""
    holders: list[tuple[str, Any]] = [("", reading.photo), ("", reading.card), ("", reading.light), *surfaces]
    about: dict[str, tuple[Flag, list[str]]] = {}
    for name, holder in holders:
        for flag in holder.flags:
            about.setdefault(flag.text, (flag, []))[1].extend([name] if name else [])
    rows = []
    for flag in _by_weight([flag for flag, _ in about.values()]):
        # A sentence that names its patch needs no heading with the name.
        names = [name for name in about[flag.text][1] if name not in flag.text]
        rows.append((", ".join(names), flag.text))
    return rows


def _by_weight(flags: Iterable[Flag]) -> list[Flag]:
    """Flags by importance; of those with one cause the first stands for all, and the others follow at the end."""
    places = {code: (cause, place) for cause, codes in enumerate(_CAUSES) for place, code in enumerate(codes)}
    ranked = sorted(flags, key=lambda flag: places.get(flag.code, (len(_CAUSES), 0)))
    causes = [places[flag.code][0] if flag.code in places else flag.text for flag in ranked]
    first = [flag for n, flag in enumerate(ranked) if causes[n] not in causes[:n]]
    return first + [flag for flag in ranked if flag not in first]


def _card(repair: OpenRepair, reading: Reading) -> str:
    if reading.card.region is None:
        return "None: the colors are the camera's guess. Only differences within this photo mean something."
    if any(region.name == FOUND for region in repair.of_kind(RegionKind.CARD)):
        return "Found by the program. Check that the outline lies inside the card; drag it if it doesn't."
    return "Marked by you."


def _light(reading: Reading) -> str:
    light, words = reading.light, []
    if light.cast is not None:
        off = describe_off(Lab(50, *light.cast), Lab(50, 0, 0))
        words.append(
            "The camera left no noticeable cast."
            if off == NOTHING
            else f"The camera left the photo {off}; the card corrects that."
        )
    if light.cct_k is not None:
        words.append(f"The lamp is at about {light.cct_k:.0f} K.")
    if light.evenness is not None:
        percent = round(100 * (light.evenness - 1))
        words.append(f"The light changes by {percent} % across the card." if percent else "It is even across the card.")
    return " ".join(words) or "Unknown without a card."


def _color(sample: Sample, difference: Difference) -> str:
    beside = difference._replace(figure=hypot(sample.random, difference.figure))
    return (
        f"L* {sample.lab.L:.1f}, a* {sample.lab.a:.1f}, b* {sample.lab.b:.1f}. Compared with the other surface in "
        f"this photo, which is what counts for the repair, it is accurate to ΔE {beside.words}, nine times in ten; "
        f"alone, as a color for other photos, to ΔE {sample.uncertainty:.1f}."
    )


def _surer(repair: OpenRepair, reading: Reading) -> str:
    if reading.card.region is None:
        return "A gray card in the photo, first of all."
    if len(repair.of_kind(RegionKind.SOUND)) < PATCHES:
        return "More patches of sound wood."
    gray = reading.card.kind is CardKind.GRAY
    better = "A three-step card or a 24-patch chart instead of the gray card" if gray else ""
    if reading.card.kind in STAND_INS:
        better = f"A gray card instead of the {STAND_INS[reading.card.kind].name}"
    teach = "learning your phone once, from one photo of a chart" if gray and reading.learned is None else ""
    raw = "" if reading.photo.raw else "camera raw instead of JPEG"
    strips = "test strips of the wash in the same photo, which don't depend on any of this"
    parts = [part for part in (better, teach, raw, strips) if part]
    text = "; ".join(parts)
    return f"{look.capital(text)}."
