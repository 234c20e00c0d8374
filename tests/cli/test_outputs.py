"""Files that commands leave: nothing that is there is lost, and what was simulated is not either."""

import errno
import io
import json
import os
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from tests_shared import ROOT, small_toml

from colsim import OutputError, advise, find_count, outputs
from colsim.cli import main
from colsim.outputs import require_outputs, table_as_csv, write_whole

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="links and permissions of another kind")
QUICK = ("--max-fills", 1, "--seed", 1)
LEFT = f".colsim-{32 * '0'}.part"
PICTURES = ["column-as-it-is-now.png", "column-recommended.png", "risk-as-it-is-now.png"]


@pytest.fixture
def shell(run_colsim, without_processes, monkeypatch, tmp_path):
    """Run the command line in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    return run_colsim


@pytest.fixture
def nothing_simulated(monkeypatch):
    monkeypatch.setattr("colsim.sampling.many_fills.simulate_fill", lambda *_, **__: pytest.fail("simulated"))


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def full(*_, **__):
    raise OSError(errno.ENOSPC, "No space left on device")


COMMANDS = {
    "advise": ("advise", ["--json", "--pictures"]),
    "compare": ("compare", ["--csv", "--chart"]),
    "count": ("count", ["--csv", "--chart"]),
    "sweep": ("sweep", ["--csv"]),
}
MORE = {"compare": ["12 fl oz can"], "sweep": ["--over", "loading.count=1,2"], "count": ["--counts", "1"]}
CASES = [(command, option) for command, options in COMMANDS.values() for option in options]
FILE_FOR = {"--json": "a.json", "--csv": "a.csv", "--chart": "a.svg"}


def arguments_of(command, file):
    how = ("--fills", 1, "--seed", 1) if command == "sweep" else QUICK
    return [command, file, *MORE.get(command, []), *how]


@pytest.mark.parametrize(("command", "option"), CASES)
def test_what_is_there_is_refused_before_the_work_and_stays(shell, nothing_simulated, tmp_path, command, option):
    file = small_toml(tmp_path)
    if option == "--pictures":
        (tmp_path / "p").mkdir()
        where, there = "p", tmp_path / "p" / PICTURES[1]
    else:
        where, there = FILE_FOR[option], tmp_path / FILE_FOR[option]
    there.write_bytes(b"mine")
    code, out, err = shell(*arguments_of(command, file), option, where)
    assert (code, out) == (2, "")
    shown = there.relative_to(tmp_path)
    assert err == (
        f"colsim: {shown}: there is such a file already, and it stays as it is; give another name, or --force to "
        "replace it\n"
    )
    assert there.read_bytes() == b"mine"


@pytest.mark.parametrize(("command", "option"), CASES)
def test_with_force_it_is_replaced(shell, tmp_path, command, option):
    file = small_toml(tmp_path)
    if option == "--pictures":
        (tmp_path / "p").mkdir()
        where, there = "p", tmp_path / "p" / PICTURES[1]
    else:
        where, there = FILE_FOR[option], tmp_path / FILE_FOR[option]
    there.write_bytes(b"mine")
    code, _, err = shell(*arguments_of(command, file), option, where, "--force")
    assert code == 0, err
    assert there.stat().st_size > 100
    assert not list(tmp_path.rglob(".*"))


@pytest.mark.parametrize("force", [[], ["--force"]])
@pytest.mark.parametrize(("command", "option"), [case for case in CASES if case[1] in ("--json", "--csv")])
@pytest.mark.parametrize("way", ["small.toml", "./small.toml", "p/../small.toml", "link", "hard"])
def test_the_scenario_itself_is_refused_even_with_force(
    shell, nothing_simulated, tmp_path, command, option, way, force
):
    file = small_toml(tmp_path)
    (tmp_path / "p").mkdir()
    (tmp_path / "link").symlink_to("small.toml")
    (tmp_path / "hard").hardlink_to(file)
    before = file.read_bytes()
    code, out, err = shell(*arguments_of(command, "small.toml"), option, way, *force)
    assert (code, out) == (2, "")
    assert f"{Path(way)}: is the scenario itself, which no output replaces, not even with --force; give another" in err
    assert file.read_bytes() == before


@POSIX
@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("x.png", "x.png"),
        ("x.png", "./x.png"),
        ("x.png", "p/../x.png"),
        ("x.png", "X.png"),  # one file where upper and lower case are the same
        ("link.png", "x.png"),
        ("p/x.png", "q/x.png"),
        ("new/x.png", "new"),
    ],
)
@pytest.mark.parametrize("force", [False, True])
def test_two_outputs_of_one_name_are_refused(tmp_path, monkeypatch, first, second, force):
    monkeypatch.chdir(tmp_path)
    Path("p").mkdir()
    Path("q").symlink_to("p")
    Path("link.png").symlink_to("x.png")
    with pytest.raises(OutputError, match=r"is the same file as|is to be the folder of"):
        require_outputs([Path(first), Path(second)], folder=Path("new"), force=force)


def test_so_they_are_by_a_command_before_the_work(shell, nothing_simulated, tmp_path):
    file = small_toml(tmp_path)
    code, out, err = shell(*arguments_of("count", file), "--csv", "x.png", "--chart", "./x.png", "--force")
    assert (code, out) == (2, "")
    assert err == "colsim: x.png: is the same file as x.png; give each output a name of its own\n"
    code, _, err = shell(*arguments_of("advise", file), "--json", f"p/{PICTURES[0]}", "--pictures", "p")
    assert (code, names(tmp_path)) == (2, ["small.toml"])
    assert "is the same file as" in err


def test_an_answer_may_go_into_the_folder_of_the_pictures_that_is_not_there_yet(shell, tmp_path):
    file = small_toml(tmp_path)
    assert shell(*arguments_of("advise", file), "--json", "p/a.json", "--pictures", "p")[0] == 0
    assert {"a.json", PICTURES[0]} <= set(names(tmp_path / "p"))


def test_new_follows_the_same_rule(shell, tmp_path):
    assert shell("new", "-o", "mine.toml")[0] == 0
    before = (tmp_path / "mine.toml").read_bytes()
    assert shell("new", "--from", "12 fl oz can", "-o", "mine.toml")[0] == 2
    assert (tmp_path / "mine.toml").read_bytes() == before
    assert shell("new", "--from", "12 fl oz can", "-o", "mine.toml", "--force")[0] == 0
    assert b'like = "12 fl oz can"' in (tmp_path / "mine.toml").read_bytes()


@POSIX
def test_a_link_is_refused_and_with_force_replaced_itself(shell, tmp_path):
    other = tmp_path / "other.json"
    other.write_bytes(b"other")
    for name, leads_to in (("a.json", "other.json"), ("b.json", "nowhere.json")):
        (tmp_path / name).symlink_to(leads_to)
        with pytest.raises(OutputError, match="there is such a file already"):
            require_outputs([tmp_path / name])
        require_outputs([tmp_path / name], force=True)
        assert write_whole(tmp_path / name, b"new", force=True) == tmp_path / name
        assert not (tmp_path / name).is_symlink()
        assert (tmp_path / name).read_bytes() == b"new"
    assert other.read_bytes() == b"other"
    assert names(tmp_path) == ["a.json", "b.json", "other.json"]


@POSIX
def test_a_link_that_was_planted_at_the_name_of_a_part_is_not_followed(shell, tmp_path, monkeypatch):
    file, victim = small_toml(tmp_path), tmp_path / "victim"
    victim.write_bytes(b"mine")
    tokens = iter([32 * "0", 32 * "1"])
    monkeypatch.setattr(outputs.secrets, "token_hex", lambda _: next(tokens))
    planted = [tmp_path / LEFT, tmp_path / f".a.csv.{os.getpid()}.part"]
    for link in planted:
        link.symlink_to(victim)
    code, _, err = shell(*arguments_of("count", file), "--csv", "a.csv")
    assert code == 0, err
    assert victim.read_bytes() == b"mine"
    assert all(link.is_symlink() for link in planted)
    assert (tmp_path / "a.csv").read_bytes().startswith(b"count")


@POSIX
@pytest.mark.parametrize("mask", [0o022, 0o077, 0o002])
@pytest.mark.parametrize("force", [False, True])
def test_a_file_has_the_mode_that_the_umask_leaves(tmp_path, mask, force):
    before = os.umask(mask)
    try:
        write_whole(tmp_path / "a", b"a", force=force)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o666 & ~mask


def test_names_of_parts_cannot_be_foreseen_and_are_beside_the_place(tmp_path, monkeypatch):
    opened = []
    before = os.open

    def seen(path, flags, *mode):
        opened.append((Path(path), flags))
        return before(path, flags, *mode)

    monkeypatch.setattr(os, "open", seen)
    for name in "ab":
        write_whole(tmp_path / name, b"x")
    parts = [(path, flags) for path, flags in opened if path.suffix == ".part"]
    assert len({path for path, _ in parts}) == 2
    assert all(path.parent == tmp_path and flags & os.O_EXCL for path, flags in parts)


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("there", [False, True])
@pytest.mark.parametrize("at", ["open", "write", "fsync", "link and replace", "half of a write"])
def test_on_a_full_disk_nothing_half_written_stays_and_what_was_there_does(tmp_path, monkeypatch, at, there, force):
    path = tmp_path / "a.json"
    if there:
        path.write_bytes(b"mine")
    before = names(tmp_path)
    if at == "half of a write":
        write = os.write
        monkeypatch.setattr(os, "write", lambda to, rest: write(to, rest[:3]) if len(rest) > 4 else full())
    else:
        for name in at.split(" and "):
            monkeypatch.setattr(os, name, full)
    with pytest.raises(OutputError) as caught:
        write_whole(path, b"content", force=force)
    monkeypatch.undo()
    assert str(caught.value) == (
        f"{path}: cannot be written (No space left on device); make room there, or give another path"
    )
    assert names(tmp_path) == before
    assert not there or path.read_bytes() == b"mine"
    assert write_whole(path, b"content", force=True).read_bytes() == b"content"


@pytest.mark.parametrize("nth", range(4))
def test_a_file_that_cannot_be_written_costs_neither_the_others_nor_what_is_printed(shell, tmp_path, monkeypatch, nth):
    """The answer and three pictures, of which one does not fit."""
    file, fsync, calls = small_toml(tmp_path), os.fsync, iter(range(100))

    def full_once(descriptor):
        if stat.S_ISREG(os.fstat(descriptor).st_mode) and next(calls) == nth:
            full()
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", full_once)
    code, out, err = shell(*arguments_of("advise", file), "--json", "a.json", "--pictures", "p")
    assert code == 2
    assert "WHAT TO EXPECT" in out
    assert err.count("cannot be written (No space left on device)") == 1
    assert "Traceback" not in err
    wanted = {"a.json", *(f"p/{name}" for name in PICTURES)}
    found = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()} - {"small.toml"}
    assert len(found) == 3
    (lost,) = wanted - found
    assert f"colsim: {lost}: cannot be written" in err
    assert all(f": {name}\n" in out for name in found)


def test_a_picture_that_cannot_be_drawn_costs_neither_the_answer_nor_what_is_printed(
    shell, tmp_path, monkeypatch, capsys
):
    def wrong(*_):
        raise ZeroDivisionError("a slip in drawing")

    file = small_toml(tmp_path)
    monkeypatch.setattr("colsim.pictures.plot_column", wrong)
    arguments = (*arguments_of("advise", file), "--json", "a.json", "--pictures", "p")
    monkeypatch.setattr(sys, "argv", ["colsim", *map(str, arguments)])
    with pytest.raises(ZeroDivisionError):
        main()
    assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["seed"] == 1
    assert names(tmp_path / "p") == ["risk-as-it-is-now.png"]
    printed = capsys.readouterr().out
    assert "WHAT TO EXPECT" in printed
    assert "written: a.json" in printed


@pytest.mark.parametrize(("command", "options"), [*COMMANDS.values(), ("new", ["-o"])])
def test_files_are_there_before_anything_is_printed(shell, tmp_path, monkeypatch, command, options):
    file, seen = small_toml(tmp_path), []
    wanted = [FILE_FOR.get(option, "p") for option in options]
    arguments = ["new"] if command == "new" else arguments_of(command, file)

    class Watched(io.StringIO):
        def write(self, text):
            seen.append(sorted(path.name for path in tmp_path.rglob("*")))
            return super().write(text)

    monkeypatch.setattr(sys, "stdout", Watched())
    named = [word for pair in zip(options, wanted, strict=True) for word in pair]
    assert shell(*arguments, *named)[0] == 0
    assert seen[0] == sorted([*wanted, "small.toml", *(PICTURES if "p" in wanted and command == "advise" else [])])


def test_what_came_to_be_there_during_the_work_stays_and_so_does_the_result(shell, tmp_path, monkeypatch):
    file = small_toml(tmp_path)
    (tmp_path / "a-2.csv").write_bytes(b"mine")

    def meanwhile(*arguments, **named):
        (tmp_path / "a.csv").write_bytes(b"mine")
        return find_count(*arguments, **named)

    monkeypatch.setattr("colsim.cli.find_count", meanwhile)
    code, out, err = shell(*arguments_of("count", file), "--csv", "a.csv")
    assert code == 2
    assert out.endswith("written: a-3.csv\n")
    assert "colsim: a.csv: came to be there during the work, and stays as it is; written: a-3.csv\n" in err
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "a-2.csv").read_bytes() == b"mine"
    assert (tmp_path / "a-3.csv").read_bytes().startswith(b"count")


def test_without_hard_links_nothing_is_replaced_either(tmp_path, monkeypatch):
    def none_here(*_):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", none_here)
    assert write_whole(tmp_path / "a", b"1") == tmp_path / "a"
    assert write_whole(tmp_path / "a", b"2") == tmp_path / "a-2"
    assert [(tmp_path / name).read_bytes() for name in ("a", "a-2")] == [b"1", b"2"]
    assert names(tmp_path) == ["a", "a-2"]


def test_old_pictures_that_this_run_does_not_draw_are_named(shell, tmp_path, monkeypatch):
    def without_choice(*arguments, **named):
        advice = advise(*arguments, **named)
        return replace(advice, spacer=replace(advice.spacer, chosen=None, status="fails", reason="Every one fails."))

    file = small_toml(tmp_path)
    (tmp_path / "p").mkdir()
    (tmp_path / "p" / PICTURES[1]).write_bytes(b"old")
    monkeypatch.setattr("colsim.cli.advise_on", without_choice)
    code, out, err = shell(*arguments_of("advise", file), "--pictures", "p", "--force")
    assert code == 0, err
    assert f"of an earlier run, not drawn by this one: p/{PICTURES[1]}" in out.replace("\\", "/")
    assert (tmp_path / "p" / PICTURES[1]).read_bytes() == b"old"


class TestLeftBehind:
    """Parts of files of runs that were killed."""

    def test_they_are_cleared_by_the_next_run_that_writes_there(self, shell, tmp_path):
        file = small_toml(tmp_path)
        (tmp_path / LEFT).write_bytes(b"half")
        assert shell("check", file)[0] == 0
        assert (tmp_path / LEFT).exists()
        assert shell(*arguments_of("count", file), "--csv", "a.csv")[0] == 0
        assert names(tmp_path) == ["a.csv", "small.toml"]

    @POSIX
    def test_what_another_run_is_writing_now_stays(self, tmp_path):
        code = (
            "import os, sys\nfrom pathlib import Path\nfrom colsim import outputs\n"
            "def wait(_):\n    print('here', flush=True)\n    sys.stdin.read()\n"
            "outputs.os.fsync = wait\noutputs.write_whole(Path('theirs'), b'theirs')\n"
        )
        with subprocess.Popen(
            [sys.executable, "-c", code], cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as other:
            assert other.stdout.readline() == "here\n"
            (part,) = names(tmp_path)
            write_whole(tmp_path / "ours", b"ours")
            assert names(tmp_path) == [part, "ours"]
            other.communicate("")
            assert other.returncode == 0
        assert names(tmp_path) == ["ours", "theirs"]

    @POSIX
    def test_what_a_killed_run_was_writing_does_not(self, tmp_path):
        code = (
            "import os, signal\nfrom pathlib import Path\nfrom colsim import outputs\n"
            "outputs.os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL)\n"
            "outputs.write_whole(Path('theirs'), b'theirs')\n"
        )
        done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=False)
        assert done.returncode < 0
        assert len(names(tmp_path)) == 1
        write_whole(tmp_path / "ours", b"ours")
        assert names(tmp_path) == ["ours"]

    @pytest.mark.parametrize(
        "name", [".colsim-1.part", f"x{LEFT}", f"{LEFT}x", ".a.json.12.part", f".colsim-{32 * 'g'}.part", "a.part"]
    )
    def test_what_has_another_name_stays(self, tmp_path, name):
        (tmp_path / name).write_bytes(b"mine")
        write_whole(tmp_path / "ours", b"ours")
        assert (tmp_path / name).read_bytes() == b"mine"

    @POSIX
    def test_what_is_no_file_stays(self, tmp_path):
        (tmp_path / "victim").write_bytes(b"mine")
        made = [tmp_path / f".colsim-{32 * digit}.part" for digit in "abc"]
        made[0].symlink_to("victim")
        made[1].mkdir()
        os.mkfifo(made[2])
        write_whole(tmp_path / "ours", b"ours")
        assert len(names(tmp_path)) == 5
        assert (tmp_path / "victim").read_bytes() == b"mine"

    def test_where_there_are_no_locks_only_old_ones_go(self, tmp_path, monkeypatch):
        monkeypatch.setattr(outputs, "fcntl", None)
        old, new = (tmp_path / f".colsim-{32 * digit}.part" for digit in "ab")
        for part in (old, new):
            part.write_bytes(b"half")
        os.utime(old, (0, 0))
        write_whole(tmp_path / "ours", b"ours")
        assert names(tmp_path) == [new.name, "ours"]

    @POSIX
    def test_a_part_that_was_cleared_before_it_was_locked_is_made_again(self, tmp_path, monkeypatch):
        lock, cleared = outputs.fcntl.flock, []

        def late(descriptor, how):
            if not cleared:
                cleared.extend(tmp_path.iterdir())
                cleared[0].unlink()
            lock(descriptor, how)

        monkeypatch.setattr(outputs.fcntl, "flock", late)
        assert write_whole(tmp_path / "ours", b"ours").read_bytes() == b"ours"
        assert names(tmp_path) == ["ours"]


CELLS = ["=1+1", "+1", "-1 mm", "@SUM(A1)", "\t=1", "\r=1", "can", "", "a=b", "'x", "x, y"]


def test_no_spreadsheet_runs_the_text_of_a_table_and_numbers_are_as_they_are():
    table = pd.DataFrame({"name": CELLS, "rate": [-0.25] * len(CELLS), "count": [-1] * len(CELLS), "=key": 1})
    table["mixed"] = pd.Series([-2.5, "-2.5 mm", *[None] * (len(CELLS) - 2)], dtype=object)
    before = table.copy()
    again = pd.read_csv(io.BytesIO(table_as_csv(table)), keep_default_na=False, dtype=str, lineterminator="\n")
    assert list(again) == ["name", "rate", "count", "'=key", "mixed"]
    assert again["name"].tolist() == [f"'{cell}" if cell[:1] in {*"=+-@\t\r"} else cell for cell in CELLS]
    assert set(again["rate"]) == {"-0.25"}
    assert set(again["count"]) == {"-1"}
    assert again["mixed"].tolist()[:3] == ["-2.5", "'-2.5 mm", ""]
    pd.testing.assert_frame_equal(table, before)


def test_names_of_a_file_are_safe_in_the_table_that_is_written(shell, tmp_path):
    file = small_toml(tmp_path)
    text = file.read_text(encoding="utf-8").replace("[container]", '[container]\nname = "=HYPERLINK(1)"')
    file.write_text(text, encoding="utf-8")
    code, out, err = shell("compare", file, "=HYPERLINK(1)", *QUICK, "--csv", "a.csv")
    assert code == 0, err
    assert "=HYPERLINK(1)" in out
    lines = (tmp_path / "a.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1].startswith("'=HYPERLINK(1),")


def test_examples_replace_their_own_files_and_touch_nothing_else(tmp_path):
    there = tmp_path / "there"
    there.mkdir()
    (there / "mine.txt").write_bytes(b"mine")
    for name in ("count.csv", "count.png"):
        (there / name).write_bytes(b"old")
    command = [sys.executable, str(ROOT / "examples" / "sweep_count.py"), "there", "--quick"]
    with open("/dev/full" if Path("/dev/full").exists() else os.devnull, "w", encoding="utf-8") as nowhere:
        done = subprocess.run(command, cwd=tmp_path, stdout=nowhere, stderr=subprocess.PIPE, text=True, check=False)
    assert "Traceback" not in done.stderr
    assert names(there) == ["count.csv", "count.png", "mine.txt"]
    assert (there / "mine.txt").read_bytes() == b"mine"
    assert all((there / name).stat().st_size > 100 for name in ("count.csv", "count.png"))
