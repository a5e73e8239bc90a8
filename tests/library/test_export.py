"""Sharing takes only what is ticked, and nothing of the photographer."""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import replace

import pytest

from colormatch.image.photo import open_photo
from colormatch.library import Library, SavedRepair
from colormatch.library.export import export_exchange, to_share
from colormatch.library.merge import Fate, import_exchange
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import Ground, Lab, Paint, Swatch
from tests.library import private_photos
from tests.library.private_photos import SECRET

SPOT = ((0.25, 0.25), (0.5, 0.25), (0.5, 0.5))


@pytest.fixture
def shelf(stocked, swatch):
    """A swatch and a tin with a photo each, a wood, and a repair with a third photo."""
    photos = [stocked.photos.add(private_photos.FORMATS[name](), "x.jpg") for name in ("jpeg", "png", "heic")]
    stocked.add(replace(swatch, photo=photos[0], region=SPOT, coats=3))
    stocked.add(Paint("Ochre", photo=photos[1]))
    stocked.add(Ground("door", Lab(61, 8, 24)))
    document = {"photo": photos[2], "check": {"photos": [{"photo": photos[0]}]}}
    stocked.save_repair(SavedRepair("table", json.dumps(document), photos=(photos[2], photos[0])))
    return stocked, photos


def everything_in(folder):
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


@pytest.mark.parametrize("repairs", [False, True])
@pytest.mark.parametrize("photos", [False, True])
@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_what_is_not_ticked_stays(shelf, tmp_path, name, repairs, photos):
    library, named = shelf
    before = to_share(library, repairs=repairs, photos=photos)
    shared = export_exchange(library, tmp_path / name, repairs=repairs, photos=photos)
    assert shared.flags == ()
    assert (len(shared.repairs), len(shared.photos)) == (repairs, (2 + repairs) * photos)
    assert (len(before.repairs), len(before.photos)) == (len(shared.repairs), len(shared.photos))
    assert (shared.repairs_left, shared.photos_left) == (0 if repairs else 1, 0 if photos else 2 + repairs)
    if name.endswith(".zip"):
        with zipfile.ZipFile(tmp_path / name) as archive:
            archive.extractall(tmp_path / "unpacked")
    folder = tmp_path / ("unpacked" if name.endswith(".zip") else name)
    content = everything_in(folder)
    assert SECRET.encode() not in content
    assert (b"table" in content) == repairs
    for sha256 in named[:2]:  # the name of the photo as it lies in the library tells of nothing that went out
        assert sha256.encode() not in content or (repairs and not photos)
    if not photos:
        assert not list((folder / "photos").glob("*")) if (folder / "photos").exists() else True


def test_photos_arrive_clean_and_all_that_names_them_follows(shelf, tmp_path):
    library, named = shelf
    export_exchange(library, tmp_path / "out.zip", repairs=True, photos=True)
    other = Library.open(tmp_path / "other")
    import_exchange(other, tmp_path / "out.zip")
    assert verify(other).problems == ()
    ours = {one.record.coats: one.record for one in library.all(Swatch)}
    theirs = {one.record.coats: one.record for one in other.all(Swatch)}
    assert theirs[3].photo not in ("", ours[3].photo)
    assert theirs[3].region == SPOT
    for mine, foreign in ((ours[3].photo, theirs[3].photo),):
        kept, clean = library.photos.path(mine).read_bytes(), other.photos.path(foreign).read_bytes()
        assert hashlib.sha256(clean).hexdigest() == foreign
        assert SECRET.encode() in kept
        assert SECRET.encode() not in clean
        assert (open_photo(kept).linear() == open_photo(clean).linear()).all()
    (repair,) = (one.record for one in other.repairs())
    document = json.loads(repair.document)
    assert set(repair.photos) == {document["photo"], theirs[3].photo}
    assert all(photo in other.photos for photo in repair.photos)
    assert document["check"]["photos"][0]["photo"] == theirs[3].photo
    assert not set(repair.photos) & set(named)


@pytest.mark.parametrize("photos", [False, True])
def test_what_one_shared_oneself_is_known_when_it_comes_back(shelf, tmp_path, photos):
    library, _ = shelf
    export_exchange(library, tmp_path / "out", repairs=True, photos=photos)
    plan = import_exchange(library, tmp_path / "out", preview=True)
    assert {item.fate for item in plan.items} == {Fate.SAME}


def test_the_same_photos_go_out_under_the_same_names_again(shelf, tmp_path):
    library, _ = shelf
    export_exchange(library, tmp_path / "out", photos=True, repairs=True)
    other = Library.open(tmp_path / "other")
    import_exchange(other, tmp_path / "out")
    again = export_exchange(other, tmp_path / "again", photos=True, repairs=True)
    assert {path.name for path in (tmp_path / "again" / "photos").iterdir()} == {
        path.name for path in (tmp_path / "out" / "photos").iterdir()
    }
    assert again.flags == ()


def test_a_photo_that_cant_be_cleaned_stays_and_is_told(stocked, swatch, tmp_path):
    photo = stocked.photos.add(b"FUJIFILMCCD-RAW" + SECRET.encode() * 100, "x.raf")
    stocked.add(replace(swatch, photo=photo, region=SPOT, coats=3))
    shared = export_exchange(stocked, tmp_path / "out", photos=True)
    assert [flag.code for flag in shared.flags] == ["photo-not-cleaned"]
    assert photo[:12] in shared.flags[0].text
    assert SECRET.encode() not in everything_in(tmp_path / "out")
    assert [(one.photo, one.region) for one in shared.records[Swatch] if one.coats == 3] == [("", ())]


def test_ones_own_backup_keeps_photos_as_they_came(shelf, tmp_path):
    library, named = shelf
    save_archive(library, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        for sha256 in named:
            assert hashlib.sha256(archive.read(f"photos/{sha256}.jpg")).hexdigest() == sha256
