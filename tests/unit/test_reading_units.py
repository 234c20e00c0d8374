"""The strict reader of measurements."""

import math
import unicodedata
from fractions import Fraction

import numpy as np
import pytest
from tests_shared import FIELDS, least

from colsim import Column, Container, Rotor, ScenarioError
from colsim.model.conditions import Conditions, OnHand
from colsim.model.units import QUANTITIES, read_friction, read_quantity

LENGTH = QUANTITIES["length"]


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2 9/16 in", 65.0875),
        ("9/16 in", 14.2875),
        ("0 1/2 in", 12.7),
        ("2.6 in", 66.04),
        (".5 in", 12.7),
        ("66.5 mm", 66.5),
        ("66.5mm", 66.5),
        (" 66.5 mm ", 66.5),
        ("+7 cm", 70.0),
        ("-3 mm", -3.0),
        ("-1 1/2 in", -38.1),
        ("0 mm", 0.0),
        ("007 mm", 7.0),
        ("2-9/16 in", 65.0875),
        ("-2-9/16 in", -65.0875),
        ('2 9/16"', 65.0875),
        ("2 9/16″", 65.0875),
        ("2 9\N{FRACTION SLASH}16”", 65.0875),
        ("2½ in", 63.5),
        ("2 ½ in", 63.5),
        ("2-½ in", 63.5),
        ("½ in", 12.7),
        ("-⅛ in", -3.175),
        ("62 MM", 62.0),
        ("2.5 IN", 63.5),
        ("2.5 in.", 63.5),
        ("2.5 inches", 63.5),
        ("6 millimetres", 6.0),
        ("5 ft 2 in", 1574.8),
        ("5 Ft. 2 9/16 In.", 1589.0875),
        ("0 ft 0 in", 0.0),
    ],
)
def test_text_of_one_number_and_one_unit_is_read_exactly(text, mm):
    assert read_quantity(text, LENGTH) == mm


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=lambda q: q.name)
def test_every_listed_unit_is_read_and_scales(quantity):
    for unit, factor in quantity.factors.items():
        zero = quantity.offsets.get(unit, 0.0)
        assert (zero == 0) == (unit != "F")
        assert read_quantity(f"3 {unit}", quantity) == pytest.approx(3 * factor + zero, rel=1e-15)
        assert read_quantity(f"1/4{unit}", quantity) == pytest.approx(factor / 4 + zero, rel=1e-15)


@pytest.mark.parametrize("sign", "¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞")
def test_every_fraction_sign_is_its_fraction(sign):
    assert read_quantity(f"3{sign} in", LENGTH) == pytest.approx(25.4 * (3 + unicodedata.numeric(sign)), rel=1e-15)


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("mass", "1 lb 3 oz", 19 * 0.45359237 / 16),
        ("mass", "1 LB 3½ OZ", 19.5 * 0.45359237 / 16),
        ("mass", "2 pounds 15.9 ounces", 47.9 * 0.45359237 / 16),
        ("torque", "20 Nm", 20),
        ("torque", "20 N·m", 20),
        ("temperature", "41 °F", 5),
        ("temperature", "5 deg C", 5),
        ("angle", "17°", 17),
        ("speed of turning", "45 RPM", 45),
        ("pressure", "100 KPA", 100),
        ("volume", "½ L", 500),
    ],
)
def test_units_as_people_write_them(name, text, value):
    assert read_quantity(text, QUANTITIES[name]) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=lambda q: q.name)
def test_no_name_stands_for_two_units(quantity):
    for unit in quantity.factors:
        names = {unit, unit.upper(), unit.lower(), unit.replace(" ", "")}
        assert {quantity.unit_named(name) for name in names} == {unit}


def test_what_is_left_over_stays_below_one_of_the_greater_unit():
    with pytest.raises(ScenarioError, match=r'^got "1 lb 16 oz"; allowed: below 16 oz besides whole lb'):
        read_quantity("1 lb 16 oz", QUANTITIES["mass"])
    with pytest.raises(ScenarioError, match=r'second part is not in oz as in "1 lb 3 oz"'):
        read_quantity("1 lb 3 g", QUANTITIES["mass"])


@pytest.mark.parametrize("kind", [np.float32, np.float64, np.int64, np.uint8, Fraction])
def test_numbers_of_numpy_are_plain_numbers(kind):
    assert read_quantity(kind(7), LENGTH) == 7.0
    assert read_friction(kind(1)) == 1.0
    assert type(Column(width=kind(90), height=kind(200), wall_friction=kind(1)).width) is float


@pytest.mark.parametrize("truth", [True, np.True_])
def test_truth_is_no_number(truth):
    for read in (lambda value: read_quantity(value, LENGTH), read_friction):
        with pytest.raises(ScenarioError, match="allowed: a "):
            read(truth)


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=lambda q: q.name)
def test_a_plain_number_is_in_the_base_unit(quantity):
    assert quantity.factors[quantity.base] == 1
    found = read_quantity(7, quantity)
    assert (found, type(found)) == (7.0, float)


@pytest.mark.parametrize(
    "bad",
    [
        "66,5 mm",
        "1,000 mm",
        "66.5",
        "mm",
        "66.5mm mm",
        "66.5 mm mm",
        "1e3 mm",
        "nan mm",
        "inf mm",
        "5 furlongs",
        "2 9/0 in",
        "",
        " ",
        "-",
        "- mm",
        "--3 mm",
        "3. mm",
        "1.2.3 mm",
        "2 9 in",
        "2.5 9/16 in",
        "2--9/16 in",
        "2 - 9/16 in",
        "1/2½ in",
        "2.5½ in",
        "2½½ in",
        "½",
        '"',
        "5' 2 in",
        "2 in 3 ft",
        "5.5 ft 2 in",
        "5 ft -2 in",
        "-5 ft 2 in",
        "5 ft 2 mm",
        "5 ft 2",
        "5 ft 2 in 3 in",
        "9/16/2 in",
        "3\nmm",
        "0x3 mm",
        "1_0 mm",
        "٣ mm",
        "\uff19 mm",
        "3 kg",
        True,
        False,
        None,
        [],
        [3],
        {"mm": 3},
        b"3 mm",
        3j,
    ],
)
def test_anything_else_is_refused_with_what_it_got_and_the_list(bad):
    with pytest.raises(ScenarioError) as caught:
        read_quantity(bad, LENGTH)
    message = str(caught.value)
    assert f'got "{bad}"' in message if isinstance(bad, str) else f"got {bad!r}" in message
    assert "mm, cm, m, in, ft" in message or "zero below" in message


@pytest.mark.parametrize("number", ["9" * 400, "1/" + "0" * 5, "9" * 5000])
def test_absurd_numbers_are_refused_and_not_a_crash(number):
    with pytest.raises(ScenarioError):
        Column(width=f"{number} mm", height=900, wall_friction=0.2)


@pytest.mark.parametrize("field", ["width", "wall_friction"])
def test_an_integer_beyond_any_float_is_refused_and_not_a_crash(field):
    with pytest.raises(ScenarioError, match=field):
        Column(**{"width": 90, "height": 900, "wall_friction": 0.2, field: 10**400})


def test_a_comma_is_answered_with_a_decimal_point():
    with pytest.raises(ScenarioError, match=r'which has a comma; .* write a decimal point: "66\.5 mm"$'):
        read_quantity("66,5 mm", LENGTH)


def test_two_commas_are_not_guessed_at():
    with pytest.raises(ScenarioError, match="which has a comma") as caught:
        read_quantity("1,000,5 mm", LENGTH)
    assert "decimal point:" not in str(caught.value)


def test_a_missing_unit_is_answered_with_the_base_unit():
    with pytest.raises(ScenarioError, match=r'which has no unit; .* write "66\.5 mm" if that is what it is$'):
        read_quantity("66.5", LENGTH)


def test_a_unit_of_another_quantity_is_named():
    with pytest.raises(ScenarioError, match='whose unit "kg" is not one for a length'):
        read_quantity("66 kg", LENGTH)


def test_a_comma_between_thousands_is_answered_with_both_that_it_may_be():
    with pytest.raises(ScenarioError, match=r'; write "1000 mm" or "1\.000 mm", whichever it is$'):
        read_quantity("1,000 mm", LENGTH)
    with pytest.raises(ScenarioError, match=r'; write a decimal point: "0\.375 in"$'):
        read_quantity("0,375 in", LENGTH)


def test_no_point_is_advised_where_the_unit_is_wrong_too():
    with pytest.raises(ScenarioError, match="which has a comma") as caught:
        read_quantity("66,5 kg", LENGTH)
    assert "decimal point:" not in str(caught.value)


def test_a_fraction_without_a_unit_is_answered_with_inches():
    with pytest.raises(ScenarioError, match=r'; write "2 9/16 in" if that is what it is$'):
        read_quantity("2 9/16", LENGTH)


# 17 deg: tan = 0.30573 (four-figure tables: 0.3057).
@pytest.mark.parametrize("text", ["17 deg", "17°", "17 DEGREES", " 17deg "])
def test_an_angle_given_for_a_friction_is_its_tangent(text):
    assert read_friction(text) == pytest.approx(0.30573, abs=5e-6)
    assert Column(width=90, height=900, wall_friction=text).wall_friction == read_friction(text)


@pytest.mark.parametrize(
    ("bad", "told"),
    [
        ("0.25", "; write 0.25 without quotes if that is what it is"),
        ("0,25", "; write 0.25 without quotes if that is what it is"),
        ("17", '; write "17 deg" if that is what it is'),
        ("90 deg", "got .*; allowed: 0 deg to below 90 deg"),
        ("-3 deg", "got .*; allowed: 0 deg to below 90 deg"),
        ("17 mm", "allowed: a plain number such as 0.25, or the angle"),
        ("smooth", "allowed: a plain number such as 0.25, or the angle"),
        (None, "allowed: a plain number such as 0.25, or the angle"),
    ],
)
def test_what_is_no_friction_is_answered_with_what_to_write(bad, told):
    with pytest.raises(ScenarioError, match=told):
        read_friction(bad)


def test_every_friction_may_be_an_angle_and_says_so():
    frictions = [(part, name) for part, name in FIELDS if name.endswith("friction")]
    assert len(frictions) == 9
    for part, name in frictions:
        assert getattr(least(part, **{name: "14 deg"}), name) == pytest.approx(math.tan(math.radians(14)))
        assert "angle" in part.model_fields[name].description
        options = part.model_json_schema()["properties"][name]
        assert "string" in options.get("type", options.get("anyOf", [{}])[0].get("type"))


def test_a_spread_of_a_friction_may_have_angles_for_ends_but_not_for_its_deviation():
    column = {"width": 90, "height": 900}
    spread = Column(**column, wall_friction={"kind": "unknown", "low": "10 deg", "high": "17 deg"}).spreads
    assert (spread["wall_friction"].low, spread["wall_friction"].high) == pytest.approx((0.17633, 0.30573), abs=5e-6)
    normal = {"kind": "varies", "shape": "normal", "typical": "14 deg", "deviation": "1 deg"}
    with pytest.raises(ScenarioError, match=r'^wall_friction\.deviation: got "1 deg"; allowed: a plain number'):
        Column(**column, wall_friction=normal)


@pytest.mark.parametrize(
    ("part", "name", "bare", "told"),
    [
        (Container, "diameter", 2.6, 'looks like cm or in: write "2.6 cm" or "2.6 in"'),
        (Container, "diameter", 6.6, 'looks like cm: write "6.6 cm"'),
        (Container, "diameter", np.float32(2.5), 'write "2.5 cm" or "2.5 in"'),
        (Container, "mass", 540, 'looks like g: write "540 g"'),
        (Container, "mass", 18.2, 'looks like oz: write "18.2 oz"'),
        (Container, "friction", 17, 'looks like deg: write "17 deg"'),
        (Rotor, "speed", 270, 'looks like deg/s: write "270 deg/s"'),
        (Conditions, "service_temperature", 68, 'looks like F: write "68 F"'),
    ],
)
def test_a_bare_number_out_of_bounds_is_answered_with_the_unit_it_looks_like(part, name, bare, told):
    with pytest.raises(ScenarioError, match=rf"^{name}: got .*; a bare number is in ") as caught:
        least(part, **{name: bare})
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        (Container, "diameter", "2.6 mm"),
        (Container, "diameter", -2.6),
        (Container, "diameter", 1e7),
        (Container, "diameter", {"kind": "unknown", "low": "2.6 mm", "high": "66 mm"}),
        (Container, "friction", 2.5e3),
        (Container, "restitution", 1.5),
        (Rotor, "pockets", 7),
    ],
)
def test_no_unit_is_guessed_where_none_would_do_or_one_was_given(part, name, value):
    with pytest.raises(ScenarioError, match=f"^{name}") as caught:
        least(part, **{name: value})
    assert "looks like" not in str(caught.value)


@pytest.mark.parametrize("mixed", [[6, "12 mm"], ("1/2 in", 12.0), [np.float64(6), "12 mm"]])
def test_spacers_with_and_without_units_are_refused(mixed):
    with pytest.raises(
        ScenarioError, match=r"^spacers: got \[.*, some with a unit and some without; allowed: all with"
    ):
        OnHand(spacers=mixed)


@pytest.mark.parametrize("alike", [[6, 12], ["6 mm", "1/2 in"], np.array([6, 12]), (), [6]])
def test_spacers_all_with_units_or_all_without_are_taken(alike):
    assert len(OnHand(spacers=alike).spacers) == len(alike)


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_examples_in_the_messages_can_be_read(name):
    quantity = QUANTITIES[name]
    examples = quantity.example.split('"')[1::2]
    assert examples
    assert all(math.isfinite(read_quantity(example, quantity)) for example in examples)


@pytest.mark.parametrize("width", ["-90 mm", -90, "0 mm", "-3 9/16 in"])
def test_a_length_below_its_bound_is_read_and_then_refused(width):
    with pytest.raises(ScenarioError, match=r"width: got (-|0).*allowed: above 20 and at most 400"):
        Column(width=width, height=900, wall_friction=0.2)


def test_the_list_of_units_cannot_be_changed():
    with pytest.raises(TypeError):
        LENGTH.factors["hand"] = 101.6
    with pytest.raises(TypeError):
        QUANTITIES["temperature"].offsets["F"] = 0.0
    with pytest.raises(TypeError):
        QUANTITIES["hands"] = LENGTH
