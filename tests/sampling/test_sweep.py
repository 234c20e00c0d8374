"""Every combination of some values, on the same draws."""

import math
import re
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import product

import numpy as np
import pandas as pd
import pytest
from tests_shared import AtOnce, small_scenario

from colsim import Fills, ScenarioError, SimulationError, Sweep, simulate_fills, simulate_sweep
from colsim.errors import StoppedError
from colsim.sampling import many_fills
from colsim.sampling.workers import process_pool

SCENARIO = small_scenario(2)
OVER = {"container.diameter": [58, 66], "loading.count": [3, 1]}  # three of the slim ones stall
TEXTS = ["commonest mechanism", "refused"]


@pytest.fixture(scope="module")
def sweep():
    return simulate_sweep(SCENARIO, OVER, fills=3, seed=5, executor=AtOnce())


def vends(fills):
    return [repr(fill.vends) for fill in fills]


def test_a_point_for_each_combination_in_order(sweep):
    assert [tuple(point.values.values()) for point in sweep.points] == list(product(*OVER.values()))
    assert all(list(point.values) == list(OVER) for point in sweep.points)
    assert not sweep.interrupted


def test_each_point_is_what_its_scenario_alone_gives(sweep):
    failures = set()
    for point, row in zip(sweep.points, sweep.to_dataframe().to_dict("records"), strict=True):
        alone = simulate_fills(SCENARIO.changed(**point.values), fills=3, seed=5, executor=AtOnce())
        assert vends(point.fills) == vends(alone)
        risk = alone.risk()
        for unit, estimate in (("fill", risk.per_fill), ("vend", risk.per_vend)):
            numbers = (row[f"rate per {unit}"], row[f"low per {unit}"], row[f"high per {unit}"])
            assert numbers == (estimate.rate, estimate.low, estimate.high)
        assert (row["fills"], row["failures"], row["invalid"]) == (3, risk.per_fill.failures, 0)
        assert (row["short [containers]"], row["seed"], row["refused"]) == (0, 5, "")
        assert bool(row["commonest mechanism"]) == bool(row["failures"])
        failures.add(row["failures"])
    assert failures == {0, 3}


def test_the_level_is_that_of_the_intervals(sweep):
    wide, narrow = sweep.to_dataframe(level=0.99), sweep.to_dataframe(level=0.5)
    assert (wide["high per fill"] >= narrow["high per fill"]).all()
    assert (wide["low per fill"] <= narrow["low per fill"]).all()
    assert wide["high per fill"].iloc[-1] == sweep.points[-1].fills.risk(level=0.99).per_fill.high
    with pytest.raises(ScenarioError, match="level"):
        sweep.to_dataframe(level=1.0)


def test_it_is_the_same_on_any_executor(sweep):
    with process_pool(2) as processes, ThreadPoolExecutor(3) as threads:
        for executor in (processes, threads):
            other = simulate_sweep(SCENARIO, OVER, fills=3, seed=5, executor=executor)
            assert [vends(point.fills) for point in other.points] == [vends(point.fills) for point in sweep.points]
            pd.testing.assert_frame_equal(other.to_dataframe(), sweep.to_dataframe())


def test_one_pool_and_one_bar_serve_all_points(monkeypatch, capsys):
    bars = []

    class Bar(many_fills.tqdm):
        def __init__(self, *arguments, **named):
            super().__init__(*arguments, **named)
            bars.append(self)

    monkeypatch.setattr("colsim.advice.sweep.tqdm", Bar)
    simulate_sweep(small_scenario(1), {"loading.count": [1, 2]}, fills=2, seed=5, executor=AtOnce(), progress=True)
    assert [(bar.total, bar.n) for bar in bars] == [(4, 4)]
    assert "fill/s" in capsys.readouterr().err


def test_what_cannot_be_described_is_kept_with_its_reason():
    over = {"loading.count": [1, 99], "container.diameter": [66, 95, "6 furlongs"]}
    sweep = simulate_sweep(SCENARIO, over, fills=1, seed=5, executor=AtOnce())
    table = sweep.to_dataframe()
    assert (table["refused"] == "").tolist() == [True, False, False, False, False, False]
    assert "does not go through" in table["refused"][1]
    assert '"6 furlongs"' in table["refused"][2]
    assert "loading.count: got 99" in table["refused"][3]
    refused = table[table["refused"] != ""]
    assert (refused["fills"] == 0).all()
    numbers = refused.drop(columns=[*over, "fills", "seed", *TEXTS])
    assert numbers.shape[1] == 9
    assert numbers.isna().all(axis=None)
    assert all(point.fills is None for point in sweep.points[1:])
    assert "\n" not in "".join(table["refused"])
    assert sweep.summary().count("refused: ") == 5


def test_what_finds_no_room_is_kept_with_its_reason():
    # So low that three lie in it; by the closed form, which knows of no rotor, four might.
    low = small_scenario(2, **{"column.height": 180})
    most = low.greatest_count()
    sweep = simulate_sweep(low, {"loading.count": [1, most]}, fills=2, seed=5, executor=AtOnce())
    assert not sweep.points[0].refused
    assert sweep.points[1].fills is None
    assert f"no room for 1 of the {most}" in sweep.points[1].refused
    with pytest.raises(SimulationError, match=f"none of the 1 points .*loading.count = {most}.*no room"):
        simulate_sweep(low, {"loading.count": [most]}, fills=2, seed=5, executor=AtOnce())


class Never:
    """An executor to which nothing may be given."""

    def submit(self, function, /, *arguments):
        raise AssertionError("something was simulated")


REFUSED = {
    "no path": ({}, "got no path"),
    "unknown path": ({"loading.cuont": [1]}, 'unknown path "loading.cuont": did you mean "count"?'),
    "unknown part": ({"colum.width": [90]}, 'did you mean "column"?'),
    "unknown path among others": (
        {"loading.count": [1], "rotor.spacer_thicknes": [0]},
        'did you mean "spacer_thickness"?',
    ),
    "a liner that there is not": ({"column.liners.0.friction": [0.2]}, "there is none"),
    "no values": ({"loading.count": []}, "loading.count: got no values"),
    "text for a list": ({"container.drink": "still"}, r"allowed: a list of values, as in \['still'\]"),
    "a number for a list": ({"loading.count": 3}, r"allowed: a list of values, as in \[3\]"),
    "a value twice": ({"loading.count": [3, 2, 3]}, "got 3 twice"),
    "replaced by a later one": (
        {"container.diameter": [60, 62], "container": ["12 fl oz can"]},
        "container would replace container.diameter",
    ),
    "no point left": (
        {"loading.count": [98, 99]},
        r"none of the 2 points .* \(loading.count = 98\): loading.count: got 98",
    ),
}


@pytest.mark.parametrize(("over", "said"), REFUSED.values(), ids=REFUSED)
def test_what_makes_no_sweep_is_refused_before_the_work(over, said):
    with pytest.raises(ScenarioError, match=said):
        simulate_sweep(SCENARIO, over, fills=1, seed=5, executor=Never())


@pytest.mark.parametrize("number", [{"fills": 0}, {"fills": 1.5}, {"fills": 1, "seed": -1}])
def test_a_bad_number_is_refused_before_the_work(number):
    with pytest.raises(ScenarioError, match=next(reversed(number))):
        simulate_sweep(SCENARIO, OVER, executor=Never(), **number)


def test_any_values_that_a_scenario_takes_will_do():
    # Numbers of numpy, text with units, words, spreads, and a whole liner first with what is in it afterwards.
    over = {
        "loading.count": np.arange(1, 3),
        "container.diameter": ["66 mm", {"kind": "varies", "low": 65, "high": 66}],
        "container.drink": ("still",),
        "column.liners": [[{"wall": "left", "friction": 0.2}]],
        "column.liners.0.friction": [0.3],
    }
    sweep = simulate_sweep(SCENARIO, over, fills=1, seed=5, executor=AtOnce())
    assert [point.refused for point in sweep.points] == [""] * 4
    assert [fills.scenario.loading.count for fills in all_fills(sweep)] == [1, 1, 2, 2]
    assert all(fills.scenario.column.liners[0].friction == 0.3 for fills in all_fills(sweep))
    assert sweep.points[1].fills.scenario.varying().keys() == {"container.diameter"}


def all_fills(sweep: Sweep) -> list[Fills]:
    return [point.fills for point in sweep.points]


def test_a_fresh_seed_is_kept():
    over = {"loading.count": [1]}
    first, second = (simulate_sweep(SCENARIO, over, fills=1, executor=AtOnce()) for _ in range(2))
    assert first.seed != second.seed
    again = simulate_sweep(SCENARIO, over, fills=1, seed=first.seed, executor=AtOnce())
    assert vends(again.points[0].fills) == vends(first.points[0].fills)


def test_what_makes_no_difference_is_named():
    over = {"target.confidence": [0.9, 0.95], "loading.count": [1, 2], "title": ["one"]}
    sweep = simulate_sweep(SCENARIO, over, fills=1, seed=5, executor=AtOnce())
    assert sweep.without_effect() == ("target.confidence",)  # of one title nothing can be told
    assert sweep.summary().count("made no difference") == 1
    friction = {"column.wall_friction": [0.2, 0.3]}
    assert simulate_sweep(SCENARIO, friction, fills=1, seed=5, executor=AtOnce()).without_effect() == ()
    # A single one lies in the pocket and touches no wall.
    one = simulate_sweep(small_scenario(1), friction, fills=1, seed=5, executor=AtOnce())
    assert one.without_effect() == ("column.wall_friction",)


def test_the_summary_is_a_table_and_says_what_was_not_measured(sweep):
    lines = sweep.summary().splitlines()
    assert lines[0] == "small: 4 points of 3 fills, seed 5"
    heads = ("container.diameter", "loading.count", "bad vends in 1000 (95 %)", "fills failed", "most often")
    assert re.split(" {2,}", lines[1]) == list(heads)
    for line, row in zip(lines[2:6], sweep.to_dataframe().to_dict("records"), strict=True):
        assert line.split()[:2] == [str(row["container.diameter"]), str(row["loading.count"])]
        assert f"{row['failures']} of 3" in line
        assert f"{1000 * row['rate per vend']:.0f} ({1000 * row['low per vend']:.0f} - " in line
    column = lines[1].index("fills failed")
    assert all(line[column - 1] == " " and line[column] != " " for line in lines[2:6])
    assert "container.friction" in lines[-1]
    assert repr(sweep) == "<Sweep of 'small' over container.diameter, loading.count: 4 points, seed 5>"
    assert sweep._repr_html_().startswith("<pre>small: 4 points")


class Interrupted(AtOnce):
    """An executor that does its work at once, but brings Ctrl-C in place of one result, and does nothing after it."""

    def __init__(self, at):
        self.at, self.futures = at, []

    def submit(self, function, /, *arguments):
        number = len(self.futures)
        future = super().submit(function, *arguments) if number < self.at else Future()
        if number == self.at:
            future.result = self.interrupt
        self.futures.append(future)
        return future

    def interrupt(self, timeout=None):
        raise KeyboardInterrupt


def test_ctrl_c_gives_what_was_done_without_a_gap(sweep, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", 1)
    executor = Interrupted(at=4)
    part = simulate_sweep(SCENARIO, OVER, fills=3, seed=5, executor=executor)
    assert part.interrupted
    # The first point is whole, of the second one fill is there, and of the others nothing.
    assert [vends(fills) for fills in all_fills(part)] == [
        vends(sweep.points[0].fills),
        vends(sweep.points[1].fills)[:1],
    ]
    assert part.to_dataframe()["fills"].tolist() == [3, 1]
    assert "stopped early: 4 fills are done, and only these count" in part.summary()
    assert all(future.cancelled() for future in executor.futures[5:])


def test_ctrl_c_before_the_first_fill_leaves_nothing_to_show():
    with pytest.raises(StoppedError, match="stopped before the first fill was done"):
        simulate_sweep(SCENARIO, OVER, fills=3, seed=5, executor=Interrupted(at=0))


def test_the_table_written_as_csv_reads_back_the_same(tmp_path):
    over = {"loading.count": [1, 99], "rotor.spacer_thickness": ["0 mm", "1/4 in"]}
    table = simulate_sweep(SCENARIO, over, fills=1, seed=5, executor=AtOnce()).to_dataframe()
    assert math.isnan(table["rate per fill"].iloc[-1])
    table.to_csv(tmp_path / "table.csv", index=False)
    again = pd.read_csv(tmp_path / "table.csv", dtype=dict.fromkeys(TEXTS, table["refused"].dtype))
    pd.testing.assert_frame_equal(again.fillna(dict.fromkeys(TEXTS, "")), table, check_exact=True)
