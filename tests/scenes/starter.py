"""Writes the starter library, ``swatches/``: ``python -m tests.scenes.starter``.

The folder is in the open exchange format. All of it is simulated: ten invented paints, their swatches as a tidy person
would paint and measure them, and the demo photograph. The same bytes each run.
"""

import csv
import hashlib
import io
import json
import shutil
from pathlib import Path

import numpy as np

from tests.scenes import demo
from tests.scenes.files import encoded
from tests.scenes.paints import (
    BLACK_CARD,
    CLEAR_COATS,
    PAINTS,
    WHITE_CARD,
    Wash,
    dried,
    washed_board,
)
from tests.scenes.spectra import FloatArray, reflectance_to_lab
from tests.scenes.woods import DARK_WOOD, LIGHT_WOOD

FOLDER = Path(__file__).parents[2] / "swatches"
SEED = 7
#: Water parts to one part of paint, and coats, on each ground; the last columns of light wood are sometimes left out.
CELLS = {
    "light wood": ((0, 1), (1, 1), (3, 1), (3, 2), (7, 1), (7, 2), (1, 2), (3, 3)),
    "dark wood": ((0, 1), (3, 1), (3, 2), (7, 1)),
    "white card": ((0, 1), (3, 1)),
    "black card": ((0, 1),),
}
#: Spread of the film between swatches of one careful hand; half of what is usual.
CAREFUL_SCATTER = 0.06
#: Root mean square ΔE00 of a measurement, drawn for each swatch between these.
NOISE = (0.3, 0.5)
#: 90 % radius over root mean square of a round three-dimensional Gaussian: sqrt(chi-square quantile 6.2514 / 3).
RADIUS_PER_RMS = float(np.sqrt(6.2514 / 3))
JPEG_QUALITY = 90
#: Of the photo of the dried repair, which is to weigh less.
JPEG_QUALITY_DRY = 82

#: Kind, price, tin size and what is left, milliliters; the price is in the user's own currency.
SHELF = {
    "Warm White": ("matte furniture paint", 14, 500, 380),
    "Cream": ("matte furniture paint", 14, 500, 210),
    "Ochre": ("matte furniture paint", 9, 125, 90),
    "Raw Umber": ("matte furniture paint", 9, 125, 110),
    "Burnt Umber": ("matte furniture paint", 9, 125, 70),
    "Red Oxide": ("matte furniture paint", 9, 125, 100),
    "Oxide Green": ("matte furniture paint", 9, 125, 125),
    "Dull Blue": ("matte furniture paint", 9, 125, 60),
    "Carbon Black": ("matte furniture paint", 9, 125, 115),
    "Brown Glaze": ("glaze", 16, 250, 160),
}


def measured(reflectance: FloatArray, rms: float, rng: np.random.Generator) -> list[str]:
    """Lab of a reflectance read with an instrument's noise of `rms` ΔE00, as text with two decimals.

    The noise is drawn per axis in ΔE00 units: SL, SC and SH of CIE 142-2001 turn it into Lab, with SH of T = 1.
    """
    lab = reflectance_to_lab(reflectance)
    chroma = np.hypot(lab[1], lab[2])
    lightness = (lab[0] - 50) ** 2
    scale = np.array([1 + 0.015 * lightness / np.sqrt(20 + lightness), 1 + 0.045 * chroma, 1 + 0.015 * chroma])
    light, strong, turned = rng.normal(0, rms / np.sqrt(3), 3) * scale
    along = lab[1:] / chroma if chroma > 1e-6 else np.array([1.0, 0.0])
    noise = np.array([light, *(strong * along + turned * np.array([-along[1], along[0]]))])
    return [f"{value:.2f}" for value in np.clip(lab + noise, [0, -128, -128], [100, 128, 128])]


def _over(ground: str, washes: tuple[Wash, ...] = ()) -> FloatArray:
    """(81,) reflectance of a starter ground, washed or bare."""
    if ground == "white card":
        return dried(WHITE_CARD, washes)
    if ground == "black card":
        return dried(BLACK_CARD, washes)
    wood = LIGHT_WOOD if ground == "light wood" else DARK_WOOD
    return washed_board(wood, washes)


def _paint_rows() -> list[list[object]]:
    rows: list[list[object]] = [["name", "maker", "kind", "thinner", "price", "size_ml", "on_hand_ml", "notes"]]
    for name, (kind, price, size, left) in SHELF.items():
        rows.append([name, "invented", kind, "water", price, size, left, "simulated"])
    return rows


def _swatch_rows(rng: np.random.Generator) -> list[list[object]]:
    rows: list[list[object]] = [
        ["paint", "paint_parts", "water_parts", "coats", "ground", "ground_L", "ground_a", "ground_b", "L", "a", "b",
         "uncertainty", "state", "taken", "photo", "notes"]
    ]  # fmt: skip
    for number, paint in enumerate(PAINTS.values()):
        for ground, cells in CELLS.items():
            kept = len(cells) - int(rng.integers(0, 3)) if ground == "light wood" else len(cells)
            for water, coats in cells[:kept]:
                wash = Wash(paint, 1 / (1 + water), coats).scattered(rng, CAREFUL_SCATTER)
                rms = rng.uniform(*NOISE)
                rows.append(
                    [paint.name, 1, water, coats, ground, *measured(_over(ground), rms, rng),
                     *measured(_over(ground, (wash,)), rms, rng), f"{rms * RADIUS_PER_RMS:.2f}", "bare",
                     f"2024-05-{number + 1:02d}", "", "simulated"]
                )  # fmt: skip
    return rows


def _clear_coat_rows(rng: np.random.Generator) -> list[list[object]]:
    rows: list[list[object]] = [
        ["name", "bare_L", "bare_a", "bare_b", "sealed_L", "sealed_a", "sealed_b", "on", "notes"]
    ]
    wash = Wash(PAINTS["Raw Umber"], 0.25, 1)
    for clear in CLEAR_COATS.values():
        for on, wood, washes in (
            ("bare light wood", LIGHT_WOOD, ()),
            ("bare dark wood", DARK_WOOD, ()),
            ("washed light wood", LIGHT_WOOD, (wash,)),
        ):
            rms = rng.uniform(*NOISE)
            rows.append(
                [clear.name, *measured(washed_board(wood, washes), rms, rng),
                 *measured(washed_board(wood, washes, clear), rms, rng), on, "simulated"]
            )  # fmt: skip
    return rows


def _csv(rows: list[list[object]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


def _json(document: dict[str, object]) -> bytes:
    """One key a line."""
    lines = (f" {json.dumps(key)}: {json.dumps(value)}" for key, value in document.items())
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


def contents() -> dict[str, bytes]:
    """Every file of the starter library by its path in the folder."""
    rng = np.random.default_rng(SEED)
    photo = encoded(demo.photograph(), "JPEG", quality=JPEG_QUALITY)
    photo_name = f"photos/{hashlib.sha256(photo).hexdigest()}.jpg"
    photo_dry = encoded(demo.photograph_dry(), "JPEG", quality=JPEG_QUALITY_DRY)
    photo_dry_name = f"photos/{hashlib.sha256(photo_dry).hexdigest()}.jpg"
    paint, fraction, coats, _ = demo.PAINTED
    files = {
        "paints.csv": _csv(_paint_rows()),
        "swatches.csv": _csv(_swatch_rows(rng)),
        "clear_coats.csv": _csv(_clear_coat_rows(rng)),
        photo_name: photo,
        photo_dry_name: photo_dry,
        "demo.json": _json(
            {
                "title": demo.TITLE,
                "photo": photo_name,
                "card": demo.CARD,
                "sound": demo.SOUND,
                "damage": [demo.DAMAGE],
                "outline": demo.OUTLINE,
                "dried": {
                    "photo": photo_dry_name,
                    "repair": demo.REPAIR,
                    "painted": {"paint": paint, "paint_fraction": fraction, "coats": coats},
                },
                "simulated": True,
            }
        ),
    }
    manifest = {
        "format": "swatch exchange",
        "version": 1,
        "simulated": True,
        "about": "Invented paints, swatches and photo, computed by a spectral simulator; no real product is meant.",
        "made_by": "python -m tests.scenes.starter",
        "files": {path: hashlib.sha256(content).hexdigest() for path, content in sorted(files.items())},
    }
    return {**files, "manifest.json": _json(manifest)}


def main() -> None:
    """Write the folder anew, and the truth of the demo for the tests."""
    files = contents()
    shutil.rmtree(FOLDER, ignore_errors=True)
    for path, content in files.items():
        target = FOLDER / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
        print(f"{path}: {len(content):,} bytes")
    demo.TRUTH_FILE.write_bytes(_json(demo.make_truth()))


if __name__ == "__main__":
    main()
