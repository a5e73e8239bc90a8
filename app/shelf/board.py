"""Board view: read all cells of a board from one photo, and keep the confirmed swatches."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app import cache
from app.repair import work
from app.server import pictures
from app.shelf import draft as drafts
from app.shelf import photo_side, sheets, typed, way_up, woods
from app.shelf.draft import Draft
from app.shelf.sheet import PAPERS, USUAL_COLUMNS, planned
from app.shelf.word_fields import WordFields
from app.state import address, session
from app.state.library import open_library
from app.widgets import chips, look
from app.widgets.states import STATES
from colormatch.errors import BadInput, ColorMatchError
from colormatch.records import FlagCode, RegionKind, Swatch
from colormatch.sheet.layout import Plan
from colormatch.sheet.read import keep_swatches
from colormatch.sheet.swatches import Proposal, swatches_of
from colormatch.wash.ratio import format_ratio

_USE = "board"
_SHEET, _OWN = "sheet", "own"
_FORMS = {_SHEET: "A printed sheet", _OWN: "A board of my own, without markers"}
_WORDS = {RegionKind.PATCH: ("Board", "Board", "all cells of the board, including the bare column")}
#: Corner of the marked shape where the first row starts; corners run clockwise.
_TURNS = {0: "Top left", 1: "Top right", 2: "Bottom right", 3: "Bottom left"}
#: Flags that leave a cell out until the user confirms it.
_DOUBTS = frozenset({FlagCode.SHADOW, FlagCode.HALF_PAINTED, FlagCode.UNEVEN, FlagCode.UNPAINTED})


def show() -> None:
    """The view."""
    library = open_library()
    way_up.show("Your paints")
    st.header("A board from a photo")
    draft = drafts.held(_USE)
    if not draft.photo:
        st.write(
            "A board holds many swatches: one row for each paint, one column for each wash, and a bare column at the "
            "left. The program finds everything on a printed sheet. On a board of your own you mark its four corners."
        )
        photo_side.choose(_USE, "a photo of the whole board with the gray card")
        st.button("Print a sheet first", key="board-print", on_click=address.go, args=("sheet",))
        return
    path = library.photos.path(draft.photo)
    with st.spinner("Looking for the sheet's markers"):
        found = cache.sheet_in(path, sheets.printed())
    photo_column, word_column = st.columns([5, 3], gap="medium")
    with word_column:
        form, plan = _what(draft, found)
        own = form == _OWN
        if own:
            draft = photo_side.with_card(draft, path)
            _next_step(draft, path, plan)
        read = _read(draft, path, plan, own) if plan else None
        if isinstance(read, ColorMatchError):
            st.error(look.plain(str(read)))
        with st.expander("Card and photo", key="board-card"):
            photo_side.card_settings(draft)
    with photo_column:
        _photo(draft, path, read, own)
    if isinstance(read, list):
        _confirm(draft, read)


def _what(draft: Draft, found: Plan | ColorMatchError | None) -> tuple[str, Plan | None]:
    """Ask whether it is a sheet or a board, and for its names."""
    fields = WordFields(draft)
    seen = not isinstance(found, ColorMatchError)
    options = _FORMS if seen else dict(reversed(_FORMS.items()))
    form: str = fields.pick("What is in the photo?", "form", options)
    if form == _SHEET and isinstance(found, ColorMatchError):
        st.error(look.plain(str(found)))
        return form, None
    if form == _SHEET and isinstance(found, Plan):
        rows, columns = (look.plain(", ".join(names)) for names in (found.rows, found.columns))
        st.write(f"This is a sheet that was printed here: {rows}, each in {columns}.")
        return form, found
    if form == _SHEET:
        st.write("The sheet was not printed here. Type the names as they appear on it.")
    paper: str = fields.pick("Paper", "paper", PAPERS) if form == _SHEET else "a4"
    rows = fields.text("Paints, top to bottom, with commas", "rows")
    columns = fields.text("Washes, left to right, with commas, without the bare one", "columns", USUAL_COLUMNS)
    if form == _OWN:
        fields.pick("Corner of the first paint's bare cell", "turn", _TURNS)
    if not rows.strip():
        return form, None
    try:
        return form, planned(paper, rows.split(","), columns)
    except ColorMatchError as error:
        st.error(look.plain(str(error)))
        return form, None


def _next_step(draft: Draft, path: Path, plan: Plan | None) -> None:
    """What a board without markers still needs."""
    if not draft.has_card:
        photo_side.ask_for_card(draft, path)
    elif not draft.of_kind(RegionKind.PATCH):
        st.subheader("Mark the board")
        st.write("Choose Board above the photo, drag across all cells, then drag each corner to where it belongs.")
    elif plan is None:
        st.write("Now enter what was painted: the paints and the washes, in the order of the board.")


def _read(draft: Draft, path: Path, plan: Plan, own: bool) -> list[Proposal] | ColorMatchError | None:
    """Read the cells; None while a mark is missing."""
    corners: tuple[tuple[float, float], ...] = ()
    if own:
        marked = draft.of_kind(RegionKind.PATCH)
        if not marked or len(marked[0].points) != 4 or not draft.has_card:
            return None
        turn = int(draft.words.get("turn", 0))
        points = [(float(x), float(y)) for x, y in marked[0].corners(*cache.size(path))]
        corners = (*points[turn:], *points[:turn])
    try:
        with st.spinner("Reading the cells"):
            read = cache.board(path, draft.reference().card, plan, corners)
        if isinstance(read, ColorMatchError):
            return read
        board, neutral = read
        ground = str(draft.words.get("ground") or "")
        state = draft.words.get("state", next(iter(STATES)))
        proposals = swatches_of(board, ground, state, work.today(), draft.photo)
    except ColorMatchError as error:  # the typed value of the card
        return error
    doubts = (*neutral.card.flags, *board.flags)
    unpainted = [reading.sample.name for reading in board.cells if not reading.painted]
    rows = [("Bare ground, L* a* b*", f"{typed.color_text(typed.told(board.ground.lab))}.")]
    rows += [("Left out because they look unpainted", "; ".join(unpainted))] * bool(unpainted)
    look.facts(rows)
    look.cautions([("", flag.text) for flag in doubts])
    return proposals


def _photo(draft: Draft, path: Path, read: list[Proposal] | ColorMatchError | None, own: bool) -> None:
    cells = tuple(proposal.reading.region for proposal in read) if isinstance(read, list) else ()
    if own or isinstance(read, ColorMatchError):
        kinds = (RegionKind.CARD, RegionKind.PATCH) if own else (RegionKind.CARD,)
        photo_side.mark(draft, path, kinds, _WORDS, cornered=RegionKind.PATCH)
    if cells or not own:
        address = pictures.publish(cache.cells(path, cells))
        st.html(look.picture(address, *cache.size(path), "The photo with the cells that were read"))


# --- confirm ---------------------------------------------------------------------------------------------------------


def _confirm(draft: Draft, proposals: list[Proposal]) -> None:
    fields = WordFields(draft)
    st.subheader(f"{len(proposals)} swatches were read")
    left, right = st.columns(2, gap="medium")
    with left:
        fields.pick_or_type("Painted on", "ground", [wood.name for wood in woods.known()])
    with right:
        fields.pick("That was", "state", STATES)
    st.write("A check mark keeps a cell. Cells that look wrong have none: find them in the photo by their number.")
    taken = []
    with st.container(key="board-cells"):
        for number, proposal in enumerate(proposals, 1):
            if _cell(draft, number, proposal):
                taken.append(proposal.swatch)
    with st.container(horizontal=True, gap="small", key="board-actions"):
        label = "Keep 1 swatch" if len(taken) == 1 else f"Keep {len(taken)} swatches"
        st.button(label, key="keep-board", type="primary", disabled=not taken, on_click=_keep, args=(taken,))
        names = [proposal.reading.sample.name for proposal in proposals]
        st.button("Check all", key="board-all", on_click=_tick, args=(names, True))
        st.button("Check none", key="board-none", on_click=_tick, args=(names, False))


def _cell(draft: Draft, number: int, proposal: Proposal) -> bool:
    swatch, name = proposal.swatch, proposal.reading.sample.name
    doubtful = any(flag.code in _DOUBTS for flag in proposal.flags)
    with st.container(key=f"board-cell-{number}", gap=None):
        st.html(chips.swatch_chip(swatch.lab, swatch.ground_lab, name))
        wash = f"{format_ratio(swatch.paint_parts, swatch.water_parts)}, {chips.coats_word(swatch.coats)}"
        words = f"{number}. **{look.plain(swatch.paint)}**, {look.plain(wash)}"
        taken = WordFields(draft).tick(words, f"take {name}", not doubtful)
        st.write(" ".join([f"± {swatch.uncertainty:.1f} ΔE.", *(look.plain(flag.text) for flag in proposal.flags)]))
    return taken


def _tick(names: list[str], on: bool) -> None:
    with session.telling():
        draft = drafts.held(_USE)
        drafts.keep(drafts.with_words(draft, **{f"take {name}": on for name in names}))


def _keep(swatches: list[Swatch]) -> None:
    with session.telling():
        if not swatches[0].ground.strip():
            raise BadInput("The ground it was painted on is missing.", "Choose a ground, or type a name such as paper.")
        count = "1 swatch" if len(swatches) == 1 else f"{len(swatches)} swatches"
        keep_swatches(open_library(), swatches, f"added {count} of a board")
        photo_side.forget(_USE)
        address.go()
