"""File formats: the kind and size of a file, and its decoded pixels.

Size is checked before any pixel is decoded. The decoders are third-party; this module selects one by kind, returns the
file's own statements, and turns any exception of a decoder into an error of ours.
"""

from __future__ import annotations

import io
import re
import struct
import threading
import warnings
from dataclasses import dataclass
from importlib import import_module

import numpy as np
from numpy.typing import ArrayLike
from PIL import Image, ImageFile

from colormatch.errors import ColorMatchError, PhotoTooLarge, PhotoUnreadable
from colormatch.image import metadata
from colormatch.image.encoding import by_color_engine, meaning
from colormatch.image.icc import LINEAR_SRGB, Profile
from colormatch.image.limits import (
    MOST_HALVED_PIXELS,
    MOST_PIXELS,
    check_deep,
    check_parts,
    check_size,
    pictures_of_tiff,
)
from colormatch.image.metadata import GAIN_MAP, announces_gain_map, halved, several_pictures
from colormatch.image.opaque import bands, opaque_array, opaque_picture
from colormatch.image.pixels import PixelArray, Pixels
from colormatch.image.sensor import Sensor
from colormatch.records import Flag

_SEND_AGAIN = "Copy it from the phone or camera again, or choose another photo."


@dataclass(frozen=True, eq=False)
class DecodedFile:
    """A decoded file."""

    pixels: Pixels
    #: Meaning of the values.
    profile: Profile
    #: Format name; see :class:`colormatch.records.Photo`.
    format: str
    #: What the file says of the camera and of much else.
    exif: metadata.Exif = metadata.NO_EXIF
    raw: bool = False
    flags: tuple[Flag, ...] = ()
    #: Width and height in the file, upright; None where all of its pixels were decoded.
    halved_from: tuple[int, int] | None = None
    #: Sensor of a camera raw, if the file describes it fully.
    sensor: Sensor | None = None


def decode(data: bytes) -> DecodedFile:
    """Decode a picture file of any kind we read.

    Raises
    ------
    PhotoUnreadable
        Not a picture, damaged, or of a kind that can't be decoded.
    PhotoTooLarge
        Beyond a limit of :mod:`colormatch.image.limits`, or the memory does not suffice.
    """
    try:
        check_parts(data)
        if _is_raw(data):
            return _decode_raw(data)
        if _is_heif(data):
            return _decode_heif(data)
        return _decode_common(data)
    except ColorMatchError:
        raise
    except MemoryError:
        raise PhotoTooLarge(
            "The computer has too little free memory for this photo.",
            "Close other programs, or save the photo at a smaller size.",
        ) from None
    except Exception as error:  # Decoders raise anything on damaged files.
        raise PhotoUnreadable(f"The photo is damaged: {_one_line(error)}.", _SEND_AGAIN) from error


def _one_line(error: Exception) -> str:
    return (" ".join(str(error).split()) or type(error).__name__).rstrip(".")[:120]


# --- kinds -----------------------------------------------------------------------------------------------------------

_TIFF_MAGIC = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
#: First bytes of raw files that are not plain TIFF: ORF (three), RW2, RAF, X3F, MRW.
_RAW_MAGIC = (b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FUJIFILMCCD-RAW", b"FOVb", b"\0MRM")
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"mif2")


def _brands(data: bytes) -> tuple[bytes, ...]:
    """Brands of an ISO media file, the major one first; empty for other files."""
    if data[4:8] != b"ftyp":
        return ()
    end = min(struct.unpack_from(">I", data)[0], 256)
    return (data[8:12], *(data[i : i + 4] for i in range(16, end - 3, 4)))


def _is_heif(data: bytes) -> bool:
    brands = _brands(data)
    return bool(brands) and brands[0] in _HEIF_BRANDS and b"avif" not in brands


def _is_raw(data: bytes) -> bool:
    """Whether the file is a camera raw. Many are TIFF files that begin with a small preview."""
    if data.startswith(_RAW_MAGIC) or _brands(data)[:1] == (b"crx ",):
        return True
    if not data.startswith(_TIFF_MAGIC):
        return False
    with quiet_pillow:
        tags = metadata.tiff_tags(data)
    is_camera_preview = tags.get(metadata.NEW_SUBFILE_TYPE) == 1 and metadata.MAKE in tags
    is_sensor = tags.get(metadata.PHOTOMETRIC) in _SENSOR_DATA
    return data[8:10] == b"CR" or metadata.DNG_VERSION in tags or is_sensor or is_camera_preview


def kind_of(data: bytes) -> str:
    """``JPEG``, ``PNG``, ``TIFF``, ``WEBP``, ``AVIF``, ``HEIF``, ``DNG`` or ``raw``; empty if unsupported."""
    if _is_raw(data):
        with quiet_pillow:
            return "DNG" if metadata.DNG_VERSION in metadata.tiff_tags(data) else "raw"
    return "HEIF" if _is_heif(data) else _pillow_format(data) or ""


#: PhotometricInterpretation of mosaic and linear sensor data (DNG 1.7).
_SENSOR_DATA = (32803, 34892)

# --- camera raw ------------------------------------------------------------------------------------------------------


def _decode_raw(data: bytes) -> DecodedFile:
    import rawpy

    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            sizes = raw.sizes
            mosaic = raw.raw_type is rawpy.RawType.Flat
            check_size(sizes.raw_width, sizes.raw_height, MOST_HALVED_PIXELS if mosaic else MOST_PIXELS)
            half = sizes.raw_width * sizes.raw_height > MOST_PIXELS
            pixels = raw.postprocess(
                output_bps=16,
                output_color=rawpy.ColorSpace.sRGB,
                gamma=(1, 1),
                no_auto_bright=True,
                use_camera_wb=True,
                # Interpolates each color separately: means stay correct, and it is the fastest.
                demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
                half_size=half,
            )
            sensor = _sensor(raw.color_matrix, raw.daylight_whitebalance, raw.camera_whitebalance)
    except rawpy.LibRawError as error:
        raise PhotoUnreadable(
            f"Developing the camera raw file failed ({_one_line(error)}).",
            "Save it as DNG or as 16-bit TIFF in the camera maker's program.",
        ) from error
    with quiet_pillow:
        exif = metadata.exif_of(data)
    whole = (sizes.height, sizes.width) if sizes.flip & 4 else (sizes.width, sizes.height)  # 4: on its side
    flags = (halved(*whole),) if half else ()
    # The raw developer has turned it upright.
    return DecodedFile(Pixels(pixels), LINEAR_SRGB, "raw", exif, True, flags, whole if half else None, sensor)


def _sensor(matrix: ArrayLike, daylight: ArrayLike, balance: ArrayLike) -> Sensor | None:
    """The sensor according to LibRaw; None for four-color sensors or incomplete data."""
    to_srgb, of_daylight, of_camera = (np.asarray(values, dtype=float) for values in (matrix, daylight, balance))
    three = to_srgb[:, :3]
    known = np.all(of_daylight[:3] > 0) and np.all(of_camera[:3] > 0) and abs(np.linalg.det(three)) > 1e-6
    if not known or np.any(to_srgb[:, 3:]):
        return None
    return Sensor(three, of_daylight[:3], of_camera[:3])


# --- HEIF ------------------------------------------------------------------------------------------------------------


#: An entry in the list of items (ISO/IEC 14496-12, 8.11.6): of which kind it is, its name, and which MIME type.
_ITEM = re.compile(
    rb"\x00.{3}infe(?:(?<=\x00\x00\x00\x01infe).{8})?(?:\x02.{7}|\x03.{9})(.{4})[^\x00]*\x00([^\x00]*)", re.DOTALL
)


def _decode_heif(data: bytes) -> DecodedFile:
    import pi_heif

    # pi-heif up to 1.4 ends the whole program over a kind or MIME type that isn't UTF-8.
    for item in _ITEM.finditer(data):
        b"".join(item.groups()).decode()
    container = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    check_size(*container.size)
    info = container.info
    flags = []
    apple = any("hdrgainmap" in str(kind).lower() for kind in info.get("aux", {}))
    if apple or b"tmap" in _brands(data) or announces_gain_map(info, data):
        flags.append(GAIN_MAP)
    if len(container) > 1:
        flags.append(several_pictures(len(container)))
    nclx = info.get("nclx_profile")
    code_points = nclx and (int(nclx["color_primaries"]), int(nclx["transfer_characteristics"]))
    with quiet_pillow:
        exif = metadata.exif_of(info.get("exif"))
    icc = info.get("icc_profile")
    profile, doubt = meaning(icc, code_points, info, exif)
    stored: Image.Image | PixelArray
    # A copy: the container's array does not keep its memory alive.
    stored, see_through = opaque_array(np.array(container))
    if profile is None:
        stored, profile, doubt = by_color_engine(stored, icc)
    # The decoder has turned it upright by the container's own rotation; EXIF's does not count in HEIF.
    return DecodedFile(Pixels(stored), profile, "HEIF", exif, flags=(*flags, *see_through, *doubt))


# --- the common kinds ------------------------------------------------------------------------------------------------

#: Formats Pillow may open, and the plugin module of each.
_PLUGINS = {
    "JPEG": "JpegImagePlugin",
    "PNG": "PngImagePlugin",
    "TIFF": "TiffImagePlugin",
    "WEBP": "WebPImagePlugin",
    "AVIF": "AvifImagePlugin",
}
#: Pillow names a JPEG with further pictures (such as a phone's brightness map) "MPO".
_OUR_NAMES = {"MPO": "JPEG", "WEBP": "WebP"}


class _Quiet:
    """Suppress Pillow's warnings about odd EXIF and sizes below our limit. Warning filters are global: the first
    decoding thread sets one, the last removes it, and none waits for another.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._users = 0
        self._filters = warnings.catch_warnings()

    def __enter__(self) -> None:
        with self._lock:
            if self._users == 0:
                self._filters = warnings.catch_warnings()
                self._filters.__enter__()
                warnings.simplefilter("ignore")
            self._users += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._users -= 1
            if self._users == 0:
                self._filters.__exit__(None, None, None)


#: Wrap every use of Pillow in this.
quiet_pillow = _Quiet()


def _pillow_format(data: bytes) -> str | None:
    if data.startswith(b"\xff\xd8"):
        return "JPEG"
    if data.startswith(b"\x89PNG"):
        return "PNG"
    if data.startswith(_TIFF_MAGIC):
        return "TIFF"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "WEBP"
    return "AVIF" if _brands(data) else None


def opened(data: bytes) -> ImageFile.ImageFile:
    """Open a JPEG, PNG, TIFF, WebP or AVIF file without decoding pixels.

    `Image.open` would first import plugins for a dozen formats.
    """
    kind = _pillow_format(data)
    if kind is None:
        raise PhotoUnreadable(
            "This file is not a picture in a supported format (JPEG, PNG, TIFF, WebP, HEIC, AVIF or camera raw).",
            "Choose a photo, or save it as JPEG first.",
        )
    import_module(f"PIL.{_PLUGINS[kind]}")
    factory, accepts = Image.OPEN[kind]
    try:
        if accepts is None or accepts(data[:16]) is True:
            return factory(io.BytesIO(data), "")
    except (
        SyntaxError,
        IndexError,
        TypeError,
        struct.error,
    ):  # Pillow's signs of a file that is not what its header says.
        pass
    raise PhotoUnreadable("The photo is damaged, or in a rare format that is not supported.", _SEND_AGAIN)


def _decode_common(data: bytes) -> DecodedFile:
    with quiet_pillow:
        picture = opened(data)
        kind = _OUR_NAMES.get(str(picture.format), str(picture.format))
        width, height = picture.size
        check_size(width, height, MOST_HALVED_PIXELS if kind == "JPEG" else MOST_PIXELS)
        half = width * height > MOST_PIXELS
        _refuse_print_and_float(picture)
        # Pillow would decode a PNG to look for its EXIF.
        by_chunk = kind == "PNG" and "Raw profile type exif" not in picture.info
        exif = metadata.exif_of(metadata.png_exif(data) if by_chunk else picture)
        flags = _flags_of(picture, data)
    # A PNG's code points override its other color statements (PNG 3rd edition, 4.3).
    code_points = metadata.png_code_points(data) if kind == "PNG" else None
    icc = None if code_points else picture.info.get("icc_profile")
    profile, doubt = meaning(icc, code_points, picture.info, exif)
    stored: Image.Image | PixelArray
    if _is_sixteen_bit(picture, data):
        channels = len(picture.getbands())
        check_deep(
            picture.width * picture.height, 4 if channels == 2 else channels
        )  # OpenCV expands two channels to four.
        stored, see_through = opaque_array(_decode_sixteen_bit(data))
    else:
        with quiet_pillow:
            if kind == "JPEG":
                mode = "YCbCr" if profile is not None and _is_ycbcr(picture) else None
                picture.draft(mode, (width // 2, height // 2) if half else picture.size)
            stored, see_through = opaque_picture(picture)
    if profile is None:
        stored, profile, doubt = by_color_engine(stored, icc)
    # Both decoders turn a TIFF upright.
    pixels = Pixels(stored, 1 if kind == "TIFF" else exif.orientation)
    whole = None
    if half:
        whole = (width, height) if exif.orientation < 5 else (height, width)
        flags.append(halved(*whole))
    return DecodedFile(pixels, profile, kind, exif, flags=(*flags, *see_through, *doubt), halved_from=whole)


def _is_ycbcr(picture: ImageFile.ImageFile) -> bool:
    """Whether a JPEG is plainly Y'CbCr, by libjpeg's rules ("Special color spaces" in libjpeg.txt)."""
    info = picture.info
    if "jfif" in info or "adobe" in info:
        return "jfif" in info or info.get("adobe_transform") == 1
    return [component[0] for component in getattr(picture, "layer", ())] == [1, 2, 3]


def _flags_of(picture: Image.Image, data: bytes) -> list[Flag]:
    has_map = b"tmap" in _brands(data) or announces_gain_map(picture.info, data)
    flags = [GAIN_MAP] if has_map else []
    if picture.format in ("JPEG", "MPO"):
        return flags  # Its further pictures are previews and maps.
    frames = pictures_of_tiff(data) if picture.format == "TIFF" else getattr(picture, "n_frames", 1)
    return [*flags, several_pictures(frames)] if frames > 1 else flags


def _refuse_print_and_float(picture: Image.Image) -> None:
    if picture.mode in ("CMYK", "LAB", "HSV"):
        raise PhotoUnreadable(
            f"The picture is in {picture.mode} color, made for printing, which doesn't give reliable colors.",
            "Save it as an RGB picture (JPEG or PNG) and choose that file.",
        )
    if picture.mode == "F" or (picture.mode == "I" and picture.format == "TIFF"):
        raise PhotoUnreadable("The picture has 32 bits for each color.", "Save it as a 16-bit TIFF.")


def _is_sixteen_bit(picture: Image.Image, data: bytes) -> bool:
    if picture.format == "PNG":
        return data[24] == 16  # IHDR: bit depth
    if picture.format == "TIFF":
        return bool(np.max(metadata.tiff_tags(data).get(metadata.BITS_PER_SAMPLE, 1)) > 8)
    return False


def _decode_sixteen_bit(data: bytes) -> PixelArray:
    """Decode a PNG or TIFF with OpenCV; Pillow would cut it to 8 bits."""
    import cv2

    values = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if values is None:
        raise PhotoUnreadable("The photo is damaged: decoding its pixels failed.", _SEND_AGAIN)
    if values.ndim == 3:
        for band in bands(values):  # In place, without a second copy of the whole.
            cv2.cvtColor(band, cv2.COLOR_BGR2RGB if values.shape[2] == 3 else cv2.COLOR_BGRA2RGBA, dst=band)
    pixels: PixelArray = values
    return pixels
