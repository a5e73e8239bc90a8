"""Subtle changes of the core that the tests must notice: each is made in a scratch copy, and its test must fail.

Run it: ``python -m tests.studies.mutations [words of a change]``. Without a change, the same tests must pass first.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

from tests.studies.scratch import ROOT, scratch

#: Seconds of a processor after which a change counts as noticed: a spoiled loop need not end.
_MOST = 100


@dataclass(frozen=True)
class Mutation:
    """One change, and the test that must notice it."""

    name: str
    #: By its dotted name.
    module: str
    old: str
    new: str
    #: Module of the tests, by its dotted name, and the test there that must fail.
    tests: str
    test: str

    @property
    def path(self) -> str:
        """The module's file."""
        return f"{self.module.replace('.', '/')}.py"

    @property
    def node(self) -> str:
        """The test as pytest names it."""
        return f"{self.tests.replace('.', '/')}.py::{self.test}"


MUTATIONS = (
    Mutation(
        "what a photo's colors share, with the wrong sign",
        "colormatch.repair",
        "max(0.0, sound.systematic**2 - apart**2)",
        "max(0.0, sound.systematic**2 + apart**2)",
        "tests.job.test_task",
        "test_the_variances_of_two_readings_and_of_their_difference_add_up",
    ),
    Mutation(
        "what is left in a difference, without the root of 2",
        "colormatch.repair",
        "apart = reading.difference.figure / math.sqrt(2)",
        "apart = reading.difference.figure",
        "tests.job.test_task",
        "test_the_variances_of_two_readings_and_of_their_difference_add_up",
    ),
    Mutation(
        "what the model misses of a finish counts against what it misses of a wash",
        "colormatch.wash.predict",
        "if height > len(then):\n                alone = not (painted or then or clear)\n"
        "                for i in some:\n                    shift, unknown = _missed(models, recipes[i],",
        "if height:\n                alone = not (painted or then or clear)\n"
        "                for i in some:\n                    shift, unknown = _missed(models, (*recipes[i], *then),",
        "tests.match.test_rank",
        "test_a_finish_that_leaves_no_trace_changes_nothing_that_is_expected",
    ),
    Mutation(
        "the bottom layer takes the first luck",
        "colormatch.wash.predict",
        "chances.thickness[:, height - 1 - level]",
        "chances.thickness[:, level]",
        "tests.wash.test_predict",
        "test_a_wash_comes_out_by_the_same_luck_whatever_lies_below_it",
    ),
    Mutation(
        "a recipe as sure as its best known paint",
        "colormatch.wash.predict",
        "spread = max(models[name]",
        "spread = min(models[name]",
        "tests.wash.test_predict",
        "test_a_recipe_is_no_surer_than_its_least_known_paint",
    ),
    Mutation(
        "wiping takes from what goes over everything",
        "colormatch.check.next_step",
        "last = len(job.then)  #",
        "last = 0  #",
        "tests.check.test_next_step",
        "test_wiping_takes_from_the_last_wash_only",
    ),
    Mutation(
        "wiping takes from the lowest wash",
        "colormatch.check.next_step",
        "last = len(job.then)  #",
        "last = len(job.then) + len(job.task.painted) - 1  #",
        "tests.check.test_next_step",
        "test_wiping_takes_from_the_last_wash_only",
    ),
    Mutation(
        "done where the photo can't tell, or where it is acceptable",
        "colormatch.check.compare",
        "self.low < VISIBLE and self.delta_e < ACCEPTABLE",
        "self.low < VISIBLE or self.delta_e < ACCEPTABLE",
        "tests.check.test_compare",
        "test_stopping_takes_an_acceptable_difference_that_may_be_unseen",
    ),
    Mutation(
        "two patches: all of their difference instead of half",
        "colormatch.sampling.sample",
        "random = max(own, apart / 2)",
        "random = max(own, apart)",
        "tests.sampling.test_sample",
        "test_of_two_patches_the_radius_reaches_both_and_no_farther",
    ),
    Mutation(
        "the light's cast with a* and b* exchanged",
        "colormatch.reference.neutral",
        "return round(a, 2), round(b, 2)",
        "return round(b, 2), round(a, 2)",
        "tests.reference.test_light",
        "test_the_cast_is_the_card_s_color_as_the_photo_holds_it",
    ),
    Mutation(
        "less water under a text that says more",
        "colormatch.match.advice",
        "(1 - paint) * (1 + WATER_ERROR)",
        "(1 - paint) * (1 - WATER_ERROR)",
        "tests.match.test_advice",
        "test_more_water_is_more_water",
    ),
    Mutation(
        "D50 to D65 by the transposed matrix, of Lab",
        "colormatch.color.space",
        "xyz @ adaptation_to_d65(D50_XYZ).T",
        "xyz @ adaptation_to_d65(D50_XYZ)",
        "tests.color.test_space",
        "test_lab_for_d50_is_taken_to_d65_as_coloraide_does_it",
    ),
    Mutation(
        "D50 to D65 by the transposed matrix, of XYZ",
        "colormatch.instrument.measurements",
        "/ 100 @ adaptation_to_d65(D50_XYZ).T",
        "/ 100 @ adaptation_to_d65(D50_XYZ)",
        "tests.instrument.test_measurements",
        "test_xyz_for_d50_is_adapted_as_coloraide_does_it",
    ),
    Mutation(
        "twice the reflectance from outside",
        "colormatch.wash.film",
        "OUTER_REFLECTANCE = 0.02",
        "OUTER_REFLECTANCE = 0.04",
        "tests.wash.test_film",
        "test_a_white_that_absorbs_nothing_gives_back_all_that_enters_its_surface",
    ),
    Mutation(
        "the cost of exact amounts instead of measured ones",
        "colormatch.mixing.amounts",
        "measure.ml / paint.size_ml * paint.price",
        "measure.exact_ml / paint.size_ml * paint.price",
        "tests.mixing.test_amounts",
        "test_paint_is_paid_for_as_it_is_measured_and_not_as_the_recipe_has_it",
    ),
    Mutation(
        "neutral 5 one patch earlier",
        "colormatch.reference.neutral",
        "_NEUTRAL_5 = 21",
        "_NEUTRAL_5 = 20",
        "tests.reference.test_chart",
        "test_the_light_is_told_from_the_patch_that_is_published_as_neutral_5",
    ),
    Mutation(
        "neutral 5 one patch later",
        "colormatch.reference.neutral",
        "_NEUTRAL_5 = 21",
        "_NEUTRAL_5 = 22",
        "tests.reference.test_chart",
        "test_the_light_is_told_from_the_patch_that_is_published_as_neutral_5",
    ),
    Mutation(
        "no slow changes of a board",
        "colormatch.sampling.sample",
        "_SLOW_CHANGE = 1.0",
        "_SLOW_CHANGE = 0.0",
        "tests.sampling.test_sample",
        "test_one_patch_of_figured_wood_knows_that_the_board_changes_slowly",
    ),
    Mutation(
        "half a pixel dropped where a found piece lies",
        "colormatch.reference.quadrilaterals",
        "corners = (corners + 0.5) / (shape[1], shape[0])",
        "corners = corners / (shape[1], shape[0])",
        "tests.reference.test_gray_card_find",
        "test_a_piece_of_whole_pixels_lies_where_their_edges_are",
    ),
    Mutation(
        "ties twice as wide",
        "colormatch.match.rank",
        "_UNSEEN_GAP = VISIBLE / 2",
        "_UNSEEN_GAP = VISIBLE",
        "tests.match.test_groups",
        "test_recipes_are_one_group_up_to_half_of_what_half_of_the_observers_see",
    ),
    Mutation(
        "a strong difference from three times the acceptable one",
        "colormatch.color.words",
        "STRONG = 4 * ACCEPTABLE",
        "STRONG = 3 * ACCEPTABLE",
        "tests.color.test_words",
        "test_sizes_are_multiples_of_what_half_of_the_observers_accept",
    ),
    Mutation(
        "fewer parts of a difference named",
        "colormatch.color.words",
        "_WORTH_NAMING = 0.4",
        "_WORTH_NAMING = 0.7",
        "tests.color.test_words",
        "test_a_part_is_named_from_two_fifths_of_the_whole",
    ),
    Mutation(
        "a clear coat's pair three times as sure",
        "colormatch.wash.clear",
        "_PAIR_UNCERTAINTY = 1.75",
        "_PAIR_UNCERTAINTY = 1.75 / 3",
        "tests.wash.test_clear",
        "test_what_one_pair_teaches_is_stated_as_surely_as_two_readings_of_one_spot_allow",
    ),
    Mutation(
        "at the limit of a glaze, a wash",
        "colormatch.mixing.schedule",
        "layer.paint_fraction >= _GLAZE_FRACTION",
        "layer.paint_fraction > _GLAZE_FRACTION",
        "tests.mixing.test_schedule",
        "test_a_wash_is_worked_like_a_glaze_from_seven_parts_in_ten",
    ),
    Mutation(
        "one week of backups more",
        "colormatch.library.backup",
        "len(weeks) < KEEP_WEEKS",
        "len(weeks) <= KEEP_WEEKS",
        "tests.library.test_backup",
        "test_the_newest_of_each_kept_week_and_month_stay_and_no_more",
    ),
)


def spoiled(mutation: Mutation) -> str:
    """The module's text with the change.

    Raises
    ------
    ValueError
        The text that is to be changed does not stand there exactly once.
    """
    text = (ROOT / mutation.path).read_text(encoding="utf-8")
    if text.count(mutation.old) != 1:
        raise ValueError(f"{mutation.path} holds '{mutation.old}' {text.count(mutation.old)} times.")
    return text.replace(mutation.old, mutation.new)


def main(words: str = "") -> int:
    """Judge the changes whose names hold some words; the number of those that went unnoticed."""
    chosen = [(mutation, spoiled(mutation)) for mutation in MUTATIONS if words in mutation.name]
    with scratch() as copy:
        tests = sorted({mutation.node for mutation, _ in chosen})
        if (unspoiled := copy.run(tests, len(tests) * _MOST)).how != "passed":
            raise RuntimeError(f"Without a change the tests end with '{unspoiled.how}' {unspoiled.by}.")
        missed = 0
        for mutation, text in chosen:
            started = time.perf_counter()
            with copy.holding(mutation.path, text):
                noticed = copy.run([mutation.node], _MOST).noticed
            missed += not noticed
            verdict = "noticed" if noticed else "UNNOTICED"
            print(f"{verdict:9} {time.perf_counter() - started:5.0f} s  {mutation.name}", flush=True)
    print(f"{len(chosen) - missed} of {len(chosen)} changes noticed")
    return missed


if __name__ == "__main__":
    sys.exit(main(" ".join(sys.argv[1:])))
