"""Days in the column: the wall of a soft container creeps, and what is unknown of that."""

from dataclasses import replace
from itertools import pairwise

import pytest
from tests_shared import ROOT, ROTOR, undescribed_scenario

from colsim import Container, Scenario, ScenarioError
from colsim.advice.check_report import check_as_text
from colsim.advice.to_measure import in_words
from colsim.model import stand_ins
from colsim.model.conditions import Conditions
from colsim.model.softness import height_band, heights_under
from colsim.physics.cross_section import container_body
from colsim.sampling.draws import with_drawn

WATER = {"diameter": 65, "mass": 0.5125, "empty_mass": 0.0125, "drink": "still"}
READINGS = [{"bottles": 0, "height": 62.5}, {"bottles": 6, "height": 58.5}, {"bottles": 12, "height": 57}]
WORDS = {"felt": {"wall_feel": "thin"}, "measured": {"wall_thickness": 0.12}, "tested": {"squeeze_test": READINGS}}
KNOWN = {"wall_thickness": 0.12, "modulus": 3000, "headspace": 0.04, "body_length": 130, "end_stiffness": 10}
PATH = "container.creep_exponent"
MONTH = Conditions(days=30)


def water(**changes):
    return Container(**{**WATER, **changes})


def soft_scenario(**changes):
    """Give a quick column of soft ones of which only creep and the share of the flats that set may be unknown."""
    known = {f"container.{name}": value for name, value in KNOWN.items()}
    return undescribed_scenario(**{**known, **changes})


def flowing(text):
    return " ".join(text.split())


# What creep does


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
@pytest.mark.parametrize("exponent", [None, 0.0, 0.03, 0.3])
def test_without_days_nothing_changes_to_the_last_bit(words, exponent):
    known = {} if exponent is None else {"creep_exponent": exponent}
    fresh, other = water(**words).bottle(), water(**words, **known).bottle(Conditions(days=0))
    assert repr(vars(fresh)) == repr(vars(other))
    assert fresh == water(**words, creep_exponent=0).bottle(Conditions(days=365))  # none is none after a year


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
def test_the_modulus_falls_as_a_power_of_the_time_and_nothing_else_changes(words):
    # By hand: a day is 1440 min, so 1440^-0.05 = exp(-0.05 * 7.2724) = 0.69516.
    one = water(**words, creep_exponent=0.05)
    fresh, aged = one.bottle(), one.bottle(Conditions(days=1))
    assert aged.modulus / fresh.modulus == pytest.approx(0.69516, abs=5e-6)
    assert replace(aged, modulus=fresh.modulus) == fresh


def test_ring_and_stretch_of_the_wall_follow_alike():
    one = water(wall_feel="thin", creep_exponent=0.05)
    fresh, aged = one.bottle(), one.bottle(Conditions(days=1))
    assert aged.ring_force(5) / fresh.ring_force(5) == pytest.approx(0.69516, abs=5e-6)
    assert aged.wall_stretch / fresh.wall_stretch == pytest.approx(1 / 0.69516, abs=2e-5)
    # Second way: a fresh bottle of plastic that is as soft from the start.
    assert heights_under(one, [10.0, 60.0], Conditions(days=1)) == pytest.approx(
        heights_under(water(wall_feel="thin", modulus=3000 * 0.69516), [10.0, 60.0]), abs=1e-4
    )


def test_heights_only_fall_with_days_and_with_the_exponent():
    def height(days, exponent):
        return heights_under(water(wall_feel="thin", creep_exponent=exponent), [40.0], Conditions(days=days))[0]

    by_days = [height(days, 0.05) for days in (0, 0.01, 1, 7, 30, 365)]
    by_exponent = [height(30, exponent) for exponent in (0, 0.01, 0.03, 0.1, 0.3)]
    for heights in (by_days, by_exponent):
        assert all(after < before for before, after in pairwise(heights))
    assert height(0.5 / 1440, 0.3) == height(0, 0.3)  # half a minute is less than a quick test takes


def test_a_squeeze_test_is_fitted_to_a_fresh_bottle_and_creep_comes_after():
    one = water(squeeze_test=READINGS, creep_exponent=0.1)
    assert one.squeeze_fit(MONTH) == one.squeeze_fit()
    fresh, aged = one.bottle(), one.bottle(MONTH)
    for reading, height in zip(READINGS, one.squeeze_fit().heights, strict=True):
        assert reading["height"] == height
    # Had the fit been made with the aged modulus, its ends would be stiffer by as much and the ring as stiff as before.
    assert aged.end_stiffness == fresh.end_stiffness
    assert aged.ring_force(5) == pytest.approx(fresh.ring_force(5) * 43_200**-0.1)
    loads = [6 * k * 0.5125 * 9.80665 for k in range(3)]
    assert all(a < f for a, f in zip(heights_under(one, loads, MONTH), heights_under(one, loads), strict=True))


def test_a_container_on_its_own_creeps_by_the_typical_exponent():
    typical = stand_ins.CREEP_EXPONENT.typical
    assert water(wall_feel="thin").bottle(MONTH) == water(wall_feel="thin", creep_exponent=typical).bottle(MONTH)
    assert water(creep_exponent=0.1, drink="cola_like").bottle(MONTH) is None  # firm


def test_a_simulation_meets_the_wall_as_it_is_after_the_days():
    # The bare wall's part of a contact is in proportion to its modulus, and its stretch to the inverse.
    fresh, lain = (
        container_body(scenario.container, 0, 0, scenario.conditions).contact
        for scenario in (soft_scenario(**{"conditions.days": days, PATH: 0.05}) for days in (0, 30))
    )
    softer = (1440 * 30) ** -0.05
    assert lain.constant_stiffness == pytest.approx(softer * fresh.constant_stiffness)
    assert lain.wall_stretch == pytest.approx(fresh.wall_stretch / softer)


# What is unknown


def test_the_exponent_is_unknown_only_of_a_soft_wall_that_lies_for_days():
    fresh, lain = soft_scenario(), soft_scenario(**{"conditions.days": 3})
    assert set(lain.unknowns()) - set(fresh.unknowns()) == {PATH}
    assert lain.unknowns()[PATH] == stand_ins.CREEP_EXPONENT
    assert fresh.container.creep_exponent is None
    for rigid in (undescribed_scenario(), undescribed_scenario(**{"conditions.days": 3})):
        assert PATH not in rigid.unknowns()
    again = lain.changed(**{"conditions.days": 0})
    assert again.unknowns() == fresh.unknowns()
    assert again.container.creep_exponent is None
    assert "creep" not in check_as_text(again)
    assert (
        lain.changed(**{f"container.{name}": None for name in KNOWN}).unknowns().keys()
        == undescribed_scenario().unknowns().keys()
    )


@pytest.mark.parametrize("given", [0, 0.02, {"kind": "unknown", "low": 0.0, "high": 0.05}])
def test_what_is_given_goes_before_the_range(given):
    scenario = soft_scenario(**{"conditions.days": 3, PATH: given})
    found = scenario.unknowns().get(PATH)
    assert (found is None) == (not isinstance(given, dict))
    assert found is None or (found.low, found.high) == (0.0, 0.05)
    assert Scenario(**scenario.as_given()) == scenario
    assert PATH not in scenario.changed(**{"conditions.days": 0}).unknowns()


def test_of_several_kinds_only_the_soft_one_that_is_loaded_creeps():
    kinds = {"slim": {**WATER, **KNOWN}, "can": {"diameter": 66, "mass": 0.36}}
    scenario = Scenario(
        containers={**kinds, "spare": Container(**kinds["slim"])},
        column={"width": 90, "height": 900, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"layers": [{"container": "can", "count": 2}, {"container": "slim", "count": 2}]},
        conditions={"days": 3},
    )
    assert [path for path in scenario.unknowns() if "creep" in path] == ["containers.slim.creep_exponent"]
    assert in_words("containers.slim.creep_exponent") == "how much softer its wall gets with time (slim)"


def test_the_range_holds_in_draws_and_bands():
    scenario = soft_scenario(**{"conditions.days": 30})
    pooled = scenario.screened()
    assert pooled.container.spreads["creep_exponent"].kind == "varies"
    drawn = with_drawn(pooled, {PATH: 0.08})
    assert (drawn.container.creep_exponent, drawn.container.spreads) == (0.08, {})
    band = height_band(scenario.container, [40.0], MONTH)
    ends = [
        heights_under(scenario.changed(**{PATH: end}).container, [40.0], MONTH)[0]
        for end in (stand_ins.CREEP_EXPONENT.high, stand_ins.CREEP_EXPONENT.low)
    ]
    assert (band.lowest[0], band.highest[0]) == pytest.approx(tuple(ends))
    assert band.lowest[0] < band.typical[0] < band.highest[0]


def test_the_range_is_in_order_and_says_where_it_comes_from():
    spread = stand_ins.CREEP_EXPONENT
    assert 0 < spread.low < spread.typical < spread.high <= 0.3
    assert spread.origin.startswith("assumed")
    assert "data sheet" in spread.origin
    assert "from memory" in spread.origin


# What is told


def test_check_shows_the_range_and_no_longer_says_that_days_have_no_effect():
    text = flowing(check_as_text(soft_scenario(**{"conditions.days": 3})))
    assert f"{PATH} 0.01 to 0.1 (typical 0.03)" in text
    assert "KEPT" not in text
    assert "creep" not in check_as_text(soft_scenario())
    assert "KEPT conditions.days: read, and without" in flowing(
        check_as_text(undescribed_scenario(**{"conditions.days": 3}))
    )  # rigid walls do not creep


def test_check_says_that_an_exponent_without_days_or_a_soft_wall_has_no_effect():
    assert f"KEPT {PATH}: read, and without" in flowing(check_as_text(soft_scenario(**{PATH: 0.02})))
    assert f"KEPT {PATH}: read, and without" in flowing(check_as_text(undescribed_scenario(**{PATH: 0.02})))
    assert "KEPT" not in check_as_text(soft_scenario(**{PATH: 0.02, "conditions.days": 1}))


@pytest.mark.parametrize("bad", [-0.01, 0.31, 3])
def test_an_exponent_out_of_bounds_is_answered_with_both_and_with_what_it_is(bad):
    with pytest.raises(ScenarioError) as caught:
        water(wall_feel="thin", creep_exponent=bad)
    ((path, text),) = caught.value.problems
    assert path == "creep_exponent"
    assert text.startswith(f"got {bad!r}; allowed: at least 0 and at most 0.3. How to measure: how much softer")
    assert "nobody measures it on site: leave it out" in text


def test_what_days_do_to_flats_is_said_where_a_user_looks():
    assert "days in the column make flats set more" in Container.model_fields["set_fraction"].description
    readme = flowing((ROOT / "README.md").read_text(encoding="utf-8"))
    assert "unknown from 0.01 to 0.1, so 30 days take 10 to 66 % off the stiffness" in readme  # as test_creep has it
    assert "Days make flats set more" in readme
    assert "read and has no effect" not in readme
