import pytest
from tests_shared import ROOT

from colsim import Scenario, find_spacer
from colsim.advice.advice import Advice
from colsim.advice.check_report import check_as_text
from colsim.advice.json_report import as_json_object
from colsim.advice.measurements import BEHIND, what_follows
from colsim.advice.report import as_text
from colsim.advice.why import why

EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_shipped_scenario_can_be_checked(path):
    text = check_as_text(Scenario.from_toml(path))
    assert "the measurements fit together" in text
    assert "UNKNOWN" in text


def test_the_theory_behind_each_number_is_told_when_asked():
    scenario = Scenario.from_toml(EXAMPLES[0])
    plain, with_why = (" ".join(check_as_text(scenario, show_why=why).split()) for why in (False, True))
    for subject in dict(what_follows(scenario)):
        assert BEHIND[subject] in with_why
        assert BEHIND[subject] not in plain


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_shipped_scenario_is_said_to_be_invented(path):
    assert "invented" in Scenario.from_toml(path).title
    assert "invented" in path.read_text(encoding="utf-8").splitlines()[0]


def test_the_half_measured_one_is_advised_with_all_that_it_holds():
    scenario = Scenario.from_toml(ROOT / "examples" / "birch-row-1.toml")
    decision = find_spacer(scenario, max_fills=1, seed=1)
    # None, and those on hand; with so few fills nothing can be settled.
    assert [option.value for option in decision.options] == [0, 6, 12, 18]
    text = " ".join(as_text(Advice(scenario, decision)).split())
    assert "5 x slim water on 4 x slim tea can, topped up once at 3 left" in text
    assert "press the lifted edge (right) flush" in text
    assert "End stops, cap direction: NOT CHECKED" in text
    assert "* from what you did not measure (" in text
    assert f"and {len(scenario.unknowns()) - 5} more (--why)" in text
    both = "soft walls and containers held by their gas were simulated at."
    assert f"HOT WEEKS NOT CHECKED beyond the 5 deg C of the column that {both}" in text  # 41 F
    assert "Set conditions.service_temperature to that of a hot week, and ask again" in text
    dry = " ".join(as_text(Advice(Scenario(**{**scenario.as_given(), "conditions": {}}), decision)).split())
    assert "HOT WEEKS NOT CHECKED beyond the 20 deg C (assumed) of the column" in dry
    reasons = why(Advice(scenario, decision))
    for path, spread in scenario.unknowns().items():
        assert any(path in line and f"{spread.low:g} - {spread.high:g}" in line for line in reasons.splitlines())
    written = as_json_object(Advice(scenario, decision))["scenario"]
    assert written["column"]["wall_friction"] == scenario.column.spreads["wall_friction"].table()
    assert written["loading"]["layers"] == [
        {"container": "slim tea can", "count": 4},
        {"container": "slim water", "count": 5},
    ]


def test_of_what_its_gas_holds_hot_weeks_are_told_as_well():
    scenario = Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml")
    text = " ".join(as_text(Advice(scenario, find_spacer(scenario, spacers=[0], max_fills=1, seed=1))).split())
    by_gas = (
        "HOT WEEKS NOT CHECKED beyond the 5 deg C of the column that containers held by their gas were simulated at."
    )
    assert by_gas in text  # 41 F
