"""Doubt about a result: an uncertainty radius around a color, or a flag."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

#: Standard deviation along one axis, over the 90 % radius of an isotropic Gaussian error in three dimensions:
#: 1 / sqrt(chi-square quantile(0.9, 3 degrees of freedom)) = 1 / 2.5003.
SIGMA_PER_RADIUS = 1 / 2.5003
#: Uncertainty of a color that was typed without one, ΔE00, 90 % radius: read by somebody's instrument or photo. Our
#: choice, as for records.
TYPED_UNCERTAINTY = 1.0


class FlagCode(StrEnum):
    """Subjects of doubt: stable names for programs. Each is raised in one place, which words it."""

    ALIKE = "alike"
    BLURRED = "blurred"
    CAMERA_CONTRADICTED = "camera-contradicted"
    CAMERA_OTHER_LIGHT = "camera-other-light"
    CARD_CAST = "card-cast"
    CARD_DARK = "card-dark"
    CARD_IN_SHADOW = "card-in-shadow"
    CARD_OTHER_LIGHT = "card-other-light"
    CARD_OUTLINE = "card-outline"
    CARD_SHADOW = "card-shadow"
    CARD_SHAPE = "card-shape"
    CARD_SMALL = "card-small"
    CARD_TEXTURED = "card-textured"
    CARD_UNEVEN = "card-uneven"
    CLEAR_COAT_POOR_FIT = "clear-coat-poor-fit"
    CLIPPED = "clipped"
    COARSE_GRAIN = "coarse-grain"
    COARSE_MEASURE = "coarse-measure"
    CONTRADICTORY_SWATCH = "contradictory-swatch"
    EDITED = "edited"
    GLARE = "glare"
    GLARE_OR_TWO_SURFACES = "glare-or-two-surfaces"
    HALF_PAINTED = "half-painted"
    HDR_GAIN_MAP = "hdr-gain-map"
    IMPOSSIBLE_GROUND = "impossible-ground"
    LIGHTER_THAN_PAPER = "lighter-than-paper"
    LIGHTER_THAN_WHITE = "lighter-than-white"
    LIGHT_EVENED = "light-evened"
    LIGHT_MIXED = "light-mixed"
    LIGHT_PATCHY = "light-patchy"
    LIGHT_UNEVEN = "light-uneven"
    LIGHT_UNKNOWN = "light-unknown"
    LOCAL_TONES = "local-tones"
    MANIFEST_MISSING = "manifest-missing"
    MIX_NOT_PAINTED = "mix-not-painted"
    NOT_ENOUGH = "not-enough"
    NO_CARD = "no-card"
    NO_TRACE = "no-trace"
    ONE_SWATCH = "one-swatch"
    OPACITY_UNKNOWN = "opacity-unknown"
    OTHER_LIGHT = "other-light"
    PATCHES_DISAGREE = "patches-disagree"
    PATCHES_LEFT_OUT = "patches-left-out"
    PATCH_OFF = "patch-off"
    PATCH_TOO_EVEN = "patch-too-even"
    PHOTOS_HEALED = "photos-healed"
    PHOTOS_LEFT_OUT = "photos-left-out"
    PHOTOS_LOST = "photos-lost"
    PHOTO_DAMAGED = "photo-damaged"
    PHOTO_MISSING = "photo-missing"
    PHOTO_NOT_CLEANED = "photo-not-cleaned"
    PROFILE_CONVERTED = "profile-converted"
    PROFILE_UNUSABLE = "profile-unusable"
    READ_HALVED = "read-halved"
    RECORDS_LEFT_OUT = "records-left-out"
    RECORD_DAMAGED = "record-damaged"
    REPAIR_UNREADABLE = "repair-unreadable"
    REPEATED = "repeated"
    SAME_SWATCH = "same-swatch"
    SEE_THROUGH = "see-through"
    SEVERAL_PICTURES = "several-pictures"
    SHADOW = "shadow"
    SIMULATED = "simulated"
    SMALL_PATCH = "small-patch"
    STAND_IN = "stand-in"
    STRANGE_SCHEMA = "strange-schema"
    SWATCHES_DISAGREE = "swatches-disagree"
    TOO_DARK = "too-dark"
    UNDO_LEFT_OUT = "undo-left-out"
    UNEVEN = "uneven"
    UNPAINTED = "unpainted"
    VARIED = "varied"
    WHITE_CLIPPED = "white-clipped"
    WHITE_PLACE_CLIPPED = "white-place-clipped"
    WOOD_OTHER_LIGHT = "wood-other-light"


class Flag(NamedTuple):
    """A doubt about a result, for people and programs."""

    code: FlagCode
    #: One plain sentence.
    text: str
    #: The number behind it, if any.
    value: float | None = None
