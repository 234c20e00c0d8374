"""What once went wrong, a test each."""

import math
from concurrent.futures import ThreadPoolExecutor

import pytest
from tests_shared import measured, small_scenario
from typer.testing import CliRunner

from colsim import (
    Column,
    Container,
    Loading,
    Rotor,
    Scenario,
    ScenarioError,
    find_spacer,
    replay,
    simulate_fills,
)
from colsim.cli import app
from colsim.model.conditions import Conditions
from colsim.model.spread import Spread
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.scene import Body, Chain, Line, Part, Scene

CAN = {"diameter": 66, "mass": 0.54}
ROTOR = {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80}
COLUMN = {"width": 90, "height": 900, "wall_friction": 0.2}
G = 9806.65


def one(**parts):
    base = {"container": CAN, "column": COLUMN, "rotor": ROTOR, "loading": {"count": 4}}
    return Scenario(
        **{k: {**v, **parts.get(k, {})} for k, v in base.items()}, **{k: v for k, v in parts.items() if k not in base}
    )


def two(a, b, **loading):
    return Scenario(
        containers={"a": CAN | a, "b": CAN | b},
        column=COLUMN,
        rotor=ROTOR,
        loading={"layers": [{"container": "a", "count": 1}, {"container": "b", "count": 1}], **loading},
    )


@pytest.mark.parametrize("mixed", [0.05, 0.9])
def test_second_surface_keeps_its_own_friction_on_straight_pieces_when_pair_friction_is_measured(mixed):
    th = math.radians(30)
    floor = Chain((Line((-1e5, 0.0), (1e5, 0.0), (0.1, 0.2), Part.FLOOR),))
    engine = PymunkEngine(Scene((G * math.sin(th), -G * math.cos(th)), (floor,), ((0.3, mixed), (mixed, 0.5))))
    for s in (0, 1):
        engine.add(Body(s, 66.0, 0.0, 0.5, 1e12, surface=s), (200.0 * s, 33.0))
    engine.advance(200)
    found = engine.state().velocity[:, 0] / 0.2
    assert found == pytest.approx([G * (math.sin(th) - mu * math.cos(th)) for mu in (0.1, 0.2)], rel=0.01)


def test_measured_mixed_friction_holds_where_both_kinds_have_equal_friction():
    assert two({"friction": 0.3}, {"friction": 0.3}, mixed_friction=0.5).friction_between("a", "b") == 0.5


def test_find_spacer_does_not_raise_on_a_valid_scenario_whose_bad_ends_do_not_go_together():
    known = {"liquid_spin": 0.2, "friction": 0.25, "restitution": 0.2}
    scenario = Scenario(
        container={"mass": 0.54, **known, "diameter": {"kind": "unknown", "low": 60, "high": 72}},
        column={**COLUMN, "throat_radius": 10},
        rotor={
            **ROTOR,
            "housing_clearance": 2,
            "lead_in": 10,
            "friction": 0.25,
            "speed": 45,
            "torque_limit": 20,
            "pocket_width": {"kind": "unknown", "low": 70, "high": 82},
        },
        loading={"count": 3, "placement_scatter": 0.5},
    )
    with ThreadPoolExecutor(2) as pool:
        find_spacer(scenario, spacers=[14], max_fills=16, seed=0, executor=pool)


@pytest.mark.parametrize(
    ("part", "values"),
    [
        (Container, {**CAN, "surface": ["bare"]}),
        (Container, {**CAN, "wall_feel": ["thin"]}),
        (Container, {**CAN, "drink": {}}),
        (Rotor, {**ROTOR, "motor": ["weak"]}),
    ],
)
def test_a_list_for_a_word_is_refused_and_not_a_crash(part, values):
    with pytest.raises(ScenarioError):
        part(**values)


def test_factor_beyond_floats_is_refused_and_not_a_crash():
    with pytest.raises(ScenarioError):
        Container(mass=0.5, diameter={"kind": "varies", "shape": "lognormal", "typical": 66, "factor": 1e200})


@pytest.mark.parametrize("low", ["1", True, None, [1]])
def test_spread_refuses_what_is_no_number(low):
    with pytest.raises(ScenarioError):
        Spread(kind="varies", low=low, high=2)


def test_nan_in_a_spread_is_refused_as_what_it_is():
    for values in (
        {"low": 1, "high": 2, "typical": math.nan},
        {"shape": "normal", "typical": 1, "deviation": 0.1, "high": math.nan},
    ):
        with pytest.raises(ScenarioError, match="got nan"):
            Spread.read({"kind": "varies", **values}, float)
    with pytest.raises(ScenarioError, match="got nan"):
        Container(mass=0.5, diameter={"kind": "varies", "low": math.nan, "high": 70})


@pytest.mark.parametrize("days", [True, "5"])
def test_days_are_a_number(days):
    with pytest.raises(ScenarioError, match="days"):
        Conditions(days=days)


def test_bounds_of_a_field_that_may_be_left_out_are_told_like_any_others():
    with pytest.raises(ScenarioError, match=r"^count: got 201; allowed: .*at least 1 and at most 200"):
        Loading(count=201)
    with pytest.raises(ScenarioError, match=r"^carbonation: got 7; allowed: at least 0 and at most 5"):
        Container(**CAN, carbonation=7)


def test_words_of_a_choice_that_may_be_left_out_stand_in_the_table_of_keys():
    table = CliRunner().invoke(app, ["schema", "--table"]).stdout
    (line,) = [line for line in table.splitlines() if line.startswith("container.surface ")]
    assert "film_label" in line


def test_a_word_stands_in_where_the_number_is_none():
    assert "wall_thickness" in Container(**CAN, wall_feel="thin", wall_thickness=None).spreads
    assert Column(width=90, height=900, wall_surface="plastic", wall_friction=None).spreads


def test_condensation_lowers_the_friction_of_a_wall_touched_by_who_knows_what():
    def low(wet):
        column = {"width": 90, "height": 900, "wall_surface": "painted_steel"}
        return (
            Scenario(container=CAN, column=column, rotor=ROTOR, loading={"count": 4}, conditions={"wet": wet})
            .unknowns()["column.wall_friction"]
            .low
        )

    assert low(True) < low(False)


def test_between_kinds_counts_the_range_that_is_assumed_for_one_of_them():
    spread = two({}, {"friction": 0.3}).unknowns()["loading.mixed_friction"]
    assert (spread.low, spread.high) == (0.15, 0.45)


def test_a_part_contradicting_itself_at_an_end_is_refused_when_made_directly():
    with pytest.raises(ScenarioError):
        Rotor(**{**ROTOR, "pocket_depth": {"kind": "unknown", "low": 80, "high": 96}})


def test_and_inside_a_scenario_it_is_named_with_its_end():
    with pytest.raises(ScenarioError, match=r"with pocket_depth at its end of 96"):
        one(rotor={"pocket_depth": {"kind": "unknown", "low": 80, "high": 96}})


@pytest.mark.parametrize("name", ["pocket_takes", "pocket_refuses"])
@pytest.mark.parametrize("bad", [[1], "70 kg", math.nan])
def test_what_is_wrong_with_a_container_tried_in_the_pocket_is_said_of_its_key(name, bad):
    rest = {k: v for k, v in ROTOR.items() if k != "pocket_width"}
    with pytest.raises(ScenarioError, match=rf"^{name}: got"):
        Rotor(**rest, **{"pocket_takes": 66, "pocket_refuses": 73, name: bad})


def test_a_scenario_written_into_the_answer_knows_what_was_not_measured():
    scenario = one(container={"surface": "sleeve"})
    assert Scenario(**scenario.as_given()).unknowns() == scenario.unknowns()


@pytest.mark.parametrize("place", ["-1", "01"])
def test_a_bad_place_is_answered_with_the_places_there_are(place):
    with pytest.raises(ScenarioError, match="known: 0, 1"):
        two({}, {}).changed(**{f"loading.layers.{place}.count": 1})


def test_a_default_unknown_at_a_narrow_floor_can_be_drawn():
    # With the others at the middle of their ranges, and not at their typical values, an end did not go.
    pooled = small_scenario(2, **{"column.width": 112, "column.throat": 90, "column.floor_slope": 50}).screened()
    assert not pooled.unknowns()


def test_a_fill_that_has_room_for_none_is_invalid_and_no_crash():
    varies = {"kind": "varies", "low": 54, "high": 66}
    scenario = small_scenario(1, **{"rotor.rest": "land_up", "column.height": 70, "container.diameter": varies})
    with ThreadPoolExecutor(2) as pool:
        fills = simulate_fills(scenario, fills=8, seed=1, executor=pool)
    empty = [fill for fill in fills if "not even one container found room" in fill.invalid]
    assert empty
    assert fills.risk_looking_often().per_fill.high > len(empty) / len(fills)  # they count as failed in it


def test_a_spacer_that_leaves_no_room_for_one_does_not_keep_the_others_from_being_looked_at():
    scenario = measured(small_scenario(6, **{"column.height": 308}))
    with ThreadPoolExecutor(2) as pool:
        decision = find_spacer(scenario, spacers=[0, 14], max_fills=2, seed=1, executor=pool)
    assert ["no room" in option.geometry for option in decision.options] == [False, True]


def test_sizes_that_are_drawn_are_checked_as_drawn():
    # 40 columns of 80 to 92 mm and bottles of 64 to 81.5 mm: only a bottle wider than its own column does not go.
    scenario = measured(small_scenario(1)).changed(
        **{
            "column.width": {"kind": "varies", "low": 80, "high": 92},
            "container.diameter": {"kind": "varies", "low": 64, "high": 81.5},
        }
    )
    for number in range(40):
        again = replay(scenario, seed=1, number=number)
        fill = again.fill
        if again.bodies:
            assert bool(fill.invalid) == (again.bodies[0].height > fill.drawn["column.width"])
        else:
            assert "wide" in fill.invalid
