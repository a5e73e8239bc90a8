"""What a photo with a chart or a three-step card teaches of its camera, and the camera that a library's photos make."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from colormatch.color.space import lab_from_linear
from colormatch.errors import BadInput, CardUnusable
from colormatch.image.photo import DecodedPhoto
from colormatch.records import CameraPhoto, CardKind, Development, FloatArray, Lab, LearnedFrom, LightKind
from colormatch.reference.camera import LearnedCamera, Shot, cast_of, learn
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.chart_find import readable
from colormatch.reference.chart_values import GRAY_ROW
from colormatch.reference.correction import gray_card_correction
from colormatch.reference.neutral import chart_patches, chart_reference, locate, step_means, step_reflectances
from colormatch.reference.tone import usable

#: Place of the middle gray among a chart's patches, and among three steps.
_NEUTRAL_5, _GRAY_STEP = 21, 1


def shot_of(photo: DecodedPhoto, choice: CardChoice) -> Shot:
    """What a photo teaches.

    Raises
    ------
    BadInput
        Its card is to be a gray one, or none.
    CardNotFound, CardUnusable
        See `find_neutral`; or the card's middle gray is blown out or black.
    """
    if choice.kind not in (CardKind.CHART24, CardKind.THREE_STEP):
        raise BadInput(
            "A camera is learned from more than one gray.",
            "Take a photo with a 24-patch chart or a three-step card, and name its kind (--card-kind).",
        )
    card = locate(photo, choice)
    if choice.kind is CardKind.CHART24:
        seen, lab, middle = chart_patches(photo, card), chart_reference(choice.value), _NEUTRAL_5
        keep = readable(seen)
        keep[GRAY_ROW] &= usable(seen[GRAY_ROW])
    else:
        seen, middle = step_means(photo, card), _GRAY_STEP
        lab = lab_from_linear(np.repeat(np.array(step_reflectances(choice.value))[:, None], 3, axis=1))
        keep = usable(seen)
    if not keep[middle]:
        raise CardUnusable(
            "The middle gray of the card is blown out or black in the photo.",
            "Take the photo again with the exposure turned down or up a little.",
        )
    one_gray = gray_card_correction(seen[middle], Lab.from_array(lab[middle]), raw=photo.facts.raw, sensor=photo.sensor)
    return Shot(one_gray.linear(seen)[keep], lab[keep], cast_of(seen[middle]))


def camera_photo(shot: Shot, name: str, camera: str, light: LightKind, raw: bool, taken: str = "") -> CameraPhoto:
    """A shot as a library keeps it."""
    rows = np.concatenate([shot.linear_rgb, shot.lab], axis=1)
    patches = ";".join(",".join(f"{value:.6g}" for value in row) for row in rows)
    development = Development.RAW if raw else Development.DEVELOPED
    red, blue = (float(value) for value in shot.cast)
    return CameraPhoto(name, camera, light, development, red, blue, patches, taken)


def learned_camera(
    kept: Iterable[CameraPhoto], camera: str, raw: bool, light: LightKind | None = None
) -> LearnedCamera | None:
    """The camera that kept photos make; None where there are none, or of several lights and none of these is said."""
    development = Development.RAW if raw else Development.DEVELOPED
    fitting = [one for one in kept if one.camera == camera and one.development is development]
    fitting = [one for one in fitting if light in (None, one.light)]
    lights = {one.light for one in fitting}
    if len(lights) != 1:
        return None
    learned = learn([_shot(one) for one in fitting], raw=raw)
    return replace(learned, source=LearnedFrom(camera, lights.pop(), len(fitting)))


def _shot(kept: CameraPhoto) -> Shot:
    rows: FloatArray = np.array(kept.patch_values)
    return Shot(rows[:, :3], rows[:, 3:], np.array([kept.cast_red, kept.cast_blue]))
