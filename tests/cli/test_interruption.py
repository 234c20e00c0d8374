"""Ctrl-C in a command, by real signals: an answer from what is done, marked as such, and exit code 130."""

import csv
import json
import os
import re
import signal
import subprocess
import sys
import time

import pytest
from tests_shared import ROOT, small_toml

pytestmark = pytest.mark.skipif(not hasattr(os, "killpg"), reason="a Ctrl-C is sent to a process group on POSIX only")
FROM_HERE = {**os.environ, "PYTHONPATH": str(ROOT)}
# A shell starts what runs in its background deaf to the signal; colsim then leaves it so.
START = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); from colsim.cli import main; main()"
LONG = ("--max-fills", "3000", "--workers", "2", "--seed", "1")


def begun(*arguments):
    """Start a command in a group of its own, and wait until it has simulated something."""
    words = [sys.executable, "-c", START, *map(str, arguments)]
    command = subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=FROM_HERE, start_new_session=True
    )
    seen = b""
    while not re.search(rb"[1-9]\d*/\d{4,} \[", seen) and command.poll() is None:
        seen += command.stderr.read1(4096)
    return command


def pressed(command, times, apart=0.15):
    """Press Ctrl-C as a terminal sends it, to all of the group; give exit code and standard output."""
    for k in range(times):
        time.sleep(apart if k else 0.0)
        try:
            os.killpg(command.pid, signal.SIGINT)
        except ProcessLookupError:
            break
    out, _ = command.communicate(timeout=120)
    return command.returncode, out.decode()


def group_is_gone(group):
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


def test_once_it_answers_from_what_is_done_and_says_so(tmp_path):
    table = tmp_path / "table.csv"
    command = begun("sweep", small_toml(tmp_path), "--over", "loading.count=1,2", "--fills", 3000, "--seed", 1,
                    "--workers", 2, "--csv", table)  # fmt: skip
    code, out = pressed(command, 1)
    assert code == 130
    assert "INTERRUPTED by Ctrl-C: not all was simulated" in out
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert rows
    assert {row["interrupted"] for row in rows} == {"True"}
    assert group_is_gone(command.pid)


@pytest.mark.parametrize("name", ["advise", "count", "compare"])
def test_every_command_ends_with_130_and_an_answer(name, tmp_path):
    answer = tmp_path / "answer.json"
    more = {"advise": ["--json", answer], "count": [], "compare": ["container", "12 fl oz can"]}[name]
    command = begun(name, small_toml(tmp_path), *more, *LONG)
    code, out = pressed(command, 1)
    assert code == 130
    assert "INTERRUPTED by Ctrl-C" in out
    if name == "advise":
        assert json.loads(answer.read_text(encoding="utf-8"))["interrupted"] is True
    assert group_is_gone(command.pid)


def test_twice_it_ends_at_once_and_leaves_no_process(tmp_path):
    command = begun("advise", small_toml(tmp_path), *LONG)
    code, _ = pressed(command, 2)
    assert code == 130
    assert group_is_gone(command.pid)
