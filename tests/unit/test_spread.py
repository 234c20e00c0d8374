"""Numbers that vary, and numbers that nobody measured."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import truncnorm
from tests_shared import LEAST, least, small_scenario

from colsim import Column, Container, Loading, Rotor, ScenarioError
from colsim.model.spread import Spread
from colsim.model.stand_ins import ANY_STIFFNESS

FEW = settings(max_examples=60, deadline=None, derandomize=True)


@st.composite
def spreads(draw):
    """Give a spread of any shape, cut anywhere up to 5 deviations from its middle, or not at all."""
    shape = draw(st.sampled_from(["fixed", "uniform", "normal", "lognormal"]))
    typical, width = draw(st.floats(0.01, 1000)), draw(st.floats(0.01, 10))
    below, above = draw(st.floats(0.01, 5)), draw(st.floats(0.01, 5))
    values = {"kind": draw(st.sampled_from(["varies", "unknown"])), "shape": shape, "typical": typical}
    if shape == "uniform":
        values |= {"low": typical - below * width, "high": typical + above * width}
        if draw(st.booleans()):
            del values["typical"]
    elif shape == "normal":
        values |= {"deviation": width, "low": typical - below * width, "high": typical + above * width}
    elif shape == "lognormal":
        values |= {"factor": 1 + width, "low": typical / (1 + width) ** below, "high": typical * (1 + width) ** above}
    for end in ("low", "high"):
        if "normal" in shape and draw(st.booleans()):
            del values[end]
    per = draw(st.sampled_from([None, "fill"] + ["container"] * (values["kind"] == "varies")))
    return Spread(**values, per=per, origin=draw(st.sampled_from(["", "calliper"])))


def test_fixed_is_its_typical_value():
    one = Spread(kind="unknown", shape="fixed", typical=0.2)
    assert (one.low, one.typical, one.high) == (0.2, 0.2, 0.2)
    assert [one.quantile(share) for share in (0, 0.3, 1)] == [0.2, 0.2, 0.2]


def test_uniform_is_even_whatever_its_typical_value():
    one = Spread(kind="varies", low=2, high=6, typical=5)
    assert [one.quantile(share) for share in (0, 0.25, 0.5, 1)] == [2, 3, 4, 6]
    assert (one.typical, Spread(kind="varies", low=2, high=6).typical) == (5, 4)


def test_normal_and_lognormal_are_cut_at_three_deviations_where_no_ends_are_given():
    normal = Spread(kind="varies", shape="normal", typical=66, deviation=0.2)
    assert (normal.low, normal.high) == pytest.approx((65.4, 66.6))
    lognormal = Spread(kind="varies", shape="lognormal", typical=0.2, factor=1.5)
    assert (lognormal.low, lognormal.high) == pytest.approx((0.2 / 1.5**3, 0.2 * 1.5**3))


def test_two_in_three_lie_within_the_deviation_or_the_factor():
    # The normal distribution has 0.682689 within one deviation, and 0.997300 within the cuts at three.
    outside = (1 - 0.682689 / 0.997300) / 2
    normal = Spread(kind="varies", shape="normal", typical=66, deviation=0.2)
    lognormal = Spread(kind="varies", shape="lognormal", typical=0.2, factor=1.5)
    for share, sign in ((outside, -1), (0.5, 0), (1 - outside, 1)):
        assert normal.quantile(share) == pytest.approx(66 + sign * 0.2, abs=1e-6)
        assert lognormal.quantile(share) == pytest.approx(0.2 * 1.5**sign, rel=1e-5)


CUTS = [(-3, 3), (-0.5, 2), (0, 1), (-2, 0), (-5, 5), (-5, 0.001), (-0.001, 5), (-0.01, 0.02)]
SHARES = [0.0, 1e-9, 1e-3, 0.1, 0.5, 0.9, 0.999, 1 - 1e-9, 1.0]


@pytest.mark.parametrize(("low", "high"), CUTS)
def test_a_cut_normal_has_the_quantiles_of_the_reference(low, high):
    # Reference: scipy.stats.truncnorm. Rounding of the share, 1e-16, over the density at 5 deviations, 1.5e-6, times
    # 0.3: 2e-11.
    one = Spread(kind="varies", shape="normal", typical=7, deviation=0.3, low=7 + 0.3 * low, high=7 + 0.3 * high)
    expected = truncnorm.ppf(SHARES, low, high, loc=7, scale=0.3)
    np.testing.assert_allclose([one.quantile(share) for share in SHARES], expected, rtol=0, atol=1e-10)


@pytest.mark.parametrize(("low", "high"), CUTS)
def test_a_cut_lognormal_has_the_quantiles_of_the_reference(low, high):
    one = Spread(kind="varies", shape="lognormal", typical=0.2, factor=1.4, low=0.2 * 1.4**low, high=0.2 * 1.4**high)
    expected = 0.2 * np.exp(math.log(1.4) * truncnorm.ppf(SHARES, low, high))
    np.testing.assert_allclose([one.quantile(share) for share in SHARES], expected, rtol=1e-9)


@FEW
@given(one=spreads())
def test_quantiles_run_from_end_to_end(one):
    width = max(one.high - one.low, abs(one.typical) * 1e-3)
    assert one.quantile(0.0) == pytest.approx(one.low, abs=1e-8 * width)
    assert one.quantile(1.0) == pytest.approx(one.high, abs=1e-8 * width)


@FEW
@given(one=spreads(), shares=st.lists(st.integers(0, 1000), min_size=2))
def test_quantiles_grow_and_keep_within_the_ends(one, shares):
    found = [one.quantile(share / 1000) for share in sorted(shares)]
    assert found == sorted(found)
    assert one.low <= found[0]
    assert found[-1] <= one.high


@FEW
@given(one=spreads())
def test_a_spread_comes_back_from_its_table(one):
    table = one.table()
    assert Spread(**table) == Spread.read(table, float) == one
    assert None not in table.values()
    assert "" not in table.values()


@FEW
@given(one=spreads())
def test_screening_draws_lean_to_the_same_ends_once_a_fill(one):
    pooled = one.screened()
    if one.shape == "fixed":
        assert pooled == one
        return
    assert (pooled.kind, pooled.shape, pooled.per) == ("varies", "uniform", "fill")
    assert (pooled.low, pooled.high, pooled.origin) == (one.low, one.high, one.origin)
    found = [pooled.quantile(share) for share in (0.0, 0.2, 0.25, 0.5, 0.75, 0.8, 1.0)]
    middle, near = (one.low + one.high) / 2, 1e-9 * (one.high - one.low)
    assert found == pytest.approx([one.low] * 3 + [middle] + [one.high] * 3, abs=near)
    assert pooled.quantile(0.375) == pytest.approx(0.75 * one.low + 0.25 * one.high, abs=near)


def test_a_spread_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        Spread(kind="varies", low=1, high=2).low = 0


NORMAL = {"shape": "normal", "typical": 1}
LOGNORMAL = {"shape": "lognormal", "typical": 1}
BAD = {
    "bad kind": ({"kind": "known", "low": 1, "high": 2}, r'^kind: got \'known\'; allowed: "varies" or "unknown"$'),
    "bad shape": ({"shape": "flat", "low": 1, "high": 2}, r"^shape: got 'flat'; allowed: \"fixed\" or \"uniform\" or "),
    "bad per": ({"per": "bottle", "low": 1, "high": 2}, r"^per: got 'bottle'; allowed: \"fill\" or \"container\"$"),
    "nothing": ({}, r"^a uniform spread needs low and high; low and high missing: add it$"),
    "no high": ({"low": 1}, r"^a uniform spread needs low and high; high missing: add it$"),
    "nan low": ({"low": math.nan, "high": 2}, r"^low: got nan; allowed: a finite number$"),
    "infinite high": ({"low": 1, "high": math.inf}, r"^high: got inf; allowed: a finite number$"),
    "infinite low": ({"low": -math.inf, "high": 1}, r"^low: got -inf; allowed: a finite number$"),
    "no typical": ({"shape": "fixed"}, r"^a fixed spread needs typical; typical missing: add it$"),
    "no deviation": (NORMAL, r"^a normal spread needs typical and deviation; deviation missing: add it$"),
    "nan deviation": ({**NORMAL, "deviation": math.nan}, r"^deviation: got nan; allowed: a finite number$"),
    "no factor": (LOGNORMAL, r"^a lognormal spread needs typical and factor; factor missing: add it$"),
    "superfluous low": ({"shape": "fixed", "typical": 1, "low": 1}, r"^a fixed spread takes no low; leave it out$"),
    "superfluous deviation": ({"low": 1, "high": 2, "deviation": 1}, r"^a uniform spread takes no deviation; leave"),
    "superfluous two": ({"low": 1, "high": 2, "deviation": 1, "factor": 2}, r"takes no deviation or factor; leave"),
    "superfluous factor": ({**NORMAL, "deviation": 1, "factor": 2}, r"^a normal spread takes no factor; leave it out$"),
    "upside down": ({"low": 2, "high": 1}, r"^got low 2, typical 1.5, high 1; allowed: in this order, with low below"),
    "no width": ({"low": 1, "high": 1}, r"^got low 1, typical 1, high 1; allowed: in this order, with low below high$"),
    "typical above": ({"low": 1, "high": 2, "typical": 3}, r"^got low 1, typical 3, high 2; allowed: in this order"),
    "typical below": ({**NORMAL, "deviation": 1, "low": 1.5}, r"^got low 1.5, typical 1, high 4; allowed: in this"),
    "deviation 0": ({**NORMAL, "deviation": 0}, r"^deviation: got 0; allowed: above 0$"),
    "negative deviation": ({**NORMAL, "deviation": -0.1}, r"^deviation: got -0.1; allowed: above 0$"),
    "infinite deviation": ({**NORMAL, "deviation": math.inf}, r"^deviation: got inf; allowed: a finite number$"),
    "factor 1": (
        {**LOGNORMAL, "factor": 1},
        r"^got typical 1 and factor 1; allowed: above 0, and above 1 and at most 1000$",
    ),
    "factor below 1": (
        {**LOGNORMAL, "factor": 0.5},
        r"^got typical 1 and factor 0.5; allowed: above 0, and above 1 and at most 1000$",
    ),
    "negative middle": ({**LOGNORMAL, "typical": -1, "factor": 2}, r"^got typical -1 and factor 2; allowed: above 0"),
    "lognormal to 0": ({**LOGNORMAL, "factor": 2, "low": 0}, r"^low: got 0; allowed for a lognormal spread: above 0$"),
    "one unknown for each": (
        {"kind": "unknown", "low": 1, "high": 2, "per": "container"},
        r'^per: got "container" for',
    ),
}


@pytest.mark.parametrize(("values", "said"), BAD.values(), ids=BAD)
def test_bad_input_is_refused_with_what_is_allowed(values, said):
    with pytest.raises(ScenarioError, match=said):
        Spread(**{"kind": "varies", **values})


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"low": 60, "high": 66}, r'^diameter\.kind: missing; write "varies" .* or "unknown"'),
        ({}, r"^diameter\.kind: missing"),
        ({"kind": "varies", "lo": 60}, r"^diameter\.lo: unknown key of a spread; known: kind, shape, low, high, "),
        ({"kind": "varies", "low": "60 kg", "high": 66}, r'^diameter\.low: got "60 kg", whose unit "kg" is not one'),
        ({"kind": "varies", "low": "60", "high": 66}, r'^diameter\.low: got "60", which has no unit'),
        ({"kind": "varies", "low": True, "high": 66}, r"^diameter\.low: got True"),
        ({"kind": "varies", **NORMAL, "deviation": "1 deg"}, r"^diameter\.deviation: got \"1 deg\""),
        ({"kind": "varies", **LOGNORMAL, "factor": "2 mm"}, r"^diameter\.factor: got '2 mm'; allowed: a plain number"),
        ({"kind": "varies", "low": 60, "high": 66, "origin": 5}, r"^diameter\.origin: got 5; allowed: text"),
        ({"kind": ["varies"], "low": 60, "high": 66}, r"^diameter\.kind: got \['varies'\]; allowed"),
        ({"kind": "varies", "low": 66, "high": 60}, r"^diameter: got low 66, typical 63, high 60; allowed"),
    ],
)
def test_a_bad_table_is_refused_with_the_path(table, said):
    with pytest.raises(ScenarioError, match=said):
        least(Container, diameter=table)


def test_a_spread_reads_the_units_of_its_field():
    table = {"kind": "varies", "shape": "normal", "typical": "66 mm", "deviation": "0.02 cm", "low": "2 9/16 in"}
    container = least(Container, diameter=table)
    expected = Spread(kind="varies", shape="normal", typical=66, deviation=0.2, low=65.0875)
    assert container.spreads == {"diameter": expected, "stiffness": ANY_STIFFNESS}  # nothing is said of the latter
    assert container.diameter == 66
    speed = least(Rotor, speed={"kind": "unknown", "low": "90 deg/s", "high": "30 rpm"}).spreads["speed"]
    assert (speed.low, speed.typical, speed.high) == (15, 22.5, 30)


def test_the_field_holds_the_typical_number_and_the_spread_stands_beside_it():
    one = Spread(kind="unknown", low=0.1, high=0.5, typical=0.2)
    column = Column(width=90, height=900, wall_friction=one)
    assert (column.wall_friction, column.spreads) == (0.2, {"wall_friction": one})
    with pytest.raises(TypeError):
        column.spreads["width"] = one


@pytest.mark.parametrize(
    ("part", "name", "low", "high", "bad"),
    [
        (Container, "diameter", 60, 150.1, "150.1"),
        (Container, "diameter", 20, 60, "20.0"),
        (Container, "friction", -0.01, 0.3, "-0.01"),
        (Container, "friction", 0.3, 2.01, "2.01"),
        (Column, "lean", -21, 0, "-21.0"),
        (Column, "throat", 15, 80, "15.0"),
        (Rotor, "torque_limit", 0, 10, "0.0"),
        (Loading, "placement_scatter", 0.5, 1.5, "1.5"),
    ],
)
def test_both_ends_keep_within_the_bounds_of_the_field(part, name, low, high, bad):
    with pytest.raises(ScenarioError, match=rf"^{name}: got {bad}; .*How to measure: "):
        least(part, **{name: {"kind": "varies", "low": low, "high": high}})


def test_a_part_that_contradicts_itself_at_an_end_is_refused():
    with pytest.raises(ScenarioError, match=r"^rotor: .*pocket_depth 96 mm must be below the radius 95 mm"):
        small_scenario(**{"rotor.pocket_depth": {"kind": "unknown", "low": 80, "high": 96}})
    with pytest.raises(ScenarioError, match=r"^container: .*set_flat 40 mm must be at most half the diameter"):
        small_scenario(**{"container.set_flat": {"kind": "varies", "low": 0, "high": 40}})


@pytest.mark.parametrize(
    ("path", "low", "high", "said"),
    [
        ("container.diameter", 66, 85, r"^rotor\.pocket_width: with container\.diameter at its end of 85: got 82 mm"),
        ("container.diameter", 44, 66, r"^column\.width: with container\.diameter at its end of 44: got 90 mm; two of"),
        ("column.width", 65, 90, r"^column\.width: with column\.width at its end of 65: got 65 mm; the container is"),
        ("column.height", 300, 900, r"^loading\.count: with column\.height at its end of 300: got 10; at most 6 fit"),
        ("rotor.pocket_width", 60, 82, r"^rotor\.pocket_width: with rotor\.pocket_width at its end of 60: got 60 mm"),
    ],
)
def test_parts_that_contradict_each_other_at_an_end_are_named_with_its_path(path, low, high, said):
    with pytest.raises(ScenarioError, match=said):
        small_scenario(10, **{path: {"kind": "varies", "low": low, "high": high}})


def test_a_number_takes_the_place_of_a_spread_and_a_spread_that_of_a_number():
    one = small_scenario(**{"container.diameter": {"kind": "varies", "low": 65, "high": 67}})
    assert set(one.varying()) == {"container.diameter"}
    assert one.changed(**{"container.diameter": "2.6 in"}).varying() == {}
    assert one.changed(**{"container.diameter": 66}) == small_scenario()


@pytest.mark.parametrize("part", [part for part in LEAST if not part.may_spread])
def test_what_is_asked_for_takes_no_spread(part):
    for name in part.model_fields:
        with pytest.raises(ScenarioError, match=rf"^{name}"):
            least(part, **{name: {"kind": "varies", "low": 0.6, "high": 0.9}})
