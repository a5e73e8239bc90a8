"""What announces an HDR brightness map: XMP of every format, the segment of ISO 21496-1 in JPEG."""

import pytest

from colormatch.image.photo import open_photo
from tests.image.test_photo import corners_picture, file_of


@pytest.mark.parametrize(
    "told",
    [
        b'<x xmlns:GainMap="http://ns.adobe.com/hdr-gain-map/1.0/" GainMap:Version="1.0"/>',
        b'<Container:Directory><rdf:Seq><rdf:li><Container:Item Item:Semantic="GainMap" Item:Mime="image/jpeg"/>',
        b"<GContainer:Item><GContainer:ItemSemantic>GainMap</GContainer:ItemSemantic></GContainer:Item>",
        b'<x HDRGainMap:HDRGainMapVersion="65536"/>',
    ],
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "AVIF", "HEIF"])
def test_xmp_that_announces_a_gain_map(kind: str, told: bytes) -> None:
    options = {"xmp": told}
    if kind == "PNG":
        from PIL.PngImagePlugin import PngInfo

        info = PngInfo()
        info.add_itxt("XML:com.adobe.xmp", told.decode())
        options = {"pnginfo": info}
    assert "hdr-gain-map" in {flag.code for flag in open_photo(file_of(corners_picture(), kind, **options)).facts.flags}


def test_gain_maps_told_by_a_segment_of_iso_21496_or_at_the_end_of_the_file() -> None:
    plain = file_of(corners_picture(), "JPEG")
    mark = b"urn:iso:std:iso:ts:21496:-1\0\0\0\0\0"
    segment = b"\xff\xe2" + (2 + len(mark)).to_bytes(2) + mark
    apple = file_of(corners_picture(), "JPEG", xmp=b'<x xmlns:HDRGainMap="http://ns.apple.com/HDRGainMap/1.0/"/>')
    for data in (plain[:2] + segment + plain[2:], plain + bytes(400_000) + apple):
        assert [flag.code for flag in open_photo(data).facts.flags] == ["hdr-gain-map"]


def test_other_xmp_announces_none() -> None:
    told = b'<x xmlns:Container="http://ns.google.com/photos/1.0/container/" Item:Semantic="Primary"/>'
    for kind in ("JPEG", "WEBP"):
        assert open_photo(file_of(corners_picture(), kind, xmp=told)).facts.flags == ()
