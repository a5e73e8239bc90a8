"""A dried repair beside the sound wood: how far it is off, and whether that is near enough."""

from dataclasses import replace

import pytest

from colormatch.check.compare import Check, Judged, against_expected, compare, rank_strips, unlike
from colormatch.errors import RegionError
from colormatch.records import Lab, RankedWash, SurfaceState
from tests.check.dried import FAR, NEAR, SOUND, checks, sample


def test_check_range_holds_the_difference_and_widens_with_doubt() -> None:
    near = compare(sample("repair", Lab(58, 11, 25)), SOUND)
    unsure = compare(sample("repair", Lab(58, 11, 25), 3.0), SOUND)
    assert near.low <= near.delta_e <= near.high
    assert unsure.high - unsure.low > near.high - near.low
    assert "light" in near.off


def test_check_says_when_to_stop() -> None:
    near, far = checks(near=NEAR, far=FAR)
    assert near.done
    assert not far.done
    assert Judged((near, near)).done
    assert not Judged((near, far)).done


def seen(difference: float, low: float) -> Check:
    """A check with this ΔE00 and this lower end of its range."""
    return Check("repair", NEAR, SOUND.lab, difference, low, difference + 1, "", "")


@pytest.mark.parametrize(
    ("difference", "low", "done"),
    [
        (0.7, 0.1, True),  # half of the observers would not see it
        (0.7, 0.7, True),
        (1.5, 0.5, True),  # acceptable, and the photo can't tell it from unseen
        (1.5, 1.3, False),  # acceptable, but surely seen: a better one may be had
        (3.0, 0.5, False),  # badly read: that is no reason to stop
        (3.0, 2.5, False),
    ],
)
def test_stopping_takes_an_acceptable_difference_that_may_be_unseen(difference: float, low: float, done: bool) -> None:
    """Paravina et al. 2015: half of the observers see 0.8 and half accept 1.8."""
    assert seen(difference, low).done is done


def test_stopping_takes_both_lights() -> None:
    good, bad = seen(0.5, 0.1), seen(3.0, 2.5)
    assert [Judged(pair).done for pair in ((good, good), (good, bad), (bad, good))] == [True, False, False]


def test_strips_nearest_first() -> None:
    ranked = rank_strips([checks(a=Lab(60, 10, 25), b=Lab(56.5, 11, 25), c=Lab(50, 12, 26))])
    assert [strip.name for strip in ranked] == ["b", "a", "c"]


def test_with_two_lights_the_worse_one_counts() -> None:
    day = checks(a=NEAR, b=Lab(58, 11, 25))
    bulb = checks(b=Lab(58, 11, 25), a=FAR)  # marked in another order
    ranked = rank_strips([day, bulb])
    assert [strip.name for strip in ranked] == ["b", "a"]
    assert "holds in the first light only" in ranked[1].one_light_only
    assert ranked[0].one_light_only == ""


def test_a_match_in_one_light_is_doubted_where_the_ranges_overlap() -> None:
    near, off = (compare(sample("a", lab, 4.0), SOUND) for lab in (Lab(56.5, 11, 25), Lab(58.6, 11, 25)))
    assert "seems to hold in the first light only" in Judged((near, off)).one_light_only


def test_two_photos_must_show_the_same_strips() -> None:
    with pytest.raises(RegionError, match="same strips"):
        rank_strips([checks(a=NEAR, b=FAR), checks(a=NEAR)])


def test_like_is_compared_with_like() -> None:
    assert unlike(SurfaceState.BARE, SurfaceState.WASHED) == ""
    assert unlike(SurfaceState.SEALED, SurfaceState.TOP_COATED) == ""
    assert "repair has a clear coat" in unlike(SurfaceState.BARE, SurfaceState.SEALED)
    assert "sound wood has a clear coat" in unlike(SurfaceState.TOP_COATED, SurfaceState.WASHED)


def test_what_came_out_is_held_against_what_was_expected() -> None:
    wash = RankedWash(1, (), SOUND.lab, 1.0, 0.3, 2.0, "modelled", 3, 1, "")
    near, far = checks(near=NEAR, far=FAR)
    assert "agrees" in against_expected(near, wash)
    assert "farther off" in against_expected(far, wash)
    assert "closer than that" in against_expected(near, replace(wash, expected_delta_e=8.0, low=6.0, high=10.0))
