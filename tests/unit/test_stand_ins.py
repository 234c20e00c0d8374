"""Plain words that stand in for what was not measured."""

import math
from itertools import pairwise
from typing import get_args

import pytest
from tests_shared import FIELDS, LEAST, choices, least, small_scenario

from colsim import Column, Container, Liner, Rotor, Scenario, ScenarioError
from colsim.model import stand_ins
from colsim.model.spread import StandIn

CONTAINER = {"diameter": 66, "mass": 0.54}
NARROW = {name: value for name, value in LEAST[Rotor].items() if name != "pocket_width"}
PLASTIC, STEEL = stand_ins.FRICTION_ON_WALL["plastic"], stand_ins.FRICTION_ON_WALL["painted_steel"]

# What each word of each part stands for: part, field of the word, field of the number, ranges by word.
WORDS = [
    (Container, "surface", "friction", stand_ins.FRICTION_OF_CONTAINERS),
    (Container, "wall_feel", "wall_thickness", stand_ins.WALL_THICKNESS),
    (Container, "drink", "carbonation", stand_ins.CARBONATION),
    (Liner, "condition", "friction", stand_ins.FRICTION_ON_LINER),
    (Rotor, "motor", "torque_limit", stand_ins.MOTOR_TORQUE),
]
EACH_WORD = [(part, word, number, choice, table[choice]) for part, word, number, table in WORDS for choice in table]
RANGES = {
    **{f"{word} {choice}": spread for _, word, _, choice, spread in EACH_WORD},
    **{f"{wall} {s}": spread for wall, by in stand_ins.FRICTION_ON_WALL.items() for s, spread in by.items()},
    "lifted edge": stand_ins.LIFTED_EDGE,
}


def without(part, *names):
    return {name: value for name, value in LEAST[part].items() if name not in names}


def steel_scenario(container=None, *, wet=False, **column):
    """Give a column of painted steel whose walls nobody tilted a container on."""
    return Scenario(
        container=CONTAINER | (container or {}),
        column={"width": 90, "height": 900, "wall_surface": "painted_steel", **column},
        rotor=LEAST[Rotor],
        loading={"count": 2},
        conditions={"wet": wet},
    )


@pytest.mark.parametrize("spread", RANGES.values(), ids=RANGES)
def test_every_range_is_in_order_and_says_where_it_comes_from(spread):
    assert isinstance(spread, StandIn)
    assert spread.kind == "unknown"
    assert spread.origin
    assert 0 <= spread.low <= spread.typical <= spread.high
    assert spread.shape == "fixed" or spread.low < spread.high


@pytest.mark.parametrize(
    ("spread", "sourced"),
    [
        # CRC Materials Handbook, table 399: thermoplastic polyester on itself 0.17.
        (stand_ins.FRICTION_OF_CONTAINERS["bare"], 0.17),
        # Engineering data sheet: polyester on steel 0.19 static, 0.25 kinetic.
        (STEEL["bare"], 0.19),
        (STEEL["bare"], 0.25),
        (stand_ins.FRICTION_ON_WALL["zinc_coated_steel"]["bare"], 0.19),
        (stand_ins.FRICTION_ON_WALL["zinc_coated_steel"]["bare"], 0.25),
        # ASTM D1894: polyethylene of very high molar mass on polished steel 0.15 to 0.20.
        (stand_ins.FRICTION_ON_LINER["fresh"], 0.15),
        (stand_ins.FRICTION_ON_LINER["fresh"], 0.20),
        # A chain maker's rule for dry conveyor plastic: 0.17 to 0.25; the table above for polyester again.
        (PLASTIC["bare"], 0.17),
        (PLASTIC["bare"], 0.25),
        # One handbook: aluminium on itself 0.34 to 0.42.
        (stand_ins.FRICTION_OF_CONTAINERS["can"], 0.34),
        (stand_ins.FRICTION_OF_CONTAINERS["can"], 0.42),
    ],
)
def test_sourced_figures_lie_within_their_ranges(spread, sourced):
    assert spread.low <= sourced <= spread.high


@pytest.mark.parametrize(
    ("table", "order"),
    [
        (stand_ins.FRICTION_ON_LINER, ("fresh", "dusty", "dried")),
        (stand_ins.MOTOR_TORQUE, ("weak", "normal")),
        (stand_ins.WALL_THICKNESS, ("very_thin", "thin", "ordinary", "crisp")),
        (stand_ins.CARBONATION, ("still", "light", "cola_like", "very_fizzy")),
    ],
)
def test_words_that_mean_more_have_greater_ranges(table, order):
    for less, more in pairwise(table[word] for word in order):
        assert less.typical < more.typical
        assert less.low <= more.low
        assert less.high <= more.high


@pytest.mark.parametrize(("part", "word", "number", "table"), WORDS)
def test_every_word_that_may_be_written_has_a_range(part, word, number, table):
    assert set(choices(part, word)) == set(table)


def test_every_wall_and_surface_has_a_range():
    assert set(stand_ins.FRICTION_ON_WALL) == set(choices(Column, "wall_surface"))
    assert all(set(by) == set(get_args(stand_ins.Surface)) for by in stand_ins.FRICTION_ON_WALL.values())


def test_every_choice_that_stands_for_a_number_is_checked_here():
    plain = {"wall", "spacer_kind", "rest", "turn", "pattern", "temperature"}
    stand_for_a_number = {name for part, name in FIELDS if choices(part, name)} - plain
    assert stand_for_a_number == {word for _, word, _, _ in WORDS} | {"wall_surface"}


@pytest.mark.parametrize(("part", "word", "number", "choice", "spread"), EACH_WORD)
def test_a_word_gives_its_range_and_a_measurement_replaces_it(part, word, number, choice, spread):
    by_word = part(**without(part, number), **{word: choice})
    assert by_word.spreads[number] == spread
    assert getattr(by_word, number) == spread.typical
    measured = part(**without(part, number), **{word: choice, number: 0.123})
    assert number not in measured.spreads
    assert getattr(measured, number) == 0.123
    guessed = {"kind": "varies", "low": 0.1, "high": 0.2}
    assert part(**without(part, number), **{word: choice, number: guessed}).spreads[number].kind == "varies"


@pytest.mark.parametrize(("part", "word", "number", "table"), WORDS)
def test_another_word_replaces_the_first_and_a_measurement_stays(part, word, number, table):
    holder = {Container: "container", Liner: "column.liners.0", Rotor: "rotor"}[part]
    first, *others = table
    whole = small_scenario(**{"column.liners": [{"friction": 0.2}]})
    by_word = whole.changed(**{holder: {**without(part, number), word: first}})
    path = f"{holder}.{number}"
    for other in others:
        found = dict(by_word.changed(**{f"{holder}.{word}": other}).all_spreads())
        assert found[path] == table[other]
        measured = by_word.changed(**{path: 0.1, f"{holder}.{word}": other})
        assert path not in dict(measured.all_spreads())
        assert path not in measured.unknowns()
    assert dict(by_word.changed(**{path: 0.1}).changed(**{f"{holder}.{word}": first}).all_spreads()).get(path) is None


def test_a_lifted_sheet_has_an_edge_that_nobody_measured():
    assert Liner(condition="lifted").spreads["lifted_edge"] == stand_ins.LIFTED_EDGE
    assert Liner(condition="lifted").lifted_edge == stand_ins.LIFTED_EDGE.typical
    assert "lifted_edge" not in Liner(condition="lifted", lifted_edge="4 mm").spreads
    assert all("lifted_edge" not in Liner(condition=word).spreads for word in ("fresh", "dusty", "dried"))


def test_a_still_drink_leaves_nothing_unknown_of_its_gas():
    still, light = (Container(**CONTAINER, drink=drink).spreads["carbonation"] for drink in ("still", "light"))
    assert (still.low, still.typical, still.high) == (0, 0, 0)
    assert light.low < light.high
    assert small_scenario(**{"container.drink": "still"}).container.carbonation == 0


def test_a_wall_touched_by_who_knows_what_has_the_range_of_all_surfaces():
    found = steel_scenario().unknowns()["column.wall_friction"]
    assert (found.low, found.high) == (min(s.low for s in STEEL.values()), max(s.high for s in STEEL.values()))
    mean_log = sum(math.log(s.typical) for s in STEEL.values()) / len(STEEL)
    assert found.typical == pytest.approx(math.exp(mean_log))


@pytest.mark.parametrize("surface", STEEL)
def test_a_known_surface_on_a_known_wall_has_its_own_range(surface):
    scenario = steel_scenario({"surface": surface})
    assert scenario.unknowns()["container.wall_friction"] == STEEL[surface]
    assert "column.wall_friction" not in scenario.unknowns()  # nothing that is loaded asks for it
    on_plastic = scenario.changed(**{"column.wall_surface": "plastic"})
    assert on_plastic.unknowns()["container.wall_friction"] == PLASTIC[surface]


def test_a_measured_wall_needs_no_surface():
    scenario = steel_scenario({"surface": "bare"}, wall_friction=0.3)
    assert scenario.container.wall_friction is None
    assert not {"container.wall_friction", "column.wall_friction"} & set(scenario.unknowns())
    own = steel_scenario({"surface": "bare", "wall_friction": 0.22})
    assert own.container.wall_friction == 0.22
    assert not {"container.wall_friction", "column.wall_friction"} & set(own.unknowns())


def test_two_kinds_have_each_their_own_friction_on_one_wall():
    scenario = Scenario(
        containers={"can": CONTAINER | {"surface": "can"}, "slim": CONTAINER | {"surface": "sleeve"}},
        column={"width": 90, "height": 900, "wall_surface": "plastic"},
        rotor=LEAST[Rotor],
        loading={"layers": [{"container": "can", "count": 1}, {"container": "slim", "count": 1}]},
    )
    assert scenario.unknowns()["containers.can.wall_friction"] == PLASTIC["can"]
    assert scenario.unknowns()["containers.slim.wall_friction"] == PLASTIC["sleeve"]


LINERS = [{"condition": "dusty", "wall": "left"}, {"friction": 0.18, "condition": "dusty", "wall": "right"}]


def test_condensation_lowers_every_friction_that_a_word_gives():
    dry, wet = (steel_scenario({"surface": "bare"}, liners=LINERS, wet=wet).unknowns() for wet in (False, True))
    lowered = {"container.friction", "container.wall_friction", "column.liners.0.friction"}
    assert lowered <= set(dry)
    assert set(wet) == set(dry)
    for path in lowered:
        # A film takes off 20 to 50 %, or nothing.
        assert wet[path].low == pytest.approx(0.5 * dry[path].low)
        assert wet[path].typical == pytest.approx(0.75 * dry[path].typical)
        assert wet[path].high == dry[path].high
        assert wet[path].origin.startswith(dry[path].origin)
        assert wet[path].origin != dry[path].origin


def test_condensation_leaves_what_was_measured():
    measured = {"surface": "bare", "friction": 0.31, "wall_friction": {"kind": "unknown", "low": 0.2, "high": 0.3}}
    scenario = steel_scenario(measured, liners=LINERS, wet=True)
    assert scenario.container.friction == 0.31
    assert (scenario.unknowns()["container.wall_friction"].low, scenario.container.wall_friction) == (0.2, 0.25)
    assert scenario.column.liners[1].friction == 0.18
    assert "column.liners.1.friction" not in scenario.unknowns()


def test_it_can_get_wet_and_dry_again():
    dry, wet = (steel_scenario({"surface": "can"}, liners=LINERS, wet=wet) for wet in (False, True))
    assert dry.changed(**{"conditions.wet": True}) == wet
    assert wet.changed(**{"conditions.wet": False}) == dry
    assert wet.unknowns() != dry.unknowns()


def test_containers_tried_in_the_pocket_stand_in_for_its_width():
    rotor = Rotor(**NARROW, pocket_takes="2.6 in", pocket_refuses="73 mm")
    assert rotor.spreads["pocket_width"].low == 66.04
    assert (rotor.spreads["pocket_width"].high, rotor.pocket_width) == (73, pytest.approx(69.52))
    assert rotor.spreads["pocket_width"].origin
    measured = least(Rotor, pocket_takes=66, pocket_refuses=73)
    assert (measured.pocket_width, dict(measured.spreads)) == (82, {})


@pytest.mark.parametrize("only", ["pocket_takes", "pocket_refuses"])
def test_one_container_tried_in_the_pocket_is_not_enough(only):
    with pytest.raises(ScenarioError, match=r"^pocket_width: missing; add it\. How to measure: "):
        Rotor(**NARROW, **{only: 70})


@pytest.mark.parametrize("refuses", [66, "66 mm", "2 1/2 in"])
def test_a_pocket_that_takes_a_wider_one_than_it_refuses_is_refused(refuses):
    with pytest.raises(ScenarioError, match=r"^pocket_takes 66 mm must be below pocket_refuses .*try both"):
        Rotor(**NARROW, pocket_takes=66, pocket_refuses=refuses)


def test_a_pocket_that_need_not_take_what_is_loaded_is_refused():
    with pytest.raises(ScenarioError, match=r"^rotor\.pocket_width: with rotor\.pocket_width at its end of 65: got 65"):
        small_scenario(rotor={**NARROW, "pocket_takes": 65, "pocket_refuses": 73})
