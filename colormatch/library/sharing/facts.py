"""The few facts of a photo's EXIF that are kept, and the block that states them anew."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image

from colormatch.errors import ColorMatchError
from colormatch.image.metadata import MAKE, MODEL, ORIENTATION, exif_of

#: Longest make or model that is kept, characters; longer ones are no names of cameras. Our choice.
_LONGEST = 64
#: Tags of EXIF 3.0: where color space and interoperability are stated; DCF's mark of Adobe RGB.
_EXIF_IFD, _COLOR_SPACE, _INTEROP_IFD, _INTEROP_INDEX = 0x8769, 0xA001, 0xA005, 1
_UNCALIBRATED, _ADOBE_RGB = 0xFFFF, "R03"
#: What stands before the block in JPEG and HEIF.
EXIF_MARK = b"Exif\0\0"


class NotCleaned(ColorMatchError):
    """The photo's file can't safely be freed of personal data."""


@dataclass(frozen=True)
class KeptFacts:
    """What a shared photo still tells of how it was taken."""

    #: 1 to 8, EXIF.
    orientation: int = 1
    make: str = ""
    model: str = ""
    #: DCF's "R03"; the color profile of such a file.
    adobe_rgb: bool = False

    @classmethod
    def of(cls, source: Image.Image | bytes | None) -> KeptFacts:
        """Of an opened picture or of a bare EXIF block."""
        known = exif_of(source)
        try:
            if isinstance(source, Image.Image):
                tags = source.getexif()
            else:
                tags = Image.Exif()
                tags.load(source or b"")
            make, model = (_name(tags.get(tag)) for tag in (MAKE, MODEL))
        except Exception:  # whatever Pillow's parser trips over: not stated
            make = model = ""
        return cls(known.orientation, make, model, known.adobe_rgb)

    def exif(self) -> bytes:
        """A TIFF structure that states them, without :data:`EXIF_MARK`; empty where there is nothing to state."""
        if self == KeptFacts():
            return b""
        tags = Image.Exif()
        for tag, value in ((MAKE, self.make), (MODEL, self.model), (ORIENTATION, self.orientation)):
            if value:
                tags[tag] = value
        if self.adobe_rgb:
            details = tags.get_ifd(_EXIF_IFD)
            details[_COLOR_SPACE] = _UNCALIBRATED
            details[_INTEROP_IFD] = {_INTEROP_INDEX: _ADOBE_RGB}
        return tags.tobytes().removeprefix(EXIF_MARK)


def _name(value: object) -> str:
    text = str(value or "").strip(" \0")
    return text if len(text) <= _LONGEST and text.isascii() and text.isprintable() else ""
