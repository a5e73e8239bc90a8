"""The demo photograph: an old side table, sanded through its veneer at the front edge, a filled chip beside it.

A scenario of our own; everything in it is simulated. `truth` gives what a reader of the photo should find, and the
color to which any wash over the damage really dries.
"""

import json
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np

from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.paints import HELD_BY_TONES, PAINTS, Wash, dried
from tests.scenes.scene import Box, Photograph, Scene, Shadow, Thing, project, rectangle, tilt
from tests.scenes.spectra import FloatArray, bump, delta_e, edge, reflectance_to_lab
from tests.scenes.surface import Surface, blot, mottled
from tests.scenes.woods import board, wood

TITLE = "An old side table, sanded through its veneer at the front edge"
WIDTH, HEIGHT = 2400, 1800
SEED = 20
LIGHTING = Lighting("D65", slope=(-0.02, 0.01), vignette=0.03)
CAMERA = Camera("shifted", (0.05, 0.0, -0.07), white_level=0.80, s_curve=0.08, blur=0.7, noise=0.005)
#: The veneer as it has aged, the softwood under it, and the solid lipping of the front edge.
VENEER = wood(4.9, 95, 0.10, 1.7)
CORE = wood(1.3, 105, 0.06, 1.4)
LIPPING = wood(5.6, 97, 0.11, 1.6)
#: The wash that the program ranks first, as it was brushed on: it came out thin. Paint, paint fraction, coats, film.
PAINTED = ("Brown Glaze", 0.25, 1, 0.55)
#: The photo of the dried repair was taken on another day.
LIGHTING_DRY = Lighting("D65", slope=(0.015, -0.01), vignette=0.03)
CAMERA_DRY = Camera("shifted", (-0.03, 0.0, 0.05), white_level=0.74, s_curve=0.08, blur=0.7, noise=0.004)
#: Where the user marked them, pixels of the photograph.
CARD: Box = (1636, 292, 330, 210)
SOUND: tuple[Box, ...] = ((250, 300, 200, 150), (820, 170, 200, 150), (1120, 640, 200, 150), (240, 900, 200, 150))
DAMAGE: Box = (800, 1150, 260, 110)
#: The worn place as a user would trace it; only for the picture of the repair, colors are read in `DAMAGE`.
OUTLINE = (
    (520, 1135),
    (608, 1089),
    (783, 1057),
    (928, 1019),
    (1072, 1036),
    (1179, 1068),
    (1212, 1129),
    (1268, 1226),
    (1303, 1327),
    (615, 1327),
    (569, 1252),
    (532, 1184),
)
#: The dried repair as a user would mark it.
REPAIR: tuple[Box, ...] = ((800, 1150, 260, 110), (660, 1180, 110, 80), (1090, 1170, 90, 90))
FILLER: Box = (1730, 1205, 100, 60)
#: Truth of the photograph for the tests; not part of the starter library.
TRUTH_FILE = Path(__file__).with_name("demo_truth.json")
#: How the tones of veneer, core and filler hold washes back.
HELD = np.concatenate([HELD_BY_TONES, HELD_BY_TONES, HELD_BY_TONES[:1]])
#: Size of the table top's texture: what of it the frame shows.
_TOP = (1330, 2080)


def _table_top(rng: np.random.Generator, washes: Sequence[Wash]) -> Surface:
    top = board(VENEER, _TOP, rng, period=46, waviness=0.8, cathedral=520, pores=0.55, slow=0.02)
    core = board(CORE, _TOP, rng, period=30, angle=3, waviness=0.5, pores=0.1, slow=0.015)
    worn = blot(_TOP, (940, 1290), (380, 230), rng, roughness=0.22, softness=45, stretch=3.5)
    # Sanding feathers out: veneer of which the grain lines are left.
    feather = blot(_TOP, (940, 1300), (520, 320), rng, roughness=0.25, softness=200, stretch=3.5)
    left = np.clip(2.2 * top.shares[..., 1] + 0.15, 0, 1)
    through = np.maximum(worn, feather * (1 - left) * 0.9)
    chip = blot(_TOP, (1800, 1250), (130, 75), rng, roughness=0.15, softness=4, stretch=1.5)
    top = top.overlaid(core, through).overlaid(_filler(rng), chip)
    if not washes:
        return top
    washed = top.coated(lambda tones: dried(tones, washes, held=HELD))
    return top.overlaid(washed, np.clip(2 * worn, 0, 1))


def _filler(rng: np.random.Generator) -> Surface:
    """Fine-grained wood filler: a flat, pale, yellowish color without grain."""
    color = 0.60 - 0.40 * edge(505, 45) - 0.03 * bump(560, 60)
    return mottled(color, _TOP, rng, depth=0.02, cell=14)


@cache
def scene(washes: tuple[Wash, ...] = ()) -> Scene:
    """The table top on a bench, with a gray card, sandpaper and masking tape; the worn place bare or washed."""
    rng = np.random.default_rng(SEED)
    view = tilt(WIDTH, HEIGHT, 6.0, -2.0) @ _turned(1.2)

    def seen(center: tuple[float, float], size: tuple[float, float], angle: float = 0.0) -> FloatArray:
        return project(view, rectangle(center, size, angle))

    bench = things.bench_top((HEIGHT, WIDTH), rng, 0.8 * things.FIBERBOARD)
    top = _table_top(rng, washes)
    lipping = board(LIPPING, (70, _TOP[1]), rng, period=22, waviness=0.3, pores=0.4)
    lipping = Surface(
        lipping.shares * np.linspace(0.85, 0.35, 70, dtype=np.float32)[:, None, None], lipping.reflectances
    )
    height, width = _TOP
    middle = (width / 2 - 10, height / 2 + 10)
    return Scene(
        WIDTH, HEIGHT,
        (
            Thing("bench", "bench", bench, rectangle((WIDTH / 2, HEIGHT / 2), (WIDTH, HEIGHT))),
            Thing("lipping", "wood", lipping, seen((middle[0], middle[1] + height / 2 + 35), (width, 70)),
                  Shadow(0.75, (26, 46), 26)),
            Thing("table top", "wood", top, seen(middle, (width, height)), Shadow(0.6, (22, 0), 16)),
            Thing("sandpaper", "distractor", things.sandpaper(rng), seen((2260, 1180), (330, 420), 14),
                  Shadow(0.4, (6, 8), 6)),
            Thing("tape", "distractor", things.masking_tape(rng), seen((590, 1610), (520, 62), -7),
                  Shadow(0.25, (2, 3), 2)),
            Thing("card", "gray card", things.gray_card(), seen((1790, 400), (420, 280), -5), Shadow(0.4, (5, 7), 6)),
        ),
        clouds=((2500, 1900, 500, 400, 0.25),),
    )  # fmt: skip


def _turned(degrees: float) -> FloatArray:
    """(3, 3) homography that turns the frame about its middle."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    x, y = WIDTH / 2, HEIGHT / 2
    return np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y], [0, 0, 1]])


def photograph() -> Photograph:
    """The demo photograph, the same each time."""
    return scene().photograph(LIGHTING, CAMERA, np.random.default_rng(SEED + 1))


def painted() -> tuple[Wash, ...]:
    """The wash as it was brushed on."""
    name, fraction, coats, film = PAINTED
    return (Wash(PAINTS[name], fraction, coats, film),)


def photograph_dry() -> Photograph:
    """The same table top once the repair is dry, the same each time."""
    return scene(painted()).photograph(LIGHTING_DRY, CAMERA_DRY, np.random.default_rng(SEED + 2))


def make_truth() -> dict[str, object]:
    """What `TRUTH_FILE` holds: true Labs, and the tones of the damage, from which every wash over it follows."""
    top = scene()["table top"]
    shares = scene().tone_shares(DAMAGE)[scene().things.index(top)]
    return {
        "simulated": True,
        "card": scene()["card"].lab.round(4).tolist(),
        "sound_patches": [scene().lab(box).round(4).tolist() for box in SOUND],
        "sound": reflectance_to_lab(np.mean([scene().mean_reflectance(box) for box in SOUND], 0)).round(4).tolist(),
        "damage": scene().lab(DAMAGE).round(4).tolist(),
        "filler": scene().lab(FILLER).round(4).tolist(),
        "card_quad": scene()["card"].quad.round(2).tolist(),
        "light": LIGHTING.light,
        "camera": CAMERA.name,
        "seed": SEED,
        "damage_tones": {
            "shares": shares.round(6).tolist(),
            "held": HELD.tolist(),
            "reflectances": top.surface.reflectances.round(6).tolist(),
        },
    }


@cache
def truth() -> dict[str, object]:
    """`TRUTH_FILE` as it was written."""
    return json.loads(TRUTH_FILE.read_text())


def true_lab(washes: Sequence[Wash]) -> FloatArray:
    """(3,) CIELAB to which the demo's damage really dries under these washes, lowest first."""
    tones = truth()["damage_tones"]
    shares, held, reflectances = (np.array(tones[key]) for key in ("shares", "held", "reflectances"))
    return reflectance_to_lab(shares @ dried(reflectances, washes, held=held))


def true_delta_e(washes: Sequence[Wash]) -> float:
    """CIEDE2000 that these washes really leave between the demo's damage and its sound wood."""
    return float(delta_e(true_lab(washes), np.array(truth()["sound"])))


def wash(paint: str, paint_fraction: float, coats: int = 1) -> Wash:
    """A wash of a paint on the demo's shelf."""
    return Wash(PAINTS[paint], paint_fraction, coats)
