"""What a library knows of cameras: the photos that taught them, kept, corrected and forgotten as steps of undo."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import NamedTuple

from colormatch.library import Library, Stored
from colormatch.records import CameraPhoto, Development, LightKind
from colormatch.reference.camera import LearnedCamera
from colormatch.reference.teach import learned_camera


class KnownCamera(NamedTuple):
    """A camera under one kind of light, developed or raw."""

    camera: str
    light: LightKind
    development: Development
    #: What it rests on.
    photos: tuple[Stored[CameraPhoto], ...]
    learned: LearnedCamera


def known_cameras(kept: Sequence[Stored[CameraPhoto]]) -> list[KnownCamera]:
    """The cameras that photos of a library have taught, in the order of their first photos."""
    groups: defaultdict[tuple[str, LightKind, Development], list[Stored[CameraPhoto]]] = defaultdict(list)
    for stored in kept:
        one = stored.record
        groups[one.camera, one.light, one.development].append(stored)
    known = []
    for (camera, light, development), photos in groups.items():
        learned = learned_camera([one.record for one in photos], camera, development is Development.RAW, light)
        assert learned is not None
        known.append(KnownCamera(camera, light, development, tuple(photos), learned))
    return known


def taught_by(kept: Sequence[Stored[CameraPhoto]], sha256: str) -> Stored[CameraPhoto] | None:
    """What a photo has taught so far."""
    return next((one for one in kept if one.record.name.endswith(sha256[:8])), None)


def teach(library: Library, lessons: Sequence[CameraPhoto]) -> int:
    """Keep what photos teach, as one step of undo; a photo that has taught before is corrected.

    Returns
    -------
    int
        How many of them taught something new.
    """
    by_name = {one.name: one for one in lessons}
    new = 0
    with library.step(f"taught {lessons[0].camera} by {photos_word(len(by_name))}") as step:
        held = {stored.record.name: stored for stored in step.all(CameraPhoto)}
        for name, lesson in by_name.items():
            before = held.get(name)
            if before is None:
                step.add(lesson)
            elif _says(before.record) != _says(lesson):
                step.edit(before.id, lesson)
            else:
                continue
            new += 1
    return new


def _says(lesson: CameraPhoto) -> tuple[object, ...]:
    return lesson.light, lesson.development, lesson.patches


def forget(library: Library, photos: Sequence[Stored[CameraPhoto]]) -> None:
    """Take what photos taught out of a library, as one step of undo."""
    with library.step(f"forgot {photos_word(len(photos))} of {photos[0].record.camera}") as step:
        for stored in photos:
            step.remove(CameraPhoto, stored.id)


def photos_word(count: int) -> str:
    """``1 photo``, ``2 photos``."""
    return f"{count} photo{'s' * (count > 1)}"
