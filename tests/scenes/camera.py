"""Light and camera: from what a scene reflects to the photograph a phone saves.

The chain is a phone's: sensor, white balance (never quite right), a 3x3 matrix as makers fit it, exposure, sRGB
encoding, a tone curve, noise, quantisation. None of its constants comes from a real phone; they span what phones do.
"""

from dataclasses import dataclass
from functools import cache
from typing import Literal

import cv2
import numpy as np

from tests.scenes.spectra import (
    WAVELENGTHS,
    FloatArray,
    colour_science,
    from_colour,
    light,
    reflectance_to_linear_rgb,
)

#: One measured sensor and two made from it: wider bands, and shifted bands with the narrower split of phone sensors.
CAMERAS = ("measured", "widened", "shifted")
#: Linear sRGB to linear Display P3 (both D65; SMPTE EG 432-1 primaries).
_SRGB_TO_P3 = np.array([[0.8225, 0.1774, 0.0], [0.0332, 0.9669, 0.0], [0.0171, 0.0724, 0.9108]])
#: Steps of the lookup table from linear to encoded values.
_TABLE = 1 << 14


@cache
def sensitivities(camera: str) -> FloatArray:
    """(81, 3) spectral sensitivities, each channel's peak 1, zero outside 400 to 700 nm as behind an infrared filter.

    The data set's other camera stacks its three layers in depth; no phone does, so it is left out.
    """
    from scipy.ndimage import gaussian_filter1d

    measured = np.maximum(from_colour("MSDS_CAMERA_SENSITIVITIES", "Nikon 5100 (NPL)"), 0)
    measured *= ((WAVELENGTHS >= 400) & (WAVELENGTHS <= 700))[:, None]
    measured /= measured.max(0)
    shifts, width = {"measured": ((0, 0, 0), 0), "widened": ((4, -5, -4), 3), "shifted": ((-8, 5, 8), 0)}[camera]
    bands = gaussian_filter1d(measured, width, axis=0) if width else measured
    return np.stack(
        [np.interp(WAVELENGTHS - shift, WAVELENGTHS, bands[:, i], 0, 0) for i, shift in enumerate(shifts)], 1
    )


@cache
def _training_reflectances() -> FloatArray:
    """(99, 81) colour evaluation samples of CIE 224:2017, on which the makers' matrices are fitted here."""
    colour = colour_science()
    return np.asarray(colour.quality.cfi2017.load_TCS_CIE2017(colour.SpectralShape(380, 780, 5)).values).T


@cache
def _maker_matrix(camera: str, light_name: str) -> FloatArray:
    """(3, 3) white-balanced raw to linear sRGB, least squares over the samples with white kept white."""
    seen = light(light_name)[:, None] * sensitivities(camera)
    raw = _training_reflectances() @ seen / seen.sum(0)
    wanted = reflectance_to_linear_rgb(_training_reflectances()) - raw[:, 2:]
    first_two = np.linalg.lstsq(raw[:, :2] - raw[:, 2:], wanted, rcond=None)[0].T
    return np.column_stack([first_two, 1 - first_two.sum(1)])


@cache
def color_matrix(camera: str, light_name: str) -> FloatArray:
    """The matrix a phone applies: between those for A and D65, by where its white balance stands."""

    def warmth(name: str) -> float:
        red, _, blue = light(name) @ sensitivities(camera)
        return float(np.log(red / blue))

    daylight = np.clip((warmth(light_name) - warmth("A")) / (warmth("D65") - warmth("A")), 0, 1)
    return daylight * _maker_matrix(camera, "D65") + (1 - daylight) * _maker_matrix(camera, "A")


@dataclass(frozen=True)
class Lighting:
    """What light falls where. Shares are relative to the middle of the frame."""

    #: Name in `spectra.LIGHTS`.
    light: str = "D65"
    #: Change of the light across the whole frame, to the right and downwards; 0.1 is 10 %.
    slope: tuple[float, float] = (0.0, 0.0)
    #: Loss of light in the corners by the lens; 0.2 is 20 %.
    vignette: float = 0.0
    #: A second light that comes in from the right: its name and its share at the right edge, 0 at the left.
    second: str | None = None
    second_share: float = 0.0
    #: Mirror-like reflection of the light: center x, y and radius in fractions of the width, peak relative to white.
    glare: tuple[float, float, float, float] | None = None

    def field(self, shape: tuple[int, int]) -> FloatArray:
        """(h, w) float32 relative illuminance."""
        y, x = _unit_grid(shape)
        return (1 + self.slope[0] * x + self.slope[1] * y) * (1 - self.vignette * 2 * (x * x + y * y))

    def second_field(self, shape: tuple[int, int]) -> FloatArray:
        """(h, w) share of the second light."""
        return self.second_share * (_unit_grid(shape)[1] + 0.5)

    def glare_field(self, shape: tuple[int, int]) -> FloatArray | float:
        if self.glare is None:
            return 0.0
        center_x, center_y, radius, peak = self.glare
        y, x = _unit_grid(shape)
        away = np.hypot(x + 0.5 - center_x, (y + 0.5 - center_y) * shape[0] / shape[1])
        return peak * np.exp(-0.5 * (away / radius) ** 2)


def _unit_grid(shape: tuple[int, int]) -> tuple[FloatArray, FloatArray]:
    """y and x from -0.5 to 0.5 across the frame."""
    h, w = shape
    return (
        np.linspace(-0.5, 0.5, h, dtype=np.float32)[:, None],
        np.linspace(-0.5, 0.5, w, dtype=np.float32)[None],
    )


@dataclass(frozen=True)
class Camera:
    """A camera and how it processes this photograph."""

    #: Name in `CAMERAS`.
    name: str = "measured"
    #: Natural logarithm of the error of the white balance's gains, red, green, blue.
    white_balance_error: tuple[float, float, float] = (0.0, 0.0, 0.0)
    #: Linear value that a perfect white in full light gets; above about 1.1 a white card clips.
    white_level: float = 0.8
    #: Strength of the S-shaped tone curve on encoded values; 0 none, 0.3 strong.
    s_curve: float = 0.2
    #: Share of the contrast between the parts of the photograph that local tone mapping takes; 0 none, 0.3 strong.
    local_tone: float = 0.0
    #: Steps of log luminance that it takes for the edge of a thing and doesn't blur; larger ones leave no halos.
    local_edge: float = 0.8
    #: How far about each place it looks, as a share of the photograph's shorter side.
    local_radius: float = 0.1
    #: Standard deviation of the blur, pixels.
    blur: float = 0.0
    #: Standard deviation of the noise on encoded values of 0 to 1.
    noise: float = 0.006
    gamut: Literal["sRGB", "Display P3"] = "sRGB"
    #: "photo" is encoded; "raw-like" is linear sRGB without tone curve, as a raw developer gives it.
    output: Literal["photo", "raw-like"] = "photo"
    bits: Literal[8, 16] = 8

    @staticmethod
    def typical(rng: np.random.Generator, **given: object) -> "Camera":
        """A camera drawn from what phones do: white balance off by 8 % in red and 10 % in blue, some S-curve."""
        drawn: dict[str, object] = {
            "name": str(rng.choice(CAMERAS)),
            "white_balance_error": tuple(rng.normal(0, [0.08, 0.02, 0.10]).tolist()),
            "white_level": float(rng.uniform(0.66, 0.83)),
            "s_curve": float(rng.uniform(0, 0.3)),
        }
        return Camera(**{**drawn, **given})  # type: ignore[arg-type]


def encode_srgb(linear: FloatArray) -> FloatArray:
    """Transfer curve of IEC 61966-2-1 (Display P3 shares it)."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)


def s_curve(encoded: FloatArray, strength: float) -> FloatArray:
    """Contrast around middle gray; black, middle and white stay where they are."""
    return encoded + 2 * strength * encoded * (1 - encoded) * (2 * encoded - 1)


@cache
def _tone_table(strength: float) -> FloatArray:
    linear = np.linspace(0, 1, _TABLE)
    return np.clip(s_curve(encode_srgb(linear), strength), 0, 1).astype(np.float32)


def raw_weights(camera: str, light_name: str) -> FloatArray:
    """(81, 3) weights from reflectance to white-balanced raw; a perfect white gives 1, 1, 1."""
    seen = light(light_name)[:, None] * sensitivities(camera)
    return seen / seen.sum(0)


def develop(raw: FloatArray, light_name: str, camera: Camera, rng: np.random.Generator) -> FloatArray:
    """White-balanced raw to the photograph's values.

    Parameters
    ----------
    raw : (h, w, 3) float32; a perfect white in full light is 1

    Returns
    -------
    (h, w, 3) uint8 or uint16, or float32 of 0 to 1 when the output is raw-like
    """
    matrix = color_matrix(camera.name, light_name) * np.exp(camera.white_balance_error) * camera.white_level
    if camera.gamut == "Display P3":
        matrix = _SRGB_TO_P3 / _SRGB_TO_P3.sum(1, keepdims=True) @ matrix
    linear = raw @ matrix.T.astype(np.float32)
    if camera.blur:
        linear = cv2.GaussianBlur(linear, (0, 0), camera.blur)
    if camera.local_tone:
        linear = linear * _local_gain(linear, camera)[..., None]
    linear = np.clip(linear, 0, 1)
    noise = rng.standard_normal(linear.shape, dtype=np.float32) * np.float32(camera.noise)
    if camera.output == "raw-like":
        # The same noise relative to the signal: an encoded step is about 2.2 relative steps of linear light.
        return np.clip(linear * (1 + 2.2 * noise), 0, 1)
    encoded = _tone_table(camera.s_curve)[(linear * (_TABLE - 1) + 0.5).astype(np.int32)] + noise
    full = (1 << camera.bits) - 1
    return (np.clip(encoded, 0, 1) * full + 0.5).astype(np.uint8 if camera.bits == 8 else np.uint16)


def _local_gain(linear: FloatArray, camera: Camera) -> FloatArray:
    """(h, w) gain that compresses the coarse part of log luminance about its mean and keeps the detail.

    The coarse part is that of the guided filter, guided by itself: K. He, J. Sun, X. Tang, "Guided image filtering",
    IEEE PAMI 35(6), 2013, equations 5, 6 and 8, its coefficients found at an eighth of the size.
    """
    log = np.log(np.maximum(linear @ np.float32([0.2126, 0.7152, 0.0722]), 1e-3))
    small = cv2.resize(log, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA)

    def mean(plane: FloatArray) -> FloatArray:
        side = 2 * round(camera.local_radius * min(small.shape)) + 1
        return cv2.blur(plane, (side, side), borderType=cv2.BORDER_REFLECT)

    variance = mean(small * small) - mean(small) ** 2
    slope = variance / (variance + camera.local_edge**2)
    a, b = (
        cv2.resize(mean(plane), log.shape[::-1], interpolation=cv2.INTER_LINEAR)
        for plane in (slope, (1 - slope) * mean(small))
    )
    base = a * log + b
    return np.exp(-camera.local_tone * (base - base.mean()))
