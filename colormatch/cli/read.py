"""Read the colors of patches in a photo: CIELAB under D65, after white balance by the card."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import (
    Answer,
    add_json,
    add_library,
    flag_documents,
    named_box,
    notes,
    print_lab,
    reading_flags,
    rounded,
    table,
    tell_absent_library,
)
from colormatch.cli.references import add_reference_options, read_by_references

if TYPE_CHECKING:
    from colormatch.records import Reading, Sample


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("photo", type=Path, metavar="PHOTO")
    add_reference_options(parser)
    parser.add_argument(
        "--patch",
        action="append",
        default=[],
        type=named_box,
        metavar="NAME=BOX",
        help="a patch to read (repeatable); three or more with the same name, in different places, are combined",
    )
    add_library(parser, needs=False)
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.image.photo import open_photo
    from colormatch.records import Region, RegionKind

    tell_absent_library(args.library)
    photo = open_photo(args.photo)
    width, height = photo.facts.width, photo.facts.height
    regions = [Region.from_box(RegionKind.PATCH, box, width, height, name) for name, box in args.patch]
    reading = read_by_references(args, photo, regions)
    return Answer(document(reading), text(reading))


def document(reading: Reading) -> dict[str, Any]:
    """The JSON document of a reading."""
    facts, card, light = reading.photo, reading.card, reading.light
    size = facts.width, facts.height
    answer = {
        "photo": {
            "width": facts.width,
            "height": facts.height,
            "format": facts.format,
            "camera": facts.camera,
            "profile": facts.profile,
            "flags": flag_documents(facts.flags),
        },
        "light": {
            "cast": light.cast,
            "cct_k": light.cct_k,
            "duv": light.duv,
            "evenness": light.evenness,
            "flags": flag_documents(light.flags),
        },
        "card": {
            "kind": str(card.kind),
            "box": card.region.box(*size) if card.region else None,
            "found": card.found,
            "confidence": card.confidence,
            "flags": flag_documents(card.flags),
        },
        "patches": [
            {
                "name": sample.name,
                "box": sample.region.box(*size) if sample.region else None,
                "lab": sample.lab,
                "uncertainty": sample.uncertainty,
                "uncertainty_random": sample.random,
                "uncertainty_systematic": sample.systematic,
                "pixels": sample.pixels,
                "field": sample.field_lab,
                "grain": sample.grain_lab,
                "grain_angle": sample.grain_angle,
                "flags": flag_documents(sample.flags),
            }
            for sample in reading.samples
        ],
        "surfaces": [
            {
                "name": sample.name,
                "patches": count,
                "lab": sample.lab,
                "uncertainty": sample.uncertainty,
                "uncertainty_random": sample.random,
                "uncertainty_systematic": sample.systematic,
                "flags": flag_documents(sample.flags),
            }
            for sample, count in surfaces(reading)
        ],
        "difference": reading.difference._asdict(),
        "learned_camera": reading.learned._asdict() if reading.learned else None,
        "steps": reading.steps,
    }
    cleaned: dict[str, Any] = rounded(answer)
    return cleaned


def surfaces(reading: Reading) -> list[tuple[Sample, int]]:
    """Patches of one name taken together, and how many they are; names that stand once are left out."""
    from colormatch.sampling.sample import combine

    named: dict[str, list[Sample]] = {}
    for sample in reading.samples:
        named.setdefault(sample.name, []).append(sample)
    return [(combine(same, name), len(same)) for name, same in named.items() if len(same) > 1]


def text(reading: Reading) -> str:
    """The same for people."""
    facts, card = reading.photo, reading.card
    camera = f", {facts.camera}" if facts.camera else ""
    lines = [f"Photo: {facts.width} x {facts.height} {facts.format}, {facts.profile}{camera}"]
    if card.region is not None:
        box = ",".join(map(str, card.region.box(facts.width, facts.height)))
        found = "found" if card.found == "auto" else "as marked"
        lines.append(f"Card: {card.kind}, {found} at {box}")
    if reading.light.cct_k is not None:
        lines.append(f"Light: {reading.light.cct_k:.0f} K, Duv {reading.light.duv:+.3f}")
    lines += [f"Correction: {step}" for step in reading.steps]
    if reading.samples:
        together = surfaces(reading)
        rows = [(s.name, print_lab(s.lab), f"± {s.uncertainty:.1f}") for s in reading.samples]
        rows += [(f"{s.name}, {n} together", print_lab(s.lab), f"± {s.uncertainty:.1f}") for s, n in together]
        lines += ["", table(("patch", "   L*     a*     b*", "ΔE00 (90 %)"), rows)]
    if len(reading.samples) > 1:
        words = reading.difference.words
        lines.append(f"Most of that error is shared: differences between the patches are good to {words}.")
    of_patches = {flag for sample in reading.samples for flag in sample.flags}
    of_surfaces = (flag for sample, _ in surfaces(reading) for flag in sample.flags if flag not in of_patches)
    flags = [*reading_flags(reading), *of_surfaces]
    lines += dict.fromkeys(notes(flags))
    return "\n".join(lines)
