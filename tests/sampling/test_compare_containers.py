"""Comparing containers in one column."""

import math

import pytest
from tests_shared import small_scenario

from colsim import Container, ScenarioError, compare_containers
from colsim.advice.status import Status

KNOWN = {"liquid_spin": 0.2, "restitution": 0.2, "friction": 0.25}


def column(**changes):
    """Give a quick column with nothing unknown but the container, which is named in the comparison."""
    fixed = {
        "column.throat_radius": 10,
        "rotor.housing_clearance": 2,
        "rotor.lead_in": 10,
        "rotor.friction": 0.25,
        "rotor.speed": 45,
        "rotor.torque_limit": 20,
        "loading.placement_scatter": 0.5,
    }
    return small_scenario(2, **fixed, **changes)


CONTAINERS = {
    "wide": Container(diameter=73, mass=0.64, **KNOWN),
    "slim": Container(diameter=58, mass=0.45, **KNOWN),
    "too wide": Container(diameter=92, mass=0.9, **KNOWN),
    "too slim": Container(diameter=44, mass=0.2, **KNOWN),
}


@pytest.fixture(scope="module")
def comparison():
    return compare_containers(column(), CONTAINERS, max_fills=4, seed=1)


def test_they_stand_in_the_order_in_which_they_were_named(comparison):
    assert [candidate.name for candidate in comparison.candidates] == list(CONTAINERS)


def test_what_does_not_go_in_says_by_how_much_and_is_not_simulated(comparison):
    too_wide, too_slim = comparison.candidates[2:]
    assert too_wide.option is None
    assert "92 mm wide and does not go through" in too_wide.refused
    assert "abreast" in too_slim.refused
    assert {too_wide.verdict, too_slim.verdict} == {"does not go in"}


def test_each_has_the_spacer_that_suits_it(comparison):
    wide, slim = comparison.candidates[:2]
    assert wide.option.value < slim.option.value
    assert slim.option.geometry == "within the bounds"


def test_all_are_simulated_on_the_same_loadings(comparison):
    wide, slim = (candidate.option.fills for candidate in comparison.candidates[:2])
    assert wide.seed == slim.seed == comparison.seed == 1
    assert wide.paired_with(slim).fills == 4


def test_a_single_container_is_the_same_as_among_others(comparison):
    alone = compare_containers(column(), {"slim": CONTAINERS["slim"]}, max_fills=4, seed=1).candidates[0]
    among = comparison.candidates[1]
    assert [f.vends for f in alone.option.fills] == [f.vends for f in among.option.fills]


def test_the_confidence_is_shared_among_all_that_is_simulated(comparison):
    # Two of the four go in, each with the spacer in the pocket now (none) and the one that suits.
    levels = {candidate.option.over.level for candidate in comparison.candidates if candidate.option}
    wide_alone = comparison.candidates[0].option.value == 0
    assert levels == {1 - 0.05 / (3 if wide_alone else 4)}


def test_the_table_holds_what_the_candidates_hold(comparison):
    table = comparison.to_dataframe()
    assert list(table["container"]) == list(CONTAINERS)
    assert list(table["capacity [containers]"][:2]) == [candidate.capacity for candidate in comparison.candidates[:2]]
    assert math.isnan(table["rate"][2])
    assert table["limited by"][2] == comparison.candidates[2].refused


def test_the_summary_names_each_with_its_verdict(comparison):
    text = comparison.summary()
    for candidate in comparison.candidates:
        assert any(line.startswith(candidate.name) and candidate.verdict in line for line in text.splitlines())


def test_as_many_are_loaded_as_there_is_room_for():
    low = column(**{"column.height": 250, "loading.count": 5})
    wide = compare_containers(low, ["591 ml carbonated"], max_fills=1, seed=1).candidates[0]
    assert 1 <= wide.loaded < 5


def test_names_are_those_of_the_scenario_or_the_catalogue():
    with pytest.raises(ScenarioError, match="not in the catalogue"):
        compare_containers(column(), ["no such thing"], max_fills=1)
    with pytest.raises(ScenarioError, match="got none"):
        compare_containers(column(), [], max_fills=1)
    twice = [Container(diameter=66, mass=0.5), Container(diameter=67, mass=0.5)]
    with pytest.raises(ScenarioError, match="the same name twice"):
        compare_containers(column(), twice, max_fills=1)


def test_a_verdict_follows_the_status():
    candidate = compare_containers(column(), {"wide": CONTAINERS["wide"]}, max_fills=1, seed=1).candidates[0]
    assert candidate.status is Status.UNDECIDED
    assert candidate.verdict == "cannot tell yet"
