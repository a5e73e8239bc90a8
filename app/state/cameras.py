"""What the library knows of the camera that took a photo."""

from __future__ import annotations

from pathlib import Path

from app import cache
from app.repair.marks import ALONE
from app.state.library import stored
from colormatch.records import CameraPhoto, LightKind
from colormatch.reference.teach import of_camera

#: Kinds of light in words.
LIGHTS = {
    LightKind.DAYLIGHT: "daylight",
    LightKind.BULB: "the light of a bulb",
    LightKind.FLUORESCENT: "the light of a fluorescent tube",
    LightKind.LED: "the light of an LED lamp",
}


def known(path: Path) -> dict[LightKind, tuple[CameraPhoto, ...]]:
    """The photos that taught a photo's camera, by the light that they were taken in."""
    kept = [one.record for one in stored(CameraPhoto)]
    if not kept:
        return {}
    facts = cache.facts(path)
    taught = of_camera(kept, facts.taken_with, facts.raw) if facts.taken_with else []
    return {light: some for light in LIGHTS if (some := tuple(one for one in taught if one.light is light))}


def through(path: Path, choice: str) -> tuple[CameraPhoto, ...]:
    """Those that a photo with a gray card is read through: of the light that was chosen, or of the only one."""
    if choice == ALONE:
        return ()
    by_light = known(path)
    if choice:
        return next((some for light, some in by_light.items() if light == choice), ())
    return next(iter(by_light.values())) if len(by_light) == 1 else ()
