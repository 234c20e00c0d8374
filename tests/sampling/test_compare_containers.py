"""Comparing containers in one column."""

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest
from tests_shared import AtOnce, small_scenario

from colsim import Container, ScenarioError, compare_containers
from colsim.advice import pipeline
from colsim.advice.risks import simulate_risks
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
    assert {too_wide.verdict, too_slim.verdict} == {"DOES NOT FIT"}


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


@pytest.fixture
def simulated(monkeypatch):
    """Give all that is simulated in the test, whether it is chosen or not."""
    found = []

    def simulate(*args, **named):
        risks = simulate_risks(*args, **named)
        found.extend(risks)
        return risks

    monkeypatch.setattr(pipeline, "simulate_risks", simulate)
    return found


def test_the_confidence_is_shared_among_all_that_is_simulated(simulated):
    # Two of the four go in, each with the spacer in the pocket now (none) and the one that suits; none is what the
    # column holds now.
    compare_containers(column(), CONTAINERS, max_fills=1, seed=1, executor=AtOnce())
    errors = [1 - risks.level for risks in simulated]
    assert len(errors) == 4
    assert errors == pytest.approx([errors[0]] * 4)
    assert 7 / 8 * 0.05 - 1e-12 <= sum(errors) <= 0.05 + 1e-12


def test_what_the_column_holds_now_has_an_eighth_of_the_error_and_the_others_share_the_rest(simulated):
    now = column()
    named = {"now": now.container, "slim": CONTAINERS["slim"]}
    compare_containers(now, named, max_fills=1, seed=1, executor=AtOnce())
    held = [1 - risks.level for risks in simulated if risks.scenario == now]
    others = [1 - risks.level for risks in simulated if risks.scenario != now]
    assert held == pytest.approx([0.05 / 8])
    assert others == pytest.approx([7 / 8 * 0.05 / 3] * 3)


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


def test_the_summary_ends_with_a_conclusion_that_names_every_container(comparison):
    *_, last = comparison.summary().splitlines()
    assert last == f"CONCLUSION (limit you set: 10 bad vends in 1000): {comparison.conclusion()}"
    groups, _, hints = comparison.conclusion().partition(". ")
    named = dict(group.split(": ", 1) for group in groups.split("; "))
    assert named.keys() == {candidate.verdict for candidate in comparison.candidates}
    for candidate in comparison.candidates:
        spacer = "" if candidate.option is None else f" (with the {candidate.option.label})"
        assert f"{candidate.name}{spacer}" in named[candidate.verdict].split(", ")
    assert sum(len(names.split(", ")) for names in named.values()) == len(CONTAINERS)
    for candidate in comparison.candidates[:2]:
        assert f"To settle {candidate.name}: {candidate.measure_next[0]}." in hints
    assert "too" not in hints


def test_as_many_are_loaded_as_there_is_room_for():
    low = column(**{"column.height": 250, "loading.count": 5})
    wide = compare_containers(low, ["591 ml carbonated"], max_fills=1, seed=1).candidates[0]
    assert 1 <= wide.loaded < 5


def test_names_are_those_of_the_scenario_or_the_catalogue():
    with pytest.raises(ScenarioError, match="not in the catalogue"):
        compare_containers(column(), ["no such thing"], max_fills=1)
    with pytest.raises(ScenarioError, match="got none"):
        compare_containers(column(), [], max_fills=1)
    with pytest.raises(ScenarioError, match=r'^containers: got the name "a.nb"; allowed: one line of text without'):
        compare_containers(column(), {"a\nb": CONTAINERS["wide"]}, max_fills=1)
    twice = [Container(diameter=66, mass=0.5), Container(diameter=67, mass=0.5)]
    with pytest.raises(ScenarioError, match="the same name twice"):
        compare_containers(column(), twice, max_fills=1)


def test_a_verdict_follows_the_status():
    candidate = compare_containers(column(), {"wide": CONTAINERS["wide"]}, max_fills=1, seed=1).candidates[0]
    assert candidate.status is Status.UNDECIDED
    assert candidate.verdict == "undecided"
    words = {
        Status.MEETS: "belongs here",
        Status.FAILS: "does not belong here",
        Status.DEPENDS: "depends",
        Status.UNDECIDED: "undecided",
    }
    for status, verdict in words.items():
        judged = SimpleNamespace(status=status, mechanism="")
        assert replace(candidate, option=judged).verdict == verdict
    assert replace(candidate, option=None, refused="too wide").verdict == "DOES NOT FIT"
