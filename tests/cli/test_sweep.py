"""The command ``sweep`` and the example that sets a count with it."""

import subprocess
import sys
from functools import partial

import matplotlib.image
import pandas as pd
import pytest
from tests_shared import ROOT, AtOnce, small_toml

from colsim import Scenario, ScenarioError, simulate_sweep
from colsim.cli import MOST_POINTS

TEXTS = ("commonest mechanism", "refused")
pytestmark = pytest.mark.usefixtures("without_processes")


@pytest.fixture
def passed_on(monkeypatch):
    """Have nothing simulated, and give what would have been."""
    found = {}

    def instead(scenario, values, **named):
        found.update(values)
        raise ScenarioError("not simulated")

    monkeypatch.setattr("colsim.cli.simulate_sweep", instead)
    return found


@pytest.fixture
def sweep(run_colsim):
    return partial(run_colsim, "sweep")


READ = {
    "12,14,16": [12, 14, 16],
    "12": [12],
    " 12 , 14 ": [12, 14],
    "0.25,.3,1e-1": [0.25, 0.3, 0.1],
    "60 mm, 2 9/16 in": ["60 mm", "2 9/16 in"],
    "still,light": ["still", "light"],
    "true,false": [True, False],
    "sleek can 12 fl oz,12 fl oz can": ["sleek can 12 fl oz", "12 fl oz can"],
    "12:16:2": [12, 14, 16],
    "12:17:2": [12, 14, 16],
    "16:12:-2": [16, 14, 12],
    "-1:1:1": [-1, 0, 1],
    "5:5:1": [5],
    "0.1:0.3:0.1": [0.1, 0.2, 0.3],
    "0:1:0.1": [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0],
    "0.3:0.1:-0.1": [0.3, 0.2, 0.1],
    "0:0.9999999999:0.3333333333333": [0.0, 0.3333333333333, 0.6666666666666, 0.9999999999999],
    "1:2:0.5": [1.0, 1.5, 2.0],
    "1:200:1": list(range(1, MOST_POINTS + 1)),
}


@pytest.mark.parametrize(("text", "values"), READ.items(), ids=READ)
def test_values_are_read(sweep, passed_on, tmp_path, text, values):
    sweep(small_toml(tmp_path), "--over", f"rotor.spacer_thickness={text}")
    assert passed_on == {"rotor.spacer_thickness": values}
    assert [type(value) for value in passed_on["rotor.spacer_thickness"]] == [type(value) for value in values]


def test_paths_keep_their_order(sweep, passed_on, tmp_path):
    sweep(small_toml(tmp_path), "--over", "loading.count = 1,2", "--over", "container.drink=still")
    assert list(passed_on.items()) == [("loading.count", [1, 2]), ("container.drink", ["still"])]


COUNT = "loading.count="
REFUSED = {
    "no values": ([COUNT], "no values"),
    "no path": (["=1"], "allowed: PATH=VALUES"),
    "no equals": (["loading.count"], "allowed: PATH=VALUES"),
    "an empty place": ([f"{COUNT}1,,2"], "an empty place"),
    "nothing but commas": ([f"{COUNT},"], "no values"),
    "a path twice": ([f"{COUNT}1", f"{COUNT}2"], "got twice"),
    "a step of 0": ([f"{COUNT}1:2:0"], "a step of 0"),
    "a step of the wrong sign": ([f"{COUNT}1:2:-1"], "leads away from 2"),
    "no step": ([f"{COUNT}1:2"], "low:high:step"),
    "too many parts": ([f"{COUNT}1:2:1:1"], "low:high:step"),
    "a range of words": ([f"{COUNT}a:b:c"], "low:high:step"),
    "a range with units": (["column.width=80 mm:90 mm:5 mm"], "or a list of all values"),
    "a range without end": ([f"{COUNT}1:inf:1"], "low:high:step"),
    "no number": ([f"{COUNT}nan:1:1"], "low:high:step"),
    "beyond any number": ([f"{COUNT}0:1e999999:1e-999999"], "low:high:step"),
    "too long a range": ([f"{COUNT}1:201:1"], "more than 200 values"),
    "far too long a range": ([f"{COUNT}0:1:1e-30"], "more than 200 values"),
    "too many in all": ([f"{COUNT}1:20:1", "column.wall_friction=0.1:0.3:0.02"], "220 combinations"),
    "a decimal comma": (["column.width=66,5 mm"], "some values with a unit and some without"),
    "an unknown path": (["loading.cuont=1"], 'did you mean "count"?'),
    "a value twice": ([f"{COUNT}1,1"], "got 1 twice"),
    "no point left": ([f"{COUNT}98,99"], "none of the 2 points can be simulated"),
}


@pytest.mark.parametrize(("over", "said"), REFUSED.values(), ids=REFUSED)
def test_what_makes_no_sweep_is_refused_and_nothing_written(sweep, tmp_path, over, said):
    file = small_toml(tmp_path)
    options = [part for text in over for part in ("--over", text)]
    code, out, err = sweep(file, *options, "--fills", 1, "--csv", tmp_path / "table.csv")
    assert (code, out) == (2, "")
    assert said in err
    assert err.startswith("colsim: ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("arguments", [[], ["--over", "loading.count=1", "--fills", "0"]])
def test_a_bad_option_is_a_usage_error(sweep, tmp_path, arguments):
    code, out, err = sweep(small_toml(tmp_path), *arguments)
    assert (code, out) == (2, "")
    assert err.startswith("Usage: ")


def test_a_path_that_cannot_be_written_is_refused_before_the_work(sweep, passed_on, tmp_path):
    code, _, err = sweep(small_toml(tmp_path), "--over", "loading.count=1", "--csv", tmp_path / "no" / "table.csv")
    assert code == 2
    assert "cannot be written to" in err
    assert not passed_on


def test_nothing_is_written_if_no_point_has_room(sweep, tmp_path):
    file = small_toml(tmp_path)
    over = ("--over", "column.height=180", "--over", "loading.count=4")  # three lie in it
    code, out, err = sweep(file, *over, "--fills", 1, "--seed", 1, "--csv", tmp_path / "table.csv")
    assert (code, out) == (2, "")
    assert "no room for 1 of the 4" in err
    assert list(tmp_path.iterdir()) == [file]


def test_it_prints_and_writes_what_the_library_gives(sweep, tmp_path):
    file = small_toml(tmp_path)
    over = ("--over", "rotor.spacer_thickness=0 mm,1/4 in", "--over", "loading.count=1,99")
    code, out, err = sweep(file, *over, "--fills", 2, "--seed", 4417, "--csv", tmp_path / "table.csv")
    assert code == 0, err
    values = {"rotor.spacer_thickness": ["0 mm", "1/4 in"], "loading.count": [1, 99]}
    swept = simulate_sweep(Scenario.from_toml(file), values, fills=2, seed=4417, executor=AtOnce())
    assert out.startswith(swept.summary())
    assert "Unplug the machine" in out
    assert "processes, compiled engine, seed 4417" in out
    assert out.splitlines()[-1] == f"written: {tmp_path / 'table.csv'}"
    table = swept.to_dataframe()
    again = pd.read_csv(tmp_path / "table.csv", dtype=dict.fromkeys(TEXTS, table["refused"].dtype))
    pd.testing.assert_frame_equal(again.fillna(dict.fromkeys(TEXTS, "")), table, check_exact=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["small.toml", "table.csv"]


def test_the_example_writes_its_table_and_draws_its_chart(tmp_path):
    command = [sys.executable, str(ROOT / "examples" / "sweep_count.py"), "there", "--quick"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "assumed, not measured: container.wall_thickness" in done.stdout
    table = pd.read_csv(tmp_path / "there" / "count.csv")
    assert len(table) == 4
    assert (table["fills"] == 2).all()
    assert min(matplotlib.image.imread(tmp_path / "there" / "count.png").shape[:2]) >= 500
