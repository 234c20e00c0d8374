"""Standard output and standard error: whatever becomes of them, no file is lost and no traceback shown."""

import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import matplotlib.image
import pytest
from tests_shared import small_toml

from colsim import ColsimError, OutputError, ScenarioError
from colsim.screen import exit_code_of, say

pytestmark = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
HOSTILE = "Müller $x^{ \\frac $ <&> -- ½ 中"
QUICK = ["--max-fills", "1", "--seed", "1", "--workers", "1"]
FULL = "colsim: standard output: cannot be written to (No space left on device); make room, or send it elsewhere\n"
COMMANDS = {
    "advise": (["advise", "t.toml", *QUICK, "--json", "a.json", "--pictures", "."], 4),
    "compare": (["compare", "t.toml", HOSTILE, "12 fl oz can", *QUICK, "--csv", "a.csv", "--chart", "a.svg"], 2),
    "new": (["new", "-o", "new.toml"], 1),
    "check": (["check", "t.toml"], 0),
    "schema": (["schema"], 0),
    "help": (["--help"], 0),
}


@pytest.fixture
def folder(tmp_path):
    """Give a folder with a scenario whose title and name have signs that something somewhere takes as orders."""
    text = small_toml(tmp_path).read_text(encoding="utf-8")
    text = text.replace('"small"', f"'{HOSTILE}'").replace("[container]", f"[container]\nname = '{HOSTILE}'")
    (tmp_path / "small.toml").rename(tmp_path / "t.toml").write_text(text, encoding="utf-8")
    return tmp_path


def colsim(folder, *arguments, encoding="utf-8", **streams):
    """Run a command for real; give its exit code and what went to standard error."""
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **streams}
    environment = {**os.environ, "PYTHONIOENCODING": encoding}
    command = [sys.executable, "-m", "colsim", *arguments]
    done = subprocess.run(command, cwd=folder, env=environment, check=False, **streams)
    return done.returncode, done.stdout or b"", (done.stderr or b"").decode("utf-8")


def check_files(folder, how_many):
    """Check that all files are there, whole, and nothing else is."""
    files = [path for path in folder.iterdir() if path.name != "t.toml"]
    assert len(files) == how_many
    for path in files:
        assert path.stat().st_size > 50
        if path.suffix == ".svg":
            assert len(list(ET.parse(path).getroot().iter())) > 50
        if path.suffix == ".png":
            assert min(matplotlib.image.imread(path).shape[:2]) >= 500


@pytest.mark.parametrize(("arguments", "files"), COMMANDS.values(), ids=COMMANDS)
class TestOfEveryCommand:
    def test_a_full_standard_output_costs_no_file_and_is_said_plainly(self, folder, arguments, files):
        with Path("/dev/full").open("wb") as full:
            code, _, err = colsim(folder, *arguments, stdout=full)
        assert code == 2
        assert err.endswith(FULL)
        assert "Traceback" not in err
        check_files(folder, files)

    def test_a_reader_that_leaves_costs_no_file_and_ends_it_quietly(self, folder, arguments, files):
        read, write = os.pipe()
        os.close(read)
        try:
            code, _, err = colsim(folder, *arguments, stdout=write)
        finally:
            os.close(write)
        assert code == 0
        assert not [word for word in ("colsim:", "Traceback", "Broken", "Exception") if word in err]
        check_files(folder, files)

    def test_letters_that_it_lacks_are_replaced(self, folder, arguments, files):
        code, out, err = colsim(folder, *arguments, encoding="ascii")
        assert code == 0
        assert out.isascii()
        assert "Traceback" not in err
        if "t.toml" in arguments:
            assert rb"M\xfcller $x^{ \frac $ <&> -- \xbd \u4e2d" in out
        check_files(folder, files)


@pytest.mark.parametrize("closed", [">&-", ">&- 2>&- <&-", "2>/dev/full", "2>&1 | true"])
def test_a_stream_that_is_closed_or_full_stops_no_work(folder, closed):
    count = f'"$0" -m colsim count t.toml --counts 1 {" ".join(QUICK)} --csv a.csv'
    line = f"{count} {closed}; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", line, sys.executable], cwd=folder, capture_output=True, check=False)
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr + done.stdout
    check_files(folder, 1)


def test_what_is_refused_keeps_its_exit_code_where_standard_output_is_full(folder):
    with Path("/dev/full").open("wb") as full:
        code, _, err = colsim(folder, "check", "none.toml", stdout=full)
    assert code == 2
    assert err.startswith("colsim: none.toml: cannot be read")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('title = "a\\u001b[2J"', r'title: got "a\x1b[2J", with \x1b at place 2'),
        ('title = "a\\nb"', r'title: got "a\nb", with \n at place 2'),
        ('"wi\\u001bdth" = 3', r"wi\x1bdth: unknown key"),
    ],
)
def test_nothing_in_a_file_steers_the_terminal(folder, line, said):
    path = folder / "t.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text("\n".join([line, *text.splitlines()[1:]]), encoding="utf-8")
    code, out, err = colsim(folder, "check", "t.toml")
    assert (code, out) == (2, b"")
    assert said in err
    assert err.count("\n") == 1
    assert "\x1b" not in err


def test_nor_does_the_name_of_a_file(folder):
    path = (folder / "t.toml").rename(folder / "a\x1b[2J\n.toml")
    code, out, _ = colsim(folder, "check", path.name)
    assert code == 0
    assert b"\x1b" not in out
    assert rb"a\x1b[2J" in out
    assert b"\x1b" not in colsim(folder, "check", f"{path.name}x")[2].encode()


def test_control_characters_are_shown_and_line_breaks_break_lines(capsys):
    say("two\nlines", "red \x1b[31m\r\x07\u2028\u202e")
    assert capsys.readouterr().out == "two\nlines\nred \\x1b[31m\\r\\x07\\u2028\\u202e\n"


@pytest.mark.parametrize(
    ("raised", "code", "said"),
    [
        (None, 0, ""),
        (SystemExit(), 0, ""),
        (SystemExit(3), 3, ""),
        (SystemExit("text"), 1, ""),
        (ScenarioError([("a\x1b", "b\nc"), ("", "d")]), 2, "colsim: a\\x1b: b\\nc\nd\n"),
        (OutputError("a\x1b\nb"), 2, "colsim: a\\x1b\nb\n"),
        (ColsimError("a"), 2, "colsim: a\n"),
    ],
)
def test_what_is_refused_is_said_on_standard_error(capsys, raised, code, said):
    def command():
        if raised is not None:
            raise raised

    assert exit_code_of(command) == code
    assert capsys.readouterr() == ("", said)
