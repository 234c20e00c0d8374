"""What is counted, and what is refused."""

from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest
from tests_shared import made, small_scenario

from colsim import Fills, ScenarioError, SimulationError, simulate_fill, simulate_fills
from colsim.sampling import Outcome
from colsim.sampling.intervals import clopper_pearson

S, D, L, B, X = Outcome.SINGLE, Outcome.DOUBLE, Outcome.LATE, Outcome.BRIDGE, Outcome.STALL


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(small_scenario(1), seed=0)


@pytest.fixture
def fills(plain):
    histories = [(S, S, S, S), (S, X), (D, S, S), (L, S, S, S), (S, S, B)]
    made_fills = [made(plain, k, history) for k, history in enumerate(histories)]
    made_fills.append(made(plain, 5, (S,), invalid="it was lost"))
    return Fills(small_scenario(4), 0, tuple(made_fills), 6)


def test_a_fill_fails_at_its_first_vend_that_is_not_single(fills):
    assert [fill.failure.vend if fill.failure else None for fill in fills.valid] == [None, 2, 1, 1, 3]


def test_risk_counts_fills_and_vends_up_to_the_first_failure(fills):
    risk = fills.risk()
    assert (risk.per_fill.failures, risk.per_fill.fills, risk.per_fill.vends) == (4, 6, 4 + 2 + 1 + 1 + 3)
    assert risk.per_fill.rate == 4 / 5
    assert risk.per_vend.rate == 4 / 11


def test_invalid_fills_count_as_clean_below_and_failed_above(fills):
    risk = fills.risk().per_fill
    assert risk.low == clopper_pearson(4, 6)[0]
    assert risk.high == clopper_pearson(5, 6)[1]


def test_the_bound_per_vend_follows_from_the_one_per_fill(fills):
    risk = fills.risk()
    low, high, n = risk.per_fill.low, risk.per_fill.high, 4
    assert risk.per_vend.low == low / n
    assert risk.per_vend.high == pytest.approx(high / (n - (n - 1) * high))


@pytest.mark.parametrize(("outcome", "failures"), [(D, 1), (L, 1), (B, 1), (X, 1)])
def test_each_outcome_is_counted_by_itself(fills, outcome, failures):
    assert fills.risk(outcome).per_fill.failures == failures


def test_hazard_has_one_vend_a_fill_in_each_level(fills):
    table = fills.hazard().set_index("containers left")
    assert table["vends"].to_dict() == {4: 5, 3: 3, 2: 2, 1: 1}
    assert table["failures"].to_dict() == {4: 2, 3: 1, 2: 1, 1: 0}
    assert np.isclose(table.loc[4, "high"], clopper_pearson(2, 5)[1])


def test_the_table_of_vends_leaves_invalid_fills_out(fills):
    table = fills.to_dataframe()
    assert list(table.columns) == ["fill", "vend", "outcome", "mechanism", "remaining"]
    assert len(table) == 4 + 2 + 3 + 4 + 3
    assert table.iloc[5].to_dict() == {
        "fill": 1,
        "vend": 2,
        "outcome": "stall",
        "mechanism": "second one in the pocket",
        "remaining": 3,
    }


def test_the_summary_names_invalid_fills_with_what_replays_them(fills):
    assert "1 invalid" in fills.summary()
    assert "fill 5 (seed 0) is invalid: it was lost" in fills.summary()
    assert fills.summary() in fills._repr_html_()


def test_without_a_valid_fill_the_rate_is_no_number_and_nothing_is_known(plain):
    risk = Fills(small_scenario(4), 0, (made(plain, 0, (S,), invalid="lost"),), 1).risk()
    assert np.isnan(risk.per_fill.rate)
    assert np.isnan(risk.per_vend.rate)
    assert (risk.per_vend.low, risk.per_vend.high) == (0, 1)


def test_a_late_or_double_vend_does_not_end_the_fill_but_ends_its_count(plain):
    fill = made(plain, 0, (S, D, L), 4)
    assert (fill.failure.vend, fill.vends_to_failure, len(fill.vends)) == (2, 2, 3)
    table = Fills(small_scenario(4), 0, (fill,), 1).hazard()
    assert table[["containers left", "failures", "vends"]].values.tolist() == [[4, 0, 1], [3, 1, 1]]


def test_the_outcomes_share_the_failures_out(fills):
    whole, kinds = fills.risk().per_fill, [fills.risk(kind).per_fill for kind in (D, L, B, X)]
    assert sum(kind.failures for kind in kinds) == whole.failures
    assert {(kind.fills, kind.vends) for kind in kinds} == {(whole.fills, whole.vends)}


def test_the_table_of_hazards_without_a_valid_fill_has_its_columns_and_no_row(plain):
    table = Fills(small_scenario(4), 0, (made(plain, 0, (S,), invalid="lost"),), 1).hazard()
    assert list(table.columns) == ["containers left", "failures", "vends", "rate", "low", "high"]
    assert table.empty


@pytest.mark.parametrize("level", [0, 1, -0.1, 95])
def test_a_level_that_is_none_is_refused(fills, level):
    with pytest.raises(ScenarioError, match="level: got"):
        fills.risk(level=level)


def test_a_higher_level_gives_a_wider_interval(fills):
    narrow, wide = (fills.risk(level=level).per_vend for level in (0.8, 0.99))
    assert wide.low < narrow.low < narrow.rate < narrow.high < wide.high


@pytest.mark.parametrize("fills", [0, -1, 2.0, True, "3"])
def test_a_number_of_fills_that_is_none_is_refused(fills):
    with pytest.raises(ScenarioError, match="fills: got"):
        simulate_fills(small_scenario(), fills=fills, seed=1)


@pytest.mark.parametrize("seed", [-1, 1.0, True, "1"])
def test_a_seed_that_is_none_is_refused(seed):
    with pytest.raises(ScenarioError, match=f"^seed: got {seed!r}; allowed: a whole number of 0 or more"):
        simulate_fill(small_scenario(), seed=seed)
    with pytest.raises(ScenarioError, match=f"^seed: got {seed!r}; allowed: a whole number of 0 or more"):
        simulate_fills(small_scenario(), fills=1, seed=seed)


@pytest.mark.parametrize("fill", [-1, 1.0, True, "1"])
def test_a_fill_that_is_none_is_refused_by_its_name(fill):
    with pytest.raises(ScenarioError, match=f"^fill: got {fill!r}"):
        simulate_fill(small_scenario(), seed=1, fill=fill)


def test_an_unknown_outcome_is_refused(fills):
    with pytest.raises(ScenarioError, match="allowed: failure, double, late, bridge, stall"):
        fills.risk("jam")


def test_a_column_that_overflows_names_the_fill_that_shows_it():
    # Five would fit between parallel walls of this height; the narrower throat takes the room of one.
    wide = {"container.diameter": 73, "column.width": 124, "column.throat": 90, "column.floor_slope": 60}
    scenario = small_scenario(5, **wide, **{"column.height": 215})
    with pytest.raises(SimulationError, match=r"holds only 4 of 5 containers \(seed 2, fill 1\)"):
        simulate_fill(scenario, seed=2, fill=1)
    with ProcessPoolExecutor(1) as pool, pytest.raises(SimulationError, match=r"\(seed 2, fill [01]\)"):
        simulate_fills(scenario, fills=2, seed=2, executor=pool)
