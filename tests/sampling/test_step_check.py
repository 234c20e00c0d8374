"""What is recommended is simulated again with finer time steps: on made-up fills by construction, and for real."""

import json
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import pytest
from tests_shared import AtOnce, made, measured, small_scenario

from colsim import find_count, find_spacer, simulate_fill
from colsim.advice.advice import Advice
from colsim.advice.json_report import as_json_object
from colsim.advice.report import as_text
from colsim.advice.risks import Case
from colsim.advice.step_check import CHECKED_FILLS, StepCheck
from colsim.advice.why import why
from colsim.physics.choice import finer
from colsim.sampling import Outcome, many_fills
from colsim.sampling.draws import draw_fill_wide

S, X = Outcome.SINGLE, Outcome.STALL
LENIENT = {"target.failures_per_fill": 0.5}


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(measured(small_scenario(1)), seed=0)


@pytest.fixture
def pretend(monkeypatch, plain):
    """Have a function of the scenario, the fill's number and whether the step is finer say which fills fail.

    Another says what a vend presses with.
    """

    def use(fails, force=lambda scenario: 1.0):
        finer_ones = []

        def simulate(scenario, *, seed, number, engine, settings):
            drawn = draw_fill_wide(scenario, seed, number)
            if settings is not None:
                assert (engine, settings) == ("compiled", finer("compiled"))
                finer_ones.append((scenario.rotor.spacer_thickness, seed, number))
            column = scenario.changed(**drawn) if drawn else scenario
            found = fails(column, number, settings is not None)
            lost = found if isinstance(found, str) else ""
            one = made(plain, number, (X,) if found else (S,) * scenario.loading.total, scenario.loading.total, lost)
            vends = tuple(replace(vend, peak_force=force(column)) for vend in one.vends)
            return replace(one, vends=vends, drawn=drawn, seed=seed)

        monkeypatch.setattr(many_fills, "simulate_fill", simulate)
        return finer_ones

    return use


def column(**changes):
    return measured(small_scenario(4)).changed(**changes)


def decide(spacers=(0,), scenario=None, max_fills=96, executor=None, **changes):
    scenario = column(**{**LENIENT, **changes}) if scenario is None else scenario
    return find_spacer(scenario, spacers=spacers, max_fills=max_fills, seed=7, executor=executor or AtOnce())


def text_of(decision, scenario=None):
    return " ".join(as_text(Advice(scenario or column(**LENIENT), decision)).split())


def test_only_what_is_recommended_is_checked_on_the_first_loadings_of_the_same_seed(pretend):
    asked = pretend(lambda scenario, fill, fine: scenario.rotor.spacer_thickness == 0 or fill % 3 == 2)
    decision = decide((0, 6), max_fills=200)
    assert (decision.recommended, decision.status) == (6, "meets")
    assert decision.chosen.estimate.fills > CHECKED_FILLS
    assert asked == [(6, 7, fill) for fill in range(CHECKED_FILLS)]
    assert decision.step_check == StepCheck(CHECKED_FILLS, 0, 0, turns=False)
    assert [option.step_check is None for option in decision.options] == [True, False]


def test_where_there_are_fewer_loadings_all_are_checked(pretend):
    asked = pretend(lambda *_: False)
    decision = decide()
    assert decision.chosen.estimate.fills < CHECKED_FILLS
    assert decision.step_check.fills == len(asked) == decision.chosen.estimate.fills


def test_what_comes_out_the_same_is_said_wherever_the_answer_is(pretend):
    pretend(lambda *_: False)
    decision = decide(max_fills=200, **{"target.failures_per_fill": 0.1})
    assert decision.status == "meets"
    assert "Finer time steps: 0 of 24 loadings came out otherwise. Not checked against this machine" in text_of(
        decision
    )
    assert decision.summary().endswith("\nfiner time steps: 0 of 24 loadings came out otherwise")
    assert "of 24 loadings 0 met trouble with the usual time step only, 0 with half of it only" in why(
        Advice(column(), decision)
    )
    written = json.loads(json.dumps(as_json_object(Advice(column(), decision))))["decisions"][0]["step_check"]
    assert written == {"fills": 24, "only_coarse": 0, "only_fine": 0, "turns": False, "changed": 0}
    assert "time step" not in decision.reason


def test_what_fails_with_finer_steps_does_not_meet_the_target(pretend):
    pretend(lambda scenario, fill, fine: fine and fill % 2 == 1)
    decision = decide(max_fills=8, **{"target.failures_per_fill": 0.1})
    assert decision.chosen.risks.status == "undecided"
    assert decision.step_check == StepCheck(8, 0, 4, turns=False)  # four of eight may be chance
    pretend(lambda scenario, fill, fine: fine)
    decision = decide()
    n = decision.chosen.estimate.fills
    assert (decision.recommended, decision.status, decision.chosen.status) == (0, "undecided", "undecided")
    assert decision.chosen.risks.status == "meets"
    assert decision.step_check == StepCheck(n, 0, n, turns=True)
    words = f"with finer time steps {n} of {n} loadings came out otherwise, all of them worse."
    assert "The bare pocket stays within 500 bad loadings in 1000 with the usual time steps only." in decision.reason
    assert words in decision.reason.lower()
    assert "log 200 turns with it" in decision.measure_next[-1]
    text = text_of(decision)
    assert "Not settled. If you must choose now: Leave the pocket bare." in text
    assert "undecided: finer time steps change it" in text
    assert " meets " not in text.partition("WHAT TO EXPECT")[2].partition("* from")[0]
    assert decision.to_dataframe()["status"].tolist() == ["undecided"]
    assert as_json_object(Advice(column(), decision))["decisions"][0]["status"] == "undecided"


def test_one_loading_that_turns_the_verdict_is_enough(pretend):
    # 5 in 100 loadings may fail; of the fewest clean ones that show it, one that fails shows it no longer.
    pretend(lambda scenario, fill, fine: fine and fill == 5)
    needed = next(n for n in range(24, 400) if decide_at(n).chosen.risks.status == "meets")
    decision = decide_at(needed)
    assert decision.step_check == StepCheck(24, 0, 1, turns=True)
    assert decision.status == "undecided"
    assert "With finer time steps 1 of 24 loadings came out otherwise, and worse." in decision.reason
    # Where one of eight leaves the bound within the target, 0.62 of 0.7, it stays.
    decision = decide(**{"target.failures_per_fill": 0.7})
    assert decision.step_check == StepCheck(8, 0, 1, turns=False)
    assert decision.status == "meets"
    assert "time step" not in decision.reason


def decide_at(max_fills):
    return decide(max_fills=max_fills, **{"target.failures_per_fill": 0.05})


def test_a_difference_beyond_chance_keeps_it_from_meeting_even_if_it_is_for_the_better(pretend):
    # Six of 24 fail with the usual step only: two times 0.5 to the sixth is 0.031. Half of all loadings may fail.
    pretend(lambda scenario, fill, fine: not fine and fill < 24 and fill % 4 == 0)
    decision = decide(max_fills=1000)
    assert decision.chosen.risks.status == "meets"
    assert decision.chosen.estimate.fills >= 24
    assert decision.step_check == StepCheck(24, 6, 0, turns=True)
    assert decision.status == "undecided"
    assert "6 of 24 loadings came out otherwise, all of them better." in decision.reason
    pretend(lambda scenario, fill, fine: not fine and fill < 20 and fill % 4 == 0)  # five: 0.0625
    decision = decide(max_fills=1000)
    assert (decision.step_check.only_coarse, decision.step_check.turns, decision.status) == (5, False, "meets")


def test_finer_steps_never_make_anything_meet(pretend):
    pretend(lambda scenario, fill, fine: not fine and fill % 2 == 0)
    decision = decide(max_fills=48, **{"target.failures_per_fill": 0.4})
    assert decision.chosen.risks.status == decision.status == "undecided"
    assert decision.step_check.turns
    assert "With finer time steps 12 of 24 loadings came out otherwise, all of them better." in decision.reason


def test_a_simulation_that_cannot_be_believed_with_finer_steps_counts_as_trouble(pretend):
    pretend(lambda scenario, fill, fine: "lost" if fine else False)
    decision = decide()
    assert (decision.step_check.only_fine, decision.status) == (decision.step_check.fills, "undecided")
    pretend(lambda scenario, fill, fine: "lost" if fill == 1 else False)
    assert decide(max_fills=200).step_check.changed == 0  # both cannot be


def test_in_place_of_what_turns_another_that_meets_is_recommended_and_checked_too(pretend):
    # From 4 to 12 mm all serve, and 8 mm lies deepest; with finer steps it fails.
    def fails(scenario, fill, fine):
        thickness = scenario.rotor.spacer_thickness
        return not 2 < thickness < 14 or (fine and thickness == 8)

    asked = pretend(fails)
    decision = decide((0, 4, 8, 12, 16))
    assert (decision.recommended, decision.status) == (4, "meets")
    assert [option.status for option in decision.options] == ["fails", "meets", "undecided", "meets", "fails"]
    assert list(dict.fromkeys(thickness for thickness, _, _ in asked)) == [8, 4]
    assert "The 8 mm spacer is passed over: with finer time steps" in decision.reason
    assert decision.step_check.changed == 0
    assert "Finer time steps: 0 of" in text_of(decision)


def test_nothing_is_checked_where_nothing_is_recommended(pretend):
    asked = pretend(lambda *_: True)
    decision = decide()
    assert (decision.recommended, decision.step_check, asked) == (None, None, [])
    assert "ime step" not in decision.summary() + text_of(decision)
    assert as_json_object(Advice(column(), decision))["decisions"][0]["step_check"] is None


UNKNOWN = {"rotor.friction": {"kind": "unknown", "low": 0.2, "typical": 0.3, "high": 0.4}}


def test_the_unfavourable_case_is_checked_as_well(pretend):
    # Every other one fails where the drum is rougher than typical; with finer steps all do there.
    def fails(scenario, fill, fine):
        return scenario.rotor.friction > 0.3 and (fine or fill % 2 == 0)

    pretend(fails)
    scenario = column(**{"target.failures_per_fill": 0.8}, **UNKNOWN)
    decision = decide(scenario=scenario, max_fills=200)
    risks = decision.chosen.risks
    assert risks.runs[Case.UNFAVOURABLE].scenario.rotor.friction == 0.4
    assert risks.status == "meets"
    checked = [min(CHECKED_FILLS, len(risks.runs[case])) for case in (Case.TYPICAL, Case.UNFAVOURABLE)]
    assert decision.step_check.fills == sum(checked)
    assert decision.step_check.only_fine == checked[1] // 2
    assert decision.status == "undecided"


def test_where_none_failed_the_end_at_which_a_vend_presses_hardest_is_checked(pretend):
    # Rougher drums press harder; none fails but with finer steps. The screening fills are not simulated again.
    asked = pretend(
        lambda scenario, fill, fine: fine and scenario.rotor.friction > 0.3, lambda scenario: scenario.rotor.friction
    )
    decision = decide(scenario=column(**{"target.failures_per_fill": 0.2}, **UNKNOWN), max_fills=200)
    risks = decision.chosen.risks
    assert set(risks.runs) == set(Case)
    assert risks.runs[Case.UNFAVOURABLE].scenario.rotor.friction == 0.4
    checked = [min(CHECKED_FILLS, len(risks.runs[case])) for case in (Case.TYPICAL, Case.UNFAVOURABLE)]
    assert decision.step_check.fills == len(asked) == sum(checked)
    assert decision.step_check.only_fine == checked[1]
    assert (risks.status, decision.status) == ("meets", "undecided")


def test_no_loading_is_checked_twice_where_nothing_shows_which_end_is_the_bad_one(pretend):
    asked = pretend(lambda scenario, fill, fine: fine and fill == 0)
    decision = decide(scenario=column(**{"target.failures_per_fill": 0.3}, **UNKNOWN), max_fills=200)
    checked = min(CHECKED_FILLS, len(decision.chosen.fills))
    assert len(asked) == len(set(asked)) == checked
    assert decision.step_check == StepCheck(checked, 0, 1, turns=decision.step_check.turns)


@pytest.mark.parametrize("stop_at", [0, 3])
def test_cut_short_there_is_no_check_and_the_answer_says_so(pretend, stop_at):
    def fails(scenario, fill, fine):
        if fine and fill == stop_at:
            raise KeyboardInterrupt
        return False

    pretend(fails)
    decision = decide(max_fills=200)
    assert (decision.recommended, decision.step_check) == (0, None)
    assert decision.reason.startswith("Stopped early, so not all was looked at. ")
    assert "Finer time steps: NOT CHECKED, stopped early." in text_of(decision)
    assert decision.summary().endswith("finer time steps: NOT CHECKED, stopped early")
    assert as_json_object(Advice(column(), decision))["decisions"][0]["step_check"] is None


def test_after_work_that_was_cut_short_nothing_is_checked(pretend):
    def fails(scenario, fill, fine):
        if fill == 9:
            raise KeyboardInterrupt
        return False

    asked = pretend(fails)
    decision = decide(max_fills=200, **{"target.failures_per_fill": 0.1})
    assert (decision.step_check, asked) == (None, [])
    assert "Finer time steps: NOT CHECKED, stopped early." in text_of(decision)


def test_below_a_count_that_turns_the_search_goes_on(pretend):
    # As simulated all meet up to 9; with finer steps only up to 7.
    def fails(scenario, fill, fine):
        return scenario.loading.total > (7 if fine else 9)

    pretend(fails)
    scenario = column(**{"target.failures_per_fill": 0.2}, **{"loading.count": 2})
    decision = find_count(scenario, max_fills=96, seed=7, executor=AtOnce())
    assert (decision.recommended, decision.status) == (7, "meets")
    statuses = {option.value: option.status for option in decision.options}
    assert (statuses[7], statuses[8], statuses[9], statuses[10]) == ("meets", "undecided", "undecided", "fails")
    assert decision.step_check == StepCheck(24, 0, 0, turns=False)
    assert "Not settled: 8 to 9. From 10 up it fails" in decision.reason
    assert "The load of 9 is passed over: with finer time steps 24 of 24 loadings came out otherwise" in decision.reason
    assert decision.measure_next[0].startswith("to load 8: log 200 turns with it")
    named = find_count(scenario, counts=[4, 9], max_fills=96, seed=7, executor=AtOnce())
    assert (named.recommended, [option.value for option in named.options]) == (4, [4, 9])


def test_both_answers_of_one_screen_are_told_together(pretend):
    pretend(lambda scenario, fill, fine: fine and fill == 0)
    scenario = column(**LENIENT)
    decision = decide(max_fills=48)
    count = find_count(scenario, counts=[4], max_fills=48, seed=7, executor=AtOnce())
    both = decision.step_check.fills + count.step_check.fills
    text = " ".join(as_text(Advice(scenario, decision, count)).split())
    assert f"Finer time steps: 2 of {both} loadings came out otherwise, all of them worse." in text


@pytest.mark.parametrize(
    ("coarse", "fine", "words"),
    [
        (0, 0, "0 of 24 loadings came out otherwise"),
        (0, 1, "1 of 24 loadings came out otherwise, and worse"),
        (1, 0, "1 of 24 loadings came out otherwise, and better"),
        (0, 5, "5 of 24 loadings came out otherwise, all of them worse"),
        (3, 0, "3 of 24 loadings came out otherwise, all of them better"),
        (2, 3, "5 of 24 loadings came out otherwise, 3 of them worse"),
    ],
)
def test_it_is_said_in_words(coarse, fine, words):
    assert StepCheck(24, coarse, fine, turns=False).in_words() == words


def test_for_real_it_counts_what_single_fills_show_and_is_the_same_on_any_workers():
    scenario = measured(small_scenario(3, **{"container.diameter": 62}))  # fails in some fills and not in others

    def decided(executor):
        return find_spacer(scenario, spacers=[0], max_fills=8, seed=5, executor=executor)

    decision = decided(AtOnce())
    pairs = [
        [simulate_fill(scenario, seed=5, number=k, settings=settings).failure is not None for k in range(8)]
        for settings in (None, finer("compiled"))
    ]
    usual, again = pairs
    check = decision.step_check
    assert check.fills == 8
    assert check.only_coarse == sum(a and not b for a, b in zip(usual, again, strict=True))
    assert check.only_fine == sum(b and not a for a, b in zip(usual, again, strict=True))
    for executor in (ThreadPoolExecutor(2), ProcessPoolExecutor(1), ProcessPoolExecutor(2)):
        with executor:
            other = decided(executor)
        assert (other.step_check, other.reason, other.status) == (check, decision.reason, decision.status)
