"""Photos that real phones wrote; studies/measured/real_files.md covers many more."""

from pathlib import Path

import numpy as np
from PIL import Image

from colormatch.image.photo import open_photo
from tests.image.real_files import told

#: A phone's JPEG with its HDR gain map and Display P3 profile, cut down to 56 x 70 pixels. Source: Pillow 13.0.0,
#: Tests/images/frame_size.mpo (MIT-CMU: see gain_map.LICENSE).
GAIN_MAP = Path(__file__).with_name("gain_map.jpg")


def test_a_real_gain_map_is_left_aside_and_said() -> None:
    photo = open_photo(GAIN_MAP)
    assert [flag.code for flag in photo.facts.flags] == ["hdr-gain-map"]
    assert photo.profile.name == "Display P3"
    assert (photo.facts.width, photo.facts.height) == (56, 70)
    # The plain picture, not the map: as Pillow decodes the file's first frame.
    with Image.open(GAIN_MAP) as picture:
        assert picture.n_frames == 2
        plain = np.asarray(picture.convert("RGB"), float) / 255
    # Decoders may differ by a level or two where they scale chroma up.
    assert np.abs(photo.encoded() - plain).mean() < 1 / 255


def test_nothing_is_found_in_it() -> None:
    result, words = told(GAIN_MAP)
    assert result == "opened"
    assert "found" not in words


def test_what_is_no_picture_is_refused(tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(GAIN_MAP.read_bytes()[:2000])
    assert told(tmp_path / "photo.jpg")[0] == "refused"
