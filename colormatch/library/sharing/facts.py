"""The few EXIF facts of a photo that are kept, and the block that restates them."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image

from colormatch.errors import ColorMatchError
from colormatch.image.metadata import MAKE, MODEL, ORIENTATION, exif_of

#: Longest make or model kept, characters; longer ones are not names of cameras. Our choice.
_LONGEST = 64
#: Tags of EXIF 3.0 for color space and interoperability; DCF's mark of Adobe RGB.
_EXIF_IFD, _COLOR_SPACE, _INTEROP_IFD, _INTEROP_INDEX = 0x8769, 0xA001, 0xA005, 1
_UNCALIBRATED, _ADOBE_RGB = 0xFFFF, "R03"
#: Prefix of the block in JPEG and HEIF.
EXIF_MARK = b"Exif\0\0"


class NotCleaned(ColorMatchError):
    """Removing personal data from the photo's file safely is not possible."""


@dataclass(frozen=True)
class KeptFacts:
    """Facts about the camera kept in a shared photo."""

    #: 1 to 8, EXIF.
    orientation: int = 1
    make: str = ""
    model: str = ""
    #: DCF's "R03", the color profile of such a file.
    adobe_rgb: bool = False

    @classmethod
    def of(cls, source: Image.Image | bytes | None) -> KeptFacts:
        """Facts of an open picture or a bare EXIF block."""
        known = exif_of(source)
        try:
            if isinstance(source, Image.Image):
                tags = source.getexif()
            else:
                tags = Image.Exif()
                tags.load(source or b"")
            make, model = (_name(tags.get(tag)) for tag in (MAKE, MODEL))
        except Exception:  # anything Pillow's parser raises counts as not stated
            make = model = ""
        return cls(known.orientation, make, model, known.adobe_rgb)

    def exif(self) -> bytes:
        """A TIFF structure with the facts, without :data:`EXIF_MARK`; empty if there are none."""
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
