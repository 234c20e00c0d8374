"""The command ``count``."""

import json
import os
import subprocess
import sys
from functools import partial

import matplotlib.image
import pandas as pd
import pytest
from tests_shared import ROOT, AtOnce, measured, small_scenario, small_toml

from colsim import Scenario, ScenarioError, find_count
from colsim.advice.cautions import CAUTIONS
from colsim.advice.count import MAX_FILLS
from colsim.advice.count_table import risk_by_count


@pytest.fixture
def count(run_colsim, without_processes):
    return partial(run_colsim, "count")


@pytest.fixture
def passed_on(monkeypatch):
    """Have nothing simulated, and give what would have been."""
    found = {}

    def instead(scenario, **named):
        found.update(named, scenario=scenario)
        raise ScenarioError("not simulated")

    monkeypatch.setattr("colsim.cli.find_count", instead)
    return found


def slim_toml(folder):
    """Write a column of which nothing is unknown: one slim container comes, with more above it the second is caught."""
    slim = measured(small_scenario(2, **{"container.diameter": 58, "target.failures_per_fill": 0.4}))
    lines = []
    for name, table in slim.as_given().items():
        if isinstance(table, dict):
            lines += [f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in table.items())]
    path = folder / "slim.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert Scenario.from_toml(path).unknowns() == {}
    return path


def test_it_says_how_many_and_what_ends_it_and_writes_and_draws_that(count, tmp_path):
    file, table, chart = slim_toml(tmp_path), tmp_path / "table.csv", tmp_path / "chart.svg"
    options = ("--counts", "1,3", "--max-fills", 12, "--seed", 1, "--csv", table, "--chart", chart)
    code, out, err = count(file, *options)
    assert code == 0, err
    lines = out.splitlines()
    assert lines[0].strip() == "DO THIS: Load 1, no more."
    assert lines[1] == "count: load of 1 (meets)"
    assert (
        lines[2] == "The load of 1 stays within 400 bad loadings in 1000. From 3 up it fails: second one in the pocket."
    )
    assert "MEASURE NEXT" not in out
    assert "processes, compiled engine, seed 1" in lines[-3]
    assert lines[-2:] == [f"written: {table}", f"drawn: {chart}"]
    rows = pd.read_csv(table)
    assert rows["count [containers]"].tolist() == [1, 3]
    assert rows["status"].tolist() == ["meets", "fails"]
    assert rows["rate"].tolist() == [0, 1]
    drawn = chart.read_text(encoding="utf-8")
    assert all(f"<!-- {text} -->" in drawn for text in ("load 1", "limit you set: 400 in 1000"))
    assert sorted(tmp_path.iterdir()) == sorted([file, table, chart])


def test_it_prints_and_writes_what_the_library_gives_hints_and_cautions_under_their_headings(count, tmp_path):
    file, table = small_toml(tmp_path), tmp_path / "table.csv"
    code, out, err = count(file, "--counts", "1:2:1", "--max-fills", 1, "--seed", 4417, "--csv", table)
    assert code == 0, err
    decision = find_count(Scenario.from_toml(file), counts=[1, 2], max_fills=1, seed=4417, executor=AtOnce())
    order, _, rest = out.partition("\n")
    answer, _, rest = rest.partition("\nMEASURE NEXT\n")
    hints, _, care = rest.partition("\nCARE\n")
    assert decision.status == "undecided"
    assert order.strip() == f"DO THIS: Not settled. If you must choose now: {decision.chosen.order}"
    assert answer == decision.summary()
    assert decision.measure_next
    assert " ".join(hints.split()) == " ".join(decision.measure_next[:3])  # those that help most
    assert [line.strip() for line in care.splitlines()[: len(CAUTIONS)]] == list(CAUTIONS)
    again = pd.read_csv(table, keep_default_na=False)
    pd.testing.assert_frame_equal(again, risk_by_count(decision), check_exact=True, check_dtype=False)


def test_as_a_shell_runs_it_without_counts_it_looks_for_the_greatest(tmp_path):
    file = slim_toml(tmp_path)
    options = ["--max-fills", "3", "--seed", "1", "--workers", "1", "--chart", "chart.png"]
    command = [sys.executable, "-m", "colsim", "count", str(file), *options]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0].strip() == "DO THIS: Not settled. If you must choose now: Load 1, no more."
    assert done.stdout.splitlines()[1] == "count: load of 1 (undecided)"
    assert "drawn: chart.png" in done.stdout
    assert "fill/s" in done.stderr
    assert min(matplotlib.image.imread(tmp_path / "chart.png").shape[:2]) >= 500


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ([], {"counts": None, "max_fills": MAX_FILLS}),
        (["--counts", "8,10, 12"], {"counts": [8, 10, 12]}),
        (["--counts", "8:14:2"], {"counts": [8, 10, 12, 14]}),
        (["--max-fills", 7, "--seed", 0], {"max_fills": 7, "seed": 0}),
    ],
)
def test_options_are_passed_on(count, passed_on, tmp_path, given, named):
    file = small_toml(tmp_path)
    count(file, *given)
    assert passed_on["scenario"] == Scenario.from_toml(file)
    assert {name: passed_on[name] for name in named} == named
    assert passed_on["seed"] is not None


NOT_WHOLE = "not all whole numbers; allowed: whole numbers of containers"
REFUSED = {
    "a broken number": (["--counts", "2.5,3"], f'--counts: got "2.5,3", {NOT_WHOLE}'),
    "a range with broken steps": (["--counts", "1:2:0.5"], NOT_WHOLE),
    "a word": (["--counts", "all"], NOT_WHOLE),
    "a truth value": (["--counts", "1,true"], NOT_WHOLE),
    "a unit": (["--counts", "8 kg,9 kg"], NOT_WHOLE),
    "no counts": (["--counts", ""], '--counts: got "", no values'),
    "an empty place": (["--counts", "1,,2"], '--counts: got "1,,2", an empty place'),
    "no step": (["--counts", "1:2"], '--counts: got "1:2"; allowed: low:high:step'),
    "far too many": (["--counts", "1:999:1"], "--counts: got"),
    "none at all": (["--counts", "0,1"], "got 0; allowed: a whole number of 1 or more"),
    "more than there is room for": (["--counts", "99"], "got 99; allowed: at most"),
    "a table in no folder": (["--csv", "none/table.csv"], "none: cannot be written to"),
    "a table in place of a folder": (["--csv", "folder"], "folder: is a folder"),
    "a chart in no folder": (["--chart", "none/chart.png"], "none: cannot be written to"),
    "a chart of another kind": (["--chart", "chart.txt"], 'chart.txt: got the ending ".txt"; allowed: .png or .svg'),
    "a chart of no kind": (["--chart", "chart"], 'chart: got the ending ""'),
}


@pytest.mark.parametrize(("options", "said"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_one_message_and_nothing_is_simulated_or_written(count, monkeypatch, tmp_path, options, said):
    monkeypatch.setattr("colsim.sampling.many_fills.simulate_fill", lambda *_, **__: pytest.fail("simulated"))
    monkeypatch.chdir(tmp_path)
    file, folder = small_toml(tmp_path), tmp_path / "folder"
    folder.mkdir()
    code, out, err = count(file, *options)
    assert (code, out) == (2, "")
    assert said in err
    assert err.startswith("colsim: ")
    assert err.count("\n") == 1
    assert sorted(tmp_path.iterdir()) == sorted([file, folder])


@pytest.mark.parametrize("options", [["--max-fills", "0"], ["--seed", "-1"], ["--fills", "3"]])
def test_a_bad_option_is_a_usage_error(count, passed_on, tmp_path, options):
    code, out, err = count(small_toml(tmp_path), *options)
    assert (code, out) == (2, "")
    assert err.startswith("Usage: ")
    assert not passed_on


def test_several_kinds_are_refused_with_what_to_do(count):
    code, out, err = count(ROOT / "examples" / "birch-row-1.toml")
    assert (code, out) == (2, "")
    assert "allowed: one kind" in err
    assert "describe each kind alone" in err


def test_nothing_half_drawn_stays_when_writing_fails(count, monkeypatch, tmp_path):
    def full(source, target):
        raise OSError(28, "No space left on device")

    file, chart = small_toml(tmp_path), tmp_path / "chart.png"
    monkeypatch.setattr(os, "link", full)
    monkeypatch.setattr(os, "replace", full)
    code, _, err = count(file, "--counts", 1, "--max-fills", 1, "--seed", 1, "--chart", chart)
    assert code == 2
    assert "chart.png: cannot be written (No space left on device)" in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == [file]
