"""Frozen values passed between packages. One module for each stage of the flow; every name is exported here.

Conventions
-----------
* Color is CIELAB, D65 white, CIE 1931 2° observer (:class:`Lab`).
* Every color difference is CIEDE2000.
* An *uncertainty* is the radius, in ΔE00, that holds the truth nine times in ten (90 %). The matching standard
  deviation along one axis of an isotropic error is :data:`SIGMA_PER_RADIUS` times that radius.
* Doubts travel as flags (:class:`Flag`); a question without an answer raises an error.
"""

from colormatch.records.color import MOST_AB, BoolArray, ByteArray, FloatArray, Lab, lab_of
from colormatch.records.doubt import SIGMA_PER_RADIUS, TYPED_UNCERTAINTY, Flag, FlagCode
from colormatch.records.names import name_key, named, tidy_name
from colormatch.records.reading import (
    Card,
    CardKind,
    Difference,
    LearnedFrom,
    Light,
    LightKind,
    Photo,
    Reading,
    Sample,
    SurfaceState,
)
from colormatch.records.recipe import Layer, Limits, Match, Part, RankedWash, Task
from colormatch.records.region import Box, Region, RegionKind
from colormatch.records.shelf import (
    CameraPhoto,
    ClearCoatPair,
    Development,
    Ground,
    OwnCard,
    Paint,
    Shelf,
    ShopChip,
    Swatch,
)

__all__ = [
    "MOST_AB",
    "SIGMA_PER_RADIUS",
    "TYPED_UNCERTAINTY",
    "BoolArray",
    "Box",
    "ByteArray",
    "CameraPhoto",
    "Card",
    "CardKind",
    "ClearCoatPair",
    "Development",
    "Difference",
    "Flag",
    "FlagCode",
    "FloatArray",
    "Ground",
    "Lab",
    "Layer",
    "LearnedFrom",
    "Light",
    "LightKind",
    "Limits",
    "Match",
    "OwnCard",
    "Paint",
    "Part",
    "Photo",
    "RankedWash",
    "Reading",
    "Region",
    "RegionKind",
    "Sample",
    "Shelf",
    "ShopChip",
    "SurfaceState",
    "Swatch",
    "Task",
    "lab_of",
    "name_key",
    "named",
    "tidy_name",
]
