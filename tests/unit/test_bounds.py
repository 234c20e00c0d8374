"""What a single part refuses."""

import math

import pytest
from pydantic import ValidationError
from tests_shared import FIELDS, LEAST, choices, least

from colsim import Column, Container, Liner, Loading, Rotor, ScenarioError, Target
from colsim.model.conditions import Conditions, OnHand
from colsim.model.loading import Layer

OTHER = {"like", "name", "container", "liners", "layers", "wet", "spacers", "days", "squeeze_test"}
WHOLE = {"pockets", "count", "top_up_at", "liners", "bottles"}
BELOW_ZERO = {"lean", "gauge_pressure", "loading_temperature", "service_temperature"}
NUMBERS = [
    (part, name)
    for part, name in FIELDS
    if (part, name) == (OnHand, "liners") or (name not in OTHER and not choices(part, name))
]
BOUNDED = [(part, name) for part, name in NUMBERS if name not in BELOW_ZERO]
UNITS = ("mm", "kg", "deg", "deg C", "-", "rpm", "N m", "volumes", "MPa", "kPa", "ml", "N/mm", "N")


@pytest.mark.parametrize("part", LEAST)
def test_the_least_description_is_accepted(part):
    assert least(part) == least(part)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(("part", "name"), NUMBERS)
def test_no_number_and_infinity_are_refused_everywhere(part, name, bad):
    with pytest.raises(ScenarioError, match=rf"^{name}: got {bad!r}; allowed: a "):
        least(part, **{name: bad})


@pytest.mark.parametrize(("part", "name"), BOUNDED)
def test_negative_is_refused_everywhere_but_for_lean(part, name):
    with pytest.raises(ScenarioError, match=rf"^{name}: got -1") as caught:
        least(part, **{name: -1})
    assert "How to measure: " in str(caught.value)


@pytest.mark.parametrize(("part", "name"), NUMBERS)
@pytest.mark.parametrize("bad", [True, "lots", [1], -1e9])
def test_wrong_types_and_absurd_sizes_are_refused_everywhere(part, name, bad):
    with pytest.raises(ScenarioError, match=f"^{name}"):
        least(part, **{name: bad})


@pytest.mark.parametrize(
    ("part", "name"),
    # What bounds a liner and a flat from above is another measurement.
    [(part, name) for part, name in NUMBERS if part is not Liner and name != "set_flat"],
)
def test_absurdly_great_is_refused(part, name):
    with pytest.raises(ScenarioError, match=f"^{name}: got"):
        least(part, **{name: 10**9})


@pytest.mark.parametrize(
    ("part", "name"),
    [
        (Container, "diameter"),
        (Container, "mass"),
        (Container, "empty_mass"),
        (Container, "length"),
        (Column, "width"),
        (Column, "height"),
        (Column, "throat"),
        (Rotor, "radius"),
        (Rotor, "pockets"),
        (Rotor, "pocket_width"),
        (Rotor, "pocket_depth"),
        (Rotor, "housing_clearance"),
        (Rotor, "speed"),
        (Rotor, "torque_limit"),
        (Loading, "count"),
        (Loading, "top_up_at"),
        (Layer, "count"),
        (Container, "wall_thickness"),
        (Container, "stiffness"),
        (Target, "failures_per_vend"),
        (Target, "failures_per_fill"),
    ],
)
def test_zero_is_refused_where_it_makes_no_sense(part, name):
    with pytest.raises(ScenarioError, match=rf"^{name}: got 0"):
        least(part, **{name: 0})


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        (Container, "diameter", 150),
        (Container, "friction", 0),
        (Container, "friction", 2),
        (Container, "restitution", 0.9),
        (Container, "set_flat", 33),
        (Column, "width", 400),
        (Column, "height", 3000),
        (Column, "lean", -20),
        (Rotor, "lead_in", 0),
        (Rotor, "torque_limit", 500),
        (Loading, "count", 1),
        (Loading, "count", 200),
        (Layer, "count", 200),
        (Container, "carbonation", 5),
        (Container, "stiffness", 1),
        (Container, "stiffness", 500),
        (Liner, "lifted_edge", 50),
        (Conditions, "loading_temperature", -10),
        (Conditions, "service_temperature", 60),
        (Target, "confidence", 0.5),
    ],
)
def test_the_bounds_themselves_are_allowed_where_they_are_said_to_be(part, name, value):
    assert getattr(least(part, **{name: value}), name) == value


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        (Container, "diameter", 150.1),
        (Container, "diameter", 20),
        (Container, "friction", 2.01),
        (Container, "restitution", 0.91),
        (Column, "width", 20),
        (Column, "lean", 20.1),
        (Column, "floor_slope", 90),
        (Loading, "count", 201),
        (Layer, "count", 201),
        (Container, "carbonation", 5.01),
        (Container, "stiffness", 0.99),
        (Container, "stiffness", 2001),
        (Liner, "lifted_edge", 50.1),
        (Conditions, "loading_temperature", -10.1),
        (Conditions, "service_temperature", 60.1),
        (Target, "failures_per_fill", 1),
        (Target, "confidence", 1),
        (Target, "failures_per_vend", 1),
    ],
)
def test_just_beyond_the_bounds_is_refused(part, name, value):
    with pytest.raises(ScenarioError, match=rf"^{name}: got"):
        least(part, **{name: value})


@pytest.mark.parametrize(
    ("part", "name", "bad"),
    [
        (Container, "name", 5),
        (Container, "like", 5),
        (Container, "like", ["12 fl oz can"]),
        (Liner, "wall", "front"),
        (Column, "liners", 5),
        (Column, "liners", [5]),
        (Rotor, "spacer_kind", "thin"),
        (Rotor, "rest", None),
        (Loading, "layers", 5),
        (Loading, "layers", [5]),
        (Layer, "container", 5),
        (Conditions, "wet", "yes"),
        (Conditions, "wet", 1),
        (OnHand, "spacers", 5),
        (OnHand, "spacers", [-1]),
        (Rotor, "turn", "left"),
        (Loading, "pattern", "zigzag"),
    ],
)
def test_text_that_is_no_choice_is_refused(part, name, bad):
    with pytest.raises(ScenarioError, match=rf"^{name}.*got "):
        least(part, **{name: bad})


@pytest.mark.parametrize(
    ("part", "name", "bad", "allowed"),
    [
        (Container, "diameter", 5, "above 20 and at most 150"),
        (Container, "friction", 3, "at least 0 and at most 2"),
        (Liner, "lifted_edge", 51, "at least 0 and at most 50"),
        (Column, "width", 500, "above 20 and at most 400"),
        (Column, "lean", 21, "at least -20 and at most 20"),
        (Rotor, "pockets", 7, "a whole number and at least 1 and at most 6|at least 1 and at most 6"),
        (Layer, "count", 0, "a whole number and at least 1 and at most 200|at least 1 and at most 200"),
        (Target, "failures_per_vend", 1, "above 0 and below 1"),
        (Target, "confidence", 0.4, "at least 0.5 and below 1"),
    ],
)
def test_what_is_out_of_bounds_is_answered_with_both_bounds(part, name, bad, allowed):
    with pytest.raises(ScenarioError, match=rf"^{name}: got {bad}(\.0)?; allowed: ({allowed})(; a bare .*)?\. How"):
        least(part, **{name: bad})


@pytest.mark.parametrize(
    ("part", "key", "nearest"),
    [
        (Container, "diamter", "diameter"),
        (Liner, "tpo", "top"),
        (Column, "widht", "width"),
        (Rotor, "pocket_widht", "pocket_width"),
        (Loading, "cuont", "count"),
        (Layer, "contaner", "container"),
        (Conditions, "wett", "wet"),
        (OnHand, "spacer", "spacers"),
        (Target, "confidense", "confidence"),
    ],
)
def test_an_unknown_key_is_answered_with_the_nearest(part, key, nearest):
    with pytest.raises(ScenarioError, match=rf'^{key}: unknown key; did you mean "{nearest}"\?$'):
        least(part, **{key: 1})


@pytest.mark.parametrize("part", LEAST)
def test_a_key_near_to_none_is_answered_with_all(part):
    with pytest.raises(ScenarioError, match="unknown key; known: " + ", ".join(part.model_fields)):
        least(part, zzzzzz=1)


@pytest.mark.parametrize(
    ("part", "name"), [(part, name) for part, name in NUMBERS if part.model_fields[name].is_required()]
)
def test_what_is_missing_is_named_with_how_to_measure_it(part, name):
    values = {key: value for key, value in LEAST[part].items() if key != name}
    with pytest.raises(ScenarioError, match=rf"^{name}: missing; add it\. How to measure: \w+"):
        part(**values)


def test_all_problems_are_told_at_once():
    with pytest.raises(ScenarioError) as caught:
        Column(width=-1, height="tall", wall_friction=9)
    assert [path for path, _ in caught.value.problems] == ["width", "height", "wall_friction"]


@pytest.mark.parametrize("part", LEAST)
def test_descriptions_are_frozen(part):
    one = least(part)
    name = next(iter(part.model_fields))
    with pytest.raises(ValidationError, match="frozen"):
        setattr(one, name, getattr(one, name))
    with pytest.raises(ValidationError, match="frozen"):
        delattr(one, name)


@pytest.mark.parametrize(("part", "name"), NUMBERS)
def test_every_number_says_how_it_is_measured_and_in_what(part, name):
    field = part.model_fields[name]
    assert field.description
    if name not in WHOLE:
        assert any(f"[{unit}" in field.description for unit in UNITS), name


@pytest.mark.parametrize(("part", "name"), FIELDS)
def test_every_key_is_described(part, name):
    assert part.model_fields[name].description


def test_a_set_flat_keeps_the_perimeter():
    # Stadium: two half circles of the height, and two flats. Hand derivation: pi d = pi h + 2 b.
    one = least(Container, set_flat=10)
    assert math.pi * one.height + 2 * one.set_flat == pytest.approx(math.pi * 66)
    assert one.breadth == one.height + 10


def test_moment_of_inertia_at_its_limits():
    # All wall: a thin ring, m r^2. All liquid spinning: near a solid disc, m r^2 / 2.
    ring = least(Container, mass=0.5, empty_mass=0.4999999, liquid_spin=0.0).moment_of_inertia
    disc = least(Container, mass=0.5, empty_mass=1e-9, liquid_spin=1.0).moment_of_inertia
    assert ring == pytest.approx(0.5 * 33**2, rel=1e-5)
    assert disc == pytest.approx(0.5 * 33**2 / 2, rel=1e-5)
