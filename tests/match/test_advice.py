"""What a ranking says in words."""

import re
from dataclasses import replace

import numpy as np
from coloraide import Color

from colormatch.color.difference import delta_e
from colormatch.color.words import VISIBLE
from colormatch.match.advice import _sensitivity, advise, likeliest
from colormatch.match.doubts import shelf_doubts
from colormatch.match.finalists import finalists
from colormatch.match.next_swatch import next_swatch
from colormatch.match.problem import MatchProblem
from colormatch.match.rank import rank_washes, ranked
from colormatch.match.spots import rank_for_all, rank_grain_lines
from colormatch.records import Lab, Layer, Limits, Paint, Part, Shelf, Task
from colormatch.wash.paint import fit_paint
from colormatch.wash.predict import draw_normals, predict
from tests.fitted import fit_paints

SOUND, DAMAGE = Lab(55.6, 11.4, 25.5), Lab(72.0, 5.8, 19.4)


#: Opaque washes too: what is said here doesn't depend on the grain.
ANY = Limits(grain_kept=0.0)


def advice(shelf, models, target=SOUND, ground=DAMAGE, limits=ANY):
    return " ".join(rank_washes(Task(target, ground, 1.0, 1.0), shelf, models, limits).advice)


def test_names_what_is_missing_and_which_paint_would_help(shelf, models):
    said = advice(shelf, models, Lab(80, 3, 15), Lab(45, 8, 20))
    assert "No allowed recipe comes close" in said
    assert "darker" in said
    assert "stirred into Cream would help" in said
    mixed, alone = (
        rank_washes(Task(Lab(80, 3, 15), Lab(45, 8, 20), 1.0, 1.0), shelf, models, replace(ANY, mix=mix))
        for mix in (2, 1)
    )
    nearest = [min(float(delta_e(wash.lab, (80, 3, 15))) for wash in some.washes) for some in (mixed, alone)]
    assert nearest[0] < nearest[1] - 2
    # What nobody has painted is said to be unknown, for mixes and for nothing else.
    assert any(len(wash.layers[0].paints) > 1 for wash in mixed.washes)
    for wash in (*mixed.washes, *alone.washes):
        several = any(len(layer.paints) > 1 for layer in wash.layers)
        assert ("mix-not-painted" in {flag.code for flag in wash.flags}) is several


def test_a_little_of_another_paint(shelf, models):
    """A reddish target: what the umbers lack, the red has; it is named whether it takes a mix, a tin or both."""
    red, wood = Lab(45, 28, 30), Lab(70, 8, 22)
    alone = advice(shelf, models, red, wood)
    assert re.search(r"It would have to be [^.]*(redder|stronger)", alone)
    assert "A little Red Oxide stirred into Brown Glaze would help" in alone
    assert "Allow mixes of two paints." in alone
    few = ("Raw Umber", "Brown Glaze")
    assert "Allow Red Oxide and mixes of two paints." in advice(shelf, models, red, wood, replace(ANY, paints=few))
    mixed = advice(shelf, models, red, wood, replace(ANY, paints=few, mix=2))
    assert re.search(r"Allow Red Oxide\.", mixed)
    within = float(re.search(r"comes within ([\d.]+) ΔE", mixed)[1])
    done = rank_washes(Task(red, wood, 1.0, 1.0), shelf, models, replace(ANY, mix=2))
    # The list shows the simplest of a group, whose members lie up to half of a visible difference apart.
    nearest = min(float(delta_e(wash.lab, red)) for wash in done.washes)
    assert within - 0.06 < nearest < within + VISIBLE / 2
    assert "isn't known from swatches of each alone" in " ".join(done.advice)
    assert "isn't known from swatches of each alone" not in alone
    # Two tins whose mixes do not: one over the other does better.
    names = ("Carbon Black", "Red Oxide")
    poor = Shelf(tuple(p for p in shelf.paints if p.name in names), shelf.swatches)
    stacked = advice(poor, {name: models[name] for name in names}, red, wood)
    assert "Carbon Black over Red Oxide would help" in stacked
    assert "Allow a second wash." in stacked
    # A hopeless color: nothing is said to help.
    assert "would help" not in advice(shelf, models, Lab(40, -50, 40), wood, replace(ANY, paints=("Oxide Green",)))


def test_marks_that_may_be_swapped(shelf, models):
    light, dark = Lab(72, 6, 20), Lab(55, 11, 25)
    said = advice(shelf, models, light, dark)
    assert "check that the two marks are not swapped" in said
    for way in (
        "wash the lighter one",
        "fill again with a lighter one",
        "bleach, with gloves, goggles",
        "the finish first",
    ):
        assert way in said
    assert "swapped" not in advice(shelf, models, dark, light)
    # What covers may lighten: then nothing is wrong.
    assert "swapped" not in advice(shelf, models, Lab(91, -1, 3), Lab(30, 8, 12))


def test_what_nobody_sees_is_left_alone(shelf, models):
    same = advice(shelf, models, DAMAGE)
    assert same.startswith("Do nothing: the damage is 0.0 ΔE from the target color")
    assert advice(shelf, models, Lab(72.6, 5.8, 19.4)).startswith("Do nothing")
    assert "Do nothing" not in advice(shelf, models)


def test_says_what_doing_nothing_would_leave(shelf, models):
    said = advice(shelf, models)
    stated = float(re.search(r"Left as it is, the damage stays about ([\d.]+) ΔE off: far too light", said)[1])
    # By another implementation of CIEDE2000; the readings' own errors add a little to what is expected.
    apart = Color("lab-d65", list(DAMAGE)).delta_e(Color("lab-d65", list(SOUND)), method="2000")
    assert apart - 0.1 <= stated <= apart + 0.3
    assert "Left as it is" not in advice(shelf, models, DAMAGE)


def test_says_what_a_spoon_and_a_brush_cost(shelf, models):
    assert "15% more or less water" in advice(shelf, models)
    full = advice(shelf, models, Lab(86, -0.5, 2), Lab(72, 6, 20), Limits(paints=("Warm White",), coats=3))
    assert "12% thicker or thinner" in full


def few_swatches(shelf):
    """Full strength on light wood only: what a paint does when thinned is then a guess."""
    strong = tuple(s for s in shelf.swatches if s.water_parts == 0 and s.coats == 1 and s.ground == "light wood")
    return Shelf(shelf.paints, strong)


def test_a_next_swatch_helps_where_little_is_known(shelf, models):
    little = few_swatches(shelf)
    guessed = fit_paints(little.swatches)

    def gain(some, fits):
        job = MatchProblem.of(Task(SOUND, DAMAGE, 0.5, 0.5), some, fits, Limits())
        outcomes = job.outcomes(finalists(job, sorted(fits), Limits())[0])
        found = next_swatch(job, outcomes)
        assert found is not None
        return found, found.before - found.after

    found, much = gain(little, guessed)
    _, less = gain(shelf, models)
    assert much > 0.3
    assert much > less
    assert found.layer.paint_fraction < 0.5  # a thin wash is what nobody has seen yet
    assert "To know the paints better, paint this swatch next" in advice(little, guessed)


def test_doubts_about_swatches(shelf, models):
    name = rank_washes(Task(SOUND, DAMAGE, 1, 1), shelf, models, Limits()).washes[0].layers[0].paints[0].paint
    first = shelf.of(name)[0]
    twice = Shelf((*shelf.paints, Paint("Plum")), (*shelf.swatches, first, replace(first, lab=first.ground_lab)))
    said = " ".join(shelf_doubts(twice, {**models, name: fit_paint(twice.of(name))}, [name]))
    assert f"{name} has 1 swatch entered twice; each counts once." in said
    assert "has the color of its ground" in said
    assert "Left out because they have no swatch: Plum." in said


def test_ties_are_called_ties(shelf, models):
    job = MatchProblem.of(Task(SOUND, DAMAGE, 3.0, 3.0), shelf, models, Limits(mix=2))
    recipes, _ = finalists(job, sorted(models), Limits(mix=2))
    outcomes = job.outcomes(recipes)
    washes = ranked(job, outcomes)
    assert sum(wash.group == 1 for wash in washes) > 1
    assert any(
        "equally good as far as is known" in line
        for line in advise(job, outcomes, washes, sorted(models), Limits(mix=2))
    )


def test_one_wash_for_all_spots(shelf, models):
    spots = [Task(SOUND, ground, 1.0, 1.0) for ground in (Lab(72, 5.8, 19.4), Lab(66, 8, 22))]
    worst = rank_for_all(spots, shelf, models, Limits(top=5))
    mean = rank_for_all(spots, shelf, models, Limits(top=5), judge_by="mean")
    assert (worst.judged_by, mean.judged_by) == ("worst", "mean")
    for found in (worst, mean):
        values = [wash.expected_delta_e for wash in found.together]
        assert values == sorted(values)
        for wash in found.together:
            by_spot = [spot.expected_delta_e for spot in wash.spots]
            judged = max(by_spot) if found.judged_by == "worst" else sum(by_spot) / 2
            assert abs(wash.expected_delta_e - judged) < 1e-9
    # Each spot's own best is no worse there than the compromise, but for what counts as unseen.
    for match, spot in zip(worst.each, worst.together[0].spots, strict=True):
        assert match.washes[0].expected_delta_e <= spot.expected_delta_e + 0.4
    assert worst.each[0] == rank_washes(spots[0], shelf, models, Limits(top=5))


def test_grain_lines_take_a_stronger_wash_over_the_field(shelf, models):
    field = (Layer((Part("Brown Glaze"),), 0.2, 1),)
    found = rank_grain_lines(Task(Lab(46, 13, 27), DAMAGE, 1.0, 1.0), field, shelf, models, Limits(coats=3))
    assert found.washes[0].layers
    for wash in found.washes:
        assert all(layer.paint_fraction >= 0.25 and layer.coats == 1 for layer in wash.layers)
    untouched = next((w for w in found.washes if not w.layers), None)
    if untouched:
        # Without a touch the line is the washed field.
        job = MatchProblem.of(Task(SOUND, DAMAGE, 1, 1), shelf, models, Limits())
        assert abs(untouched.lab.L - job.outcomes([field]).lab[0, 0]) < 0.5


def test_more_water_is_more_water(shelf, models):
    """15 % more water makes 1:3 into 1:3.45 by the arithmetic of parts; CIEDE2000 by coloraide."""
    task, recipe = Task(Lab(30, 1, 1), DAMAGE), (Layer((Part("Carbon Black"),), 0.25, 3),)
    said = _sensitivity(MatchProblem.of(task, shelf, models, Limits()), recipe)
    stated = float(re.search(r"15% more or less water moves the color by about ([\d.]+) ΔE", said)[1])
    chances = draw_normals(np.random.default_rng(0))

    def dried(water: float) -> Color:
        layer = replace(recipe[0], paint_fraction=1 / (1 + water))
        return Color("lab-d65", list(predict(models, [layer], DAMAGE, 0.0, chances)[0]))

    more, less = (dried(3).delta_e(dried(3 * by), method="2000") for by in (1.15, 0.85))
    assert abs(less - more) > 0.15  # or this would tell nothing
    assert abs(stated - more) <= 0.051
    thicker = float(re.search(r"12% thicker or thinner by about (\d+\.\d)", said)[1])
    assert 0 < thicker <= stated + 0.1


def test_best_guess_and_doubt_are_told_apart(shelf, models):
    """Near by the best guess, far by what is expected: both figures stand in one sentence."""
    wanted = predict(models, [Layer((Part("Raw Umber"),), 0.25)], DAMAGE, 0.0, draw_normals(np.random.default_rng(0)))[
        0
    ]
    unsure = rank_washes(Task(Lab(*map(float, wanted)), DAMAGE, 6.0, 6.0), shelf, models, ANY)
    first = unsure.washes[0]
    guess = float(delta_e(first.lab, unsure.target))
    assert guess < 1.5 < first.expected_delta_e
    assert f"best guess the difference is {guess:.1f} ΔE; {first.expected_delta_e:.1f} is expected" in unsure.advice[0]


def test_the_wash_that_is_likeliest_unseen_is_named_where_it_is_another(shelf, models):
    found = rank_washes(Task(SOUND, DAMAGE, 1.0, 1.0), shelf, models, Limits())
    first, second, *others = found.washes
    said = {}
    for chance in (0.2, 0.6):
        washes = (replace(first, unseen=0.5), replace(second, unseen=chance), *(replace(w, unseen=0) for w in others))
        match = replace(found, washes=washes)
        assert match.likeliest_unseen.rank == (2 if chance > 0.5 else 1)
        said[chance] = likeliest(match)
    assert said[0.2] == ()
    assert "Recipe 2" in said[0.6][0]
    assert "60 of 100 cases; recipe 1 does in 50" in said[0.6][0]
