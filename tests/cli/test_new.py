"""The command `new`, and what may stand before any command."""

import tomllib

import pytest

from colsim import CATALOGUE, Scenario, ScenarioError, __version__
from colsim.cli_new import scenario_to_fill_in
from colsim.model.base import keys

NAMES = [None, *CATALOGUE]
NOT_ON_SITE = {"modulus", "end_stiffness", "creep_exponent", "liquid_spin", "set_fraction", "tested_diameter"}


@pytest.fixture(params=NAMES)
def name(request):
    return request.param


def test_what_is_printed_is_a_scenario_as_it_is(run_colsim, tmp_path):
    code, printed, messages = run_colsim("new")
    assert (code, messages) == (0, "")
    assert printed == scenario_to_fill_in()
    path = tmp_path / "column.toml"
    path.write_text(printed, encoding="utf-8")
    assert run_colsim("check", path)[0] == 0


def test_every_container_of_the_catalogue_makes_a_scenario_in_which_little_is_known(name):
    scenario = Scenario.from_toml_text(scenario_to_fill_in(name))
    guessed = {"column.width", "column.height", "rotor.radius", "rotor.pocket_width", "rotor.pocket_depth"}
    assert guessed | {"column.wall_friction"} <= scenario.unknowns().keys()
    assert scenario.container.like == name
    if name is None:
        assert {"container.diameter", "container.mass"} <= scenario.unknowns().keys()
    else:
        figures = CATALOGUE[name].figures
        assert {field: getattr(scenario.container, field) for field in figures} == {
            field: figure.value for field, figure in figures.items()
        }


def test_every_key_worth_measuring_is_there_with_how_it_is_measured():
    text = scenario_to_fill_in()
    unwrapped = " ".join(line.removeprefix("# ") for line in text.splitlines())
    parts = ("container.", "column.", "rotor.", "loading.", "conditions.", "on_hand.", "target.")
    wanted = [key for key in keys(Scenario) if key.path.startswith(parts) and not key.path.startswith("loading.layers")]
    assert len(wanted) > 50
    for key in wanted:
        field = key.path.rpartition(".")[2]
        if field in NOT_ON_SITE | {"like"}:
            assert f"{field} = " not in text
            continue
        assert any(f"\n{start}" in text for start in (f"{field} = ", f"# {field} = ", f"# [[{key.path}]]"))
        assert " ".join(key.description.split()) in unwrapped


def test_what_stands_behind_a_sign_is_what_holds_without_it():
    """Take the sign from every line that says a whole value: nothing changes but that it was given."""
    text = scenario_to_fill_in("12 fl oz can")
    scenario, lines = Scenario.from_toml_text(text), []
    lines = [
        line.removeprefix("# ") if " = " in line and "__" not in line and " | " not in line else line
        for line in text.partition("# [[container.squeeze_test]]")[0].splitlines()
        if "  # or " not in line
    ]
    container = tomllib.loads("\n".join(lines))["container"]
    assert len(container) > 7
    given = scenario.changed(container=container).container
    assert {name: getattr(given, name) for name in container} == {
        name: getattr(scenario.container, name) for name in container
    }


def test_it_is_written_where_it_is_asked_for(run_colsim, tmp_path):
    path = tmp_path / "column.toml"
    code, printed, _ = run_colsim("new", "--from", "591 ml carbonated", "-o", path)
    assert (code, printed) == (0, f"written: {path}\n")
    assert path.read_text(encoding="utf-8") == scenario_to_fill_in("591 ml carbonated")


def test_a_file_that_there_is_stays_as_it_is(run_colsim, tmp_path):
    path = tmp_path / "column.toml"
    path.write_text("mine", encoding="utf-8")
    code, printed, messages = run_colsim("new", "--output", path)
    assert (code, printed) == (2, "")
    assert messages.startswith(f"colsim: {path}: there is such a file already, and it stays as it is; ")
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_path_that_cannot_be_written_is_refused(run_colsim, tmp_path):
    code, _, messages = run_colsim("new", "-o", tmp_path / "no" / "column.toml")
    assert code == 2
    assert "cannot be written" in messages
    assert run_colsim("new", "-o", tmp_path)[0] == 2


def test_a_container_that_is_not_in_the_catalogue_is_answered_with_the_nearest(run_colsim):
    code, _, messages = run_colsim("new", "--from", "12 fl oz cann")
    assert code == 2
    assert messages.startswith(
        'colsim: --from: got "12 fl oz cann", which is not in the catalogue; did you mean "12 fl'
    )
    with pytest.raises(ScenarioError, match="not in the catalogue"):
        scenario_to_fill_in("12 fl oz cann")


def test_the_version_is_printed(run_colsim):
    assert run_colsim("--version") == (0, f"colsim {__version__}\n", "")


@pytest.mark.parametrize("arguments", [("-h",), ("new", "-h"), ("check", "-h")])
def test_help_is_printed_for_the_short_option(run_colsim, arguments):
    code, printed, _ = run_colsim(*arguments)
    assert code == 0
    assert "Usage" in printed
    assert printed == run_colsim(*arguments[:-1], "--help")[1]


def test_help_names_the_command_and_says_what_all_is_for(run_colsim):
    _, printed, _ = run_colsim("-h")
    assert "bottles and cans jam" in printed
    assert "new " in printed
    assert "--version" in printed
