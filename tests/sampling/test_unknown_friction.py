"""A friction that nobody measured widens the answer, and measuring it narrows it, on the real engine."""

import pytest
from tests_shared import small_scenario

from colsim import find_spacer
from colsim.advice.risks import Case
from colsim.advice.status import Status

MEASURED = {
    "container.diameter": 58,
    "container.mass": 0.45,
    "container.liquid_spin": 0.2,
    "container.restitution": 0.2,
    "container.friction": 0.25,
    "column.throat_radius": 10,
    "rotor.housing_clearance": 2,
    "rotor.lead_in": 10,
    "rotor.speed": 45,
    "rotor.torque_limit": 8,
    "loading.placement_scatter": 0.5,
    "loading.count": 5,
    "target.failures_per_vend": 0.1,
}


@pytest.fixture(scope="module")
def answers():
    """Decide on the 6 mm spacer with the rotor's friction unknown, and with it measured low, typical and high."""
    unknown = {"kind": "unknown", "low": 0.1, "high": 0.3, "typical": 0.15}
    return {
        friction if isinstance(friction, float) else "unknown": find_spacer(
            small_scenario(5, **MEASURED, **{"rotor.friction": friction}), spacers=[6], max_fills=32, seed=5
        )
        for friction in (unknown, 0.1, 0.15, 0.3)
    }


def width(decision):
    low, high = decision.options[0].risks.could_be
    return high - low


def test_the_column_turns_within_the_range(answers):
    assert answers[0.1].status is Status.MEETS
    assert answers[0.3].status is Status.FAILS


def test_unknown_it_depends_on_it_and_says_so(answers):
    decision = answers["unknown"]
    assert decision.status is Status.DEPENDS
    assert decision.options[0].risks.depends_on == "rotor.friction"
    assert "friction on the rotor" in decision.reason


def test_measured_the_answer_is_narrower_and_the_report_says_by_how_much(answers):
    unknown, known = answers["unknown"], answers[0.15]
    assert width(known) < width(unknown) / 2
    assert set(known.options[0].risks.runs) == {Case.TYPICAL}
    low, high = unknown.options[0].risks.could_be
    low_known, high_known = known.options[0].risks.could_be
    said = unknown.measure_next[0]
    assert said.startswith("friction on the rotor, 5 min")
    assert f"{1000 * low_known:.0f} - {1000 * high_known:.0f} instead of {1000 * low:.0f} - {1000 * high:.0f}" in said


def test_the_cases_are_the_columns_with_that_friction(answers):
    runs = answers["unknown"].options[0].risks.runs
    for case, friction in ((Case.FAVOURABLE, 0.1), (Case.TYPICAL, 0.15), (Case.UNFAVOURABLE, 0.3)):
        alone = answers[friction].options[0].fills
        shared = list(zip(runs[case], alone, strict=False))
        assert shared
        assert all(a.vends == b.vends for a, b in shared)
