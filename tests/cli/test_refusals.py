"""Bad input: exit code 2, one clear message, no traceback, nothing written."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from colsim.cli import app
from colsim.errors import ColsimError

GOOD = """
[container]
diameter = 66
mass = 0.54
[column]
width = 90
height = 600
wall_friction = 0.25
[rotor]
radius = 95
pockets = 1
pocket_width = 82
pocket_depth = 80
[loading]
count = 2
"""


def refusal(*arguments):
    """Run the command and give its one message."""
    done = CliRunner().invoke(app, [str(a) for a in arguments])
    assert done.stdout == ""
    if isinstance(done.exception, ColsimError):
        return str(done.exception)
    assert done.exit_code == 2
    return done.stderr


def written(tmp_path, text):
    path = tmp_path / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("width = 90", 'width = "wide"', 'got "wide"; allowed: a number in mm'),
        ("width = 90", 'width = "66,5 mm"', 'write a decimal point: "66.5 mm"'),
        ("width = 90", 'width = "90 kg"', 'unit "kg" is not one for a length'),
        ("width = 90", 'width = "4 hands"', 'unit "hands" is not one for a length'),
        ("width = 90", 'width = "90"', "which has no unit"),
        ("width = 90", "width = nan", "allowed: a finite number"),
        ("width = 90", "width = inf", "allowed: a finite number"),
        ("width = 90", "width = -90", "got -90.0; allowed: above 20"),
        ("width = 90", "width = true", "got True, which is no length"),
        ("width = 90", "width = 140", "two containers of 66 mm lie abreast"),
        ("width = 90", "width = 60", "the container is 66 mm wide"),
        ("mass = 0.54", "mass = 0", "container.mass: got 0.0; allowed: above 0.02"),
        ("mass = 0.54", "mas = 0.54", 'container.mas: unknown key; did you mean "mass"?'),
        ("pocket_depth = 80", "pocket_depth = 95", "a pocket cannot reach the drum's axis"),
        ("count = 2", "count = 2.5", "allowed: a whole number"),
        ("count = 2", "count = 40", "at most"),
        ("[loading]\ncount = 2", "", "loading: missing"),
        ("count = 2", "count = = 2", "is not TOML"),
    ],
)
def test_a_bad_scenario_is_refused_with_what_got_and_allowed(tmp_path, old, new, said):
    assert old in GOOD
    path = written(tmp_path, GOOD.replace(old, new))
    message = refusal("check", path)
    assert said in message
    assert str(path) in message


def test_an_empty_file_is_refused(tmp_path):
    assert "is empty" in refusal("check", written(tmp_path, ""))


def test_a_folder_is_refused(tmp_path):
    assert "cannot be read" in refusal("check", tmp_path)


def test_a_missing_file_is_refused(tmp_path):
    assert "No such file" in refusal("check", tmp_path / "none.toml")


def test_a_binary_file_is_refused(tmp_path):
    path = tmp_path / "binary.toml"
    path.write_bytes(bytes(range(256)))
    assert "not a text file" in refusal("check", path)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--json", "none/out.json"), "cannot be written to"),
        (("--json", "folder"), "is a folder"),
        (("--pictures", "scenario.toml/pictures"), "cannot be made"),
        (("--max-fills", "0"), "--max-fills"),
        (("--seed", "-1"), "--seed"),
        (("--workers", "0"), "--workers"),
    ],
)
def test_what_cannot_be_done_is_refused_before_the_work(tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)
    written(tmp_path, GOOD)
    Path("folder").mkdir()
    before = sorted(tmp_path.rglob("*"))
    assert said in refusal("advise", "scenario.toml", *arguments)
    assert sorted(tmp_path.rglob("*")) == before
