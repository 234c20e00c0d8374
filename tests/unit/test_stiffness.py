"""How stiff a firm container is between two boards, what is unknown of it, and when it is its wall that holds it."""

import math

import pytest
from tests_shared import LEAST, undescribed_scenario

from colsim import Container, ScenarioError
from colsim.advice.check_report import check_as_text
from colsim.advice.measurements import what_follows
from colsim.advice.to_measure import in_words
from colsim.model import CATALOGUE, stand_ins
from colsim.model.conditions import Conditions
from colsim.model.softness import pressure_at
from colsim.sampling.draws import with_drawn
from colsim.theory.carbonation import gauge_pressure
from colsim.theory.contact import skin_stiffness

SIZES = {"diameter": 66, "mass": 0.54}
FIRM = {
    "measured": {"stiffness": 70},
    "measured as a range": {"stiffness": {"kind": "unknown", "low": 40, "high": 60}},
    "measured, though still": {"stiffness": 30, "drink": "still"},
    "by its drink": {"drink": "cola_like"},
    "by its carbonation": {"carbonation": 3.2},
    "by a range of it": {"carbonation": {"kind": "varies", "low": 2.5, "high": 3.5}},
    "by its pressure": {"gauge_pressure": "20 psi"},
    "by its pressure, though still": {"gauge_pressure": 100, "drink": "still"},
    "nothing said": {},
}
SOFT = {
    "still": {"drink": "still"},
    "light, which may be as good as still": {"drink": "light"},
    "no gas": {"carbonation": 0},
    "perhaps no gas": {"carbonation": {"kind": "unknown", "low": 0, "high": 3}},
    "no pressure": {"gauge_pressure": 5},
    "a vacuum": {"gauge_pressure": -8},
    "no pressure, whatever the drink": {"gauge_pressure": 0, "drink": "cola_like"},
    "no gas, whatever the drink": {"carbonation": 0.5, "drink": "very_fizzy"},
    "felt": {"wall_feel": "crisp", "drink": "cola_like"},
    "measured": {"wall_thickness": 0.3, "gauge_pressure": 300},
}
SOFT_RANGES = {"modulus", "headspace", "body_length", "end_stiffness", "set_fraction"}


def made(**changes):
    return Container(**{**SIZES, **changes})


def ends(spread):
    return (spread.low, spread.typical, spread.high)


# How stiff


def test_by_hand_from_pressure_and_length():
    # (pi/2) 0.3 N/mm2 150 mm = 70.686 N/mm; one contact alone twice that.
    one = made(gauge_pressure=300, body_length=150)
    assert one.board_stiffness() == pytest.approx(70.686, abs=5e-4)
    assert 2 * one.board_stiffness() == pytest.approx(skin_stiffness(300, 150), rel=1e-12)
    assert one.is_held_by_gas
    assert one.bottle() is None


def test_by_hand_from_carbonation():
    # 3 volumes at 4 deg C: 119 kPa by the chart, so (pi/2) 0.119 130 = 24.3 N/mm; warm, 298 kPa at 25 deg C, 60.9.
    one = made(carbonation=3.0, body_length=130)
    cold, warm = (one.board_stiffness(Conditions(service_temperature=t, loading_temperature=t)) for t in (4.0, 25.0))
    assert (cold, warm) == (pytest.approx(24.3, abs=0.15), pytest.approx(60.9, abs=0.15))
    assert cold == pytest.approx(math.pi / 2 * gauge_pressure(3.0, 4.0) * 0.13)


@pytest.mark.parametrize("gas", [{"drink": "cola_like"}, {"carbonation": 2.5}, {"gauge_pressure": 150}])
def test_cold_is_softer_than_warm_and_long_stiffer_than_short(gas):
    at = [made(**gas).board_stiffness(Conditions(service_temperature=t)) for t in (2.0, 8.0, 14.0, 20.0, 30.0)]
    assert at == sorted(at)
    assert at[0] < at[-1]
    assert made(**gas).board_stiffness(Conditions(service_temperature=20.0)) == made(**gas).board_stiffness()
    short, long = (made(**gas, body_length=length).board_stiffness() for length in (60, 120))
    assert long == pytest.approx(2 * short)


def test_a_measured_one_goes_before_its_gas_and_takes_no_notice_of_temperature():
    one = made(stiffness="7 kgf/mm", drink="cola_like", gauge_pressure=300)
    assert one.board_stiffness() == one.board_stiffness(Conditions(service_temperature=2.0)) == 68.64655
    assert not one.is_held_by_gas
    assert made(stiffness=35, drink="still").board_stiffness() == 35


def test_a_measured_pressure_is_of_the_temperature_of_loading():
    # Gay-Lussac: 300 kPa at 20 deg C are (300 + 101.325) 278.15/293.15 - 101.325 = 279.5 kPa at 5 deg C.
    one = made(gauge_pressure=300, body_length=150)
    cold = Conditions(service_temperature=5.0)
    assert one.board_stiffness(cold) == pytest.approx(math.pi / 2 * 0.2795 * 150, abs=0.02)
    assert one.board_stiffness(cold) == pytest.approx(math.pi / 2 * pressure_at(one, cold) * 0.15)


@pytest.mark.parametrize("name", sorted(CATALOGUE.keys() - {"500 ml still water"}))
def test_sizes_of_the_catalogue_are_within_what_is_assumed_of_a_firm_one(name):
    warm, cold = (Container(like=name).board_stiffness(Conditions(service_temperature=t)) for t in (20.0, 5.0))
    assert stand_ins.ANY_STIFFNESS.low < cold < warm < stand_ins.ANY_STIFFNESS.high
    assert 0.4 < cold / warm < 0.65


def test_what_is_assumed_where_nothing_is_said_spans_the_gas_of_soft_drinks():
    # By hand: 100 kPa on 130 mm, 300 kPa on 150 mm and 600 kPa on 160 mm.
    by_hand = [math.pi / 2 * p / 1000 * length for p, length in ((100, 130), (300, 150), (600, 160))]
    assert ends(stand_ins.ANY_STIFFNESS) == pytest.approx(by_hand, rel=0.03)


# Soft or firm


@pytest.mark.parametrize("said", FIRM.values(), ids=FIRM)
def test_what_is_firm(said):
    one = made(**said)
    assert not one.is_soft
    assert not Container.is_described_soft({**SIZES, **said})
    assert one.bottle() is one.squeeze_fit() is None
    assert not (SOFT_RANGES - {"body_length"}) & one.spreads.keys()
    assert one.is_held_by_gas == ("stiffness" not in one.model_fields_set)
    assert one.board_stiffness() > 0
    assert Container(**one.as_given()) == one


@pytest.mark.parametrize("said", SOFT.values(), ids=SOFT)
def test_what_is_soft(said):
    one = made(**said)
    assert one.is_soft
    assert Container.is_described_soft({**SIZES, **said})
    assert one.stiffness is None
    assert not one.is_held_by_gas
    assert one.spreads.keys() >= SOFT_RANGES
    assert one.bottle().squeeze_under(20.0) > 0
    assert Container(**one.as_given()) == one
    with pytest.raises(ScenarioError, match=r"^container is soft: .* ask for its bottle"):
        one.board_stiffness()


def test_of_a_still_one_the_wall_is_unknown_unless_it_is_described():
    assert made(drink="still").spreads["wall_thickness"] == stand_ins.ANY_WALL_THICKNESS
    assert made(drink="still", wall_feel="thin").spreads["wall_thickness"] == stand_ins.WALL_THICKNESS["thin"]
    assert "wall_thickness" not in made(drink="still", wall_thickness=0.12).spreads
    assert "container.wall_thickness" in undescribed_scenario(**{"container.drink": "still"}).unknowns()
    lain = undescribed_scenario(**{"container.drink": "still", "conditions.days": 3})
    assert lain.unknowns()["container.creep_exponent"] == stand_ins.CREEP_EXPONENT


def test_what_is_soft_stays_soft_when_all_is_known_or_drawn():
    for said in SOFT.values():
        scenario = undescribed_scenario(container={**SIZES, **said})
        known = scenario.changed(**{path: spread.typical for path, spread in scenario.unknowns().items()})
        pooled = scenario.screened()
        assert known.unknowns() == pooled.unknowns() == {}
        assert known.container.is_soft
        assert pooled.container.is_soft
        drawn = with_drawn(pooled, {path: spread.quantile(0.9) for path, spread in pooled.varying().items()})
        assert drawn.container.is_soft


# What is unknown


def test_nothing_said_is_an_unknown_stiffness():
    scenario = undescribed_scenario()
    assert scenario.unknowns()["container.stiffness"] == stand_ins.ANY_STIFFNESS
    assert ends(stand_ins.ANY_STIFFNESS) == (20, 70, 150)
    assert stand_ins.ANY_STIFFNESS.origin.startswith("assumed")
    assert scenario.container.board_stiffness() == 70
    assert "container.stiffness 20 to 150 (typical 70)" in " ".join(check_as_text(scenario).split())
    assert "stiffness" not in scenario.as_given()["container"]
    measured = scenario.changed(**{"container.stiffness": "70 N/mm"})
    assert set(scenario.unknowns()) - set(measured.unknowns()) == {"container.stiffness"}
    pooled = scenario.screened()
    assert ends(pooled.varying()["container.stiffness"]) == (20, 70, 150)
    drawn = with_drawn(pooled, {path: spread.low for path, spread in pooled.varying().items()})
    assert drawn.container.board_stiffness() == 20
    assert in_words("container.stiffness") == "how it gives way between two boards"


@pytest.mark.parametrize(
    ("gas", "unknown"),
    [
        ({"drink": "cola_like"}, {"carbonation", "body_length"}),
        ({"carbonation": 3.0}, {"body_length"}),
        ({"gauge_pressure": 200}, {"body_length"}),
        ({"gauge_pressure": 200, "drink": "cola_like"}, {"body_length"}),
        ({"drink": "cola_like", "body_length": 120}, {"carbonation"}),
        ({"carbonation": 3.0, "body_length": 120}, set()),
        ({"drink": "cola_like", "stiffness": 70}, set()),
    ],
)
def test_with_its_gas_its_body_and_what_the_word_stands_for_are_unknown(gas, unknown):
    scenario = undescribed_scenario(container={**SIZES, **gas})
    plain = set(undescribed_scenario().unknowns()) - {"container.stiffness"}
    assert set(scenario.unknowns()) - plain == {f"container.{name}" for name in unknown}
    assert set(scenario.unknowns()) >= plain
    pooled = scenario.screened()
    assert set(pooled.varying()) == set(scenario.unknowns())
    assert pooled.unknowns() == {}


def test_the_body_follows_from_what_it_holds_or_from_the_length_of_a_can():
    # 0.54 kg less 3.5 % are 521.1 ml, of 0.96 542.8 ml; over the section of 66 mm 158.67 mm.
    bottle = made(drink="cola_like").spreads["body_length"]
    assert ends(bottle) == pytest.approx([share * 158.67 for share in (0.70, 0.85, 0.92)], rel=1e-4)
    assert bottle == made(wall_feel="thin").spreads["body_length"]
    can = made(mass=0.385, drink="cola_like", surface="can", length=122)
    assert ends(can.spreads["body_length"]) == pytest.approx((0.85 * 122, 0.90 * 122, 0.95 * 122))
    unmeasured = made(mass=0.385, drink="cola_like", surface="can").spreads["body_length"]
    assert unmeasured == made(mass=0.385, drink="cola_like").spreads["body_length"]
    assert "body_length" not in made(drink="cola_like", body_length=120).spreads


def test_the_catalogue_gives_words_for_what_nobody_measured():
    can, bottle, water = (Container(like=name) for name in ("12 fl oz can", "500 ml carbonated", "500 ml still water"))
    assert (can.spreads.keys(), can.body_length) == ({"carbonation"}, 105)
    assert bottle.spreads.keys() == {"carbonation", "body_length"}
    assert water.is_soft
    assert ends(water.spreads["wall_thickness"]) == ends(stand_ins.WALL_THICKNESS["thin"])
    for one in (can, bottle, water):
        assert set(one.as_given()) == {"like"}
        assert Container(**one.as_given()) == one


def test_what_is_measured_goes_before_what_the_catalogue_says():
    firm = Container(like="500 ml still water", stiffness=15)
    assert (firm.is_soft, firm.wall_feel, firm.board_stiffness()) == (False, None, 15)
    assert Container(**firm.as_given()) == firm
    assert Container(like="500 ml still water", wall_feel="crisp").wall_thickness == 0.30
    still_can = Container(like="12 fl oz can", drink="still")
    assert still_can.is_soft
    assert Container(like="12 fl oz can", gauge_pressure=100).board_stiffness() == pytest.approx(
        math.pi / 2 * 0.1 * 105
    )
    assert Container(like="12 fl oz can", stiffness=40).without_effect >= {"drink", "carbonation", "body_length"}


# What has an effect


@pytest.mark.parametrize(
    ("said", "with_effect"),
    [
        ({}, {"stiffness"}),
        ({"stiffness": 70, "drink": "cola_like"}, {"stiffness"}),
        ({"drink": "cola_like"}, {"stiffness", "drink", "carbonation", "gauge_pressure", "body_length"}),
        ({"gauge_pressure": 200}, {"stiffness", "gauge_pressure", "body_length"}),
    ],
)
def test_fields_that_matter_to_a_firm_one(said, with_effect):
    one = made(**said)
    asked = {"stiffness", *Container.of_gas, *Container.of_soft_walls}
    assert asked - one.without_effect == with_effect
    assert one.without_effect >= {"set_fraction", "modulus", "headspace", "creep_exponent", "inside_volume"}


def test_of_a_soft_one_a_measured_pressure_goes_before_the_drink():
    assert not made(drink="still").without_effect & Container.of_soft_walls
    assert made(drink="still", gauge_pressure=-5).without_effect == {"length", "carbonation", "drink"}


def test_check_says_how_far_it_gives_way():
    def told(**said):
        return dict(what_follows(undescribed_scenario(container={**SIZES, **said})))["stiffness"]

    assert told() == (
        "firm: 70 N take 1 mm off between boards (a typical value; what is known of its gas or a scale and two boards "
        "would tell)."
    )
    assert told(stiffness=40) == "firm: 40 N take 1 mm off between boards (as measured)."
    assert told(gauge_pressure=300, body_length=150) == (
        "firm: 71 N take 1 mm off between boards (by its gas, with all that is unknown at its typical value)."
    )
    soft = made(drink="still", wall_feel="thin")
    flat = soft.bottle().squeeze_under(1.5 * 0.54 * 9.80665)
    assert f"one of the same on top presses it {flat:.1f} mm flat" in told(drink="still", wall_feel="thin")


# What is refused


@pytest.mark.parametrize("wall", [{"wall_thickness": 0.2}, {"wall_feel": "thin"}])
def test_a_stiffness_beside_a_wall_is_refused(wall):
    with pytest.raises(ScenarioError, match=r"^stiffness: got 70 N/mm besides wall_thickness.* allowed: one of them"):
        made(stiffness=70, **wall)
    readings = [{"bottles": 6 * k, "height": 62 - 2 * k} for k in range(3)]
    with pytest.raises(ScenarioError, match=r"^stiffness: got 70 N/mm besides .* where a squeeze test was made"):
        made(stiffness=70, squeeze_test=readings)


@pytest.mark.parametrize(
    ("gas", "where", "temperature", "message"),
    [
        ({"gauge_pressure": 8}, "gauge_pressure", 20.0, r"got 8, which at 20 deg C presses with 8 kPa and makes 1\.3"),
        ({"carbonation": 1.2}, "carbonation", 4.0, r"got 1\.2, which at 4 deg C presses with -?\d+ kPa"),
    ],
)
def test_too_little_gas_to_hold_any_shape_is_refused_with_what_to_do(gas, where, temperature, message):
    one, there = made(**gas, body_length=100), Conditions(service_temperature=temperature)
    with pytest.raises(ScenarioError, match=f"^{where}: {message}") as caught:
        one.board_stiffness(there)
    assert "describe its wall (wall_feel, wall_thickness or squeeze_test), or measure" in str(caught.value)
    with pytest.raises(ScenarioError, match=rf"^container\.{where}: {message}"):
        undescribed_scenario(container={**SIZES, **gas, "body_length": 100}, conditions=there)
    assert made(**gas, body_length=100, wall_feel="thin").bottle(there)
    assert made(**gas, body_length=100, stiffness=10).board_stiffness(there) == 10


def test_an_end_of_a_range_that_holds_no_shape_is_refused():
    gas = {"kind": "unknown", "low": 8, "high": 200}
    with pytest.raises(ScenarioError, match=r"gauge_pressure at its end of 8: got 8, which at 20 deg C presses"):
        undescribed_scenario(container={**SIZES, "gauge_pressure": gas, "body_length": 100})


def test_a_temperature_for_which_no_pressure_is_known_is_refused():
    with pytest.raises(ScenarioError, match=r"^conditions\.service_temperature: got 45 deg C for a drink of 3 volumes"):
        undescribed_scenario(container={**SIZES, "carbonation": 3.0}, **{"conditions.service_temperature": 45.0})


def test_a_body_longer_than_its_container_or_that_follows_from_nothing_is_refused():
    with pytest.raises(ScenarioError, match=r"^body_length: got 130 mm; allowed: at most the length \(120 mm\)"):
        made(drink="cola_like", length=120, body_length=130)
    with pytest.raises(ScenarioError, match=r"^body_length: missing; its gas presses along it.* or stiffness$"):
        Container(diameter=60, mass=0.021, drink="cola_like")


@pytest.mark.parametrize(("bad", "got"), [(0.5, "0.5"), (2001, "2001.0"), ("0.5 N/mm", "0.5"), (-1, "-1.0")])
def test_what_is_out_of_bounds_is_answered_with_how_to_measure_it(bad, got):
    with pytest.raises(ScenarioError) as caught:
        made(stiffness=bad)
    ((path, text),) = caught.value.problems
    assert path == "stiffness"
    assert text.removeprefix("got ").split(";")[0] in (got, repr(bad))
    assert "; allowed: at least 1 and at most 500" in text
    assert ". How to measure: force over the height" in text
    assert "kitchen scale" in text


def test_units_of_a_technician_are_read():
    pound, gravity = 0.45359237, 9.80665
    for text, value in {
        "70 N/mm": 70,
        "7 kgf/mm": 7 * gravity,
        "400 lbf/in": 400 * pound * gravity / 25.4,
        "70000 N/m": 70,
        "70 kN/m": 70,
    }.items():
        assert made(stiffness=text).stiffness == pytest.approx(value, rel=1e-12)
    with pytest.raises(ScenarioError, match=r'^stiffness: got "7 kg/mm", whose unit "kg/mm" is not one for'):
        made(stiffness="7 kg/mm")
    assert LEAST[Container] == SIZES
