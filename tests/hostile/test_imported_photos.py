"""Photos that come with an export are pictures within the limits, or stay behind; the rest comes in."""

import hashlib
import json
import zipfile

import pytest

from colormatch.library import Library
from colormatch.library.merge import import_exchange
from colormatch.library.verify import verify
from colormatch.records import Flag, Paint
from tests.hostile.bombs import png_chunk
from tests.hostile.sent import SCRIPT, jpeg

#: 46,000 x 46,000 pixels, and no more than the beginning of them.
HUGE = b"".join(
    (
        b"\x89PNG\r\n\x1a\n",
        png_chunk(b"IHDR", b"\0\0\xb3\xb0\0\0\xb3\xb0\x08\0\0\0\0"),
        png_chunk(b"IDAT", b"x\x9cc\0\0\0\1\0\1"),
        png_chunk(b"IEND", b""),
    )
)
BAD = {"a program": SCRIPT, "a part of a picture": jpeg()[:-200], "too many pixels": HUGE}


def sent(folder, content):
    """An export with that photo, of a paint and of a repair, and a sound one."""
    bad, good = (hashlib.sha256(one).hexdigest() for one in (content, jpeg()))
    repair = {"name": "chair", "version": 1, "document": "{}", "photos": [bad, good]}
    files = {
        "paints.csv": f"name,photo\nUmber,{bad}\nOchre,{good}\n".encode(),
        "repairs/1.json": json.dumps(repair).encode(),
        f"photos/{bad}.jpg": content,
        f"photos/{good}.jpg": jpeg(),
    }
    if folder.suffix == ".zip":
        with zipfile.ZipFile(folder, "w") as archive:
            for name, one in files.items():
                archive.writestr(name, one)
    else:
        for name, one in files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(one)
    return bad, good


def left_out(flags: tuple[Flag, ...]) -> list[Flag]:
    return [flag for flag in flags if flag.code == "photos-left-out"]


@pytest.mark.parametrize("name", ["out", "out.zip"])
@pytest.mark.parametrize("content", BAD.values(), ids=BAD)
def test_a_photo_that_is_none_stays_behind_and_the_rest_comes_in(content, name, tmp_path):
    bad, good = sent(tmp_path / name, content)
    library = Library.open(tmp_path / "library")
    (told,) = left_out(import_exchange(library, tmp_path / name).flags)
    assert (told.value, bad[:12] in told.text) == (1, True)
    assert [path.name for path in library.photos.folder.iterdir()] == [f"{good}.jpg"]
    assert {one.record.name: one.record.photo for one in library.all(Paint)} == {"Umber": "", "Ochre": good}
    assert library.repair(1).photos == (good,)
    assert verify(library).problems == ()
    # Once more: nothing new comes, and it is told again.
    assert len(left_out(import_exchange(library, tmp_path / name).flags)) == 1
    assert len(library.all(Paint)) == 2
    library.undo()
    assert library.all(Paint) == ()
