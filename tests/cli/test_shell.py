"""The shell's promises: where results and messages go, exit codes, files whole or not at all."""

import io
import json
import os
import stat
import sys

import matplotlib.image
import numpy as np
import pytest
from tests_shared import small_toml

from colsim import CATALOGUE, Scenario
from colsim.cli import main
from colsim.model.base import part_of

QUICK = ("--max-fills", "2", "--seed", "1", "--workers", "1")


@pytest.fixture
def shell(run_colsim, monkeypatch, tmp_path):
    """Run the command line as a shell would, in a folder of its own; give exit code, output and messages."""
    monkeypatch.chdir(tmp_path)
    return run_colsim


def refused(result):
    """Check that a result is one plain message with exit code 2, and give the message."""
    code, out, err = result
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    assert err.startswith(("colsim: ", "Usage: "))
    assert err.count("colsim: ") + err.count("Error: ") == 1
    return err


def tree(folder):
    return {path: path.read_bytes() if path.is_file() else None for path in folder.rglob("*")}


LINES = {
    "text that is no number": ("width = 90", 'width = "wide"', 'got "wide"'),
    "decimal comma": ("width = 90", 'width = "66,5 mm"', '"66.5 mm"'),
    "unit of another quantity": ("width = 90", 'width = "66 kg"', '"kg"'),
    "unknown unit": ("width = 90", 'width = "5 furlongs"', '"furlongs"'),
    "no number": ("width = 90", "width = nan", "got nan"),
    "infinity": ("width = 90", "width = inf", "got inf"),
    "negative": ("width = 90", "width = -90", "got -90"),
    "a number beyond any float": ("width = 90", "width = 1" + 400 * "0", "width"),
    "many digits": ("width = 90", f'width = "{400 * "9"} mm"', "width"),
    "zero mass": ('mass = "540 g"', "mass = 0", "container.mass: got 0"),
    "unknown key": ("width = 90", "width = 90\nwidht = 90", 'did you mean "width"?'),
    "unknown table": ("[loading]", "[loadings]", 'did you mean "loading"?'),
    "a table for a name": ('mass = "540 g"', 'mass = "540 g"\nlike = ["12 fl oz can"]', "container"),
    "invalid TOML": ("width = 90", "width = = 90", "is not TOML"),
    "text without quotes": ("width = 90", "width = 66 mm", "is not TOML"),
    "a word that is no choice": ('mass = "540 g"', 'mass = "540 g"\nsurface = "glass"', "'film_label'"),
    "a spread without its kind": (
        "width = 90",
        "width = {low = 89, high = 91}",
        'column.width.kind: missing; write "va',
    ),
    "a spread upside down": ("width = 90", 'width = {kind = "varies", low = 91, high = 89}', "low below high"),
    "an unknown key of a spread": ("width = 90", 'width = {kind = "varies", lo = 89}', "column.width.lo: unknown key"),
    "an end that does not go in": (
        'diameter = "66 mm"',
        'diameter = {kind = "varies", low = "66 mm", high = "8.5 cm"}',
        "rotor.pocket_width: with container.diameter at its end of 85: got 82 mm",
    ),
    "containers and a container": ("[column]", '[containers.can]\nlike = "12 fl oz can"\n[column]', "got both of"),
    "a date": ("width = 90", "width = 2020-01-01", "which is no length"),
}


@pytest.mark.parametrize("command", ["check", "advise"])
@pytest.mark.parametrize(("old", "new", "said"), LINES.values(), ids=LINES)
def test_a_bad_line_is_one_message(shell, tmp_path, command, old, new, said):
    file = small_toml(tmp_path)
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    before = tree(tmp_path)
    arguments = ("--json", "answer.json", "--pictures", "pictures") if command == "advise" else ()
    message = refused(shell(command, file, *arguments))
    assert said in message
    assert "small.toml" in message
    assert tree(tmp_path) == before


FILES = {
    "empty": (b"", "is empty"),
    "nothing but a comment": (b"# nothing\n", "is empty"),
    "every byte": (bytes(range(256)), "is not a text file"),
    "zeros": (bytes(100), "is not TOML"),
    "another encoding": ('title = "Müller"'.encode("latin-1"), "is not a text file"),
}


@pytest.mark.parametrize(("content", "said"), FILES.values(), ids=FILES)
def test_a_bad_file_is_one_message(shell, tmp_path, content, said):
    file = tmp_path / "bad.toml"
    file.write_bytes(content)
    assert said in refused(shell("check", file))


def test_a_folder_and_a_missing_file_are_one_message(shell, tmp_path):
    assert "cannot be read" in refused(shell("check", tmp_path))
    assert "cannot be read" in refused(shell("check", tmp_path / "none.toml"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--json", "none/answer.json"), "none: cannot be written to"),
        (("--json", "folder"), "folder: is a folder"),
        (("--json", "small.toml/answer.json"), "small.toml: cannot be written to"),
        (("--pictures", "small.toml/below"), "small.toml/below: cannot be made"),
        (("--pictures", "small.toml"), "small.toml: cannot be made"),
        (("--max-fills", "0"), "--max-fills"),
        (("--max-fills", "-3"), "--max-fills"),
        (("--max-fills", "many"), "--max-fills"),
        (("--seed", "-1"), "--seed"),
        (("--seed", "1.5"), "--seed"),
        (("--workers", "0"), "--workers"),
        (("--fills", "3"), "--fills"),
    ],
)
def test_a_bad_option_is_one_message_before_the_work(shell, tmp_path, arguments, said):
    file = small_toml(tmp_path)
    (tmp_path / "folder").mkdir()
    before = tree(tmp_path)
    assert said in refused(shell("advise", file, *arguments))
    assert tree(tmp_path) == before


@pytest.mark.parametrize("arguments", [("advice", "x"), ("check",), ("check", "a", "b")])
def test_a_bad_command_is_a_usage_error(shell, arguments):
    assert refused(shell(*arguments)).startswith("Usage: ")


def test_every_problem_of_a_file_is_told_under_one_heading(shell, tmp_path):
    file = small_toml(tmp_path)
    text = file.read_text(encoding="utf-8").replace("width = 90", "width = -1").replace("count = 2", "count = 0")
    file.write_text(text, encoding="utf-8")
    message = refused(shell("check", file))
    assert "column.width: got -1" in message
    assert "loading.count: got 0" in message


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """Advise once, and keep the folder, what was printed and what went to standard error."""
    folder = tmp_path_factory.mktemp("answered")
    file = small_toml(folder)
    patch = pytest.MonkeyPatch()
    capture = io.StringIO(), io.StringIO()
    with patch.context() as context:
        context.chdir(folder)
        context.setattr(sys, "argv", ["colsim", "advise", str(file), *QUICK, "--json", "a.json", "--pictures", "p/q"])
        context.setattr(sys, "stdout", capture[0])
        context.setattr(sys, "stderr", capture[1])
        with pytest.raises(SystemExit) as left:
            main()
    assert not left.value.code
    return folder, capture[0].getvalue(), capture[1].getvalue()


def test_rows_hold_what_they_say(answered):
    folder, _, _ = answered
    answer = json.loads((folder / "a.json").read_text(encoding="utf-8"))
    (decision,) = answer["decisions"]
    options = [option["option"] for option in decision["options"]]
    assert len(options) == len(set(options)) >= 2
    rows = {(r["option"], r["unknowns"], r["unit"], r["outcome"]): r for r in answer["risks"]}
    assert len(rows) == len(answer["risks"])
    kinds = ("double", "late", "bridge", "stall")
    units = [("fill", "failure"), ("vend", "failure"), *(("vend", kind) for kind in kinds)]
    ends = ("typical", "drawn over their ranges", "favourable", "unfavourable")
    assert list(rows) == [(option, end, *unit) for option in options for end in ends for unit in units]
    for option in options:
        for end in ends:
            whole = rows[option, end, "fill", "failure"]
            assert whole["fills"] == 2
            assert whole["rate"] == whole["failures"] / 2
            assert whole["failures"] in (0, 2)
            vends = [rows[option, end, "vend", kind]["failures"] for kind in kinds]
            assert sum(vends) == rows[option, end, "vend", "failure"]["failures"] >= whole["failures"]
    assert answer["fills"] == 2 * len(ends) * len(options)
    levels = {row["option"]: row["level"] for row in answer["risks"]}
    assert all(row["level"] == levels[row["option"]] for row in answer["risks"])
    # Shared among the options, one of which, the middle of what serves, may come up and did not.
    assert sum(1 - level for level in levels.values()) <= 0.05 + 1e-9
    assert answer["risks"][0]["level"] == pytest.approx(1 - 0.05 / 8)  # the spacer that is there now
    assert answer["scenario"]["container"]["diameter"] == 66
    assert decision["unit"] == "mm"


def test_files_stand_where_they_were_asked_for_and_are_named(answered):
    folder, out, _ = answered
    pictures = sorted((folder / "p" / "q").iterdir())
    assert [p.name for p in pictures] == ["column-as-it-is-now.png", "column-recommended.png", "risk-as-it-is-now.png"]
    assert {p.name for p in folder.iterdir()} == {"small.toml", "a.json", "p"}
    assert "written: a.json" in out
    assert all(f"drawn: p/q/{p.name}" in out.replace("\\", "/") for p in pictures)


def test_pictures_open_and_hold_many_colours(answered):
    folder, _, _ = answered
    for path in (folder / "p" / "q").iterdir():
        image = matplotlib.image.imread(path)
        assert min(image.shape[:2]) >= 500
        assert len(np.unique(image[::7, ::7].reshape(-1, image.shape[2]), axis=0)) > 20


def test_progress_goes_to_standard_error(answered):
    _, out, err = answered
    assert "0/16 [" in err  # four spacers, at their typical values and drawn, two fills each
    assert "fill/s" in err
    assert "fill/s" not in out
    assert "Traceback" not in err


def test_the_answer_of_other_workers_is_the_same(answered, shell, tmp_path):
    folder, _, _ = answered
    file = small_toml(tmp_path)
    code, _, err = shell("advise", file, "--max-fills", 2, "--seed", 1, "--workers", 2, "--json", "b.json")
    assert code == 0, err
    assert (tmp_path / "b.json").read_bytes() == (folder / "a.json").read_bytes()


def test_an_answer_replaces_an_older_one_whole_where_it_is_asked_to(answered, shell, tmp_path):
    folder, _, _ = answered
    file = small_toml(tmp_path)
    (tmp_path / "old.json").write_text("x" * 100_000, encoding="utf-8")
    assert shell("advise", file, *QUICK, "--json", "old.json", "--force")[0] == 0
    assert (tmp_path / "old.json").read_bytes() == (folder / "a.json").read_bytes()


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of another kind")
def test_an_answer_can_be_read_by_whom_any_new_file_can(answered):
    folder, _, _ = answered
    assert stat.S_IMODE((folder / "a.json").stat().st_mode) == stat.S_IMODE((folder / "small.toml").stat().st_mode)


def test_nothing_half_written_stays_when_writing_fails(shell, tmp_path, monkeypatch):
    def full(source, target):
        raise OSError(28, "No space left on device")

    file = small_toml(tmp_path)
    before = tree(tmp_path)
    monkeypatch.setattr(os, "link", full)
    monkeypatch.setattr(os, "replace", full)
    code, _, err = shell("advise", file, *QUICK, "--json", "answer.json")
    assert code == 2
    assert "answer.json: cannot be written (No space left on device)" in err
    assert "Traceback" not in err
    assert tree(tmp_path) == before


@pytest.mark.parametrize("command", ["catalogue", "schema", "check"])
def test_results_go_to_standard_output_and_nothing_else_is_said(shell, tmp_path, command):
    code, out, err = shell(command, *([small_toml(tmp_path)] if command == "check" else []))
    assert (code, err) == (0, "")
    assert out.strip()


def test_help_names_every_command(shell):
    code, out, err = shell("--help")
    assert (code, err) == (0, "")
    named = {line.split()[0] for line in out.partition("Commands:")[2].splitlines() if line.strip()}
    assert {"check", "advise", "compare", "count", "sweep", "catalogue", "schema"} <= named


def test_catalogue_shows_every_figure(shell):
    _, out, _ = shell("catalogue")
    for entry in CATALOGUE.values():
        assert f"\n{entry.name}\n" in f"\n{out}"
        for figure in entry.figures.values():
            value = figure.value if isinstance(figure.value, str) else f"{figure.value:g}"
            assert value in out
            assert figure.source in out


def test_schema_lists_every_key_with_how_to_measure_it(shell):
    _, out, _ = shell("schema", "--table")
    for part, field in Scenario.model_fields.items():
        for key, inner in getattr(field.annotation, "model_fields", {}).items():
            assert inner.description
            assert f"\n{part}.{key} " in out or f"\n{part}.{key}." in out
            if part_of(inner.annotation) is None:
                assert f"\n      {inner.description}\n" in out


def test_schema_holds_the_bounds(shell):
    schema = json.loads(shell("schema")[1])
    width = schema["$defs"]["Column"]["properties"]["width"]
    assert (width["exclusiveMinimum"], width["maximum"], width["unit"]) == (20, 400, "mm")
    assert schema["additionalProperties"] is False
