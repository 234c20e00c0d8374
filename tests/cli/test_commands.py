"""The commands as a person and a program read them."""

import json
import re
import shlex
import subprocess
import sys
from dataclasses import replace

import pytest
from tests_shared import ROOT, AtOnce, measured, small_scenario, small_toml
from typer.testing import CliRunner

from colsim import CATALOGUE, Advice, Scenario, __version__, advise, find_count, find_spacer
from colsim.advice.cautions import CAUTIONS
from colsim.advice.report import as_text
from colsim.advice.risks import Case
from colsim.cli import app

RISK_KEYS = [
    "option",
    "unknowns",
    "unit",
    "outcome",
    "failures",
    "fills",
    "vends",
    "rate",
    "low",
    "high",
    "level",
    "method",
]
DECISION_KEYS = {
    "decision",
    "recommended",
    "unit",
    "status",
    "reason",
    "options",
    "measure_next",
    "step_check",
    "window",
}


def run(*arguments, folder=None):
    command = [sys.executable, "-m", "colsim", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)


@pytest.fixture(scope="module")
def advised(tmp_path_factory):
    folder = tmp_path_factory.mktemp("advise")
    file = small_toml(folder)
    arguments = (
        "--max-fills",
        2,
        "--seed",
        1,
        "--workers",
        1,
        "--json",
        "answer.json",
        "--pictures",
        "pictures",
        "--why",
    )
    return folder, run("advise", file, *arguments, folder=folder)


def test_advise_says_what_to_do_and_how_sure_it_is(advised):
    _, done = advised
    assert done.returncode == 0, done.stderr
    for heading in ("DO THIS", "WHAT TO EXPECT", "MEASURE NEXT", "CARE", "NOT CHECKED", "seed 1"):
        assert heading in done.stdout
    assert all(caution in done.stdout for caution in CAUTIONS)


def test_advise_says_what_finer_time_steps_changed(advised):
    folder, done = advised
    (decision,) = json.loads((folder / "answer.json").read_text(encoding="utf-8"))["decisions"]
    check = decision["step_check"]
    # Two in the typical case, and two in the unfavourable one.
    assert check == {"fills": 4, "only_coarse": 0, "only_fine": 0, "turns": False, "changed": 0}
    assert "Finer time steps: 0 of 4 loadings came out otherwise." in " ".join(done.stdout.split())


def test_of_firm_containers_it_says_nothing_of_hot_weeks_and_asks_for_as_many_loadings_as_it_takes(advised):
    _, done = advised
    text = " ".join(done.stdout.split())
    assert "HOT WEEKS" not in text
    assert "Load: NOT CHECKED here how high to fill. All below is for 2 x" in text
    wanted = re.search(r"simulate about (\d+) loadings \(now 2\)", text)
    typed = re.search(r"NEXT colsim advise \S+ --max-fills (\d+) \(enough loadings to settle it\)", text)
    assert 0 <= int(typed[1]) - int(wanted[1]) < 16


def test_what_meets_is_followed_by_the_command_for_the_count(tmp_path):
    changes = {"target.failures_per_vend": 0.9, "loading.count": 2}
    scenario = measured(small_scenario(2)).changed(**changes)
    text = " ".join(as_text(advise(scenario, max_fills=16, seed=1, executor=AtOnce()), file="my.toml").split())
    assert re.search(
        r"NEXT colsim count my.toml --set rotor.spacer_thickness=\d+ \(how high to fill with it\)", text
    ), text


def test_where_a_smaller_load_serves_the_first_order_is_to_load_fewer():
    how = {"max_fills": 1, "seed": 1, "executor": AtOnce()}
    scenario = measured(small_scenario(2))
    spacer = replace(find_spacer(scenario, spacers=[6], **how), chosen=None, status="fails", reason="Every one fails.")
    text = " ".join(as_text(Advice(scenario, spacer, find_count(scenario, counts=[1], **how))).split())
    assert "1 Load fewer. With 2 x container every one fails. Line 2 is for the 6 mm spacer, the least bad. 2 " in text
    assert "Nothing looked at will do" not in text


def test_of_soft_walls_it_says_how_many_to_load_with_the_spacer_it_advises(tmp_path):
    file = ROOT / "examples" / "cedar-steps-3.toml"
    arguments = ("--max-fills", 1, "--seed", 1, "--workers", 1, "--json", "answer.json", "--why")
    done = run("advise", file, *arguments, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "NOT CHECKED here how high to fill" not in text
    assert "HOT WEEKS NOT CHECKED beyond the 20 deg C (assumed)" in text
    answer = json.loads((tmp_path / "answer.json").read_text(encoding="utf-8"))
    spacer, count = answer["decisions"]
    assert (spacer["decision"], count["decision"]) == ("spacer", "count")
    thickness = spacer["recommended"]
    with_it = f"{thickness:g} mm spacer" if thickness else "bare pocket"
    values = [option["value"] for option in count["options"]]
    assert 16 in values  # as it is loaded now
    for value in values:
        assert f"load of {value:g}, {with_it}" in text
    if count["recommended"] is not None:
        assert f"Load {count['recommended']:g}, no more. {count['reason']}" in text


def test_why_lists_what_nobody_measured_and_each_end_of_each_spacer(advised):
    folder, done = advised
    lines = done.stdout.partition("\nWHY\n")[2].splitlines()
    unknowns = Scenario.from_toml(folder / "small.toml").unknowns()
    assert unknowns
    for path, spread in unknowns.items():
        (line,) = [line for line in lines if line.split()[:1] == [path]]
        assert line.split(None, 1)[1] == f"{spread.typical:g}, {spread.low:g} - {spread.high:g}, {spread.origin}"
    answer = json.loads((folder / "answer.json").read_text(encoding="utf-8"))
    rows = [r for r in answer["risks"] if (r["unit"], r["outcome"]) == ("vend", "failure")]
    for end in {row["unknowns"] for row in rows}:
        found = [line.removeprefix(f"      {end}").split() for line in lines if line.startswith(f"      {end} ")]
        assert [f"{row['failures']} of {row['fills']}" for row in rows if row["unknowns"] == end] == [
            " ".join(words[:3]) for words in found
        ]


def test_the_answer_for_a_program_has_the_agreed_form(advised):
    folder, _ = advised
    answer = json.loads((folder / "answer.json").read_text(encoding="utf-8"))
    agreed = ["scenario", "version", "engine", "seed", "fills", "risks", "decisions"]
    assert list(answer) == [*agreed, "changes", "interrupted", "assumed", "unknowns"]
    unknowns = Scenario.from_toml(folder / "small.toml").unknowns()
    assert answer["unknowns"] == {path: spread.table() for path, spread in unknowns.items()}
    assert (answer["version"], answer["seed"]) == (__version__, 1)
    assert all(list(risk) == RISK_KEYS for risk in answer["risks"])
    assert {risk["unit"] for risk in answer["risks"]} == {"fill", "vend"}
    assert set(Case) == {risk["unknowns"] for risk in answer["risks"]}
    assert all(0 <= risk["low"] <= risk["rate"] <= risk["high"] <= 1 for risk in answer["risks"])
    assert all(set(decision) == DECISION_KEYS for decision in answer["decisions"])
    assert answer["decisions"][0]["decision"] == "spacer"
    assert Scenario(**answer["scenario"]) == Scenario.from_toml(folder / "small.toml")


def test_check_says_what_follows_and_what_was_assumed():
    done = run("check", ROOT / "examples" / "alder-hall-2.toml")
    assert done.returncode == 0, done.stderr
    for word in ("FIT", "BRIDGING", "CAPACITY", "POCKET", "SPACER", "UNKNOWN", "ASSUMED", "CARE"):
        assert f"\n{word}" in f"\n{done.stdout}"
    text = " ".join(done.stdout.split())
    unknown, assumed = text.split(" UNKNOWN ")[1].split(" ASSUMED ")
    assert "container.restitution 0 to 0.4 (typical 0.2)" in unknown
    assert "rotor.rest = pocket_up" in assumed
    assert "container.restitution" not in assumed
    assert "container.friction" not in text  # measured, so neither


def test_check_names_the_next_commands_as_they_must_be_typed():
    commands = {command.callback.__name__ for command in app.registered_commands}
    for name, expected in (("alder-hall-2", ["advise", "count"]), ("birch-row-1", ["advise"])):
        file = ROOT / "examples" / f"{name}.toml"
        text = " ".join(run("check", file).stdout.split())
        assert re.findall(rf"colsim (\w+) {re.escape(str(file))}", text) == expected  # a count takes one kind
        assert set(expected) <= commands


def test_what_is_printed_as_the_next_command_can_be_typed(advised):
    folder, done = advised
    (line,) = re.findall(r"NEXT +(colsim [^(]*?) +\(", " ".join(done.stdout.split()))
    words = shlex.split(line)
    again = run(*words[1:], "--max-fills", 1, "--workers", 1, "--seed", 1, folder=folder)
    assert again.returncode == 0, again.stderr


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        (["rotor.spacer_thickness"], "allowed: PATH=VALUE"),
        (["rotor.spacer=12"], "rotor.spacer"),
        (["loading.count=2", "loading.count=3"], "got twice"),
        (["column.width=2"], "column.width: got 2"),
    ],
)
def test_what_cannot_be_set_is_refused(advised, changes, why):
    folder, _ = advised
    done = run("check", folder / "small.toml", *(word for change in changes for word in ("--set", change)))
    assert done.returncode == 2
    assert why in done.stderr


def test_check_says_what_has_no_effect_yet(tmp_path):
    file = small_toml(tmp_path)
    text = file.read_text(encoding="utf-8")
    assert "KEPT" not in run("check", file).stdout
    firm = text.replace('"540 g"', '"540 g"\nstiffness = 70\ndrink = "cola_like"')
    file.write_text(firm + "[conditions]\ndays = 3\n", encoding="utf-8")
    kept = "KEPT conditions.days, container.carbonation, container.drink: read, and without"
    assert kept in " ".join(run("check", file).stdout.split())


def test_temperatures_have_an_effect_on_what_its_gas_holds_and_days_on_soft_walls_alone(tmp_path):
    file = small_toml(tmp_path)
    text = (
        file.read_text(encoding="utf-8") + "[conditions]\ndays = 3\nservice_temperature = 5\nloading_temperature = 30\n"
    )
    kept = {}
    for name, more in {
        "firm": "stiffness = 70",
        "by its gas": 'drink = "cola_like"\nbody_length = 130',
        "soft": 'drink = "still"\nempty_mass = 0.014',
    }.items():
        file.write_text(text.replace('"540 g"', f'"540 g"\n{more}'), encoding="utf-8")
        done = run("check", file)
        assert done.returncode == 0, done.stderr
        kept[name] = " ".join(done.stdout.split()).partition("KEPT ")[2].partition(":")[0]
    assert kept["firm"] == "conditions.loading_temperature, conditions.service_temperature, conditions.days"
    assert kept["by its gas"] == "conditions.days"
    assert kept["soft"] == ""


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
    assert schema["required"] == ["column", "rotor", "loading"]  # and one of container and containers
    parts = {"Container": ("container", "containers.NAME"), "Conditions": ("conditions",), "OnHand": ("on_hand",)}
    for part in ("Container", "Column", "Rotor", "Loading", "Conditions", "OnHand", "Target"):
        for key, field in schema["$defs"][part]["properties"].items():
            assert field["description"]
            for path in parts.get(part, (part.lower(),)):
                assert f"\n{path}.{key} " in table or f"\n{path}.{key}." in table


def test_the_table_explains_the_keys_of_what_may_be_there_several_times():
    table = CliRunner().invoke(app, ["schema", "--table"]).stdout
    assert "column.liners.friction " in table
    assert "loading.layers.container " in table
