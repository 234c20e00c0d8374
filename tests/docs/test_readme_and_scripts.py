import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def run(script, *arguments, folder):
    return subprocess.run(
        [sys.executable, str(script), *arguments], cwd=folder, capture_output=True, text=True, check=False
    )


def test_the_python_of_readme_runs(tmp_path):
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
    assert blocks
    script = tmp_path / "readme.py"
    body = "\n".join(blocks).replace("\n", "\n    ")
    # As README asks, what simulates many fills stands under the guard.
    script.write_text(f"import matplotlib\nmatplotlib.use('Agg')\nif __name__ == '__main__':\n    {body}\n")
    done = run(script, folder=ROOT)
    assert done.returncode == 0, done.stderr
    assert "4 fills of 4" in done.stdout


def test_readme_carries_the_cautions():
    from colsim.advice.cautions import CAUTIONS

    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split()).lower()
    assert all(caution.rstrip(".").lower() in text for caution in CAUTIONS)


def test_readme_names_every_command_and_none_else():
    from colsim.cli import app

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"^colsim (\w+)", text, re.M))
    assert named == {command.callback.__name__ for command in app.registered_commands}


def test_the_example_script_runs():
    done = run(ROOT / "examples" / "advise_in_python.py", "--quick", folder=ROOT)
    assert done.returncode == 0, done.stderr
    assert "WHAT TO EXPECT" in done.stdout


def test_the_handout_is_drawn_and_bound(tmp_path):
    done = run(ROOT / "examples" / "training_handout.py", "--quick", str(tmp_path / "out"), folder=tmp_path)
    assert done.returncode == 0, done.stderr
    names = {path.name for path in (tmp_path / "out").iterdir()}
    charts = {"right-and-wrong", "spacer-by-diameter", "bridging-by-width", "count-by-softness"}
    assert names == {f"{chart}.{kind}" for chart in charts for kind in ("png", "svg")} | {"handout.pdf"}
    pdf = (tmp_path / "out" / "handout.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page\n") == 1 + len(charts)


# "prove" runs every proof's own smoke run.
@pytest.mark.parametrize(
    "name", ["speed", "engines", "known_columns", "facts", "soft_facts", "soft_limits", "decided", "prove"]
)
def test_every_benchmark_has_a_smoke_run(name, tmp_path):
    before = sorted((ROOT / "benchmarks" / "results").glob("*"))
    done = run(ROOT / "benchmarks" / f"{name}.py", "--quick", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "|" in done.stdout
    assert sorted((ROOT / "benchmarks" / "results").glob("*")) == before


def test_only_the_agreed_folders_stand_at_the_top():
    tracked = subprocess.run(["git", "-C", str(ROOT), "ls-files"], capture_output=True, text=True, check=False).stdout
    top = {name.split("/")[0] for name in tracked.splitlines() if not name.startswith(".")}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "colsim", "examples", "notebooks", "tests", "benchmarks"}
    assert top <= agreed
