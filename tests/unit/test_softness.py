"""What can be said of a soft bottle: what is unknown of it, what is refused, and how a squeeze test is read."""

import math

import pytest
from tests_shared import LEAST, least, undescribed_scenario

from colsim import Container, ScenarioError
from colsim.advice.to_measure import in_words
from colsim.model import stand_ins
from colsim.model.conditions import Conditions
from colsim.model.softness import (
    SOFTENS,
    body_share,
    height_band,
    heights_under,
    inside_volume,
    pressure_at,
    softest_and_stiffest,
)
from colsim.model.squeeze_test import SqueezeReading, fit_squeeze_test, height_under

WATER = {"diameter": 65, "mass": 0.5125, "empty_mass": 0.0125, "drink": "still"}
OF_SOFT_ONES = {"modulus", "headspace", "body_length", "end_stiffness", "set_fraction"}
READINGS = [{"bottles": 0, "height": 62.5}, {"bottles": 6, "height": 58}, {"bottles": 12, "height": 56.5}]
G = 9.80665


def water(**changes):
    return Container(**{**WATER, **changes})


def squeezed(*heights, **changes):
    readings = [{"bottles": 6 * k, "height": height} for k, height in enumerate(heights)]
    return water(squeeze_test=readings, **changes)


# What is unknown


@pytest.mark.parametrize(
    "changes", [{}, {"drink": "cola_like"}, {"gauge_pressure": 50}, {"length": 200}, {"modulus": 3000}]
)
def test_a_firm_container_gains_no_unknowns_of_a_wall(changes):
    firm = water(**changes if "gauge_pressure" in changes else {"stiffness": 40, **changes})
    assert not firm.is_soft
    assert firm.bottle() is firm.squeeze_fit() is None
    of_its_wall = OF_SOFT_ONES - {"body_length"}
    assert not of_its_wall & firm.spreads.keys()
    assert ("body_length" in firm.spreads) == ("gauge_pressure" in changes)  # gas presses along it
    assert {getattr(firm, name) for name in of_its_wall - changes.keys()} == {None}


@pytest.mark.parametrize("soft", [{"wall_feel": "thin"}, {"wall_thickness": "0.12 mm"}, {"squeeze_test": READINGS}])
def test_any_word_of_its_wall_makes_it_soft_and_what_is_left_out_unknown(soft):
    one = water(**soft)
    assert one.is_soft
    assert set(soft) <= SOFTENS
    assert one.spreads.keys() >= OF_SOFT_ONES
    assert all(one.spreads[name].origin for name in OF_SOFT_ONES)
    assert all(getattr(one, name) == one.spreads[name].typical for name in OF_SOFT_ONES)
    assert one.bottle().diameter == 65


@pytest.mark.parametrize(
    ("name", "spread", "measured"),
    [
        ("modulus", stand_ins.MODULUS, "3.2 GPa"),
        ("headspace", stand_ins.HEADSPACE, 0.03),
        ("end_stiffness", stand_ins.END_STIFFNESS, 40),
        ("set_fraction", stand_ins.SET_FRACTION, 0.2),
    ],
)
def test_a_measurement_replaces_the_range(name, spread, measured):
    assert water(wall_feel="thin").spreads[name] == spread
    assert name not in water(wall_feel="thin", **{name: measured}).spreads


def test_units_of_a_technician_are_read():
    one = water(wall_feel="thin", modulus="3.2 GPa", inside_volume="0.53 l", gauge_pressure="2 psi", body_length="5 in")
    assert (one.modulus, one.inside_volume, one.body_length) == (3200, 530, 127)
    assert one.gauge_pressure == pytest.approx(13.789515)


def test_the_body_is_as_long_as_what_it_holds_allows():
    whole = 1000 * 500 / 0.96 / (math.pi / 4 * 65**2)  # mm, at which the body would hold all of the 521 ml
    found = water(wall_feel="thin").spreads["body_length"]
    assert found.typical / whole == pytest.approx(0.85)
    assert (found.low / whole, found.high / whole) == pytest.approx((0.70, 0.92))
    by_volume = water(wall_feel="thin", inside_volume=600).spreads["body_length"]
    assert by_volume.typical == pytest.approx(0.85 * 600e3 / (math.pi / 4 * 65**2))


@pytest.mark.parametrize(
    "changes",
    [
        {"mass": {"kind": "varies", "low": 0.45, "typical": 0.51, "high": 0.53}},
        {"diameter": {"kind": "unknown", "low": "62 mm", "typical": "65 mm", "high": "68 mm"}},
        {"headspace": {"kind": "unknown", "low": 0.0, "high": 0.12}},
        {"empty_mass": {"kind": "unknown", "low": 0.01, "high": 0.03}},
        {"inside_volume": {"kind": "unknown", "low": 500, "typical": 530, "high": 560}},
    ],
)
def test_no_end_of_an_assumed_body_contradicts_what_was_given_as_a_range(changes):
    one = water(wall_feel="thin", **changes)
    (name,) = changes
    for length in (one.spreads["body_length"].low, one.spreads["body_length"].high):
        for end in (one.spreads[name].low, one.spreads[name].high):
            assert body_share(water(wall_feel="thin", **{name: end, "body_length": length})) <= 1


def test_a_long_body_says_that_there_is_some_gas():
    # 155 mm at 65 mm hold 514.3 ml; 500 ml of drink in no more than that leave at least 1 - 500 / 514.3 = 2.8 %.
    found = water(wall_feel="thin", body_length=155).spreads["headspace"]
    assert found.low == pytest.approx(1 - 500 / (math.pi / 4 * 65**2 * 0.155), rel=1e-9)
    assert (found.typical, found.high) == (0.04, 0.06)
    assert water(wall_feel="thin", body_length=130).spreads["headspace"] == stand_ins.HEADSPACE


def test_a_catalogue_entry_gives_the_sizes_from_which_the_rest_follows():
    one = Container(like="500 ml still water", wall_feel="very_thin")
    assert one.bottle().body_share == pytest.approx(0.85)
    assert body_share(one) * inside_volume(one) == pytest.approx(math.pi / 4 * 64.5**2 * one.body_length / 1000)
    assert Container(**one.as_given()) == one
    assert set(one.as_given()) == {"like", "wall_feel"}


def test_unknowns_of_a_scenario_leave_out_what_has_no_effect_yet():
    soft = undescribed_scenario(**{"container.wall_feel": "thin"})
    unused = {f"container.{name}" for name in soft.container.without_effect}
    firm = undescribed_scenario(**{"container.stiffness": 70})
    assert set(soft.unknowns()) == set(firm.unknowns()) | {
        f"container.{name}" for name in soft.container.spreads if f"container.{name}" not in unused
    }
    assert not unused & set(soft.unknowns())


def test_every_number_of_a_soft_wall_has_words_and_can_be_measured_or_not():
    for name in OF_SOFT_ONES | {"wall_thickness", "carbonation", "gauge_pressure", "inside_volume"}:
        assert in_words(f"container.{name}") != f"container.{name}"
        assert in_words(f"containers.slim.{name}").endswith(" (slim)")


def test_an_assumed_body_is_shorter_than_the_bottle():
    found = water(wall_feel="thin", length=145).spreads["body_length"]
    assert found.high == pytest.approx(0.95 * 145)
    assert found.typical == pytest.approx(0.85 / 0.92 * found.high)
    assert water(wall_feel="thin", length=205).spreads["body_length"] == water(wall_feel="thin").spreads["body_length"]


# What is refused


@pytest.mark.parametrize(("name", "bad"), [("mass", 515), ("diameter", 6500), ("mass", 0), ("length", 2)])
def test_a_slip_of_the_pen_is_told_alone(name, bad):
    with pytest.raises(ScenarioError) as caught:
        water(wall_feel="thin", **{name: bad})
    assert [path for path, _ in caught.value.problems] == [name]


def test_where_the_body_does_not_follow_it_is_asked_for():
    with pytest.raises(ScenarioError, match=r"^body_length: missing; a soft wall needs it.* give body_length$"):
        Container(diameter=60, mass=0.021, wall_thickness=0.1)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"body_length": 165}, "body_length: got 165 mm; with the diameter of 65 mm the body alone would hold 548 ml"),
        ({"body_length": 160, "inside_volume": 525}, "but the bottle holds 525 ml in all (from inside_volume)"),
        ({"body_length": 146, "length": 145}, "body_length: got 146 mm; allowed: at most the length (145 mm)"),
        ({"wall_thickness": 3.3}, "wall_thickness: got 3.3 mm; allowed: at most a twentieth of the diameter (3.25 mm)"),
        ({"inside_volume": 450}, "inside_volume: got 450 ml; 500 g of drink do not go in; weigh it"),
        ({"end_stiffness": 0.9}, "end_stiffness: got 0.9; allowed: at least 1 and at most 10000"),
        ({"carbonation": 5.5}, "carbonation: got 5.5; allowed: at least 0 and at most 5"),
        ({"gauge_pressure": "3 mm"}, 'gauge_pressure: got "3 mm", whose unit "mm" is not one for a pressure'),
        ({"length": 120}, "length: got 120 mm; 500 g of drink do not go into that at 65 mm; measure all again"),
        ({"headspace": 1.0}, "headspace: got 1.0; allowed: at least 0 and at most 0.5"),
        ({"diameter": -1}, "diameter: got -1.0; allowed: above 20"),
        ({"mass": "500"}, 'mass: got "500", which has no unit'),
        ({"headspace": "lots"}, "headspace: got 'lots'; allowed: a plain number"),
        (
            {"headspace": {"kind": "unknown", "low": 0.02, "high": 0.9}},
            "with headspace at its end of 0.9|headspace: got",
        ),
    ],
)
def test_what_does_not_go_together_is_refused(changes, message):
    with pytest.raises(ScenarioError) as caught:
        water(wall_thickness=0.1, **changes) if "wall_thickness" not in changes else water(**changes)
    assert any(part in str(caught.value) for part in message.split("|"))


@pytest.mark.parametrize(
    ("readings", "where", "message"),
    [
        (READINGS[:2], "squeeze_test", "got 2 readings; allowed: 3 or more, such as with 0, 6 and 12 bottles on top"),
        ([READINGS[1]] * 3, "squeeze_test", "got 3 readings under one load of 30.2 N; allowed: two loads or more"),
        (
            [*READINGS[:2], {"bottles": 12, "height": 59.1}],
            "squeeze_test.2.height",
            "got 59.1 mm under 60.3 N, but 58 mm under 30.2 N; allowed: at most 1 mm more",
        ),
        (
            [{"bottles": 0, "height": 66.1}, *READINGS[1:]],
            "squeeze_test.0.height",
            "got 66.1 mm; a bottle of 65 mm does not grow",
        ),
        ([{"height": 60}, *READINGS], "squeeze_test.0", "got neither of bottles and load; allowed: one of them"),
        ([{"bottles": 1, "load": 5, "height": 60}, *READINGS], "squeeze_test.0", "got both of bottles and load"),
        (
            [{**READINGS[0], "temperature": "hot"}, *READINGS],
            "squeeze_test.0.temperature",
            "got 'hot'; input should be",
        ),
    ],
)
def test_readings_that_make_no_sense_are_refused(readings, where, message):
    with pytest.raises(ScenarioError) as caught:
        water(squeeze_test=readings)
    (path, what), *_ = caught.value.problems
    assert path == where
    assert message in what


def test_a_little_more_height_under_more_load_passes_and_so_does_another_temperature():
    assert squeezed(60, 55, 55.9).bottle()
    warmer = [{**reading, "temperature": "cold"} for reading in READINGS]
    assert water(squeeze_test=[*warmer, {"bottles": 12, "height": 60, "temperature": "warm"}]).bottle()


@pytest.mark.parametrize(("temperature", "when"), [(45.0, "service"), (-5.0, "service")])
def test_carbonation_is_refused_where_its_pressure_is_not_known(temperature, when):
    fizzy = water(drink="cola_like", wall_feel="crisp")
    with pytest.raises(ScenarioError, match=rf"^conditions\.{when}_temperature: got {temperature:g} deg C for a drink"):
        fizzy.bottle(Conditions(**{f"{when}_temperature": temperature}))
    assert water(wall_feel="thin").bottle(Conditions(service_temperature=temperature))  # still: gas law only
    measured = water(drink="cola_like", wall_feel="crisp", gauge_pressure=200)
    assert measured.bottle(Conditions(loading_temperature=temperature)).pressure < 300


def test_gauge_pressure_goes_before_carbonation():
    assert pressure_at(water(drink="cola_like", gauge_pressure=12.0), None) == pytest.approx(12)


# The squeeze test


def test_readings_bear_half_of_the_bottles_own_weight_more():
    fit = squeezed(62, 58, 56).squeeze_fit()
    assert fit.loads == pytest.approx([0.5125 * G * (n + 0.5) for n in (0, 6, 12)])
    assert fit.largest_load == fit.loads[-1]
    by_load = [{"load": f"{0.5125 * n} kgf", "height": h} for n, h in ((0, 62), (6, 58), (12, 56))]
    assert water(squeeze_test=by_load).squeeze_fit().residuals == pytest.approx(fit.residuals, abs=1e-6)


def test_the_bottle_is_as_the_test_says():
    one = squeezed(62.5, 58.5, 57)
    fit, bottle = one.squeeze_fit(), one.bottle()
    assert (bottle.end_stiffness, bottle.pressure) == (fit.end_stiffness, fit.pressure_shift)
    for load, height, residual in zip(fit.loads, fit.heights, fit.residuals, strict=True):
        assert height - residual == pytest.approx(65 - bottle.squeeze_under(load))
    assert fit.misfit == pytest.approx(math.sqrt(sum(r**2 for r in fit.residuals) / 3))
    assert abs(fit.largest_residual) == max(map(abs, fit.residuals))
    assert f"loads above {fit.largest_load:.0f} N are extrapolated" in fit.summary()
    assert "kPa" not in fit.summary()


def test_a_test_overrides_what_the_wall_is_made_of():
    ranges = squeezed(62.5, 58.5, 57, wall_feel="thin").spreads
    for name in ("modulus", "end_stiffness", "wall_thickness"):
        assert ranges[name].low == ranges[name].high == ranges[name].typical
    assert ranges["headspace"].low < ranges["headspace"].high
    given_one = squeezed(62.5, 58.5, 57, end_stiffness=2.0).bottle().end_stiffness
    assert given_one == pytest.approx(squeezed(62.5, 58.5, 57).bottle().end_stiffness)
    # Another modulus is made up for by the factor, but for how the wall stretches.
    soft, stiff = (squeezed(62.5, 58.5, 57, wall_thickness=0.1, modulus=m).bottle() for m in (2500, 4000))
    for load in (10, 30, 60):
        assert height_under(soft, load) == pytest.approx(height_under(stiff, load), abs=0.5)


def test_the_one_that_was_tested_keeps_its_diameter_when_others_are_drawn():
    varies = {"kind": "varies", "shape": "normal", "typical": 65, "deviation": 0.3}
    one = squeezed(62.5, 58.5, 57, diameter=varies)
    assert one.tested_diameter == 65
    typical = {name: spread.typical for name, spread in one.spreads.items()}  # as for the whole of a fill
    drawn = Container(**{**one.as_given(), **typical, "diameter": 65.8})
    assert drawn.squeeze_fit().end_stiffness == pytest.approx(one.squeeze_fit().end_stiffness, rel=1e-6)
    assert drawn.bottle().diameter == 65.8


def test_cold_and_warm_readings_have_the_pressure_of_their_temperature():
    there = Conditions(loading_temperature=30.0, service_temperature=5.0)
    known = water(wall_thickness=0.1, end_stiffness=200.0)
    bottles = {
        "cold": known.bottle(there),
        "warm": known.bottle(),
    }  # as loaded, sealed air presses no more than outside
    assert bottles["cold"].pressure < bottles["warm"].pressure == 0
    readings = [
        {"bottles": n, "height": height_under(bottles[word], 0.5125 * G * (n + 0.5)), "temperature": word}
        for n in (0, 6, 12)
        for word in ("cold", "warm")
    ]
    fit = water(wall_thickness=0.1, squeeze_test=readings).squeeze_fit(there)
    assert fit.end_stiffness == pytest.approx(200, rel=1e-3)
    assert not fit.pressure_fitted
    assert water(wall_thickness=0.1, squeeze_test=readings).bottle(there).pressure == bottles["cold"].pressure


def test_a_measured_pressure_is_not_fitted():
    soft = squeezed(57, 52, 50, gauge_pressure=0.0)
    assert not soft.squeeze_fit().pressure_fitted
    fitted = squeezed(57, 52, 50).squeeze_fit()
    assert fitted.pressure_fitted
    assert fitted.pressure_shift < 0
    assert f"{fitted.pressure_shift:+.1f} kPa off the calculated one" in fitted.summary()


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_loads_and_heights_that_are_none_are_refused(bad):
    bottle = water(wall_feel="thin").bottle()
    for loads, heights in (([1.0, 2.0, bad], [60.0, 59.0, 58.0]), ([1.0, 2.0, 3.0], [60.0, bad, 58.0])):
        with pytest.raises(ScenarioError, match=r"^squeeze_test: got loads .* allowed: finite numbers, none below 0"):
            fit_squeeze_test(bottle, loads, heights)


@pytest.mark.parametrize("loads", [(1.0, 2.0), (1.0, 2.0, 3.0, 4.0)])
def test_too_few_or_unlike_loads_and_heights_are_refused(loads):
    bottle = water(wall_feel="thin").bottle()
    with pytest.raises(
        ScenarioError, match=r"^squeeze_test: got \d loads, \d heights and \d pressures; allowed: as many"
    ):
        fit_squeeze_test(bottle, loads, loads[:3])


def test_a_test_is_written_and_read_again():
    one = squeezed(62.5, 58.5, 57)
    assert Container(**one.as_given()) == one
    assert all(isinstance(reading, SqueezeReading) for reading in one.squeeze_test)
    assert least(SqueezeReading).load_on_top(0.5) == pytest.approx(6 * 0.5 * G)
    scenario = undescribed_scenario(container={**LEAST[Container], "squeeze_test": READINGS})
    changed = scenario.changed(**{"container.squeeze_test.1.height": "2 9/32 in"})
    assert changed.container.squeeze_test[1].height == pytest.approx(57.94375)


# Softest and stiffest


def test_softest_and_stiffest_take_each_unknown_at_its_end():
    one = water(wall_feel="thin")
    softest, stiffest = softest_and_stiffest(one)
    assert not softest.spreads.keys() - {"carbonation"}
    assert (softest.modulus, stiffest.modulus) == (2000, 4000)
    assert (softest.headspace, stiffest.headspace) == (0.06, 0.02)
    assert (softest.wall_thickness, stiffest.wall_thickness) == (0.1, 0.15)
    assert (softest.end_stiffness, stiffest.end_stiffness) == (1, 100)
    lowest, typical, highest = (heights_under(each, [40.0])[0] for each in (softest, one, stiffest))
    assert lowest < typical < highest < 65


def test_heights_are_the_diameter_less_the_squeeze_with_half_its_own_weight():
    one = water(wall_feel="thin")
    assert heights_under(one, [0.0, 30.0]) == pytest.approx(
        [65 - one.bottle().squeeze_under(load + 0.5125 * G / 2) for load in (0.0, 30.0)]
    )
    with pytest.raises(ScenarioError, match=r"^container has no soft wall; give wall_thickness, wall_feel or squeeze"):
        heights_under(water(drink="cola_like"), [1.0])


@pytest.mark.parametrize("one", [water(wall_feel="very_thin"), squeezed(62, 58, 56)])
def test_the_band_holds_the_typical(one):
    loads = [0.0, 10.0, 40.0, 80.0]
    band = height_band(one, loads)
    assert band.typical == pytest.approx(heights_under(one, loads))
    for lowest, typical, highest in zip(band.lowest, band.typical, band.highest, strict=True):
        assert lowest <= typical <= highest
    assert band.lowest[-1] < band.highest[-1]


def test_a_bottle_of_which_all_is_known_has_no_band():
    sizes = {"wall_thickness": 0.1, "modulus": 3000, "headspace": 0.04, "body_length": 130, "end_stiffness": 50}
    band = height_band(water(**sizes), [0.0, 50.0])
    assert band.lowest == band.typical == band.highest
