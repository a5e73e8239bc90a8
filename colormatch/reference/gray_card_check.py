"""Check that a gray card, found or marked, is fit for a white balance, and flag doubts about it."""

from __future__ import annotations

import math

import numpy as np

from colormatch.color.space import RGB_TO_XYZ, linear_from_encoded
from colormatch.errors import CardUnusable
from colormatch.image.photo import DecodedPhoto
from colormatch.records import BoolArray, ByteArray, Flag, FlagCode, FloatArray, Region
from colormatch.reference.correction import GRAY_CARD
from colormatch.reference.quadrilaterals import ROBUST, structure
from colormatch.reference.tone import CLIPPED, LEAST_LIGHT

#: Fewest pixels of the card: below the first limit, only a block or two of a JPEG's color remains; below the second,
#: the camera's sharpening at the rim and its noise matter. Our choice.
_FEWEST, _FEW = 400, 2500
#: Largest share of clipped pixels. Our choice.
_CLIPPED_SHARE = 0.01
#: Mean linear light of the weakest channel. At 0.01 one step of 8 bits is 6 % of the light, at 0.03 it is 3 %.
_BLACK, _DARK = 0.01, 0.03
#: Ratio of the brightest to the darkest end of the light on the card, for a flag and for an error: half of the 10 %
#: that cost 2 ΔE between card and wood (simulated), and a ratio that makes the mean meaningless.
_UNEVEN, _HOPELESSLY_UNEVEN = 1.05, 2.0
#: Standard deviation of the light minus its even slope, natural log, from which a shadow's edge or a reflection lies on
#: the card. Our choice.
_SHADOW = 0.06
#: Output of `structure`, for a flag and for an error: a printed card stays below 0.02, brush marks and cloth begin at
#: 0.025, wood reaches 0.15 (simulated).
_TEXTURED, _NO_CARD = 0.025, 0.10
#: |log(red/green)| or |log(blue/green)|: white balances leave up to 0.65 (simulated); a factor of 3 is beyond any
#: camera with a working white balance, unless the whole photo has that cast.
_CAST, _COLORED = 0.5, 1.1
#: How much warmer than most of the photo a gray may be, in the same logarithms: wood is warmer than it, a gray bench is
#: as warm, and only blue things are less so.
_WARMER = 0.3
#: Reflectance of the rest of the photo, if lit like the card: below is black; above is brighter than white paper,
#: possible only in another light.
_DARKEST_REST, _LIGHTEST_REST = 0.03, 0.85
#: Longest side of the card in the views used for evenness and texture, pixels.
_VIEW = 256
#: Blur that leaves only illumination, relative to the view's shorter side.
_LIGHT_SCALE = 1 / 16
#: Longest side of the preview used to judge the rest of the photo, pixels.
_PREVIEW = 200


def check_card(
    photo: DecodedPhoto, region: Region, reflectance: float = GRAY_CARD, name: str = "gray card", *, plain: bool = True
) -> tuple[Flag, ...]:
    """Doubts about a card, or what stands in for one, as a neutral reference.

    Parameters
    ----------
    photo : DecodedPhoto
    region : Region
        Region inside the card.
    reflectance : float; unitless, 0 < r <= 1
        Value stated by the card's maker.
    name : str
        As sentences have it.
    plain : bool
        It is of one gray or white; grain and color of another piece are its own.

    Returns
    -------
    tuple of Flag
        ``card-small``, ``card-dark``, ``card-uneven`` (value: brightest over darkest end of the light),
        ``card-shadow``, ``card-textured``, ``card-cast`` and ``card-other-light``.

    Raises
    ------
    CardUnusable
        Too small, clipped, too dark, far too uneven, not plain, or not gray. ``facts`` holds the number.
    """
    part = photo.part(region)
    flags = _size(part.pixels, name)
    mean, rest = part.mean, _rest(photo.preview(_PREVIEW, averaged=False), region)
    flags += _exposure(photo.encoded(part.box, part.every)[part.inside], mean, name)
    if plain:
        flags += [*_surface(part.linear_rgb, part.inside, name), *_color(mean, rest, name)]
    flags += _light(mean, rest, reflectance, name)
    return tuple(flags)


def _size(pixels: int, name: str) -> list[Flag]:
    if pixels < _FEWEST:
        raise CardUnusable(
            f"The {name} is only {pixels} pixels large.",
            f"Take the photo from closer, or mark more of the {name}.",
            pixels=pixels,
        )
    if pixels < _FEW:
        text = f"The {name} is small in the photo ({pixels} pixels); from closer the reading is more reliable."
        return [Flag(FlagCode.CARD_SMALL, text, float(pixels))]
    return []


def _exposure(encoded_rgb: FloatArray, mean_linear_rgb: FloatArray, name: str) -> list[Flag]:
    """Raise or flag for clipping and darkness, from (n, 3) encoded pixels and the (3,) mean of their light."""
    clipped = float((encoded_rgb >= CLIPPED).any(axis=1).mean())
    if clipped > _CLIPPED_SHARE:
        raise CardUnusable(
            f"The {name} is too bright: {clipped:.0%} of it is at the top of the camera's scale.",
            f"Take the photo again, darker, or mark a part of the {name} without a reflection.",
            clipped=clipped,
        )
    weakest = float(mean_linear_rgb.min())
    if weakest < _BLACK:
        raise CardUnusable(
            f"The {name} is nearly black in the photo.", "Take the photo again in more light.", weakest=weakest
        )
    if weakest < _DARK:
        return [
            Flag(
                FlagCode.CARD_DARK,
                f"The {name} is dark in the photo; more light makes the reading more reliable.",
                weakest,
            )
        ]
    return []


def _surface(linear_rgb: FloatArray, inside: BoolArray, name: str) -> list[Flag]:
    """Raise or flag for uneven light, shadows and texture, from a box (h, w, 3) and the mask of the card."""
    brightness, inside = _view(linear_rgb, inside)
    light, left = _plane(brightness, inside)
    texture, shadow = structure(left, inside), _light_left(left, inside)
    if texture > _NO_CARD:
        raise CardUnusable(
            f"The area marked as the {name} isn't plain: its brightness varies by {texture:.0%}.",
            f"Mark a plain part of the {name}.",
            texture=texture,
        )
    if light > _HOPELESSLY_UNEVEN:
        raise CardUnusable(
            f"One end of the {name} gets {light:.1f} times the light of the other.",
            f"Take the photo again in even light, or mark the part of the {name} nearest to the wood.",
            evenness=light,
        )
    flags = []
    if light > _UNEVEN:
        text = (
            f"The light changes by {light - 1:.0%} across the {name}, so it may also change from the card to the "
            "wood; turn the work or the lamp."
        )
        flags.append(Flag(FlagCode.CARD_UNEVEN, text, round(light, 3)))
    if shadow > _SHADOW:
        text = f"A shadow or a reflection lies on part of the {name}; mark a part without it."
        flags.append(Flag(FlagCode.CARD_SHADOW, text, round(shadow, 3)))
    if texture > _TEXTURED:
        text = f"The {name} isn't plain: its brightness varies by {texture:.0%}; mark a clean part of it."
        flags.append(Flag(FlagCode.CARD_TEXTURED, text, round(texture, 3)))
    return flags


def _rest(preview: ByteArray, region: Region) -> FloatArray:
    """(n, 3) float; linear light of the photo outside the card."""
    height, width = preview.shape[:2]
    box, inside = region.mask(width, height)
    rest = np.ones((height, width), bool)
    rest[box.y : box.y + box.h, box.x : box.x + box.w] = ~inside
    levels: FloatArray = linear_from_encoded(np.arange(256) / 255)
    return levels[preview[rest]]


def _color(mean_linear_rgb: FloatArray, rest: FloatArray, name: str) -> list[Flag]:
    """Raise or flag for a color cast, from the (3,) mean and the (n, 3) light of the rest of the photo."""
    of_card, of_rest = _hue(mean_linear_rgb), np.median(_hue(rest), axis=0) if len(rest) else np.zeros(2)
    cast = float(np.abs(of_card).max())
    red, blue = of_card - of_rest
    if cast > _COLORED and (red > _WARMER or blue < -_WARMER or red < -_COLORED or blue > _COLORED):
        raise CardUnusable(
            f"The area marked as the {name} isn't {name.split()[0]}.", f"Mark a plain part of the {name}.", cast=cast
        )
    if cast > _CAST:
        text = (
            f"The light or the camera's white balance colors the {name} strongly; daylight makes colors more reliable."
        )
        return [Flag(FlagCode.CARD_CAST, text, round(cast, 3))]
    return []


def _hue(linear_rgb: FloatArray) -> FloatArray:
    """(..., 2) log of red and of blue over green."""
    logs = np.log(np.maximum(linear_rgb, LEAST_LIGHT))
    return np.stack([logs[..., 0] - logs[..., 1], logs[..., 2] - logs[..., 1]], axis=-1)


def _light(mean_linear_rgb: FloatArray, rest: FloatArray, reflectance: float, name: str) -> list[Flag]:
    """Flag a card with this (3,) mean that is not in the light of the rest of the photo, (n, 3)."""
    others = float(np.median(rest @ RGB_TO_XYZ[1]))
    as_reflectance = reflectance * others / float(mean_linear_rgb @ RGB_TO_XYZ[1])
    if _DARKEST_REST <= as_reflectance <= _LIGHTEST_REST:
        return []
    darker, by = ("brighter", "shade") if as_reflectance > _LIGHTEST_REST else ("darker", "brighter light")
    noun = name.split()[-1]
    text = (
        f"Compared with the {name}, most of the photo is {darker} than wood can be; the {noun} seems to be in {by}. "
        "Lay it flat beside the wood, in the same light."
    )
    return [Flag(FlagCode.CARD_OTHER_LIGHT, text, round(as_reflectance, 3))]


def _view(linear_rgb: FloatArray, inside: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Log luminance of a box, averaged down to `_VIEW` pixels, and the mask of pixels entirely inside."""
    import cv2

    luminance = np.maximum(linear_rgb @ RGB_TO_XYZ[1].astype(np.float32), LEAST_LIGHT)
    covered = inside.astype(np.float32)
    shrink = _VIEW / max(inside.shape)
    if shrink < 1:
        luminance, covered = (
            cv2.resize(plane, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
            for plane in (luminance, covered)
        )
    return np.log(luminance), covered > 0.999


def _plane(brightness: FloatArray, inside: BoolArray) -> tuple[float, FloatArray]:
    """Ratio of brightest to darkest end of the fitted plane of light, and the (h, w) remainder."""
    height, width = inside.shape
    # From -1 to 1 each way; normal equations are accurate enough for so small a system.
    y, x = np.meshgrid(np.linspace(-1, 1, height), np.linspace(-1, 1, width), indexing="ij")
    terms = np.stack([np.ones(inside.shape), x, y])
    kept = inside
    # The second fit excludes specks and reflections beyond 3 robust standard deviations of the first.
    for _ in range(2):
        known = (terms * kept).reshape(3, -1)
        fit = np.linalg.solve(known @ known.T, known @ brightness.ravel())
        plane = np.tensordot(fit, terms, axes=1)
        off = np.abs(brightness - plane)
        kept = inside & (off <= max(3 * ROBUST * float(np.median(off[inside])), 1e-3))
    return math.exp(float(np.ptp(plane[inside]))), (brightness - plane).astype(np.float32)


def _light_left(brightness: FloatArray, inside: BoolArray) -> float:
    """Standard deviation of the blurred brightness: bends of the light, without noise."""
    import cv2

    blur = _LIGHT_SCALE * min(inside.shape)
    soft = cv2.GaussianBlur(np.where(inside, brightness, 0), (0, 0), blur)
    if not inside.all():
        soft /= np.maximum(cv2.GaussianBlur(inside.astype(np.float32), (0, 0), blur), 1e-6)
    return float(soft[inside].std())
