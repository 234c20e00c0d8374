"""The decision on the spacer: on made-up fills by construction, and once for real."""

import math
import re
from dataclasses import replace

import pytest
from tests_shared import AtOnce, made, measured, small_scenario

from colsim import Fills, ScenarioError, find_spacer, simulate_fill
from colsim.advice import spacer
from colsim.advice.spacer_bounds import spacer_bounds
from colsim.advice.status import judged
from colsim.advice.step_check import StepCheck
from colsim.sampling import Outcome, course, many_fills
from colsim.sampling.draws import draw_placement
from colsim.sampling.intervals import Risk
from colsim.sampling.looks import FIRST_LOOK, look_schedule
from colsim.sampling.sequences import confidence_sequence

S, X = Outcome.SINGLE, Outcome.STALL


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(small_scenario(1), seed=0)


def each(share, number):
    """Tell whether this fill is one of so many in a thousand, spread evenly."""
    return (number + 1) * share // 1000 > number * share // 1000


@pytest.fixture
def pretend(monkeypatch, plain):
    """Have each spacer fail in as many fills of a thousand as the table says, and be invalid in as many."""

    def use(failures, invalid=None):
        asked = []

        def simulate(scenario, *, seed, number, engine, settings):
            thickness = scenario.rotor.spacer_thickness
            if settings is None and thickness in failures:  # else it is the check of the time step, or seeks an edge
                asked.append((thickness, seed, number))
            near = min(failures, key=lambda looked_at: (abs(looked_at - thickness), -failures[looked_at]))
            lost = "lost" if each((invalid or {}).get(near, 0), number) else ""
            return made(plain, number, (S, X) if each(failures[near], number) else (S,) * 4, invalid=lost)

        monkeypatch.setattr(many_fills, "simulate_fill", simulate)
        return asked

    return use


def decide(spacers, max_fills=1000, **changes):
    """Ask about a column of which nothing is unknown."""
    scenario = measured(small_scenario(4)).changed(**changes)
    return find_spacer(scenario, spacers=spacers, max_fills=max_fills, seed=7, executor=AtOnce())


def test_recommended_is_the_one_farthest_from_both_edges_of_the_widest_run(pretend):
    asked = pretend({0: 1000, 3: 0, 6: 900, 9: 0, 12: 0, 15: 0, 18: 1000})
    decision = decide((18, 0, 3, 6, 9, 12, 15))
    assert (decision.recommended, decision.status, decision.unit) == (12, "meets", "mm")
    assert [option.status for option in decision.options] == [
        "fails",
        "meets",
        "fails",
        "meets",
        "meets",
        "meets",
        "fails",
    ]
    assert "from 6 mm down" in decision.reason
    assert "from 18 mm up" in decision.reason
    # Each probe fails as the spacer next to it: half-way to the neighbours, sought to half a millimetre.
    window = decision.window
    assert 7.5 <= window.low <= 8
    assert 16 <= window.high <= 16.5
    beyond = decision.options[-1].mechanism
    assert (window.below, window.above, window.within) == (beyond, beyond, 0.5)
    assert window.in_words() in decision.reason
    assert {seed for _, seed, _ in asked} == {7}  # one seed: common draws
    assert len(set(asked)) == len(asked)
    for option in decision.options:
        numbers = sorted(fill for thickness, _, fill in asked if thickness == option.value)
        assert numbers == list(range(option.estimate.fills))
    assert {option.estimate.fills for option in decision.options} <= set(look_schedule(1000))
    assert decision.options[-1].estimate.fills == FIRST_LOOK  # a spacer that always fails is settled first


def test_a_spacer_is_simulated_no_further_than_to_the_first_look_that_settles_it(pretend):
    pretend({0: 100})
    decision = decide((0,))
    fills = decision.options[0].fills
    looks = [n for n in look_schedule(1000) if n <= len(fills)]
    statuses = [judged(replace(fills, records=fills[:n]), 0.95) for n in looks]
    assert statuses == ["undecided"] * (len(looks) - 1) + ["fails"]
    assert len(looks) > 3


def test_the_confidence_is_shared_among_the_options(pretend):
    pretend({0: 0, 6: 0, 12: 0, 18: 0})
    options = decide((0, 6, 12, 18)).options
    # An eighth of the error to what is there now, so that every question judges it alike.
    errors = [0.05 / 8, *[0.05 * 7 / 8 / 3] * 3]
    assert [option.risks.level for option in options] == pytest.approx([1 - error for error in errors])
    for option, error in zip(options, errors, strict=True):
        n = option.estimate.fills  # and the interval is really that wide: nine tenths of the error to the fills
        high = confidence_sequence(0, n, level=1 - 0.9 * error, target=0.04 / 1.03)[1]
        assert option.estimate.high == pytest.approx(high / (4 - 3 * high))


def test_a_spacer_named_twice_is_looked_at_once_and_shares_nothing(pretend):
    asked = pretend({0: 0, 12: 0})
    decision = decide((12, 0, 12.0, 0))
    assert [option.value for option in decision.options] == [0, 12]
    assert len(set(asked)) == len(asked)
    levels = [option.risks.level for option in decision.options]
    assert levels == pytest.approx([1 - 0.05 / 8, 1 - 0.05 * 7 / 8])


def test_of_two_the_one_farther_from_what_fails_is_taken_and_of_two_as_far_the_thinner(pretend):
    pretend({0: 1000, 6: 0, 12: 0})
    assert decide((0, 6, 12)).recommended == 6  # nobody looked beyond 12
    pretend({0: 1000, 2: 1000, 4: 0, 8: 0, 12: 0, 16: 0})
    assert decide((0, 2, 4, 8, 12)).recommended == 8
    pretend({0: 1000, 6: 0, 12: 0, 18: 0, 24: 0})
    assert decide((0, 6, 12, 18, 24)).recommended == 12  # of 18 and more the first stands proud, by measure
    pretend({0: 1000, 6: 0, 12: 0, 18: 1000})
    assert decide((0, 6, 12, 18)).recommended == 6


def test_a_window_that_an_option_within_belies_is_not_told(pretend):
    pretend({0: 1000, 6: 0, 12: 0, 18: 1000})
    decision = decide((0, 6, 12, 18))
    assert decision.window is not None
    turned = StepCheck(fills=24, only_coarse=0, only_fine=24, turns=True)
    question = spacer._Spacer(decision.scenario, (0, 6, 12, 18))
    question.window = decision.window
    assert question.window_among(decision.options) is decision.window
    belied = [replace(each, step_check=turned) if each.value == 12 else each for each in decision.options]
    assert question.window_among(belied) is None


def test_of_what_can_be_had_in_any_thickness_the_whole_millimetre_in_the_middle_is_looked_at_too(pretend):
    pretend({0: 0, 6: 0, 7: 0, 8: 0, 9: 0, 12: 1000, 18: 1000})
    decision = decide(None)
    assert decision.window.low == 0
    assert 8.5 <= decision.window.high <= 10.5
    assert decision.recommended == 0  # nothing ends it below
    pretend({0: 1000, 6: 0, 12: 1000, 7: 0, 8: 0, 18: 1000, 10: 1000})
    decision = decide(None)
    assert [option.value for option in decision.options] == [0, 6, 12, 18]  # the middle, of 3 to 9, is there
    pretend({0: 1000, 6: 0, 11: 0, 12: 1000, 18: 1000})
    decision = decide(None)
    assert (decision.recommended, len(decision.options)) == (7, 5)


def test_what_meets_comes_before_what_is_undecided(pretend):
    pretend({0: 30, 6: 30, 12: 0})
    decision = decide((0, 6, 12), **{"target.failures_per_vend": 0.008})
    assert [option.status for option in decision.options] == ["undecided", "undecided", "meets"]
    assert (decision.recommended, decision.status) == (12, "meets")


def test_of_those_undecided_the_one_with_the_fewest_failures_is_named(pretend):
    pretend({0: 1000, 6: 31, 12: 30, 18: 32})
    decision = decide((0, 6, 12, 18), **{"target.failures_per_vend": 0.008})
    assert (decision.recommended, decision.status) == (12, "undecided")


def test_invalid_fills_keep_a_spacer_from_meeting_the_target(pretend):
    pretend({0: 0, 6: 0}, invalid={6: 100})
    assert [option.status for option in decide((0, 6)).options] == ["meets", "undecided"]


def test_a_spacer_of_which_nothing_is_known_is_not_named_before_one_that_went_well(pretend):
    # Every fill without a spacer was lost, so its rate is no number; the other went wrong in none of twenty.
    pretend({0: 0, 6: 0}, invalid={0: 1000})
    decision = decide((0, 6), max_fills=20)
    assert [option.status for option in decision.options] == ["undecided", "undecided"]
    assert decision.recommended == 6


@pytest.mark.parametrize("per", ["vend", "fill"])
def test_the_status_turns_exactly_at_the_target(pretend, plain, per, monkeypatch):
    # The bounds themselves are held still here: they are sharpest about the target, and would move with it.
    some = Fills(small_scenario(4), 7, tuple(made(plain, k, (S,) * 4) for k in range(8)), 8)
    held = getattr(some.risk(), f"per_{per}")
    held = replace(held, low=0.01, high=0.02)
    other = replace(held, low=0.4, high=0.5)
    risk = Risk(held, other) if per == "fill" else Risk(other, held)
    monkeypatch.setattr(Fills, "risk_looking_often", lambda *_, **__: risk)
    for target, status in [(0.00999, "fails"), (0.01, "undecided"), (0.01999, "undecided"), (0.02, "meets")]:
        scenario = small_scenario(4, **{f"target.failures_per_{per}": target})
        assert judged(replace(some, scenario=scenario), 0.95) == status


@pytest.mark.parametrize("target", [0.002, 0.004, 0.008, 0.011, 0.014])
def test_the_status_follows_from_the_interval_that_is_shown(pretend, target):
    pretend({0: 30})
    option = decide((0,), **{"target.failures_per_vend": target}).options[0]
    low, high = option.estimate.low, option.estimate.high
    assert option.status == ("meets" if high <= target else "fails" if low > target else "undecided")
    assert option.status == {0.002: "fails", 0.008: "undecided", 0.014: "meets"}.get(target, option.status)


def test_a_bare_pocket_that_meets_is_not_told_as_if_no_spacer_did(pretend):
    pretend({0: 0, 6: 0, 12: 0})
    decision = decide((0,))
    assert decision.reason == "The bare pocket stays within 10 bad vends in 1000."
    assert "No spacer" not in decision.summary()
    assert decide((12,)).reason == "The 12 mm spacer stays within 10 bad vends in 1000."


def test_none_is_recommended_where_all_fail(pretend):
    pretend({0: 1000, 6: 500})
    decision = decide((0, 6))
    assert (decision.recommended, decision.status) == (None, "fails")


def test_what_is_not_shown_is_undecided_and_says_how_many_fills_would_do(pretend):
    pretend({0: 1000, 6: 24})
    decision = decide((0, 6), **{"target.failures_per_vend": 0.008})
    assert (decision.recommended, decision.status) == (6, "undecided")
    about = re.fullmatch(r"simulate about (\d+) loadings \(now 1000\)", decision.measure_next[-1])
    assert int(about[1]) > 1000


def test_what_no_number_of_fills_would_show_says_so(pretend):
    pretend({0: 40})
    decision = decide((0,), **{"target.failures_per_fill": 0.04})
    assert decision.status == "undecided"
    assert decision.measure_next == ("more loadings may never tell: the risk is about the limit itself",)


def test_the_number_of_fills_it_asks_for_is_enough_and_one_less_is_not(pretend):
    pretend({0: 0})
    few = decide([0], max_fills=5)
    assert few.status == "undecided"
    needed = int(few.measure_next[0].split()[2])
    assert needed not in look_schedule(10_000)  # so that the last look is the one that counts
    statuses = [decide([0], max_fills=n).status for n in (needed - 1, needed)]
    assert statuses == ["undecided", "meets"]


@pytest.mark.parametrize(
    ("thickness", "why"),
    [
        (79, "nothing is left of the pocket's sides"),
        (80, "fills the whole pocket"),
        (-1, "spacer_thickness: got -1"),
        (math.nan, "spacer_thickness: got nan"),
    ],
)
def test_a_spacer_that_does_not_go_in_is_refused_before_anything_is_simulated(thickness, why, monkeypatch):
    monkeypatch.setattr(many_fills, "simulate_fill", lambda *_, **__: pytest.fail("simulated"))
    with pytest.raises(ScenarioError, match=why):
        find_spacer(small_scenario(), spacers=[0, thickness], max_fills=1, seed=1, executor=AtOnce())


def test_a_spacer_that_leaves_the_container_no_width_is_refused():
    scenario = small_scenario(**{"rotor.spacer_kind": "narrows_pocket"})
    with pytest.raises(ScenarioError, match="the spacer leaves 62 mm"):
        find_spacer(scenario, spacers=[0, 20], max_fills=1, seed=1)


@pytest.mark.parametrize(("name", "value"), [("max_fills", 0), ("seed", -1), ("seed", 1.5)])
def test_numbers_that_are_none_are_refused(name, value):
    with pytest.raises(ScenarioError, match=f"^{name}: got {value}"):
        find_spacer(small_scenario(), spacers=[0], **{"max_fills": 1, "seed": 1, name: value})


def test_every_spacer_is_filled_by_the_same_hand(monkeypatch):
    laid = []

    def draw(loading, seed, fill, item):
        placement = draw_placement(loading, seed, fill, item)
        laid.append((seed, fill, item, placement))
        return placement

    monkeypatch.setattr(course, "draw_placement", draw)
    decision = find_spacer(measured(small_scenario(2)), spacers=[0, 6], max_fills=2, executor=AtOnce())
    assert len(laid) == 2 * 2 * 2 + 2 * 2  # and of the one that is named again, to check the time step
    assert laid[:4] == laid[4:8] == laid[8:]
    assert {seed for seed, *_ in laid} == {decision.seed}  # fresh, and kept


def test_no_spacers_are_refused():
    with pytest.raises(ScenarioError, match="spacers: got none"):
        find_spacer(small_scenario(), spacers=[], max_fills=1, seed=1)


def test_by_default_it_looks_from_none_to_the_first_too_thick_and_at_the_present_one():
    found = spacer.default_spacers(small_scenario(**{"rotor.spacer_thickness": 5}))
    least, greatest = spacer_bounds(small_scenario())
    assert set(found) == {0, 5, 6, 12, 18}
    assert 12 < greatest < 18
    assert least == 0


def test_a_narrowing_spacer_is_bounded_by_the_container():
    scenario = small_scenario(**{"rotor.spacer_kind": "narrows_pocket"})
    assert spacer_bounds(scenario)[1] == 82 - 66
    assert set(spacer.default_spacers(scenario)) == {0, 6, 12}


def test_for_real_a_slim_container_needs_a_spacer():
    decision = find_spacer(small_scenario(3, **{"container.diameter": 58}), spacers=[0, 12], max_fills=4, seed=1)
    bare, twelve = decision.options
    assert bare.estimate.failures == 4
    assert bare.mechanism == "second one in the pocket"
    assert twelve.estimate.failures == 0
    table = decision.to_dataframe()
    assert table["spacer [mm]"].tolist() == [0, 12]
    assert math.isclose(table["high"][1], twelve.estimate.high)
    assert "12 mm" in decision.summary()
