"""Sizes that nobody gave shrink to what fits, and are listed so."""

import pytest
from tests_shared import ROTOR, measured, undescribed_scenario

from colsim import Rotor, ScenarioError

LOW_FLOOR = {"column.throat": 86, "column.floor_slope": 50}  # 2 mm x tan 50 deg: 3.11 mm along the floor


def test_a_throat_edge_that_nobody_measured_is_as_round_as_its_floor_allows():
    scenario = undescribed_scenario(**LOW_FLOOR)
    radius = scenario.assumed()["column.throat_radius"]
    assert 0 < radius < 10
    # Rounder by a seventh it takes the whole floor: 2 mm / cos 50 deg.
    assert scenario.column.throat_edge_length(97) < 2 / 0.6427876 < 1.2 * scenario.column.throat_edge_length(97)
    with pytest.raises(ScenarioError, match=r"column\.throat_radius: got .* measure the edge's radius again"):
        undescribed_scenario(**LOW_FLOOR, **{"column.throat_radius": radius / 0.9})


def test_what_was_shrunk_is_listed_with_its_own_range_and_why():
    scenario = undescribed_scenario(**LOW_FLOOR)
    spread = scenario.unknowns()["column.throat_radius"]
    assert 0 < spread.low < spread.typical == scenario.column.throat_radius < spread.high < 10
    assert "the usual 10 does not fit" in spread.origin
    for end in (spread.low, spread.high):
        assert scenario.changed(**{"column.throat_radius": end}).column.throat_radius == end


def test_the_usual_size_is_assumed_again_as_soon_as_it_fits():
    scenario = undescribed_scenario(**LOW_FLOOR)
    wide = scenario.changed(**{"column.throat": 90, "column.floor_slope": None})
    assert wide.column.throat_radius == 10
    assert type(scenario)(**{**dict(scenario), "column": scenario.column}) == scenario


@pytest.mark.parametrize("given", [10, "10 mm"])
def test_a_size_that_was_given_is_never_changed(given):
    with pytest.raises(ScenarioError, match=r"^column\.throat_radius: got 10 mm"):
        undescribed_scenario(**LOW_FLOOR, **{"column.throat_radius": given})


def test_a_column_that_is_shared_stays_as_it_was():
    roomy = undescribed_scenario()
    undescribed_scenario(column=roomy.column, rotor={**ROTOR, "radius": 150})
    assert roomy.column.throat_radius == 10


@pytest.mark.parametrize(
    "tight",
    [
        {"radius": 95, "pockets": 5, "pocket_width": 82, "pocket_depth": 30},  # land between the pockets
        {"radius": 62, "pockets": 1, "pocket_width": 114, "pocket_depth": 60},  # sides up to the axis' height
        {"radius": 95, "pockets": 1, "pocket_width": 100, "pocket_depth": 17},  # sides above the floor
    ],
)
def test_a_pocket_mouth_that_nobody_measured_is_as_round_as_the_drum_allows(tight):
    rotor = Rotor(**tight)
    assert 0 < rotor.lead_in < 10
    assert "lead_in" not in rotor.model_fields_set
    assert Rotor(**tight, lead_in=rotor.lead_in) is not None
    with pytest.raises(ScenarioError, match=r"nothing is left|no land is left"):
        Rotor(**tight, lead_in=rotor.lead_in / 0.9 * 1.001)


def test_measuring_all_that_is_unknown_keeps_what_was_assumed():
    scenario = undescribed_scenario(**LOW_FLOOR)
    known = measured(scenario)
    assert known.column.throat_radius == scenario.column.throat_radius
    assert known.unknowns() == {}
