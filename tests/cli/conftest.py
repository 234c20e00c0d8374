"""How the command line is run inside a test."""

import sys

import pytest
from tests_shared import AtOnce

from colsim.cli import main


@pytest.fixture
def run_colsim(monkeypatch, capsys):
    """Run the command line as a shell would; give exit code, output and messages."""

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["colsim", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        return (left.value.code or 0, *capsys.readouterr())

    return run


@pytest.fixture
def without_processes(monkeypatch):
    """Simulate where the test runs, and not in other processes."""

    class Pool(AtOnce):
        def __init__(self, workers):
            pass

    monkeypatch.setattr("colsim.cli.process_pool", Pool)
