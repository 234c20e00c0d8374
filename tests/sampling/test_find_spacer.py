"""The decision on the spacer: on made-up fills by construction, and once for real."""

import math

import pytest
from tests_shared import made, small_scenario

from colsim import Fills, ScenarioError, find_spacer, simulate_fill
from colsim.advice import spacer
from colsim.sampling import Outcome

S, X = Outcome.SINGLE, Outcome.STALL


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(small_scenario(1), seed=0)


@pytest.fixture
def pretend(monkeypatch, plain):
    """Have each spacer fail in as many of 1000 fills as the table says."""

    def use(failures):
        asked = []

        def simulate(scenario, *, fills, seed, executor, progress):
            thickness = scenario.rotor.spacer_thickness
            asked.append((thickness, fills, seed))
            bad = failures[thickness]
            made_fills = [made(plain, k, (S, X) if k < bad else (S,) * 4) for k in range(fills)]
            return Fills(scenario, seed, tuple(made_fills), fills)

        monkeypatch.setattr(spacer, "simulate_fills", simulate)
        return asked

    return use


def decide(spacers, **changes):
    return find_spacer(small_scenario(4, **changes), spacers=spacers, max_fills=1000, seed=7)


def test_recommended_is_the_middle_of_the_longest_run_that_meets(pretend):
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
    assert asked == [(t, 1000, 7) for t in (0, 3, 6, 9, 12, 15, 18)]  # one seed: common draws


def test_the_confidence_is_shared_among_the_options(pretend):
    pretend({0: 0, 6: 0, 12: 0, 18: 0})
    levels = {option.estimate.level for option in decide((0, 6, 12, 18)).options}
    assert levels == {1 - 0.05 / 4}


def test_none_is_recommended_where_all_fail(pretend):
    pretend({0: 1000, 6: 500})
    decision = decide((0, 6))
    assert (decision.recommended, decision.status) == (None, "fails")


def test_what_is_not_shown_is_undecided_and_says_how_many_fills_would_do(pretend):
    pretend({0: 1000, 6: 30})
    decision = decide((0, 6), **{"target.failures_per_vend": 0.008})
    assert (decision.recommended, decision.status) == (6, "undecided")
    assert "simulate more fills" in decision.measure_next[0]


def test_the_number_of_fills_it_asks_for_is_enough_and_one_less_is_not(pretend):
    pretend({0: 0})
    scenario = small_scenario(4)
    few = find_spacer(scenario, spacers=[0], max_fills=5, seed=1)
    assert few.status == "undecided"
    needed = int(few.measure_next[0].split()[3])
    statuses = [find_spacer(scenario, spacers=[0], max_fills=n, seed=1).status for n in (needed - 1, needed)]
    assert statuses == ["undecided", "meets"]


def test_a_spacer_that_does_not_go_in_is_refused():
    with pytest.raises(ScenarioError, match="nothing is left of the pocket's sides"):
        find_spacer(small_scenario(), spacers=[79], max_fills=1, seed=1)


def test_no_spacers_are_refused():
    with pytest.raises(ScenarioError, match="spacers: got none"):
        find_spacer(small_scenario(), spacers=[], max_fills=1, seed=1)


def test_by_default_it_looks_from_none_to_the_first_too_thick_and_at_the_present_one():
    found = spacer.default_spacers(small_scenario(**{"rotor.spacer_thickness": 5}))
    least, greatest = spacer.spacer_bounds(small_scenario())
    assert set(found) == {0, 5, 6, 12, 18}
    assert 12 < greatest < 18
    assert least == 0


def test_a_narrowing_spacer_is_bounded_by_the_container():
    scenario = small_scenario(**{"rotor.spacer_kind": "narrows_pocket"})
    assert spacer.spacer_bounds(scenario)[1] == 82 - 66
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
