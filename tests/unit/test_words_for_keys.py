"""What people call a key leads to it."""

import pytest
from tests_shared import LEAST, small_scenario

from colsim import Column, Rotor, Scenario, ScenarioError
from colsim.model.base import keys
from colsim.model.conditions import OnHand
from colsim.model.refusals import KEYS_BY_WORD, nearest_key

PATHS = {key.path for key in keys(Scenario)} | set(Scenario.model_fields) | {"column.liners"} | {"loading.layers"}


@pytest.mark.parametrize("word", KEYS_BY_WORD)
def test_every_word_leads_to_a_key_that_there_is_and_is_none_itself(word):
    assert KEYS_BY_WORD[word] in PATHS
    holder, _, name = KEYS_BY_WORD[word].rpartition(".")
    siblings = {path.rpartition(".")[2] for path in PATHS if path.rpartition(".")[0] == holder}
    assert name in siblings
    assert word not in siblings
    assert nearest_key(word, ["zzzz"]) == f"did you mean {KEYS_BY_WORD[word]}?"


@pytest.mark.parametrize("word", ["shim", "Shim", "SPACER"])
def test_a_word_is_answered_with_its_key(word):
    with pytest.raises(ScenarioError, match=rf"^{word}: unknown key; did you mean rotor\.spacer_thickness\?$"):
        Rotor(**LEAST[Rotor], **{word: 6})


@pytest.mark.parametrize(
    ("word", "key"), [("wheel", "rotor"), ("lane", "column"), ("lane width", "column.width"), ("bottle", "container")]
)
def test_a_word_for_a_part_is_answered_too(word, key):
    with pytest.raises(ScenarioError, match=rf"{word}: unknown key; did you mean {key}\?"):
        Scenario(**{**small_scenario().as_given(), word: {}})


def test_a_word_in_a_path_is_answered_too():
    with pytest.raises(ScenarioError, match=r'^unknown path "rotor\.shim": did you mean rotor\.spacer_thickness\?$'):
        small_scenario().changed(**{"rotor.shim": 6})


def test_a_slip_of_the_pen_goes_before_a_word():
    with pytest.raises(ScenarioError, match=r'did you mean "spacers"\?'):
        OnHand(spacer=[6])
    with pytest.raises(ScenarioError, match=r'did you mean "width"\?'):
        Column(**{**LEAST[Column], "widht": 90})
