"""One way to compare names, wherever one is given."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.errors import NothingToRank
from colormatch.library import Library
from colormatch.match.candidates import usable_paints
from colormatch.records import ClearCoatPair, Ground, Lab, Layer, Limits, Paint, Part, Shelf, name_key, named
from colormatch.workshop import ground_named, paint_named, resolve_paint_names

#: As it stands on the tin, and as a keyboard that takes letters apart and a hurried hand write it.
TIN, TYPED = "Crème Straße", unicodedata.normalize("NFD", " CRÈME  strasse")


@given(st.text())
def test_a_key_is_its_own_key_however_the_name_is_written(name: str) -> None:
    key = name_key(name)
    assert name_key(key) == key
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        assert name_key(unicodedata.normalize(form, name)) == key
    assert name_key(f" {name}\t") == key
    assert name_key(name.casefold()) == key


def test_just_so_goes_before_alike() -> None:
    tins = (Paint("Umber"), Paint("umber"))
    assert named(tins, "umber ") is tins[1]
    assert named(tins, "UMBER") is tins[0]
    assert named(tins, "Ochre") is None


def test_wherever_a_name_is_given(tmp_path) -> None:
    color = Lab(70, 5, 20)
    shelf = Shelf((Paint(TIN),), (), (ClearCoatPair(TIN, color, color),))
    assert paint_named(shelf, TYPED).name == TIN
    limits = Limits(paints=(TYPED,), then=(Layer((Part(TYPED),), 0.5),), clear=TYPED)
    spelled = resolve_paint_names(limits, shelf)
    assert (spelled.paints, spelled.then[0].paints[0].paint, spelled.clear) == ((TIN,), TIN, TIN)
    with pytest.raises(NothingToRank):  # it is on the shelf, and has no swatch
        usable_paints(shelf, {}, Limits(paints=(TYPED,)))
    library = Library.open(tmp_path / "shelf")
    library.add(Ground(TIN, color))
    assert ground_named(library, TYPED).name == TIN
