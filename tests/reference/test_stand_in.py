"""What stands in for a card: read as its own color, with a doubt of its own; and the simulated whitener of paper."""

import numpy as np
import pytest

from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import BadInput, CardNotFound, CardUnusable
from colormatch.image.photo import open_photo
from colormatch.records import CardKind, FlagCode, Lab, Reading, Region, RegionKind
from colormatch.reference.card_choice import CardChoice, Settled, parse_card_value, settled_text
from colormatch.reference.correction import gray_card_correction
from colormatch.reference.neutral import find_neutral
from colormatch.reference.stand_in import STAND_INS, stand_in_correction
from colormatch.repair import read_photo
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.spectra import WAVELENGTHS, delta_e, edge, flat, light, reflectance_to_lab
from tests.scenes.surface import Surface, plain
from tests.scenes.woods import LIGHT_WOOD, MIDDLE_WOOD, board
from tests.studies.stand_ins import ABSORBED, EXCITING, Lamp, cardboard, fluorescing, paper

SIZE = (900, 600)
AT, EXTENT = (620, 220), (300, 220)
WOOD = Region(RegionKind.SOUND, ((0.07, 0.64), (0.38, 0.64), (0.38, 0.92), (0.07, 0.92)), "wood")


def marked(scale: float = 0.9) -> Region:
    quad = rectangle(AT, (scale * EXTENT[0], scale * EXTENT[1])) / SIZE
    return Region(RegionKind.CARD, tuple((float(x), float(y)) for x, y in quad), "card")


def taken(lies: Surface, lamp: str = "D65", white_level: float = 0.75) -> tuple[bytes, Lab]:
    """A photo of a surface on wood, and the wood's true color."""
    rng = np.random.default_rng(8)
    wood = Thing("wood", "wood", board(MIDDLE_WOOD, SIZE[::-1], rng), rectangle((450, 300), SIZE))
    scene = Scene(*SIZE, (wood, Thing("lies", "stand-in", lies, rectangle(AT, EXTENT))))
    camera = Camera("shifted", (0.06, 0.0, -0.08), white_level=white_level, s_curve=0.15, noise=0.004)
    box = (int(0.1 * SIZE[0]), int(0.66 * SIZE[1]), 200, 120)
    return encoded(scene.photograph(Lighting(lamp), camera, rng), "JPEG", quality=95), Lab(*scene.lab(box).tolist())


def read(lies: Surface, choice: CardChoice, lamp: str = "D65") -> tuple[Reading, float]:
    photo, true = taken(lies, lamp)
    reading = read_photo(photo, [WOOD], choice)
    return reading, float(delta_e(np.array(reading.samples[0].lab), np.array(true)))


@pytest.mark.parametrize("kind", [CardKind.PAPER, CardKind.CARDBOARD, CardKind.PIECE])
@pytest.mark.parametrize("raw", [False, True])
def test_it_is_read_as_the_color_it_has(kind: CardKind, raw: bool) -> None:
    """The gain that it gives makes it what is known of it, whatever the camera made of it."""
    seen = np.array([0.5, 0.31, 0.22])
    known = Lab(70.0, 8.0, 22.0)
    correction = stand_in_correction(seen, kind, known, raw=raw)
    np.testing.assert_allclose(correction.lab(seen), known, atol=1e-6)
    if (usual := STAND_INS[kind].usual) is not None:
        np.testing.assert_allclose(stand_in_correction(seen, kind, raw=raw).lab(seen), usual, atol=1e-6)


@pytest.mark.parametrize("lamp", ["D65", "A", "LED-B1"])
@pytest.mark.parametrize("kind", [CardKind.PAPER, CardKind.CARDBOARD, CardKind.PIECE])
def test_true_wood_lies_within_what_is_stated(kind: CardKind, lamp: str) -> None:
    rng = np.random.default_rng(4)
    piece = board(LIGHT_WOOD, EXTENT[::-1], rng)
    value = Settled(Lab(*piece.lab().tolist()), 1.0) if kind is CardKind.PIECE else None
    seen = Lamp(lamp, "")
    lies = {CardKind.PAPER: plain(paper(rng, seen)), CardKind.CARDBOARD: plain(cardboard(rng, seen))}.get(kind, piece)
    reading, off = read(lies, CardChoice(kind, value, region=marked()), lamp)
    assert off <= reading.samples[0].uncertainty
    assert reading.card.kind is kind
    codes = [flag.code for flag in reading.card.flags]
    assert codes.count(FlagCode.STAND_IN) == 1
    assert FlagCode.CARD_TEXTURED not in codes
    assert STAND_INS[kind].name in reading.steps[0]


@pytest.mark.parametrize("raw", [False, True])
def test_each_is_less_sure_than_a_gray_card(raw: bool) -> None:
    """Paper with its whitener less than cardboard, a dark piece less than a light one, a known color less than none."""
    seen = np.array([0.4, 0.4, 0.4])
    card = gray_card_correction(seen, raw=raw)

    def stated(kind: CardKind, value: Lab | Settled | None = None) -> float:
        correction = stand_in_correction(seen, kind, value, raw=raw)
        assert correction.difference.share >= card.difference.share
        return correction.systematic

    by_paper, by_board = stated(CardKind.PAPER), stated(CardKind.CARDBOARD)
    assert card.systematic < stated(CardKind.CARDBOARD, Lab(93, 0, 2)) < by_board < by_paper
    light, dark = Lab(70.0, 8.0, 22.0), Lab(42.0, 10.0, 18.0)
    assert card.systematic < stated(CardKind.PIECE, light) < stated(CardKind.PIECE, Settled(light, 3.0))
    assert stated(CardKind.PIECE, light) < stated(CardKind.PIECE, dark)


def test_the_whitener_makes_paper_a_worse_card_by_day_than_under_an_led() -> None:
    """Paper of much whitener, read as usual paper: too yellow by day; under an LED, where it is cream, too blue."""
    shifts = []
    for lamp in ("D65", "LED-B1"):
        sheets = [plain(fluorescing(flat(0.86), whitener, Lamp(lamp, ""))) for whitener in (0.8, 0.0)]
        by_sheet = [read(sheet, CardChoice(CardKind.PAPER, region=marked()), lamp)[0] for sheet in sheets]
        shifts.append(by_sheet[0].samples[0].lab.b - by_sheet[1].samples[0].lab.b)
    assert shifts[0] > 3
    assert abs(shifts[1]) < 0.3


def test_they_are_marked_not_looked_for() -> None:
    photo = open_photo(taken(plain(flat(0.9)))[0])
    for kind, stand_in in STAND_INS.items():
        with pytest.raises(CardNotFound, match=stand_in.name):
            find_neutral(photo, CardChoice(kind, Lab(60, 5, 20)))


def test_what_can_not_serve_is_refused() -> None:
    blown = open_photo(taken(plain(flat(0.95)), white_level=1.3)[0])
    with pytest.raises(CardUnusable, match="white paper is too bright"):
        find_neutral(blown, CardChoice(CardKind.PAPER, region=marked()))
    orange = open_photo(taken(plain(0.65 - 0.6 * edge(590, 20)))[0])
    with pytest.raises(CardUnusable, match="marked as the white cardboard isn't white"):
        find_neutral(orange, CardChoice(CardKind.CARDBOARD, region=marked()))
    with pytest.raises(BadInput, match="second piece is missing"):
        find_neutral(orange, CardChoice(CardKind.PIECE, region=marked()))
    with pytest.raises(BadInput, match="too dark or too strongly colored"):
        find_neutral(orange, CardChoice(CardKind.PIECE, Lab(20, 5, 10), region=marked()))


def test_values_as_people_type_them() -> None:
    known = Settled(Lab(62.0, 9.0, 24.0), 1.2)
    assert parse_card_value("62, 9, 24,1.2", CardKind.PIECE) == known
    assert parse_card_value(settled_text(*known_parts(known)), CardKind.PIECE) == known
    assert parse_card_value("62,9,24", CardKind.PIECE) == Settled(Lab(62.0, 9.0, 24.0))
    assert parse_card_value("94,0,-4", CardKind.PAPER) == Lab(94.0, 0.0, -4.0)
    for wrong in ("oak", "1,2", "62,9,24,-1", "62,9,24,nan", "62,9,x", "162,9,24"):
        with pytest.raises(BadInput):
            parse_card_value(wrong, CardKind.PIECE)
    board = stand_in_correction(np.full(3, 0.5), CardKind.CARDBOARD, 0.8)
    np.testing.assert_allclose(board.lab(np.full(3, 0.5)), lab_from_linear(np.full(3, 0.8)))


def known_parts(known: Settled) -> tuple[Lab, float]:
    return known.lab, known.uncertainty


# --- the simulated whitener ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["D65", "D50", "A"])
def test_a_whitener_gives_back_a_photon_for_each_it_absorbs_times_its_yield(name: str) -> None:
    """Conservation, by counting: photons of a band are power times wavelength."""
    lamp = Lamp(name, "")
    shone = (fluorescing(flat(0.8), 0.6, lamp) - 0.8) * light(name)
    absorbed = ABSORBED @ (lamp.exciting() * EXCITING)
    assert float(shone @ WAVELENGTHS) == pytest.approx(0.6 * float(absorbed))


def test_daylight_makes_paper_blue_and_lamps_without_ultraviolet_do_not() -> None:
    """Office paper measures b* about -10 in D65 with its ultraviolet and near 0 without (ISO 13655, M1 and M2)."""

    def b(name: str, glass: float = 0.0) -> float:
        return float(reflectance_to_lab(fluorescing(flat(0.87), 0.7, Lamp(name, "", glass)))[2])

    assert b("D65") < b("D65", 350) < b("D65", 390) < -0.5
    assert -15 < b("D65") < -8
    assert abs(b("LED-B1")) < 0.5


def test_the_usual_colors_are_neutral_enough_for_a_white() -> None:
    for kind in (CardKind.PAPER, CardKind.CARDBOARD):
        usual = STAND_INS[kind].usual
        assert usual is not None
        assert np.ptp(linear_from_lab(np.array(usual))) < 0.1
