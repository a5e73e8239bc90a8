"""What is uncertain about two colors of one photo, as the match takes it over."""

from dataclasses import replace

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.records import Difference, Lab, RegionKind
from colormatch.repair import difference_error, task_of
from tests.check.dried import photographed


@pytest.mark.parametrize(("random", "systematic", "difference"), [(0.5, 6.7, 1.0), (0.3, 2.0, 2.4), (1.2, 4.0, 0.0)])
def test_the_variances_of_two_readings_and_of_their_difference_add_up(random, systematic, difference) -> None:
    """Sums of independent errors (GUM, JCGM 100:2008, 5.1.2): each color alone, and one less the other."""
    reading = photographed(Lab(70, 6, 20), Lab(56, 11, 25))
    samples = tuple(replace(one, random=random, systematic=systematic) for one in reading.samples)
    task = task_of(replace(reading, samples=samples, difference=Difference(difference)), RegionKind.REPAIR)
    # What both share cancels in the difference; what is left is both readings' own and what the correction leaves.
    assert np.hypot(task.target_uncertainty, task.ground_uncertainty) == pytest.approx(
        np.sqrt(2 * random**2 + difference**2)
    )
    for radius in (task.target_radius, task.ground_radius):
        assert radius == pytest.approx(np.hypot(random, systematic))
    assert (task.target, task.ground) == (Lab(56, 11, 25), Lab(70, 6, 20))


def test_what_is_left_in_a_difference_grows_with_it() -> None:
    """A camera's look is a factor: a third of the distance between the two colors, beside a floor."""
    left = []
    for lightness in (57, 80):
        reading = replace(photographed(Lab(lightness, 8, 22), Lab(56, 8, 22)), difference=Difference(1.0, 1 / 3))
        repair, sound = (one.lab for one in reading.samples)
        left.append(difference_error(reading, repair, sound))
        assert left[-1] == pytest.approx(np.hypot(1.0, float(delta_e(repair, sound)) / 3))
    assert left[1] > 5 * left[0]


def test_a_photo_whose_colors_share_nothing_has_two_errors_of_its_own() -> None:
    """More is left in a difference than two independent errors of the photo's size: no part is shared."""
    reading = photographed(Lab(70, 6, 20), Lab(56, 11, 25))
    task = task_of(replace(reading, difference=Difference(20.0)), RegionKind.REPAIR)
    assert task.shared_uncertainty == 0
    assert np.hypot(task.target_uncertainty, task.ground_uncertainty) == pytest.approx(np.sqrt(2 * 0.5**2 + 20**2))
