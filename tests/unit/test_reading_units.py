"""The strict reader of measurements."""

import math

import pytest

from colsim import Column, ScenarioError
from colsim.model.units import QUANTITIES, read_quantity

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
        "2-9/16 in",
        "9/16/2 in",
        "3\nmm",
        "0x3 mm",
        "1_0 mm",
        "3 MM",
        '3"',
        "٣ mm",
        "\uff19 mm",
        "½ in",
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
