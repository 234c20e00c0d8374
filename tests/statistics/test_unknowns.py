"""What nobody measured widens the answer by what it does, in the right direction, and by nothing else."""

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom
from tests_shared import ROTOR, AtOnce, made, measured, small_scenario

from colsim import Fills, Scenario, find_spacer, simulate_fill
from colsim.advice.risks import SCREENING_FILLS, Case, Effect, Risks, simulate_risks, simulate_with_known
from colsim.advice.risks import _effects as effects_of
from colsim.advice.status import Status, judged
from colsim.advice.study import Study
from colsim.advice.to_measure import in_words, what_measuring_brings
from colsim.sampling import Outcome, many_fills
from colsim.sampling.draws import draw_fill_wide

S, X = Outcome.SINGLE, Outcome.STALL
VENDS, MOST, LEVEL = 4, 200, 0.95
FRICTION = {"rotor.friction": {"kind": "unknown", "low": 0.2, "typical": 0.3, "high": 0.4}}
SPEED = {"rotor.speed": {"kind": "unknown", "low": 20, "typical": 40, "high": 60}}


def column(**changes):
    return measured(small_scenario(VENDS)).changed(**changes)


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(measured(small_scenario(1)), seed=0)


@pytest.fixture
def pretend(monkeypatch, plain):
    """Have fills fail with a chance that depends on what the column is like, on draws common to all columns.

    Others, or the same, cannot be believed, and what a vend presses with can depend on the column too.
    """

    def use(chance, lost=lambda column, number: False, force=lambda column: 1.0):
        def simulate(scenario, *, seed, number, engine, settings):
            drawn = draw_fill_wide(scenario, seed, number)
            u = np.random.default_rng([seed, number]).random()
            column = scenario.changed(**drawn) if drawn else scenario
            outcomes = (S, X) if u < chance(column) else (S,) * VENDS
            one = made(plain, number, outcomes, invalid="lost" if lost(column, number) else "")
            vends = tuple(replace(vend, peak_force=force(column)) for vend in one.vends)
            return replace(one, drawn=drawn, vends=vends)

        monkeypatch.setattr(many_fills, "simulate_fill", simulate)

    return use


def study(seed=7, most=MOST):
    return Study(seed, most, AtOnce())


def over(scenario, seed=7, most=MOST):
    (found,) = simulate_risks([scenario], level=LEVEL, study=study(seed, most))
    return found


def never(column):
    return 0.0


def rough_fails(column):
    """Fail in nine of ten fills where the friction is above 0.3, and never below."""
    return 0.9 * (column.rotor.friction > 0.3)


def smooth_fails(column):
    return 0.9 * (column.rotor.friction < 0.3)


def friction_of(fills):
    return fills.scenario.rotor.friction


@pytest.mark.parametrize(("chance", "bad", "good"), [(rough_fails, 0.4, 0.2), (smooth_fails, 0.2, 0.4)])
def test_an_unknown_that_matters_widens_the_answer_and_is_named(pretend, chance, bad, good):
    pretend(chance)
    found = over(column(**FRICTION))
    assert friction_of(found.runs[Case.UNFAVOURABLE]) == bad
    assert friction_of(found.runs[Case.FAVOURABLE]) == good
    assert found.status is Status.DEPENDS
    assert found.depends_on == "rotor.friction"
    low, high = found.could_be
    for friction in (0.2, 0.3, 0.4):
        fixed = over(column(**{"rotor.friction": friction}))
        assert list(fixed.runs) == [Case.TYPICAL]
        assert fixed.status is (Status.FAILS if friction == bad else Status.MEETS)
        assert low <= fixed.could_be[0] < fixed.could_be[1] <= high
        assert fixed.could_be[1] - fixed.could_be[0] < high - low
    assert found.estimate(Case.UNFAVOURABLE).low > 0.01 >= found.estimate(Case.FAVOURABLE).high


def test_cases_are_simulated_on_the_draws_of_the_typical_column(pretend):
    pretend(rough_fails)
    found = over(column(**FRICTION))
    assert set(found.runs) == set(Case)
    assert set(found.cases) == set(Case) - {Case.SCREENED}
    assert {fills.seed for fills in found.runs.values()} == {7}
    for case, friction in ((Case.FAVOURABLE, 0.2), (Case.TYPICAL, 0.3), (Case.UNFAVOURABLE, 0.4)):
        fills = found.runs[case]
        expected = [np.random.default_rng([7, k]).random() < 0.9 * (friction > 0.3) for k in range(len(fills))]
        assert [fill.failure is not None for fill in fills] == expected


def test_of_the_screening_fills_a_quarter_has_it_at_each_end_and_the_others_between(pretend):
    pretend(rough_fails)
    at_an_end = []
    for seed in range(4):
        screened = over(column(**FRICTION), seed=seed).runs[Case.SCREENED]
        drawn = [fill.drawn["rotor.friction"] for fill in screened]
        assert len(drawn) == SCREENING_FILLS
        between = [each for each in drawn if each not in (0.2, 0.4)]
        assert all(0.2 < each < 0.4 for each in between)
        assert len(set(between)) == len(between)
        at_an_end.append([drawn.count(0.2), drawn.count(0.4)])
    few, many = binom.ppf([1e-4, 1 - 1e-4], 4 * SCREENING_FILLS, 0.25)
    assert all(few <= count <= many for count in np.sum(at_an_end, axis=0))


def test_what_measuring_brings_is_what_is_left_with_it_typical(pretend):
    pretend(rough_fails)
    scenario = column(**FRICTION)
    before, after = over(scenario).could_be, over(column(**{"rotor.friction": 0.3})).could_be
    (text,) = what_measuring_brings(over(scenario), study=study())
    assert text.startswith("friction on the rotor, 5 min: settles it; if typical, ")
    numbers = [int(n) for n in re.findall(r"\d+", text.partition("could be")[2])]
    assert numbers == [round(1000 * bound) for bound in (*after, *before)]
    assert numbers[1] - numbers[0] < numbers[3] - numbers[2]


def test_the_decision_says_on_what_it_depends(pretend):
    pretend(rough_fails)
    decision = find_spacer(column(**FRICTION), spacers=[0, 6], max_fills=MOST, seed=7, executor=AtOnce())
    assert (decision.status, decision.chosen.risks.depends_on) == ("depends", "rotor.friction")
    assert "It depends most on the friction on the rotor." in decision.reason
    assert decision.measure_next[0].startswith("friction on the rotor, 5 min: settles it; if typical")
    assert decision.to_dataframe()["depends on"].tolist() == ["rotor.friction"] * 2


@pytest.mark.parametrize(
    ("chance", "named", "other"),
    [
        (rough_fails, "rotor.friction", "rotor.speed"),
        (lambda column: 0.9 * (column.rotor.speed > 40), "rotor.speed", "rotor.friction"),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_two_unknowns_the_one_that_matters_is_named(pretend, chance, named, other, seed):
    pretend(chance)
    found = over(column(**FRICTION, **SPEED), seed=seed)
    assert (found.status, found.depends_on) == (Status.DEPENDS, named)
    effects = {effect.path: effect for effect in found.effects}
    assert effects[named].share_when_high > 0.5 > effects[named].share_when_low == 0
    assert (effects[named].worse, effects[named].better) == (effects[named].high, effects[named].low)
    assert effects[named].deviations > abs(effects[other].deviations)
    low, high = found.could_be
    *alone, enough = what_measuring_brings(found, study=study(seed))
    # Now and then the other stands out by chance and comes first, since it is quicker to measure: it does nothing.
    assert enough.startswith(f"{in_words(named)}, ")
    assert ": settles it; if typical, " in enough
    assert enough.endswith(f"instead of {1000 * low:.0f} - {1000 * high:.0f}")
    assert all(text.startswith(f"{in_words(other)}, ") and "would not narrow" in text for text in alone)


@pytest.mark.parametrize(("share", "status"), [(0.0, Status.MEETS), (0.5, Status.FAILS), (1.0, Status.FAILS)])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_unknown_that_does_not_matter_leaves_the_answer(pretend, share, status, seed):
    pretend(lambda column: share)
    found = over(column(**FRICTION, **SPEED), seed=seed)
    assert found.status is status
    assert set(found.runs) == set(Case)
    assert {judged(found.runs[case], LEVEL) for case in found.cases} == {status}
    if share != 0.5:  # none failed or all did, which tells of no unknown that it matters
        assert not any(effect.seen for effect in found.effects)
        assert found.depends_on == ""


@pytest.mark.parametrize("share", [0.0, 1.0])
@pytest.mark.parametrize(("way", "bad", "good"), [(1, 0.4, 0.2), (-1, 0.2, 0.4)])
def test_where_none_failed_or_all_did_how_near_each_came_tells_the_bad_end(pretend, share, way, bad, good):
    pretend(lambda column: share, force=lambda column: way * column.rotor.friction)
    found = over(column(**FRICTION))
    (effect,) = found.effects
    assert (effect.worse, effect.better, effect.seen) == (bad, good, False)
    assert friction_of(found.runs[Case.UNFAVOURABLE]) == bad
    assert friction_of(found.runs[Case.FAVOURABLE]) == good
    assert found.status is (Status.FAILS if share else Status.MEETS)


def test_what_shows_nothing_stays_typical_and_is_not_simulated_twice(pretend):
    pretend(never)
    found = over(column(**FRICTION))
    assert found.effects[0].deviations == 0
    assert found.runs[Case.FAVOURABLE] is found.runs[Case.UNFAVOURABLE] is found.typical


def at_the_top(column):
    """Fail in the upper fiftieth of the range alone."""
    return 0.9 * (column.rotor.friction > 0.396)


def at_the_bottom(column):
    return 0.9 * (column.rotor.friction < 0.204)


@pytest.mark.parametrize(("chance", "bad"), [(at_the_top, 0.4), (at_the_bottom, 0.2)])
@pytest.mark.parametrize("seed", range(6))
def test_what_fails_only_at_the_very_end_of_a_range_never_meets(pretend, chance, bad, seed):
    pretend(chance)
    found = over(column(**FRICTION), seed=seed)
    assert found.status is Status.DEPENDS
    assert friction_of(found.runs[Case.UNFAVOURABLE]) == bad


@pytest.mark.parametrize("seed", range(6))
def test_what_fails_only_where_two_ends_meet_never_meets(pretend, seed):
    # One screening fill in sixteen has both there, so that all of 48 miss it in 4 % of the seeds: then what a vend
    # presses with tells where to look.
    pretend(
        lambda column: 1.0 * (column.rotor.friction > 0.396 and column.rotor.speed < 20.8),
        force=lambda column: column.rotor.friction - column.rotor.speed / 100,
    )
    found = over(column(**FRICTION, **SPEED), seed=seed)
    assert found.status is Status.DEPENDS
    assert friction_of(found.runs[Case.UNFAVOURABLE]) == 0.4
    assert found.runs[Case.UNFAVOURABLE].scenario.rotor.speed == 20


@pytest.mark.parametrize("seed", range(3))
def test_what_fails_only_inside_a_range_is_looked_at_where_a_screening_fill_failed(pretend, seed):
    # Neither end fails, nor the typical value: only what a screening fill came upon.
    pretend(lambda column: 1.0 * (0.22 < column.rotor.friction < 0.28))
    found = over(column(**FRICTION), seed=seed)
    assert any(fill.failure for fill in found.runs[Case.SCREENED])
    assert 0.22 < friction_of(found.runs[Case.UNFAVOURABLE]) < 0.28
    assert found.runs[Case.UNFAVOURABLE].risk().per_fill.rate == 1
    assert found.runs[Case.FAVOURABLE].risk().per_fill.rate == 0
    assert found.status is Status.DEPENDS


def every_third(column, number):
    return number % 3 == 1


@pytest.mark.parametrize(
    "lost",
    [
        every_third,
        lambda column, number: column.rotor.friction == 0.3 and every_third(column, number),
        lambda column, number: column.rotor.friction > 0.3 and every_third(column, number),
        lambda column, number: column.rotor.friction < 0.3 and every_third(column, number),
        lambda column, number: column.rotor.friction > 0.3,  # all of them
        lambda column, number: column.rotor.friction == 0.4 and every_third(column, number),
    ],
)
@pytest.mark.parametrize("target", [{}, {"target.failures_per_fill": 0.3}])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_case_of_which_a_third_cannot_be_believed_never_meets(pretend, lost, target, seed):
    pretend(never, lost)
    found = over(column(**FRICTION, **target), seed=seed, most=96)
    worst = found.runs[Case.UNFAVOURABLE]
    assert worst.invalid_count >= len(worst) // 3
    assert judged(worst, LEVEL) is Status.UNDECIDED  # they count as clean in the lower bound
    assert found.status is Status.UNDECIDED


def test_a_fill_that_cannot_be_believed_puts_a_case_behind_one_that_fails_less_often(pretend):
    # Three of twenty fail at the upper end; at the lower end none does, but half of them cannot be believed.
    pretend(
        lambda column: 0.15 * (column.rotor.friction > 0.3),
        lambda column, number: column.rotor.friction < 0.3 and number % 2 == 1,
    )
    found = over(column(**FRICTION, **{"target.failures_per_fill": 0.5}))
    assert friction_of(found.runs[Case.FAVOURABLE]) == 0.3
    assert friction_of(found.runs[Case.UNFAVOURABLE]) == 0.2
    assert found.status is Status.UNDECIDED


def test_an_unknown_that_does_not_matter_seldom_stands_out(plain):
    # The means of two groups of numbers that lean to their ends differ by a nearly normal number, with slightly lighter
    # tails (their fourth cumulant is negative), so that one unknown of one stands out in at most 10 % by chance.
    # Binomial over the repeats.
    scenario, rng, repeats = column(**FRICTION), np.random.default_rng(3), 400
    clean, failed, seen = made(plain, 0, (S,) * VENDS), made(plain, 0, (S, X)), 0
    n = SCREENING_FILLS
    for _ in range(repeats):
        fills = tuple(
            replace(failed if u < 0.4 else clean, drawn={"rotor.friction": 0.2 + 0.2 * place})
            for u, place in zip(rng.random(n), np.clip(2 * rng.random(n) - 0.5, 0, 1), strict=True)
        )
        seen += effects_of(scenario, Fills(scenario.screened(), 7, fills, n))[0].seen
    often = 0.1
    assert binom.ppf(1e-4, repeats, often / 2) <= seen <= binom.isf(1e-4, repeats, often)


def test_an_end_that_only_seemed_good_is_not_called_so(pretend):
    # Most failures lie in the upper half but not at its end; the lower end fails now and then.
    def chance(column):
        friction = column.rotor.friction
        return 0.9 if 0.3 < friction < 0.4 else 0.15 if friction < 0.21 else 0.0

    pretend(chance)
    found = over(column(**FRICTION))
    assert found.effects[0].deviations > 1
    assert found.effects[0].better == 0.2
    rates = {case: fills.risk().per_fill.rate for case, fills in found.runs.items()}
    assert rates[Case.FAVOURABLE] == rates[Case.TYPICAL] == 0
    assert friction_of(found.runs[Case.UNFAVOURABLE]) == 0.2
    assert found.status is Status.DEPENDS


def two_kinds(**changes):
    """Two kinds of container, of which nobody measured the friction of one on its like."""
    kind = {"diameter": 66, "mass": 0.54, "stiffness": 70}
    scenario = Scenario(
        title="two kinds",
        containers={"a": kind, "b": {**kind, "friction": 0.3}},
        column={"width": 90, "height": 900, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"layers": [{"container": "a", "count": 2}, {"container": "b", "count": 2}]},
    )
    return measured(scenario).changed(
        **{
            "containers.a.friction": {"kind": "unknown", "low": 0.2, "typical": 0.3, "high": 0.4},
            "loading.mixed_friction": None,
            **changes,
        }
    )


def mixed_fails(column):
    return 0.9 * (column.friction_between("a", "b") > 0.3)


def test_what_is_derived_from_an_unknown_is_known_with_it(pretend):
    # Nobody measured one kind on the other: it lies between what each has with its like, here between 0.2 and 0.4.
    pretend(mixed_fails)
    scenario = two_kinds()
    assert set(scenario.unknowns()) == {"containers.a.friction", "loading.mixed_friction"}
    before = over(scenario)
    assert (before.status, before.depends_on) == (Status.DEPENDS, "loading.mixed_friction")
    assert before.runs[Case.UNFAVOURABLE].scenario.loading.mixed_friction == 0.4
    pretend(lambda column: 0.0)  # no such friction is left to say when it fails
    after = simulate_with_known(before, ["containers.a.friction"], study=study())
    assert (after.scenario.unknowns(), after.effects) == ({}, ())
    assert list(after.runs) == [Case.TYPICAL]
    assert after.status is Status.MEETS
    both = simulate_with_known(before, ["containers.a.friction", "loading.mixed_friction"], study=study())
    assert (both.status, list(both.runs)) == (Status.MEETS, [Case.TYPICAL])


def test_what_is_derived_from_several_unknowns_narrows_with_one(pretend):
    # Between 0.2 and 0.45 before; with 0.3 for one between 0.2 and 0.4 of the other, as no more than that is left.
    pretend(mixed_fails)
    scenario = two_kinds(**{"containers.b.friction": {"kind": "unknown", "low": 0.25, "typical": 0.3, "high": 0.45}})
    assert scenario.unknowns()["loading.mixed_friction"].high == 0.45
    before = over(scenario)
    after = simulate_with_known(before, ["containers.b.friction"], study=study())
    left = after.scenario.unknowns()["loading.mixed_friction"]
    assert (left.low, left.typical, left.high) == (0.2, 0.3, 0.4)
    ends = {case: after.runs[case].scenario.loading.mixed_friction for case in (Case.FAVOURABLE, Case.UNFAVOURABLE)}
    assert ends == {Case.FAVOURABLE: 0.2, Case.UNFAVOURABLE: 0.4}


MEETS, FAILS, OPEN = Status.MEETS, Status.FAILS, Status.UNDECIDED


@pytest.mark.parametrize(
    ("typical", "good", "bad", "screened", "status"),
    [
        (MEETS, MEETS, MEETS, OPEN, Status.MEETS),
        (MEETS, MEETS, MEETS, MEETS, Status.MEETS),
        (FAILS, FAILS, FAILS, OPEN, Status.FAILS),
        (FAILS, FAILS, FAILS, FAILS, Status.FAILS),
        (FAILS, FAILS, FAILS, MEETS, Status.FAILS),  # it counts only if it fails
        (MEETS, MEETS, FAILS, OPEN, Status.DEPENDS),
        (FAILS, MEETS, FAILS, FAILS, Status.DEPENDS),
        (MEETS, MEETS, OPEN, OPEN, Status.UNDECIDED),
        (MEETS, MEETS, OPEN, MEETS, Status.UNDECIDED),
        (OPEN, OPEN, FAILS, OPEN, Status.UNDECIDED),
        (OPEN, OPEN, FAILS, MEETS, Status.UNDECIDED),
        (OPEN, OPEN, OPEN, FAILS, Status.UNDECIDED),
        (MEETS, MEETS, OPEN, FAILS, Status.DEPENDS),  # it fails on average, so somewhere in the range it fails
        (MEETS, MEETS, MEETS, FAILS, Status.DEPENDS),
        (MEETS, None, None, MEETS, Status.UNDECIDED),  # cut short before its cases
        (MEETS, None, None, FAILS, Status.UNDECIDED),
        (FAILS, None, None, FAILS, Status.UNDECIDED),
        (MEETS, MEETS, None, MEETS, Status.UNDECIDED),
    ],
)
def test_the_status_over_all_cases(plain, typical, good, bad, screened, status):
    clean, failed = made(plain, 0, (S,) * VENDS), made(plain, 0, (S, X))
    alike = {MEETS: (clean,) * 150, FAILS: (failed,) * 20, OPEN: (clean,) * 8}
    runs = {
        case: Fills(column(**FRICTION), 7, alike[each], len(alike[each]))
        for case, each in zip(Case, (typical, good, bad, screened), strict=True)
        if each is not None
    }
    assert [judged(fills, LEVEL) for fills in runs.values()] == [s for s in (typical, good, bad, screened) if s]
    assert Risks(column(**FRICTION), LEVEL, runs, ()).status is status


def test_what_was_cut_short_before_its_cases_is_undecided(plain):
    clean = made(plain, 0, (S,) * VENDS)
    runs = {case: Fills(column(**FRICTION), 7, (clean,) * 150, 150) for case in (Case.TYPICAL, Case.SCREENED)}
    effect = Effect("rotor.friction", 0.2, 0.4, 0.0, 0.4, 3.0, True)
    for effects in ((), (effect,)):
        found = Risks(column(**FRICTION), LEVEL, runs, effects)
        assert found.status is Status.UNDECIDED
        assert found.interrupted
    whole = Risks(column(), LEVEL, {Case.TYPICAL: Fills(column(), 7, (clean,) * 150, 150)}, ())
    assert whole.status is Status.MEETS
    assert not whole.interrupted


def test_a_group_settles_nothing_where_screening_loadings_failed_by_something_else(pretend):
    # Two ways to fail: grip, and a fast drum with a mouth of middling rounding, which no corner shows.
    unknown = {
        **FRICTION,
        **SPEED,
        "rotor.lead_in": {"kind": "unknown", "low": 2, "typical": 3, "high": 14},
    }

    def chance(scenario):
        rotor = scenario.rotor
        return float(rotor.friction > 0.35 or (rotor.speed > 50 and 6 < rotor.lead_in < 11))

    pretend(chance)
    (before,) = simulate_risks([column(**unknown)], level=LEVEL, study=study())
    assert before.status is Status.DEPENDS
    after = simulate_with_known(before, ["rotor.friction"], study=study())
    assert after.status is Status.DEPENDS
    assert Case.SCREENED not in after.runs
    worst = after.runs[Case.UNFAVOURABLE].scenario.rotor
    assert worst.friction == 0.3
    assert worst.speed > 50
    assert 6 < worst.lead_in < 11
    both = simulate_with_known(before, ["rotor.friction", "rotor.speed"], study=study())
    assert both.status is Status.MEETS
