"""Learn a camera: the shot from one photo of a chart or a three-step card, and the camera from a library's photos."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from colormatch.color.space import lab_from_linear
from colormatch.errors import BadInput, CardUnusable
from colormatch.image.photo import DecodedPhoto
from colormatch.image.sensor import kind_of_light
from colormatch.records import (
    CameraPhoto,
    CardKind,
    Development,
    FloatArray,
    Lab,
    LearnedFrom,
    LightKind,
    Photo,
    name_key,
)
from colormatch.reference.camera import SAME_CAST, LearnedCamera, Shot, cast_of, learn
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.chart import chart_correction
from colormatch.reference.chart_find import readable
from colormatch.reference.chart_values import GRAY_ROW
from colormatch.reference.correction import gray_card_correction
from colormatch.reference.neutral import chart_patches, chart_reference, locate, step_means, step_reflectances
from colormatch.reference.tone import usable

#: Index of the middle gray among a chart's patches, and among three steps.
_NEUTRAL_5, _GRAY_STEP = 21, 1


def shot_of(photo: DecodedPhoto, choice: CardChoice) -> Shot:
    """Shot of a photo, to learn from.

    Raises
    ------
    BadInput
        The choice is a gray card, or no card.
    CardNotFound, CardUnusable
        See `find_neutral`: a chart that can't be read teaches nothing; or the card's middle gray is blown out or black.
    """
    if choice.kind not in (CardKind.CHART24, CardKind.THREE_STEP):
        raise BadInput(
            "A camera is learned from more than one gray.",
            "Take a photo with a 24-patch chart or a three-step card, and name its kind (--card-kind).",
        )
    card = locate(photo, choice)
    if choice.kind is CardKind.CHART24:
        seen, lab, middle = chart_patches(photo, card), chart_reference(choice.value), _NEUTRAL_5
        chart_correction(seen, lab, raw=photo.facts.raw, sensor=photo.sensor)
        keep = readable(seen)
        keep[GRAY_ROW] &= usable(seen[GRAY_ROW])
    else:
        seen, middle = step_means(photo, card), _GRAY_STEP
        lab = lab_from_linear(np.repeat(np.array(step_reflectances(choice.value))[:, None], 3, axis=1))
        keep = usable(seen)
    if not keep[middle]:
        raise CardUnusable(
            "The middle gray of the card is blown out or black in the photo.",
            "Take the photo again with a little less or more exposure.",
        )
    one_gray = gray_card_correction(seen[middle], Lab.from_array(lab[middle]), raw=photo.facts.raw, sensor=photo.sensor)
    return Shot(one_gray.linear(seen)[keep], lab[keep], cast_of(seen[middle]))


def camera_photo(facts: Photo, shot: Shot, camera: str, light: LightKind) -> CameraPhoto:
    """What a photo teaches as a library keeps it, named by its camera and its bytes."""
    rows = np.concatenate([shot.linear_rgb, shot.lab], axis=1)
    patches = ";".join(",".join(f"{value:.6g}" for value in row) for row in rows)
    development = Development.RAW if facts.raw else Development.DEVELOPED
    red, blue = (float(value) for value in shot.cast)
    name = f"{camera}, {facts.sha256[:8]}"
    return CameraPhoto(name, camera, light, development, red, blue, patches)


def learned_camera(
    kept: Iterable[CameraPhoto], camera: str, raw: bool, light: LightKind | None = None
) -> LearnedCamera | None:
    """The camera that kept photos make; None where there are none, or of several lights and none of these is said."""
    fitting = [one for one in of_camera(kept, camera, raw) if light in (None, one.light)]
    lights = {one.light for one in fitting}
    if len(lights) != 1:
        return None
    learned = learn([_shot(one) for one in fitting], raw=raw)
    return replace(learned, source=LearnedFrom(fitting[0].camera, lights.pop(), len(fitting)))


def of_camera(kept: Iterable[CameraPhoto], camera: str, raw: bool) -> list[CameraPhoto]:
    """Those of the kept photos that tell of a camera, developed or raw."""
    development = Development.RAW if raw else Development.DEVELOPED
    return [one for one in kept if name_key(one.camera) == name_key(camera) and one.development is development]


def light_of(photo: DecodedPhoto, shot: Shot, taught: Iterable[CameraPhoto]) -> LightKind | None:
    """The kind of light in a photo: as a camera raw tells it, or that of the photos of its camera whose gray looked
    alike; None where neither says it."""
    if photo.sensor and (lamp := kind_of_light(photo.sensor.lamp(np.exp([shot.cast[0], 0.0, shot.cast[1]])))):
        return lamp
    like = {one.light for one in taught if np.abs(shot.cast - (one.cast_red, one.cast_blue)).max() <= SAME_CAST}
    return like.pop() if len(like) == 1 else None


def _shot(kept: CameraPhoto) -> Shot:
    rows: FloatArray = np.array(kept.patch_values)
    return Shot(rows[:, :3], rows[:, 3:], np.array([kept.cast_red, kept.cast_blue]))
