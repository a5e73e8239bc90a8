"""Learn a camera once, from photos with a 24-patch chart or a three-step card; list and forget what was learned.

colormatch camera learn chart.jpg --card-kind chart24 --light daylight
"""

from __future__ import annotations

import argparse
from pathlib import Path

from colormatch.cli.common import Answer, add_json, add_library, open_library, table
from colormatch.cli.references import LIGHTS, add_card_options, card_choice


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="learn|list|forget")
    learn = actions.add_parser("learn", help="learn from photos of one camera in one light")
    learn.add_argument("photos", nargs="+", type=Path, metavar="PHOTO")
    learn.add_argument("--light", choices=LIGHTS, required=True, help="the light they were taken in")
    learn.add_argument("--camera", metavar="NAME", help="the camera, if the files don't name it")
    add_card_options(learn)
    listing = actions.add_parser("list", help="list the learned cameras and how well they read")
    forget = actions.add_parser("forget", help="forget a camera; 'library undo' brings it back")
    forget.add_argument("camera", metavar="NAME", help="as the list shows it")
    forget.add_argument("--light", choices=LIGHTS, help="only what was learned in this light")
    for action in (learn, listing, forget):
        add_library(action, makes=action is learn)
        add_json(action)


def run(args: argparse.Namespace) -> Answer:
    return {"learn": _learn, "list": _list, "forget": _forget}[args.action](args)


def _learn(args: argparse.Namespace) -> Answer:
    from colormatch.errors import BadInput
    from colormatch.image.photo import open_photo
    from colormatch.lessons import photos_word, teach
    from colormatch.records import LightKind
    from colormatch.reference.teach import camera_photo, shot_of

    found = []
    for path in args.photos:
        photo = open_photo(path)
        camera = args.camera or photo.facts.taken_with
        if not camera:
            raise BadInput(f"{path.name} doesn't name its camera.", "Name it with --camera.")
        found.append(camera_photo(photo.facts, shot_of(photo, card_choice(args)), camera, LightKind(args.light)))
    new = teach(open_library(args.library, makes=True), found)
    answer = _list(args)
    # A photo that is given twice, or was learned before, teaches nothing more.
    told = (
        f"Learned from {new} of {photos_word(len(found))}; the others were already known." if new < len(found) else ""
    )
    return Answer(answer.document, "\n".join(filter(None, (told, answer.text))))


def _list(args: argparse.Namespace) -> Answer:
    from colormatch.lessons import known_cameras
    from colormatch.records import CameraPhoto

    documents, rows = [], []
    for known in known_cameras(open_library(args.library).all(CameraPhoto)):
        learned, photos = known.learned, len(known.photos)
        light, development = known.light.value, known.development.value
        documents.append({
            "camera": known.camera, "light": light, "development": development, "photos": photos,
            "expected": learned.expected, "one_gray": learned.one_gray, "used": learned.helps,
        })  # fmt: skip
        used = "yes" if learned.helps else "no: one gray works as well"
        figures = (f"{learned.expected:.1f}", f"{learned.one_gray:.1f}")
        rows.append((known.camera, light, development, photos, *figures, used))
    if not rows:
        return Answer({"cameras": []}, "No camera has been learned yet; teach one with 'colormatch camera learn'.")
    head = ("camera", "light", "photos are", "photos", "ΔE00", "one gray", "used")
    return Answer({"cameras": documents}, table(head, rows, (3, 4, 5)))


def _forget(args: argparse.Namespace) -> Answer:
    from colormatch.errors import BadInput
    from colormatch.lessons import forget, photos_word
    from colormatch.records import CameraPhoto, name_key

    library = open_library(args.library)
    chosen = [
        stored
        for stored in library.all(CameraPhoto)
        if name_key(stored.record.camera) == name_key(args.camera) and args.light in (None, stored.record.light.value)
    ]
    if not chosen:
        raise BadInput(
            f"No camera named {args.camera} has been learned.", "'colormatch camera list' shows the learned cameras."
        )
    forget(library, chosen)
    count = photos_word(len(chosen))
    text = f"Forgot {chosen[0].record.camera} ({count}). 'colormatch library undo' brings it back."
    return Answer({"forgotten": len(chosen)}, text)
