"""What is counted, and what is refused."""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import AtOnce, made, small_scenario

from colsim import Fills, ScenarioError, SimulationError, replay, simulate_fill, simulate_fills
from colsim.sampling import Outcome
from colsim.sampling.intervals import clopper_pearson
from colsim.sampling.sequences import betting_sequence, confidence_sequence

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
    assert [fill.failure.number if fill.failure else None for fill in fills.valid] == [None, 2, 1, 1, 3]


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
    pressed = [
        replace(fill, vends=tuple(replace(vend, peak_force=10.0 * fill.number + vend.number) for vend in fill.vends))
        for fill in fills
    ]
    table = replace(fills, records=tuple(pressed)).to_dataframe()
    assert list(table.columns) == ["fill", "vend", "outcome", "mechanism", "remaining", "peak force [N]"]
    assert len(table) == 4 + 2 + 3 + 4 + 3
    assert table.iloc[5].to_dict() == {
        "fill": 1,
        "vend": 2,
        "outcome": "stall",
        "mechanism": "second one in the pocket",
        "remaining": 3,
        "peak force [N]": 12.0,
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
    assert (fill.failure.number, fill.vends_to_failure, len(fill.vends)) == (2, 2, 3)
    table = Fills(small_scenario(4), 0, (fill,), 1).hazard()
    assert table[["containers left", "failures", "vends"]].values.tolist() == [[4, 0, 1], [3, 1, 1]]


def test_the_hazard_after_a_top_up_has_rows_of_its_own(plain):
    fill = made(plain, 0, (S, S, S, D), 4)
    again = tuple(replace(vend, topped_up=vend.number > 2, before=(4, 3, 4, 3)[vend.number - 1]) for vend in fill.vends)
    table = Fills(small_scenario(4), 0, (replace(fill, vends=again),), 1).hazard()
    assert table[["topped up", "containers left", "failures", "vends"]].values.tolist() == [
        [False, 4, 0, 1],
        [False, 3, 0, 1],
        [True, 4, 0, 1],
        [True, 3, 1, 1],
    ]


def test_the_outcomes_share_the_failures_out(fills):
    whole, kinds = fills.risk().per_fill, [fills.risk(kind).per_fill for kind in (D, L, B, X)]
    assert sum(kind.failures for kind in kinds) == whole.failures
    assert {(kind.fills, kind.vends) for kind in kinds} == {(whole.fills, whole.vends)}


def test_the_table_of_hazards_without_a_valid_fill_has_its_columns_and_no_row(plain):
    table = Fills(small_scenario(4), 0, (made(plain, 0, (S,), invalid="lost"),), 1).hazard()
    assert list(table.columns) == ["topped up", "containers left", "failures", "vends", "rate", "low", "high"]
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
def test_a_number_of_a_fill_that_is_none_is_refused_by_its_name(fill):
    with pytest.raises(ScenarioError, match=f"^number: got {fill!r}"):
        simulate_fill(small_scenario(), seed=1, number=fill)


def test_an_unknown_outcome_is_refused(fills):
    with pytest.raises(ScenarioError, match="allowed: failure, double, late, bridge, stall"):
        fills.risk("jam")


# Five would fit between parallel walls of this height; the narrower throat takes the room of one.
NARROW = {"container.diameter": 73, "column.width": 124, "column.throat": 90, "column.floor_slope": 60}


def test_a_load_that_never_fits_is_refused_and_one_fill_shows_what_stays_out():
    scenario = small_scenario(5, **NARROW, **{"column.height": 215})
    again = replay(scenario, seed=2, number=1)
    fill = again.fill
    assert (fill.short, fill.loaded, len(again.bodies), fill.invalid) == (1, 4, 4, "")
    assert fill.dispensed + fill.left == 4
    with (
        ProcessPoolExecutor(1) as pool,
        pytest.raises(SimulationError, match=r"no room for 1 of the 5 .* in any of 2 fills \(seed 2, fill 0\)"),
    ):
        simulate_fills(scenario, fills=2, seed=2, executor=pool)


def test_a_load_that_sometimes_does_not_fit_is_not_refused_and_widens_the_bound_per_vend():
    height = {"kind": "varies", "low": 215, "high": 245}
    fills = simulate_fills(small_scenario(5, **NARROW, **{"column.height": height}), fills=6, seed=2, executor=AtOnce())
    shorts = [fill.short for fill in fills]
    assert set(shorts) == {0, 1}
    assert f"no room for all in {shorts.count(1)} fills; up to 1 stayed out" in fills.summary()
    risk = fills.risk()
    q = risk.per_fill.high  # of clean fills the shortest made 4 vends, and R <= q / (m - (m - 1) q)
    assert risk.per_vend.high == pytest.approx(q / (4 - 3 * q))
    assert risk.per_vend.low == risk.per_fill.low / 5


def test_the_share_of_vends_counts_what_comes_after_a_double_or_late_vend(fills):
    found = {kind: fills.share_of_vends(kind) for kind in (D, L, B, X, "failure")}
    assert {kind: (e.failures, e.vends) for kind, e in found.items()} == {
        D: (1, 4 + 2 + 3 + 4 + 3),
        L: (1, 16),
        B: (1, 16),
        X: (1, 16),
        "failure": (4, 16),
    }
    assert found["failure"].rate == 4 / 16
    assert all(e.low <= e.rate <= e.high <= 1 for e in found.values())


def test_both_later_doubles_count_where_only_the_first_ends_the_count_of_fills(plain):
    fills = Fills(small_scenario(6), 0, (made(plain, 0, (D, S, D, S), 6),), 1)
    assert fills.risk(D).per_fill.failures == 1
    assert (fills.share_of_vends(D).failures, fills.share_of_vends(D).vends) == (2, 4)


def counted(invalid):
    """Give failures and vends of each fill by hand, with what an invalid one counts as."""
    firsts = [(0, 4), (1, 2), (1, 1), (1, 1), (1, 3), invalid]
    return ([x for x, _ in firsts], [v for _, v in firsts])


def test_looking_often_takes_the_sequence_over_fills_and_that_over_vends(fills):
    # Nine tenths of the error to the one and one to the other; what is invalid clean below and failed at once above.
    target, n = 0.01 * 4 / (1 + 3 * 0.01), 4
    low = confidence_sequence(4, 6, level=1 - 0.9 * 0.05, target=target)[0]
    high = confidence_sequence(5, 6, level=1 - 0.9 * 0.05, target=target)[1]
    bets = {"most": 1, "most_vends": n, "level": 1 - 0.1 * 0.05}
    bet_low = betting_sequence(*counted((0, 4)), **bets)[0]
    bet_high = betting_sequence(*counted((1, 1)), **bets)[1]
    risk = fills.risk_looking_often()
    assert (risk.per_fill.low, risk.per_fill.high) == pytest.approx((low, high))
    assert risk.per_vend.low == pytest.approx(max(low / n, bet_low))
    assert risk.per_vend.high == pytest.approx(min(high / (n - (n - 1) * high), bet_high))
    once = fills.risk()
    assert risk.per_fill.low < once.per_fill.low < once.per_fill.high < risk.per_fill.high
    assert (risk.per_fill.rate, risk.per_vend.rate) == (once.per_fill.rate, once.per_vend.rate)


def test_pairs_are_counted_where_both_fills_are_valid(plain, fills):
    other = Fills(
        small_scenario(4), 0, tuple(made(plain, k, h) for k, h in enumerate([(X,), (S, X), (S,) * 4, (S,) * 4])), 4
    )
    pairs = fills.paired_with(other)
    assert (pairs.fills, pairs.only_first, pairs.only_second) == (4, 2, 1)
    back = other.paired_with(fills)
    assert (back.only_first, back.only_second) == (1, 2)
    assert other.paired_with(replace(fills, records=fills[::-1])).fills == 3  # the invalid one is left out


def test_fills_of_different_seeds_are_no_pairs(fills):
    with pytest.raises(ScenarioError, match="seed: got 0 and 1"):
        fills.paired_with(replace(fills, seed=1))
