import csv
import subprocess
import sys

from tests_shared import small_toml


def colsim(*arguments, folder):
    command = [sys.executable, "-m", "colsim", *map(str, arguments)]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def test_it_prints_writes_and_draws(tmp_path):
    file = small_toml(tmp_path)
    names = ["12 fl oz can", "591 ml carbonated"]
    options = ["--max-fills", 1, "--seed", 1, "--csv", "table.csv", "--chart", "chart.svg"]
    done = colsim("compare", file, *names, *options, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert all(name in done.stdout for name in names)
    assert "Unplug the machine" in done.stdout
    rows = list(csv.DictReader((tmp_path / "table.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["container"] for row in rows] == names
    assert (tmp_path / "chart.svg").read_text(encoding="utf-8").count("<path") > 5


def test_an_unknown_name_and_a_bad_path_are_refused_before_the_work(tmp_path):
    file = small_toml(tmp_path)
    done = colsim("compare", file, "12 fl oz cam", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert 'did you mean "12 fl oz can"?' in done.stderr
    done = colsim("compare", file, "12 fl oz can", "--csv", "no/where.csv", folder=tmp_path)
    assert done.returncode == 2
    assert "no" in done.stderr
    assert "Traceback" not in done.stderr
    done = colsim("compare", file, "12 fl oz can", "--chart", "chart.txt", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert 'chart.txt: got the ending ".txt"; allowed: .png or .svg' in done.stderr
    assert list(tmp_path.iterdir()) == [file]
