"""What the program says of real photos: ``python -m tests.image.real_files FOLDER ...``.

Opens every picture below the folders without a card, and looks for each kind of card in it. Made for the test pictures
of image libraries (measured/real_files.md names those that were tried); nothing of it needs them.
"""

import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from colormatch.errors import CardNotFound, ColorMatchError
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import Card, CardKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.chart_find import find_chart
from colormatch.reference.gray_card_find import find_card
from colormatch.reference.neutral import find_neutral
from colormatch.reference.three_step_find import find_three_steps

#: Endings of what a camera or a phone writes.
ENDINGS = (
    *(".jpg", ".jpeg", ".mpo", ".heic", ".heif", ".hif", ".avif", ".webp", ".png", ".tif", ".tiff"),
    *(".dng", ".nef", ".cr2", ".cr3", ".crw", ".arw", ".raf", ".orf", ".rw2"),
)
FINDERS: dict[str, Callable[[DecodedPhoto], Card]] = {
    "gray card": find_card,
    "three-step card": find_three_steps,
    "chart": find_chart,
}


def told(path: Path) -> tuple[str, str]:
    """ "opened", "refused" or "broken", and what is said of it."""
    try:
        photo = open_photo(path)
        light = find_neutral(photo, CardChoice(CardKind.NONE)).light
        found = [name for name, find in FINDERS.items() if _finds(find, photo)]
    except ColorMatchError as refusal:
        return "refused", str(refusal)
    except Exception as error:  # what the study is for
        return "broken", f"{type(error).__name__}: {error}"
    facts = photo.facts
    lamp = "" if light.cct_k is None else f", {light.cct_k:.0f} K, Duv {light.duv:+.4f}"
    words = [f"{facts.width} x {facts.height}, {photo.profile.name}{', raw' if facts.raw else ''}{lamp}"]
    words += [flag.code for flag in facts.flags] + [f"found: {name}" for name in found]
    return "opened", "; ".join(words)


def _finds(find: Callable[[DecodedPhoto], Card], photo: DecodedPhoto) -> bool:
    try:
        find(photo)
    except CardNotFound:
        return False
    return True


if __name__ == "__main__":
    counts: Counter[str] = Counter()
    for folder in sys.argv[1:]:
        for path in sorted(path for path in Path(folder).rglob("*") if path.suffix.lower() in ENDINGS):
            result, words = told(path)
            counts[result] += 1
            counts.update(part for part in words.split("; ") if part.startswith("found") or part == "hdr-gain-map")
            print(f"{path.relative_to(folder)}: {result}: {words}", flush=True)
    print(dict(counts))
