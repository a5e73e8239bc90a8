"""Readings, checks and washes that the tests of a dried repair share."""

from dataclasses import replace

from colormatch.check.compare import Check, compare
from colormatch.records import (
    Box,
    Card,
    CardKind,
    Difference,
    Lab,
    Layer,
    Light,
    Part,
    Photo,
    Reading,
    Region,
    RegionKind,
    Sample,
)


def sample(name: str, lab: Lab, random: float = 0.5) -> Sample:
    return Sample(name, lab, random, 6.7, 10_000)


SOUND = sample("sound", Lab(56, 11, 25))
NEAR, FAR = Lab(56.3, 11, 25), Lab(66, 8, 22)


def checks(**colors: Lab) -> list[Check]:
    return [compare(sample(name, lab), SOUND) for name, lab in colors.items()]


def layer(paint: str, fraction: float, coats: int = 1) -> Layer:
    return Layer((Part(paint),), fraction, coats)


_PHOTO = Photo(1000, 750, "JPEG", "", "sRGB", "0" * 64)


def photographed(repair: Lab, sound: Lab) -> Reading:
    regions = [
        Region.from_box(kind, Box(10, 10, 50, 50), 1000, 750, name)
        for kind, name in ((RegionKind.REPAIR, "repair"), (RegionKind.SOUND, "sound"))
    ]
    samples = tuple(
        replace(sample(region.name, lab), region=region) for region, lab in zip(regions, (repair, sound), strict=True)
    )
    return Reading(_PHOTO, Card(CardKind.NONE, None, "none"), Light(None), samples, difference=Difference(1.0))
