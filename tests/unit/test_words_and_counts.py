"""Words of which one is chosen, and whole numbers."""

import math

import pytest
from tests_shared import FIELDS, choices, least

from colsim import Loading, Rotor, ScenarioError
from colsim.model.conditions import Conditions, OnHand
from colsim.model.loading import Layer

WORDS = [(part, name) for part, name in FIELDS if choices(part, name)]
COUNTS = [(Rotor, "pockets"), (Layer, "count"), (Loading, "count"), (Loading, "top_up_at"), (OnHand, "liners")]


@pytest.mark.parametrize(("part", "name"), COUNTS)
@pytest.mark.parametrize("bad", [1.0, 1.5, "1", True, [1]])
def test_a_count_must_be_a_whole_number(part, name, bad):
    with pytest.raises(ScenarioError, match=rf"^{name}: got .*allowed: a whole number"):
        least(part, **{name: bad})


@pytest.mark.parametrize(("part", "name"), [(Rotor, "pockets"), (Layer, "count"), (OnHand, "liners")])
def test_a_count_that_must_be_given_is_not_none(part, name):
    with pytest.raises(ScenarioError, match=rf"^{name}: got None; allowed: a whole number"):
        least(part, **{name: None})


@pytest.mark.parametrize("values", [{}, {"count": None}, {"count": None, "layers": ()}])
def test_a_loading_without_a_count_is_refused(values):
    with pytest.raises(ScenarioError, match=r"^got neither of count and layers; allowed: count for one kind, layers"):
        Loading(**values)


def test_a_loading_of_a_count_and_of_layers_is_refused():
    with pytest.raises(ScenarioError, match=r"^got both of count and layers; allowed: count for one kind, layers"):
        Loading(count=2, layers=[{"container": "can", "count": 2}])


@pytest.mark.parametrize("top_up_at", [10, 11, 200])
def test_a_top_up_of_a_full_column_is_refused(top_up_at):
    with pytest.raises(ScenarioError, match=rf"^top_up_at {top_up_at} must be below the 10 containers"):
        least(Loading, top_up_at=top_up_at)
    assert least(Loading, top_up_at=9).vends == 11


@pytest.mark.parametrize(("part", "name"), WORDS)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -1, 10**9, True, "lots", ""])
def test_a_word_that_is_no_choice_is_answered_with_all_there_are(part, name, bad):
    with pytest.raises(ScenarioError, match=rf"^{name}: got {bad!r}; ") as caught:
        least(part, **{name: bad})
    assert all(f"'{word}'" in str(caught.value) for word in choices(part, name))


@pytest.mark.parametrize(("part", "name"), WORDS)
def test_every_word_of_a_choice_is_allowed(part, name):
    assert [getattr(least(part, **{name: word}), name) for word in choices(part, name)] == list(choices(part, name))


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1, 366, "long", [1], None])
def test_days_are_a_number_of_at_most_a_year(bad):
    with pytest.raises(ScenarioError, match=r"^days: got .*How to measure: days that") as caught:
        Conditions(days=bad)
    assert f"got {bad!r}" in str(caught.value)
    assert [Conditions(days=days).days for days in (0, 0.5, 365)] == [0, 0.5, 365]
