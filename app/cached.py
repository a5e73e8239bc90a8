"""The only cache wrappers: everything slow that a page asks for, remembered by what it was computed from.

A photo is named by its path, which is the hash of its bytes in the library's folder. An error of ours is an answer like
any other and is remembered too: looking for a card that isn't there takes as long as finding one.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, ParamSpec, TypeVar

import numpy as np
import streamlit as st

from app.choices import Aim, Reference
from app.marks import FOUND
from colormatch import boards, checks, repair
from colormatch.errors import ColorMatchError, LibraryError, PhotoTooLarge, PhotoUnreadable
from colormatch.library import Library, Stored
from colormatch.library.columns import R
from colormatch.photo.board import BoardReading
from colormatch.photo.board_plan import Plan
from colormatch.photo.neutral import CardChoice, Neutral, find_neutral, locate, tie_to_chips
from colormatch.photo.neutral import balanced as white_balanced
from colormatch.photo.read import DecodedPhoto, open_photo
from colormatch.records import (
    Card,
    CardKind,
    FloatArray,
    Ground,
    Lab,
    Layer,
    Limits,
    Match,
    Reading,
    Region,
    RegionKind,
    Swatch,
)
from colormatch.render.outlines import outlined
from colormatch.render.preview import jpeg, to_screen
from colormatch.workshop import Workshop, grid_over, known_grounds, open_workshop

if TYPE_CHECKING:
    from colormatch.bench.next_step import NextStep
    from colormatch.checks import Lesson
    from colormatch.match.grid import WashGrid
    from colormatch.match.spots import SpotsMatch

P, T = ParamSpec("P"), TypeVar("T")
#: Longest side of a photo on the page, pixels: sharp on a laptop's screen, and when enlarged a few times.
SCREEN_SIDE = 2000
#: Longest side of a photo in a list, pixels: twice what is shown, for a fine screen.
THUMBNAIL_SIDE = 320
#: Dots to the inch of a sheet on the page: its letters can be read.
SHEET_DPI = 96


def _answering(compute: Callable[P, T]) -> Callable[P, T | ColorMatchError]:
    """An error of ours is an answer like any other."""

    @wraps(compute)
    def answer(*args: P.args, **kwargs: P.kwargs) -> T | ColorMatchError:
        try:
            return compute(*args, **kwargs)
        except (LibraryError, PhotoUnreadable, PhotoTooLarge):
            raise  # the disk or the memory refused: the next time they may not
        except ColorMatchError as error:
            return error

    return answer


def _sound(answer: T | ColorMatchError) -> T:
    """The answer, where it is no error."""
    if isinstance(answer, ColorMatchError):
        # Without what it went through before: it is raised again in every run, and would keep all of them.
        raise answer.with_traceback(None)
    return answer


@st.cache_resource(show_spinner=False)
def library(folder: Path) -> Library:
    """The library, opened (and brought up to date) once."""
    return Library.open(folder)


@st.cache_resource(max_entries=12, show_spinner=False)
def stored(folder: Path, stamp: str, kind: type[R]) -> tuple[Stored[R], ...]:
    """Every record of a kind; ``stamp`` changes with the library."""
    return Library(folder).all(kind)


@st.cache_resource(max_entries=2, show_spinner=False)
def grounds(folder: Path, stamp: str) -> list[Ground]:
    """Every wood or card with a name."""
    return known_grounds(Library(folder))


@st.cache_resource(max_entries=1, show_spinner=False)
def workshop(folder: Path, stamp: str) -> Workshop:
    """The shelf with its paints fitted; ``stamp`` changes with the library."""
    return open_workshop(folder)


@st.cache_resource(max_entries=1, show_spinner=False)
def fit_ahead(folder: Path, stamp: str) -> Thread:
    """Fit the shelf's paints while somebody marks a photo; the library remembers the fits for :func:`workshop`."""

    def fit() -> None:
        with contextlib.suppress(ColorMatchError):  # told where the fits are asked for
            open_workshop(folder)

    thread = Thread(target=fit, name=f"fits for {stamp}", daemon=True)
    thread.start()
    return thread


@st.cache_resource(max_entries=2, show_spinner=False)
def decoded(path: Path) -> DecodedPhoto:
    """A photo's pixels."""
    return open_photo(path)


@st.cache_data(max_entries=64, show_spinner=False)
def size(path: Path) -> tuple[int, int]:
    """Width and height of a photo, upright."""
    facts = decoded(path).facts
    return facts.width, facts.height


@st.cache_data(max_entries=8, show_spinner=False)
@_answering
def card_in(path: Path, kind: CardKind = CardKind.GRAY) -> Card:
    """The card of a kind as the program finds it."""
    return locate(decoded(path), CardChoice(kind))


def card_mark(path: Path, kind: CardKind) -> tuple[Region, ...]:
    """The card of a kind as a mark of the program's; nothing where it can't be told."""
    with st.spinner("Looking for the card"):
        card = card_in(path, kind)
    if isinstance(card, ColorMatchError) or card.region is None:
        return ()
    return (Region(RegionKind.CARD, card.region.points, FOUND),)


@st.cache_resource(max_entries=8, show_spinner=False)
@_answering
def neutral(path: Path, reference: Reference) -> Neutral:
    """The correction that follows from the card, white places and shop chips."""
    photo = decoded(path)
    by_card = find_neutral(photo, reference.card, reference.white)
    return tie_to_chips(photo, by_card, reference.chips, reference.settled)


@st.cache_data(max_entries=32, show_spinner=False)
@_answering
def reading(path: Path, reference: Reference, regions: tuple[Region, ...]) -> Reading:
    """The colors of the marked surfaces."""
    return repair.read_regions(decoded(path), _sound(neutral(path, reference)), regions)


@st.cache_data(max_entries=32, show_spinner=False)
@_answering
def ranking(
    path: Path,
    reference: Reference,
    regions: tuple[Region, ...],
    folder: Path,
    stamp: str,
    limits: Limits,
    aim: Aim = Aim(),  # noqa: B008 - frozen
) -> Match:
    """The washes for a repair, best first."""
    read, shelf = _sound(reading(path, reference, regions)), workshop(folder, stamp)
    if aim.kept is None:
        return repair.match_repair(read, regions, shelf, limits, aim.shift)
    return repair.match_kept(aim.kept, read, regions, shelf, limits, aim.shift, aim.uncertainty)


@st.cache_data(max_entries=8, show_spinner=False)
@_answering
def spots(
    path: Path,
    reference: Reference,
    regions: tuple[Region, ...],
    folder: Path,
    stamp: str,
    limits: Limits,
    shift: tuple[str, float] | None,
) -> SpotsMatch:
    """The washes for several damaged spots: for each by itself, and one for all."""
    read = _sound(reading(path, reference, regions))
    return repair.match_spots(read, regions, workshop(folder, stamp), limits, shift)


@st.cache_data(max_entries=16, show_spinner=False)
@_answering
def grain(
    path: Path,
    reference: Reference,
    regions: tuple[Region, ...],
    layers: tuple[Layer, ...],
    folder: Path,
    stamp: str,
    limits: Limits,
) -> Match | None:
    """What to draw the grain lines with over a wash; None where the sound wood shows none."""
    read = _sound(reading(path, reference, regions))
    return repair.match_grain(read, regions, layers, workshop(folder, stamp), limits)


# --- boards of swatches ----------------------------------------------------------------------------------------------


@st.cache_data(max_entries=8, show_spinner=False)
@_answering
def sheet_in(path: Path, plans: tuple[Plan, ...]) -> Plan | None:
    """The one of the printed sheets that lies in a photo; None for a sheet that is none of them."""
    return boards.plan_in(decoded(path), plans)


@st.cache_resource(max_entries=8, show_spinner=False)
@_answering
def board(
    path: Path, card: CardChoice, plan: Plan, corners: tuple[tuple[float, float], ...]
) -> tuple[BoardReading, Neutral]:
    """A board's cells; ``corners`` in pixels where it is no printed sheet."""
    photo = decoded(path)
    return boards.read_board(photo, plan, corners, card) if corners else boards.read_sheet(photo, plan, card)


@st.cache_data(max_entries=4, show_spinner=False)
def sheet(plan: Plan) -> bytes:
    """A sheet to print, as PDF."""
    from colormatch.render.sheet import sheet_pdf

    return sheet_pdf(plan)


@st.cache_data(max_entries=8, show_spinner=False)
def sheet_preview(plan: Plan) -> tuple[bytes, tuple[int, int]]:
    """A small picture of that sheet, and its width and height."""
    from colormatch.render.sheet import sheet_picture

    picture = sheet_picture(plan, SHEET_DPI).convert("RGB")
    return jpeg(np.asarray(picture)), picture.size


@st.cache_data(max_entries=8, show_spinner=False)
def cells(path: Path, regions: tuple[Region, ...]) -> bytes:
    """A photo with the cells that were read in it."""
    return jpeg(outlined(decoded(path).preview(SCREEN_SIDE), regions))


@st.cache_data(max_entries=16, show_spinner=False)
def paint_grid(folder: Path, stamp: str, paint: str, ground: Lab, uncertainty: float) -> WashGrid:
    """The washes of one paint over a wood, ratio by coats."""
    return grid_over(workshop(folder, stamp), paint, ground, uncertainty)


@st.cache_data(max_entries=16, show_spinner=False)
@_answering
def what_next(
    path: Path,
    reference: Reference,
    regions: tuple[Region, ...],
    folder: Path,
    stamp: str,
    limits: Limits,
    painted: tuple[Layer, ...],
    before: Lab | None,
) -> tuple[NextStep, ...]:
    """All that can be done about a dried repair, the best first."""
    read = _sound(reading(path, reference, regions))
    return checks.what_next((read, regions), workshop(folder, stamp), limits, painted, before)


@st.cache_data(max_entries=16, show_spinner=False)
def lesson(swatch: Swatch, others: tuple[Swatch, ...], kind: str) -> Lesson:
    """What a swatch teaches about its paint, of a kind."""
    return checks.lesson(swatch, others, kind)


# --- pictures, as JPEG -----------------------------------------------------------------------------------------------


@st.cache_data(max_entries=8, show_spinner=False)
def as_taken(path: Path) -> bytes:
    """The photo as the camera balanced it."""
    return jpeg(decoded(path).preview(SCREEN_SIDE))


@st.cache_data(max_entries=200, show_spinner=False)
def thumbnail(path: Path) -> tuple[bytes, tuple[int, int]]:
    """A photo as it stands in a list, and its width and height; not :func:`decoded`, which keeps two."""
    small = open_photo(path).preview(THUMBNAIL_SIDE)
    return jpeg(small), (small.shape[1], small.shape[0])


@st.cache_resource(max_entries=2, show_spinner=False)
def _linear(path: Path, reference: Reference) -> FloatArray:
    """(h, w, 3) linear sRGB; the photo at the screen's size as its reference corrects it. Not to be written to."""
    linear_rgb = white_balanced(decoded(path), _sound(neutral(path, reference)), SCREEN_SIDE)
    linear_rgb.setflags(write=False)
    return linear_rgb


@st.cache_data(max_entries=8, show_spinner=False)
def balanced(path: Path, reference: Reference) -> bytes:
    """The photo as its reference corrects it."""
    return jpeg(to_screen(_linear(path, reference)))


@st.cache_data(max_entries=16, show_spinner=False)
def pictured(
    path: Path,
    reference: Reference,
    regions: tuple[Region, ...],
    ground: Lab,
    layers: tuple[Layer, ...],
    folder: Path,
    stamp: str,
) -> tuple[bytes, bytes, tuple[int, int]]:
    """The damage and what lies around it, as it is and, simulated, washed; and the pictures' width and height."""
    before = _linear(path, reference)
    after = repair.picture(before, regions, ground, layers, workshop(folder, stamp))
    rows, columns = _around([region for region in regions if region.kind is RegionKind.DAMAGE], before.shape)
    near, washed = (to_screen(linear_rgb[rows, columns]) for linear_rgb in (before, after))
    return jpeg(near), jpeg(washed), (near.shape[1], near.shape[0])


@st.cache_data(max_entries=8, show_spinner=False)
def near(path: Path, reference: Reference, regions: tuple[Region, ...]) -> tuple[bytes, tuple[int, int]]:
    """What lies around regions in a photo as its reference corrects it, and the picture's width and height."""
    linear_rgb = _linear(path, reference)
    rows, columns = _around(list(regions), linear_rgb.shape)
    shown = to_screen(linear_rgb[rows, columns])
    return jpeg(shown), (shown.shape[1], shown.shape[0])


def _around(damage: list[Region], shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Rows and columns of a picture that show the damage in its surroundings."""
    height, width = shape[:2]
    boxes = [region.box(width, height) for region in damage]
    left, top = min(box.x for box in boxes), min(box.y for box in boxes)
    right, bottom = max(box.x + box.w for box in boxes), max(box.y + box.h for box in boxes)
    # As much again on every side, and never less than a third of the photo: a repair is judged from where one stands.
    aside = max(right - left, (width / 3 - (right - left)) / 2)
    above = max(bottom - top, (height / 3 - (bottom - top)) / 2)
    rows = slice(int(max(0, top - above)), int(min(height, bottom + above)))
    return rows, slice(int(max(0, left - aside)), int(min(width, right + aside)))
