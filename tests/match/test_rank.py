"""The ranking: its properties, its limits, and whether its best wash is the best by another physics."""

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput, NothingToRank, PaintError
from colormatch.match.candidates import RATIOS
from colormatch.match.problem import MatchProblem
from colormatch.match.rank import rank_washes
from colormatch.records import Lab, Layer, Limits, Paint, Part, Shelf, Task
from colormatch.wash.carried import Carried
from colormatch.wash.paint import REFITS
from colormatch.wash.predict import draw_normals, no_luck, predict
from tests.fitted import fit_paints
from tests.scenes import demo, woods
from tests.scenes import paints as simulated
from tests.scenes.spectra import reflectance_to_lab

SOUND, DAMAGE = Lab(55.6, 11.4, 25.5), Lab(72.0, 5.8, 19.4)


def rank(shelf, models, target=SOUND, ground=DAMAGE, radius=1.0, limits=None, **more):
    return rank_washes(Task(target, ground, radius, radius, **more), shelf, models, limits or Limits())


def uncarried(models):
    """The models without what swatches still differ by from them, which is known for one wash alone."""
    return {name: replace(model, carried=Carried.nothing(REFITS)) for name, model in models.items()}


def lab(values) -> Lab:
    return Lab(*(float(v) for v in values))


def test_order_of_the_shelf_does_not_matter(shelf, models):
    usual = rank(shelf, models, limits=Limits(mix=2))
    mixed_up = random.Random(3)
    paints, swatches = list(shelf.paints), list(shelf.swatches)
    mixed_up.shuffle(paints)
    mixed_up.shuffle(swatches)
    again = rank(
        Shelf(tuple(paints), tuple(swatches), shelf.clear_coats),
        dict(sorted(models.items(), reverse=True)),
        limits=Limits(mix=2),
    )
    assert again == usual


def test_the_seed_decides(shelf, models):
    assert rank(shelf, models) == rank(shelf, models)
    other = rank(shelf, models, limits=Limits(seed=1))
    assert other != rank(shelf, models)
    # Another throw of the dice tells the same story.
    assert other.washes[0].layers[0].paints == rank(shelf, models).washes[0].layers[0].paints
    assert other.washes[0].expected_delta_e == pytest.approx(rank(shelf, models).washes[0].expected_delta_e, abs=0.4)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(["Raw Umber", "Burnt Umber", "Ochre", "Cream"]), st.sampled_from(RATIOS), st.integers(1, 2))
def test_a_wash_that_gives_the_target_is_in_the_first_group(shelf, models, paint, ratio, coats):
    layer = Layer((Part(paint),), ratio[0] / sum(ratio), coats)
    wanted, _ = predict(models, [layer], DAMAGE, 0.0, draw_normals(np.random.default_rng(0)))
    found = rank(shelf, models, lab(wanted), radius=0.0, limits=Limits(grain_kept=0.0))
    first = [wash for wash in found.washes if wash.group == 1]
    if any(wash.layers == () for wash in first):  # so thin that nothing need be done
        assert float(delta_e(wanted, np.array(DAMAGE))) < 1.5
    else:
        best = min(float(delta_e(wash.lab, wanted)) for wash in first)
        assert paint in {part.paint for wash in first for part in wash.layers[0].paints}
        assert best < 0.8


def test_without_any_doubt_the_exact_wash_is_first(shelf, models):
    """All errors taken away, the expected difference of the wash that gives the target is zero."""
    still = {name: replace(model, draws=np.tile(model.theta, (30, 1))) for name, model in uncarried(models).items()}
    layer = Layer((Part("Raw Umber"),), 0.25, 1)
    job = MatchProblem.of(Task(SOUND, DAMAGE), shelf, still, Limits())
    zero = no_luck(len(job.chances.ground))
    job = replace(job, chances=zero)
    wanted = job.outcomes([(layer,)]).lab[0]
    always = np.tile(wanted, (len(zero.ground), 1))
    job = replace(job, finished=wanted, finished_draws=always, compared_draws=always)
    others = [(Layer((Part(p),), 1 / (1 + w), 1),) for p in models for w in (0, 1, 3, 7)]
    outcomes = job.outcomes([*others, (layer,)])
    assert outcomes.recipes[int(np.argmin(outcomes.expected))] == (layer,)
    assert outcomes.expected.min() == pytest.approx(0, abs=1e-6)


def test_ranks_groups_and_ranges_hang_together(shelf, models):
    found = rank(shelf, models, limits=Limits(layers=2, mix=2, top=20))
    assert [wash.rank for wash in found.washes] == list(range(1, len(found.washes) + 1))
    assert [wash.group for wash in found.washes] == sorted(wash.group for wash in found.washes)
    for wash in found.washes:
        assert 0 <= wash.low <= wash.expected_delta_e <= wash.high
        assert 0 <= wash.unseen <= 1
        assert len(wash.layers) <= 2
        assert sum(layer.coats for layer in wash.layers) <= 4
    pairs = [
        (*(part.paint for part in layer.paints), index)
        for wash in found.washes
        for index, layer in enumerate(wash.layers)
        if len(wash.layers) == 1 and len(layer.paints) == 2
    ]
    assert len(pairs) == len(set(pairs))  # one best for each pair
    # 1 + paints x ratios x coats and more; far more with stacks and mixes.
    assert found.searched > 250_000


def test_within_a_group_the_simpler_is_first(shelf, models):
    found = rank(shelf, models, limits=Limits(layers=2, mix=2, top=20))
    for group in {wash.group for wash in found.washes}:
        members = [wash.layers for wash in found.washes if wash.group == group]
        effort = [(len(recipe), sum(len(layer.paints) for layer in recipe)) for recipe in members]
        assert effort == sorted(effort)


def test_more_doubt_widens_the_range_and_a_shared_error_less_than_two(shelf, models):
    sure, unsure = rank(shelf, models, radius=0.2).washes[0], rank(shelf, models, radius=4.0).washes[0]
    assert unsure.high - unsure.low > sure.high - sure.low
    assert unsure.expected_delta_e > sure.expected_delta_e
    glaze = Limits(paints=("Brown Glaze",))
    apart = rank(shelf, models, radius=3.0, limits=glaze).washes[0]
    together = rank(shelf, models, radius=0.0, shared_uncertainty=3.0, limits=glaze)
    # A glaze lets the ground through, so an error that both readings share partly cancels.
    assert together.washes[0].expected_delta_e < apart.expected_delta_e
    assert together.target_uncertainty == pytest.approx(3.0)


def test_what_a_photo_may_have_wrong_in_the_distance_widens_the_range_and_tells_no_wash_from_another(shelf, models):
    """By construction: it is the same for all washes. Laid on each by itself it once made a much worse wash count as
    equal, and the weakest was picked."""
    usual, unsure = rank(shelf, models), rank(shelf, models, distance_uncertainty=7.0)
    assert [(wash.layers, wash.group) for wash in unsure.washes] == [(w.layers, w.group) for w in usual.washes]
    assert unsure.washes[0].expected_delta_e > usual.washes[0].expected_delta_e + 1
    assert unsure.washes[0].high > usual.washes[0].high + 2
    assert unsure.washes[0].uncertainty > usual.washes[0].uncertainty + 2


def test_measured_where_just_this_wash_was_painted_on_such_a_ground(shelf, models):
    light = next(s for s in shelf.swatches if s.ground == "light wood")
    found = rank(shelf, models, ground=light.ground_lab, limits=Limits(top=40))
    by_basis = {wash.basis for wash in found.washes}
    assert by_basis == {"measured", "modelled"}
    for wash in found.washes:
        if wash.basis == "measured":
            layer = wash.layers[0]
            assert any(
                s.coats == layer.coats and abs(s.paint_fraction - layer.paint_fraction) < 1e-4
                for s in shelf.of(layer.paints[0].paint)
            )
    blue_ground = rank(shelf, models, ground=Lab(50, -10, -30), limits=Limits(top=40))
    assert {wash.basis for wash in blue_ground.washes} == {"modelled"}


def test_swatches_of_just_this_wash_lower_the_error(shelf, models):
    """Against the simulator: washes of the starter's light wood, over woods a little lighter or darker than it."""
    model_alone, with_swatch, rng = [], [], np.random.default_rng(1)
    for _ in range(6):
        wood = woods.wood(1.3 + rng.normal(0, 0.1), 105 + rng.normal(0, 6), 0.05, 1.5)
        ground = lab(reflectance_to_lab(simulated.washed_board(wood)))
        job = MatchProblem.of(Task(SOUND, ground, 1.0, 0.5), shelf, models, Limits())
        recipes = [(Layer((Part(s.paint),), s.paint_fraction, s.coats),) for s in shelf.swatches]
        recipes = [recipe for recipe in dict.fromkeys(recipes) if job.measured(recipe)]
        alone = replace(job, models=uncarried(models))
        predictions = [some.outcomes(recipes).lab for some in (job, alone)]
        for recipe, predicted, without in zip(recipes, *predictions, strict=True):
            layer = recipe[0]
            wash = simulated.Wash(simulated.PAINTS[layer.paints[0].paint], layer.paint_fraction, layer.coats)
            truth = reflectance_to_lab(simulated.washed_board(wood, [wash]))
            with_swatch.append(float(delta_e(predicted, truth)))
            model_alone.append(float(delta_e(without, truth)))
    assert len(with_swatch) > 100
    assert np.mean(with_swatch) < np.mean(model_alone) < 0.6


def test_copies_of_swatches_change_nothing_but_a_remark(shelf, models):
    twice = Shelf(shelf.paints, shelf.swatches * 2, shelf.clear_coats)
    once, again = rank(shelf, models), rank(twice, fit_paints(twice.swatches))
    assert again.washes == once.washes
    extra = [line for line in again.advice if line not in once.advice]
    assert extra
    assert all("entered twice; each counts once." in line for line in extra)


def test_what_goes_over_everything_counts_at_the_end(shelf, models):
    over = Limits(then=(Layer((Part("Carbon Black"),), 1.0, 3),))
    hidden = rank(shelf, models, limits=over)
    # Three coats of black hide what is below, so nothing need be done first.
    assert hidden.washes[0].layers == ()
    assert hidden.washes[0].expected_delta_e < 0.6
    assert hidden.finished is not None
    assert hidden.finished.L < 30 < hidden.target.L
    assert rank(shelf, models).finished is None
    for coat in {pair.name for pair in shelf.clear_coats}:
        sealed = rank(shelf, models, limits=Limits(clear=coat)).washes[0]
        assert sealed.lab.L < SOUND.L + 3
        assert sealed.basis == "modelled"


def test_nothing_need_be_done(shelf, models):
    found = rank(shelf, models, target=DAMAGE)
    assert found.washes[0].layers == ()
    assert found.washes[0].group == 1
    assert found.washes[0].off.startswith("nothing")


@pytest.mark.parametrize(
    ("limits", "error"),
    [
        (Limits(coats=0), BadInput),
        (Limits(coats=99), BadInput),
        (Limits(coats=2.5), BadInput),
        (Limits(layers=3), BadInput),
        (Limits(mix=0), BadInput),
        (Limits(top=0), BadInput),
        (Limits(paints=("Unobtainium",)), PaintError),
        (Limits(clear="Moonshine"), PaintError),
        (Limits(then=(Layer((Part("Moonshine"),), 0.5),)), PaintError),
    ],
)
def test_impossible_limits(shelf, models, limits, error):
    with pytest.raises(error) as caught:
        rank(shelf, models, limits=limits)
    assert caught.value.what.endswith(".")
    assert caught.value.fix.endswith(".")


def test_nothing_to_rank(shelf, models):
    with pytest.raises(NothingToRank):
        rank(Shelf(), {})
    with pytest.raises(NothingToRank):
        rank(Shelf((Paint("Plum"),)), {})
    empty = replace(shelf, paints=tuple(replace(paint, on_hand_ml=0.0) for paint in shelf.paints))
    with pytest.raises(NothingToRank):
        rank(empty, models, limits=Limits(on_hand=True))
    assert rank(empty, models).washes


@pytest.mark.parametrize("target", [Lab(120, 0, 0), Lab(float("nan"), 0, 0), Lab(50, 200, 0)])
def test_impossible_colors(shelf, models, target):
    with pytest.raises(BadInput):
        rank(shelf, models, target=target)
    with pytest.raises(BadInput):
        rank(shelf, models, ground=target)


@pytest.mark.parametrize("radius", [-1.0, float("inf"), float("nan")])
def test_impossible_uncertainty(shelf, models, radius):
    with pytest.raises(BadInput):
        rank(shelf, models, radius=radius)


def test_only_the_chosen_paints(shelf, models):
    found = rank(shelf, models, limits=Limits(paints=("ochre", "Raw Umber"), mix=2, layers=2, top=30))
    used = {part.paint for wash in found.washes for layer in wash.layers for part in layer.paints}
    assert used == {"Ochre", "Raw Umber"}


# --- what cancels, and what does not ---


def test_a_finish_that_leaves_no_trace_changes_nothing_that_is_expected(shelf, models):
    """The limit of an endlessly thin layer: what is unsure about a wash stays, and no more comes on top."""
    wash = (Layer((Part("Carbon Black"),), 1.0, 40),)  # hides what is below: only what the model misses of it is left
    trace = Layer((Part("Cream"),), 1e-9)
    plain, finished = (
        MatchProblem.of(Task(SOUND, DAMAGE, 0.5, 0.5), shelf, uncarried(models), Limits(then=then))
        for then in ((), (trace,))
    )
    np.testing.assert_allclose(finished.finished, plain.finished, atol=1e-3)
    np.testing.assert_allclose(finished.finished_draws, plain.finished_draws, atol=0.02)
    # Cream is 26 away: a spectrum gives back its color to within a thousandth of that.
    np.testing.assert_allclose(finished.outcomes([wash]).delta_e, plain.outcomes([wash]).delta_e, rtol=1e-3)


def test_one_brush_goes_over_both_so_its_luck_cancels(shelf, models):
    """Sound and damaged wood of one color under the same finish come out alike, whatever the model misses of it."""
    finish = (Layer((Part("Brown Glaze"),), 0.8, 1),)
    job = MatchProblem.of(Task(DAMAGE, DAMAGE), shelf, models, Limits(then=finish))
    np.testing.assert_allclose(job.outcomes([()]).delta_e, 0, atol=1e-6)
    still = replace(job, chances=replace(job.chances, model=np.zeros_like(job.chances.model)))
    # A trace of a wash below it takes none of that luck.
    np.testing.assert_allclose(still.outcomes([(Layer((Part("Ochre"),), 1e-7),)]).delta_e, 0, atol=0.02)


# --- against the simulator, whose physics is another ---


def true_delta_e(ground, recipe, target_lab) -> float:
    washes = [
        simulated.Wash(simulated.mixed({p.paint: p.parts for p in layer.paints}), layer.paint_fraction, layer.coats)
        for layer in recipe
    ]
    return float(delta_e(reflectance_to_lab(simulated.dried(ground, washes)), target_lab))


@pytest.mark.parametrize("depths", [(1.0, 3.0), (1.3, 4.9), (2.0, 6.0), (1.5, 2.6)])
def test_the_first_wash_is_nearly_the_best_in_truth(shelf, models, depths):
    """Simulated woods, read without error. Of every paint, ratio and coats the simulator knows the truth."""
    ground, sound = (woods.wood_reflectance(depth, 105, 0.08) for depth in depths)
    target = reflectance_to_lab(sound)
    found = rank(shelf, models, lab(target), lab(reflectance_to_lab(ground)), radius=0.5)
    every = {
        (name, p / (p + w), coats): true_delta_e(ground, (Layer((Part(name),), p / (p + w), coats),), target)
        for name in models
        for p, w in RATIOS
        for coats in (1, 2, 3)
    }
    best = min(every.values())
    # What the best could be, and as much again as a coat 12 % thicker costs (physics of washes: mean 0.7 ΔE).
    assert true_delta_e(ground, found.washes[0].layers, target) < best + 0.7
    # Most washes would be a bad choice, so that a test of "near the best" means something.
    assert np.median(list(every.values())) > best + 5


def test_the_demo_repair(shelf, models):
    """The shipped example, read without error: what is ranked first is nearly the best of all in the simulator."""
    truth = demo.truth()
    found = rank(shelf, models, lab(truth["sound"]), lab(truth["damage"]), radius=0.5)
    every = [
        demo.true_delta_e([demo.wash(name, p / (p + w), coats)])
        for name in models
        for p, w in RATIOS
        for coats in (1, 2, 3)
    ]
    layer = found.washes[0].layers[0]
    first = demo.true_delta_e([demo.wash(layer.paints[0].paint, layer.paint_fraction, layer.coats)])
    assert first < min(every) + 0.7
    # Neither read nor brushed with an error here, it leaves less than what is expected with them.
    assert first < found.washes[0].expected_delta_e


def test_what_is_in_error_for_both_colors_does_not_widen_a_wash(shelf, models):
    exact, shared, own = (
        rank(shelf, models, radius=0.0, limits=Limits(paints=("Brown Glaze",))),
        rank(shelf, models, radius=0.0, limits=Limits(paints=("Brown Glaze",)), shared_uncertainty=6.0),
        rank(shelf, models, radius=6.0, limits=Limits(paints=("Brown Glaze",))),
    )
    for match in (exact, shared, own):
        assert match.untouched is not None
        assert match.untouched.layers == ()
    # Leaving the damage as it is adds nothing of its own: read exactly, it is known exactly.
    assert exact.untouched.uncertainty == pytest.approx(0.0, abs=1e-6)
    assert shared.untouched.uncertainty < own.untouched.uncertainty / 2
    # Two independent errors of radius 6 each: by root of the sum of squares.
    assert own.untouched.uncertainty == pytest.approx(6 * 2**0.5, rel=0.15)
