"""Public functions of the model answer wrong types with errors of this library, and take numbers of numpy."""

import numpy as np
import pytest
from tests_shared import LEAST, least, small_scenario

from colsim import (
    CATALOGUE,
    Column,
    Container,
    Scenario,
    ScenarioError,
    Spread,
    advise,
    compare_containers,
    find_count,
    find_spacer,
    simulate_sweep,
)
from colsim.model.catalogue import find_entry
from colsim.model.conditions import Conditions
from colsim.model.softness import height_band, heights_under, softest_and_stiffest
from colsim.model.squeeze_test import fit_squeeze_test
from colsim.model.units import QUANTITIES, read_quantity

NO_NUMBERS = ["8", None, [1], float("nan"), True, 1j]


@pytest.fixture(scope="module")
def scenario():
    return small_scenario(3)


@pytest.fixture(scope="module")
def water():
    return Container(diameter=65, mass=0.515, drink="still", wall_feel="thin")


@pytest.mark.parametrize("part", [Scenario, *LEAST])
def test_a_table_that_was_not_unpacked_is_answered_so(part):
    with pytest.raises(ScenarioError, match=r"^got 1 values without names; .* unpack a table with \*\*$"):
        part({})


@pytest.mark.parametrize("bad", NO_NUMBERS)
def test_what_is_no_number_is_refused(scenario, bad):
    for name, ask in {
        "thickness": scenario.column.capacity,
        "housing_radius": scenario.column.throat_edge_length,
        "height": lambda value: scenario.friction_on_wall(scenario.container, "left", value),
        "end": lambda value: scenario.nearest_allowed("column.width", 90, value),
        "share": Spread(kind="unknown", low=1, high=2).quantile,
    }.items():
        with pytest.raises(ScenarioError, match=f"^{name}: got "):
            ask(bad)


@pytest.mark.parametrize("bad", [-1, 1.5, "2", None])
def test_a_place_that_is_none_is_refused(scenario, bad):
    with pytest.raises(ScenarioError, match=r"^item: got .*; allowed: a whole number of 0 or more"):
        scenario.product_of(bad)


@pytest.mark.parametrize("bad", ["front", "both", None, 1, ["left"]])
def test_a_wall_that_there_is_not_is_refused(scenario, bad):
    with pytest.raises(ScenarioError, match=r'^wall: got .*; allowed: "left", "right"$'):
        scenario.column.liner_zones(bad)
    with pytest.raises(ScenarioError, match=r"^wall: got"):
        scenario.friction_on_wall(scenario.container, bad, 100)


@pytest.mark.parametrize("bad", ["can", None, 1])
def test_a_container_that_there_is_not_is_refused(scenario, bad):
    with pytest.raises(ScenarioError, match=r'^second: got .*; allowed: "container"$'):
        scenario.friction_between("container", bad)
    for ask in (scenario.without_effect, lambda each: scenario.friction_on_wall(each, "left", 100)):
        with pytest.raises(ScenarioError, match=r"^container: got .*; allowed: a Container$"):
            ask(bad)
    with pytest.raises(ScenarioError, match="which is not in the catalogue"):
        find_entry(bad)


@pytest.mark.parametrize("bad", [{}, 5, "warm"])
def test_what_are_no_conditions_is_refused(scenario, water, bad):
    for ask in (water.bottle, water.squeeze_fit, scenario.container.board_stiffness):
        with pytest.raises(ScenarioError, match=r"^conditions: got .*; allowed: Conditions, or None$"):
            ask(bad)
        ask(Conditions())


@pytest.mark.parametrize("bad", [[], "10", 10, [-1], ["10"], [float("nan")], None])
def test_what_are_no_loads_is_refused(water, bad):
    for ask in (heights_under, height_band):
        with pytest.raises(ScenarioError, match=r"^loads_on_top: got "):
            ask(water, bad)


@pytest.mark.parametrize("bad", [5, None, "unknown", [1, 2]])
def test_what_is_no_table_of_a_spread_is_refused(bad):
    with pytest.raises(ScenarioError, match=r"^got .*; allowed: a table"):
        Spread.read(bad, float)


@pytest.mark.parametrize("path", ["rotor.sped", "", "nothing.at.all"])
def test_an_unknown_path_is_refused_where_one_is_asked_for(scenario, path):
    with pytest.raises(ScenarioError, match="unknown path"):
        scenario.nearest_allowed(path, 1.0, 2.0)


def test_a_housing_narrower_than_the_throat_is_refused():
    with pytest.raises(ScenarioError, match=r"^housing_radius: got 40 mm; allowed: at least half the throat's width"):
        least(Column).throat_edge_length(40)


def test_numbers_of_numpy_are_taken_wherever_numbers_are(scenario, water):
    plain = small_scenario(4, **{"column.width": 91.5, "conditions.days": 2, "target.confidence": 0.5})
    numpy = small_scenario(
        np.int32(4),
        **{"column.width": np.float32(91.5), "conditions.days": np.int8(2), "target.confidence": np.float16(0.5)},
    )
    assert numpy == plain
    assert {type(numpy.column.width), type(numpy.conditions.days), type(numpy.loading.count)} == {float, int}
    column = least(Column)
    assert column.capacity(np.float32(66)) == column.capacity(66)
    assert column.throat_edge_length(np.int64(97)) == column.throat_edge_length(97)
    assert scenario.product_of(np.int64(1)) == "container"
    assert scenario.friction_on_wall(scenario.container, "left", np.float32(10)) == 0.25
    assert heights_under(water, np.array([0, 40])) == heights_under(water, [0.0, 40.0])
    assert softest_and_stiffest(water, load=np.float32(50)) == softest_and_stiffest(water, load=50)
    table = {"kind": "unknown", "low": np.float32(0.25), "high": np.int64(1)}
    assert least(Column, wall_friction=table).spreads["wall_friction"].high == 1.0
    assert Spread(kind="varies", shape="lognormal", typical=np.int64(2), factor=np.float32(1.5)).factor == 1.5
    assert small_scenario(2, **{"conditions.wet": np.True_}).conditions.wet is True
    assert read_quantity(np.float32(0.5), QUANTITIES["mass"]) == 0.5


def test_lists_of_numpy_are_taken_where_lists_are():
    spacers = small_scenario(2, **{"on_hand.spacers": np.array([6.0, 12.0])}).on_hand.spacers
    assert spacers == (6.0, 12.0)
    squeeze = [{"bottles": np.int64(n), "height": np.float64(h)} for n, h in ((0, 64), (6, 62), (12, 60))]
    assert Container(diameter=65, mass=0.515, squeeze_test=squeeze).squeeze_fit() is not None


def test_a_fit_takes_arrays_and_refuses_what_is_none(water):
    bottle = water.bottle()
    heights = np.array([bottle.diameter - bottle.squeeze_under(load) for load in (10.0, 40.0, 73.0)])
    assert fit_squeeze_test(bottle, np.array([10.0, 40.0, 73.0]), heights).misfit < 0.1
    for bad in (["10", "40", "73"], [None] * 3, 5):
        with pytest.raises(ScenarioError, match=r"^squeeze_test: got "):
            fit_squeeze_test(bottle, bad, heights)


def test_the_catalogue_is_as_it_was():
    assert CATALOGUE["12 fl oz can"].container() == find_entry("12 fl oz can").container()
    assert CATALOGUE["12 fl oz can"].values()["diameter"] == 66.1


@pytest.mark.parametrize("bad", [None, "column.toml", 3, {}])
def test_what_is_no_scenario_is_refused_by_every_decision(bad):
    for ask in (
        advise,
        find_spacer,
        find_count,
        lambda given: compare_containers(given, ["12 fl oz can"]),
        lambda given: simulate_sweep(given, {"loading.count": [1]}, fills=1),
    ):
        with pytest.raises(ScenarioError, match=r"^scenario: got .*; allowed: a Scenario; make one with"):
            ask(bad)


@pytest.mark.parametrize("bad", ["12", 12, 12.0, b"12"])
def test_what_is_no_list_is_refused(scenario, bad):
    for name, ask in {
        "spacers": lambda given: find_spacer(scenario, spacers=given),
        "counts": lambda given: find_count(scenario, counts=given),
        "containers": lambda given: compare_containers(scenario, given),
    }.items():
        with pytest.raises(ScenarioError, match=rf"^{name}: got .*; allowed: a list, as in \["):
            ask(bad)


@pytest.mark.parametrize("bad", ["12 mm", None, True, [6]])
def test_a_spacer_that_is_no_number_is_refused(scenario, bad):
    with pytest.raises(ScenarioError, match=r"^spacers: got .*; allowed: thicknesses as numbers in mm"):
        find_spacer(scenario, spacers=[0, bad])


def test_a_container_that_is_none_is_refused(scenario):
    for bad in ([3], {"a": 3}, [None]):
        with pytest.raises(ScenarioError, match=r"^containers: got .*; allowed: a Container; make one with"):
            compare_containers(scenario, bad)
