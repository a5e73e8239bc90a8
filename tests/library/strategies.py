"""Random records, shelves and whole libraries for hypothesis: everything that a library may hold."""

import json
from datetime import datetime

from hypothesis import strategies as st

from colormatch.library import SavedRepair
from colormatch.library.columns import MIN_PAINT_FRACTION, columns_of, tidy
from colormatch.records import (
    CameraPhoto,
    CardKind,
    ClearCoatPair,
    Development,
    Ground,
    Lab,
    LightKind,
    OwnCard,
    Paint,
    Shelf,
    ShopChip,
    SurfaceState,
    Swatch,
    name_key,
    tidy_name,
)

#: Any text that a file can carry, with what upsets spreadsheets and CSV readers made likely.
_CHARACTERS = st.characters(exclude_categories=("Cc", "Cs")) | st.sampled_from(list("=+-@'\",;\t\r\n"))
TEXT = st.text(_CHARACTERS, max_size=20)
NAME = TEXT.filter(tidy_name)
NUMBER = st.floats(0, 1e9, allow_nan=False)
MAYBE = st.none() | NUMBER
LAB = st.builds(Lab, st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))
SHA256 = st.just("") | st.text("0123456789abcdef", min_size=64, max_size=64)
DATE = st.just("") | st.dates().map(lambda day: day.isoformat())


def _extra(kind):
    ours = {column.name for column in columns_of(kind)}
    names = NAME.filter(lambda name: tidy(Paint(name)).name not in ours)
    return st.lists(st.tuples(names, TEXT), max_size=3, unique_by=lambda pair: tidy(Paint(pair[0])).name).map(tuple)


PAINT = st.builds(
    Paint,
    NAME,
    TEXT,
    TEXT,
    TEXT,
    price=MAYBE,
    size_ml=MAYBE,
    on_hand_ml=MAYBE,
    notes=TEXT,
    photo=SHA256,
    extra=_extra(Paint),
).map(tidy)
CLEAR_COAT = st.builds(ClearCoatPair, NAME, LAB, LAB, on=TEXT, notes=TEXT, extra=_extra(ClearCoatPair)).map(tidy)


def _swatch(names):
    return (
        st.builds(
            Swatch,
            st.sampled_from(names),
            st.floats(0.01, 1e3),
            st.just(0.0) | st.floats(0, 1e3),
            st.integers(1, 9),
            TEXT,
            LAB,
            LAB,
            uncertainty=st.floats(0, 100),
            state=st.sampled_from(SurfaceState),
            taken=DATE,
            photo=SHA256,
            notes=TEXT,
            measured=TEXT,
            region=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), max_size=5).map(tuple),
            extra=_extra(Swatch),
        )
        .filter(lambda swatch: swatch.paint_fraction >= MIN_PAINT_FRACTION)
        .map(tidy)
    )


@st.composite
def shelves(draw):
    """A shelf whose swatches are of its paints."""
    paints = draw(st.lists(PAINT, max_size=4, unique_by=lambda paint: name_key(paint.name)))
    names = [paint.name for paint in paints]
    swatches = draw(st.lists(_swatch(names), max_size=5)) if names else []
    return Shelf(tuple(paints), tuple(swatches), tuple(draw(st.lists(CLEAR_COAT, max_size=3))))


UNCERTAINTY = st.floats(0, 100)
GROUND = st.builds(Ground, NAME, LAB, UNCERTAINTY, st.sampled_from(SurfaceState), notes=TEXT, extra=_extra(Ground)).map(
    tidy
)
CHIP = st.builds(ShopChip, NAME, LAB, UNCERTAINTY, notes=TEXT, extra=_extra(ShopChip)).map(tidy)
CARD = st.builds(
    OwnCard,
    NAME,
    st.sampled_from([kind for kind in CardKind if kind is not CardKind.NONE]),
    TEXT,
    notes=TEXT,
    extra=_extra(OwnCard),
).map(tidy)
CAMERA_PHOTO = st.builds(
    CameraPhoto,
    NAME,
    NAME,
    st.sampled_from(LightKind),
    st.sampled_from(Development),
    st.floats(-3, 3),
    st.floats(-3, 3),
    st.lists(st.lists(st.floats(-100, 100), min_size=6, max_size=6), min_size=1, max_size=3).map(
        lambda rows: ";".join(",".join(map(repr, row)) for row in rows)
    ),
    notes=TEXT,
    extra=_extra(CameraPhoto),
).map(tidy)
#: Any JSON object that a repair's document may be: as Python writes it, and with letters as they are.
DOCUMENT = st.builds(
    lambda content, ascii_only: json.dumps(content, ensure_ascii=ascii_only),
    st.dictionaries(
        TEXT,
        st.recursive(
            st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False) | TEXT,
            lambda part: st.lists(part, max_size=3) | st.dictionaries(TEXT, part, max_size=3),
            max_leaves=8,
        ),
        max_size=3,
    ),
    st.booleans(),
)
#: In the first and the last year a moment has no day in some time zone; such a repair is refused.
MOMENT = st.datetimes(datetime(2, 1, 1), datetime(9998, 12, 31), timezones=st.timezones() | st.none()).map(
    lambda moment: moment.isoformat()
)
REPAIR = st.builds(
    SavedRepair,
    TEXT,
    DOCUMENT,
    st.integers(1, 9),
    st.lists(SHA256.filter(bool), max_size=2).map(tuple),
    MOMENT,
    MOMENT,
)


@st.composite
def libraries(draw):
    """Records of every kind in an order in which they may be added, and repairs."""
    shelf = draw(shelves())
    named = [
        draw(st.lists(kind, max_size=3, unique_by=lambda one: name_key(one.name)))
        for kind in (GROUND, CHIP, CARD, CAMERA_PHOTO)
    ]
    records = [*shelf.paints, *shelf.swatches, *shelf.clear_coats, *(record for kind in named for record in kind)]
    return records, draw(st.lists(REPAIR, max_size=3))
