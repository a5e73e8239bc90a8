"""Undo within a repair."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.repair import history
from app.repair.document import plain
from app.repair.dried import Dried, DriedPhoto, Kept, photos_gone
from app.repair.marks import Edit, from_document, joined, overtaken
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, Region, RegionKind, SurfaceState

NOTHING_APART: frozenset[str] = frozenset()


def box(kind: RegionKind, x: float, y: float = 0.1, name: str = "") -> Region:
    return Region(kind, ((x, y), (x + 0.1, y), (x + 0.1, y + 0.1), (x, y + 0.1)), name)


A, B, C = (box(RegionKind.SOUND, x) for x in (0.1, 0.3, 0.5))


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # a busy machine is no fault of the history
@given(st.lists(st.dictionaries(st.sampled_from("abc"), st.integers(0, 3)), min_size=1, max_size=12), st.data())
def test_undo_all_the_way_back_and_redo_all_the_way_forth(changes, data):
    document: history.Document = {"a": 0, "b": 0, "c": 0}
    states = [document]
    for change in changes:
        document = history.recorded(document, {**state_of(document), **change}, apart=NOTHING_APART)
        if state_of(document) != state_of(states[-1]):
            states.append(document)
    steps = data.draw(st.integers(0, len(states) - 1))
    for state in reversed(states[len(states) - 1 - steps : -1]):
        document = history.taken_back(document)
        assert state_of(document) == state_of(state)
    for state in states[len(states) - steps :]:
        document = history.taken_back(document, again=True)
        assert state_of(document) == state_of(state)


def state_of(document):
    return {name: value for name, value in document.items() if name not in (history.PAST, history.FUTURE)}


def test_history_is_bounded_and_a_new_change_ends_redo():
    document: history.Document = {"n": 0}
    for n in range(1, 2 * history.KEPT):
        document = history.recorded(document, {"n": n}, apart=NOTHING_APART)
    assert len(document[history.PAST]) == history.KEPT
    document = history.taken_back(document)
    assert history.next_change(document, again=True)
    document = history.recorded(document, {"n": -1}, apart=NOTHING_APART)
    assert history.next_change(document, again=True) == ""


def test_a_change_says_what_it_was():
    def told(before, after):
        done = history.recorded({"regions": plain(before)}, {"regions": plain(after)}, apart=NOTHING_APART)
        return history.next_change(done)

    assert told([A], [A, B]) == "marking sound wood"
    assert told([A, B], [B]) == "deleting sound wood"
    assert told([A, B], [A, C]) == "changing a mark of sound wood"
    drawn = [box(RegionKind.DAMAGE, x) for x in (0.1, 0.3)]
    assert told(drawn[:1], drawn[1:]) == "changing the damage's mark"


def test_two_windows_join_their_marks():
    held = Edit("p", 20, (A, B))  # the other window has marked B meanwhile
    both = joined(held, Edit("p", 30, (A, C), bases=(10,), was=(A,)))
    assert both is not None
    assert both.regions == (A, B, C)
    assert both.stamp > 30
    assert joined(both, Edit("p", 30, (A, C), bases=(10,), was=(A,))) is None  # sent twice


def test_two_windows_whose_clocks_are_behind_lose_no_mark():
    """A clock that was ahead left a stamp ahead of every clock; both windows go on from it, by chance to the same."""
    ahead = Edit("p", 10**13, (A,))
    here = Edit("p", 10**13 + 1, (A, B), bases=(10**13,), was=(A,))
    there = Edit("p", 10**13 + 1, (A, C), bases=(10**13,), was=(A,))
    both = joined(joined(ahead, here), there)
    assert both is not None
    assert both.regions == (A, B, C)
    assert joined(here, here) is None  # sent twice


def test_quick_edits_of_one_window_follow_each_other():
    first = Edit("p", 20, (B,), bases=(10,), was=(A,))
    second = Edit("p", 21, (C,), bases=(10, 20), was=(A, B))  # made before the answer to the first
    assert joined(joined(Edit("p", 10, (A,)), first), second) == second
    # And beside those of another window, which came in between.
    other = box(RegionKind.SOUND, 0.7)
    both = joined(Edit("p", 25, (B, other)), second)
    assert both is not None
    assert both.regions == (other, C)


def test_a_window_that_deletes_takes_away_only_what_it_saw():
    both = joined(Edit("p", 20, (A, B)), Edit("p", 15, (), bases=(10,), was=(A,)))
    assert both is not None
    assert both.regions == (B,)  # although the other clock runs behind
    assert both.stamp > 20


def test_two_windows_never_leave_two_cards():
    old, here, there = (box(RegionKind.CARD, x) for x in (0.1, 0.3, 0.6))
    both = joined(Edit("p", 20, (here, A)), Edit("p", 30, (there,), bases=(10,), was=(old,)))
    assert both is not None
    assert both.regions == (A, there)


def test_a_mark_that_two_windows_moved_follows_the_later():
    there, here = box(RegionKind.SOUND, 0.12), box(RegionKind.SOUND, 0.08)
    held = Edit("p", 20, (there, B))
    edit = Edit("p", 30, (here, B), bases=(10,), was=(A, B), seen=2)
    assert overtaken(held, edit) == (there,)
    both = joined(held, edit)
    assert both is not None
    assert set(both.regions) == {here, B}
    assert joined(both, edit) is None  # sent twice


def test_of_two_marks_that_two_windows_moved_each_follows_its_own():
    theirs = box(RegionKind.SOUND, 0.12), box(RegionKind.SOUND, 0.32)
    mine = box(RegionKind.SOUND, 0.31, 0.12)
    both = joined(Edit("p", 20, theirs), Edit("p", 30, (A, mine), bases=(10,), was=(A, B), seen=2))
    assert both is not None
    assert set(both.regions) == {theirs[0], mine}


def test_what_another_window_marked_anew_is_never_taken_for_a_move():
    new = box(RegionKind.SOUND, 0.12)
    moved = box(RegionKind.SOUND, 0.08)
    # A was moved here; there it stayed, and another was marked.
    both = joined(Edit("p", 20, (A, new)), Edit("p", 30, (moved,), bases=(10,), was=(A,), seen=1))
    assert both is not None
    assert set(both.regions) == {new, moved}
    # A mark of this window's own that moved before the program knew of it.
    both = joined(Edit("p", 20, (new,)), Edit("p", 31, (C,), bases=(10, 30), was=(B,), seen=0))
    assert both is not None
    assert set(both.regions) == {new, C}


def test_marks_of_a_check_are_told_and_taken_back_in_the_photo_that_they_are_of():
    card, patch = box(RegionKind.CARD, 0.6), box(RegionKind.REPAIR, 0.2)
    bare = Dried(photos=(DriedPhoto("repair", 1, photo="p", regions=(card,)),))
    marked = bare.with_photo(bare.photos[0].with_regions(card, patch))
    before, after = ({"check": plain(check)} for check in (bare, marked))
    done = history.recorded(before, after, apart=NOTHING_APART)
    assert history.next_change(done) == "marking the repair"
    was = history.taken_back(done)["check"]
    later = replace(marked, mode="strips", kept=(Kept(3, "Repair"),))  # neither is a mark
    back = later.with_marks_of(was)
    assert back.photos[0].regions == (card,)
    assert back.photos[0].stamp > marked.photos[0].stamp
    assert (back.mode, back.kept) == (later.mode, later.kept)
    assert later.with_marks_of({}) == later
    other = Dried(photos=(DriedPhoto("repair", 1, photo="q"),))
    assert other.with_marks_of(was) == other
    assert photos_gone(plain(marked), plain(other))
    assert history.next_change(history.without(done, "check")) == ""


@pytest.mark.parametrize("was", [[], {"photos": [1]}, {"photos": [{}]}, {"photos": [{"mode": [], "light": 1}]}])
def test_a_damaged_check_is_refused_in_a_sentence(was):
    with pytest.raises(ColorMatchError):
        Dried().with_marks_of(was)


def test_names_of_chips_travel():
    chip = box(RegionKind.CHIP, 0.2, name="bench offcut")
    assert from_document(json.loads(json.dumps(plain([chip])))) == (chip,)


def test_settings_and_marks_are_taken_back_and_made_again_after_a_reload(example, open_app, library):
    def held():
        return json.loads(library.repair(1).document)

    marks = held()["regions"]
    example.selectbox(key="card_kind-1").select(CardKind.NONE).run()
    example.selectbox(key="sound_state-1").select(SurfaceState.SEALED).run()
    again = open_app(repair=1)
    assert again.button(key="undo").label == "Undo the state of the sound wood"
    again.button(key="undo").click().run()
    assert again.selectbox(key="sound_state-1").value == SurfaceState.BARE
    again.button(key="undo").click().run()
    assert held()["card_kind"] == "gray"
    assert held()["regions"] == marks
    again.button(key="redo").click().run()
    assert again.selectbox(key="card_kind-1").value == CardKind.NONE


def test_the_name_of_a_repair_can_be_changed_and_taken_back(example, library):
    before = library.repair(1).name
    example.text_input(key="name-1").input("Hall table").run()
    assert library.repair(1).name == "Hall table"
    example.button(key="undo").click().run()
    assert library.repair(1).name == before
    assert example.text_input(key="name-1").value == before


def test_a_repair_saved_by_the_first_version_opens(open_app, library, example):
    held = json.loads(library.repair(1).document)
    first = {name: held[name] for name in ("photo", "stamp", "regions", "searched", "card_kind", "limits")}
    first["limits"] = {name: first["limits"][name] for name in ("coats", "layers", "mix", "paints", "on_hand")}
    from colormatch.library import SavedRepair

    library.save_repair(SavedRepair("old", json.dumps(first), photos=(held["photo"],)), 1)
    app = open_app(repair=1)
    assert not app.error
    app.selectbox(key="card_kind-1").select(CardKind.NONE).run()
    app.button(key="undo").click().run()
    assert not app.error
    assert json.loads(library.repair(1).document)["card_kind"] == "gray"
