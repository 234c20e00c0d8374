"""Outcomes of a long benchmark are kept, and dropped when the code that made them has changed."""

import importlib

import pytest
from tests_shared import ROOT

PAIRS = [(False, False), (True, False), (False, True), (True, True)]


@pytest.fixture
def kept_outcomes(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "benchmarks"))
    return importlib.import_module("kept_outcomes")


@pytest.fixture
def engine(tmp_path):
    path = tmp_path / "engine.py"
    path.write_text('"""An engine."""\nSTEP = 1  # [ms]\n', encoding="utf-8")
    return path


def test_what_was_kept_comes_back(kept_outcomes, tmp_path, engine):
    kept = kept_outcomes.KeptOutcomes(tmp_path / "kept.json", engine)
    assert kept["a column"] == []
    kept["a column"] = PAIRS
    kept["another"] = PAIRS[1:2]
    again = kept_outcomes.KeptOutcomes(tmp_path / "kept.json", engine)
    assert (again["a column"], again["another"]) == (PAIRS, PAIRS[1:2])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["engine.py", "kept.json"]


@pytest.mark.parametrize(
    ("text", "counts"),
    [
        ('"""The same engine."""\n\nSTEP = 1  # in milliseconds\n', True),
        ('"""An engine."""\nSTEP = 2  # [ms]\n', False),
    ],
)
def test_it_counts_only_for_the_code_that_made_it(kept_outcomes, tmp_path, engine, text, counts):
    kept_outcomes.KeptOutcomes(tmp_path / "kept.json", engine)["a column"] = PAIRS
    engine.write_text(text, encoding="utf-8")
    assert kept_outcomes.KeptOutcomes(tmp_path / "kept.json", engine)["a column"] == (PAIRS if counts else [])


def test_a_function_of_nothing_but_its_docstring_is_code_still(kept_outcomes):
    assert kept_outcomes.code_of('def nothing():\n    """Do nothing."""\n') == "def nothing():\n    pass"
