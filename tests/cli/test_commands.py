"""The commands as a person and a program read them."""

import json
import subprocess
import sys

import pytest
from tests_shared import ROOT, small_toml
from typer.testing import CliRunner

from colsim import CATALOGUE, Scenario, __version__
from colsim.advice.cautions import CAUTIONS
from colsim.cli import app

RISK_KEYS = ["option", "unit", "outcome", "failures", "fills", "rate", "low", "high", "level", "method"]
DECISION_KEYS = {"decision", "recommended", "unit", "status", "reason", "options", "measure_next"}


def run(*arguments, folder=None):
    command = [sys.executable, "-m", "colsim", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)


@pytest.fixture(scope="module")
def advised(tmp_path_factory):
    folder = tmp_path_factory.mktemp("advise")
    file = small_toml(folder)
    arguments = ("--max-fills", 2, "--seed", 1, "--workers", 1, "--json", "answer.json", "--pictures", "pictures")
    return folder, run("advise", file, *arguments, folder=folder)


def test_advise_says_what_to_do_and_how_sure_it_is(advised):
    _, done = advised
    assert done.returncode == 0, done.stderr
    for heading in ("DO THIS", "WHAT TO EXPECT", "MEASURE NEXT", "CARE", "NOT CHECKED", "seed 1"):
        assert heading in done.stdout
    assert all(caution in done.stdout for caution in CAUTIONS)


def test_the_answer_for_a_program_has_the_agreed_form(advised):
    folder, _ = advised
    answer = json.loads((folder / "answer.json").read_text(encoding="utf-8"))
    assert list(answer) == ["scenario", "version", "engine", "seed", "fills", "risks", "decisions"]
    assert (answer["version"], answer["seed"]) == (__version__, 1)
    assert all(list(risk) == RISK_KEYS for risk in answer["risks"])
    assert {risk["unit"] for risk in answer["risks"]} == {"fill", "vend"}
    assert all(0 <= risk["low"] <= risk["rate"] <= risk["high"] <= 1 for risk in answer["risks"])
    assert all(set(decision) == DECISION_KEYS for decision in answer["decisions"])
    assert answer["decisions"][0]["decision"] == "spacer"
    assert Scenario(**answer["scenario"]) == Scenario.from_toml(folder / "small.toml")


def test_check_says_what_follows_and_what_was_assumed():
    done = run("check", ROOT / "examples" / "alder-hall-2.toml")
    assert done.returncode == 0, done.stderr
    for word in ("FIT", "BRIDGING", "CAPACITY", "POCKET", "SPACER", "ASSUMED", "container.restitution = 0.2", "CARE"):
        assert word in done.stdout


def test_check_on_a_column_too_wide_for_the_capacity_formula(tmp_path):
    done = run("check", small_toml(tmp_path, width=125))
    assert done.returncode == 0, done.stderr
    assert "1.866" in done.stdout


def test_catalogue_gives_a_source_for_every_figure():
    done = CliRunner().invoke(app, ["catalogue"])
    lines = done.stdout.splitlines()
    assert set(CATALOGUE) <= set(lines)
    figures = [line for line in lines if line.startswith("   ")]
    assert len(figures) == sum(len(entry.figures) for entry in CATALOGUE.values())
    assert all(len(line.split(maxsplit=3)) == 4 for line in figures)


def test_schema_is_json_schema_and_its_table_names_every_key():
    schema = json.loads(CliRunner().invoke(app, ["schema"]).stdout)
    table = CliRunner().invoke(app, ["schema", "--table"]).stdout
    assert schema["required"] == ["container", "column", "rotor", "loading"]
    for part in ("Container", "Column", "Rotor", "Loading", "Target"):
        for key, field in schema["$defs"][part]["properties"].items():
            assert field["description"]
            assert f"{part.lower()}.{key} " in table or f"{part.lower()}.{key}." in table


def test_the_table_explains_the_keys_of_a_liner():
    assert "column.liners.friction" in CliRunner().invoke(app, ["schema", "--table"]).stdout
