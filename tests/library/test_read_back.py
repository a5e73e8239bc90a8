"""Whatever leaves the library can be read: within one set of limits, and read back before it has its name."""

from dataclasses import replace

import pytest

from colormatch.errors import LibraryUnwritable
from colormatch.library import Library, export, limits
from colormatch.library.export import export_exchange
from colormatch.library.merge import import_exchange
from colormatch.records import Paint
from tests.library.plain_photos import plain_photo


def test_many_swatches_that_share_a_long_note_come_back(library, swatch, tmp_path):
    """Their sheet packs several hundred times."""
    library.add_all([Paint("Umber"), *[replace(swatch, notes="n" * 18_000)] * 150], "many")
    export_exchange(library, tmp_path / "out.zip", repairs=True, photos=True)
    other = Library.open(tmp_path / "other")
    import_exchange(other, tmp_path / "out.zip")
    assert other.everything() == library.everything()


@pytest.mark.parametrize(
    ("limit", "match"),
    [
        ({"MAX_FILES": 4}, "at most 4 files"),
        ({"MAX_PHOTO_BYTES": 6}, "The photo .* would take"),
        ({"MAX_PHOTOS_BYTES": 6}, "All photos together"),
        ({"MAX_SHEET_BYTES": 30}, "paints.csv would take"),
        ({"MAX_MANIFEST_BYTES": 30}, "manifest.json would take"),
        ({"MAX_TEXTS_BYTES": 300}, "All records and repairs would take"),
    ],
)
@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_what_could_not_be_read_back_is_refused_before_anything_is_written(
    stocked, tmp_path, monkeypatch, limit, match, name
):
    stocked.add(Paint("Ochre", photo=stocked.photos.add(plain_photo(), "x.jpg")))
    for key, value in limit.items():
        monkeypatch.setattr(limits, key, value)
    monkeypatch.setattr(export, "written_whole", None)  # nothing gets as far as this
    with pytest.raises(LibraryUnwritable, match=match):
        export_exchange(stocked, tmp_path / name, repairs=True, photos=True)
    assert not (tmp_path / name).exists()


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_an_export_that_the_disk_spoils_is_none(stocked, tmp_path, monkeypatch, name):
    stocked.add(Paint("Ochre", photo=stocked.photos.add(plain_photo(), "x.jpg")))

    def spoil(path):
        content = bytearray(path.read_bytes())
        place = content.find(plain_photo())
        if place >= 0:
            content[place] ^= 1
            path.write_bytes(content)

    monkeypatch.setattr(export, "settle", spoil)
    with pytest.raises(LibraryUnwritable, match=r"export to .* failed: it was written, but reading it back failed"):
        export_exchange(stocked, tmp_path / name, repairs=True, photos=True)
    assert [path.name for path in tmp_path.iterdir()] == ["library"]


def test_a_disk_without_room_for_all_of_it_is_told_first(stocked, tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "SPARE_BYTES", 2**60)
    with pytest.raises(LibraryUnwritable, match=r"it needs .* are free"):
        export_exchange(stocked, tmp_path / "out.zip", repairs=True, photos=True)
    assert [path.name for path in tmp_path.iterdir()] == ["library"]
