"""The decision on the count: on made-up fills by construction, and once for real."""

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import AtOnce, made, measured, small_scenario

from colsim import ScenarioError, SimulationError, find_count, simulate_fill
from colsim.advice import Status
from colsim.advice.count_table import risk_by_count
from colsim.errors import StoppedError
from colsim.sampling import Outcome, many_fills
from colsim.sampling.draws import draw_fill_wide

S, X = Outcome.SINGLE, Outcome.STALL
FULL = small_scenario().greatest_count()


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(small_scenario(1), seed=0)


@pytest.fixture
def pretend(monkeypatch, plain):
    """Have each count fail in as many fills of a thousand as a function says, at once; and give room for so many."""

    def use(failures, room=FULL):
        asked = []

        def simulate(scenario, *, seed, number, engine, settings):
            count = scenario.loading.total
            asked.append((count, seed, number))
            loaded = min(count, room)
            share = failures(count)
            failed = (number + 1) * share // 1000 > number * share // 1000
            found = made(plain, number, (X,) if failed else (S,) * loaded, count=loaded)
            return replace(found, seed=seed, short=count - loaded)

        monkeypatch.setattr(many_fills, "simulate_fill", simulate)
        return asked

    return use


def decide(counts=None, max_fills=96, executor=None, **changes):
    """Ask about a column of which nothing is unknown; one bad loading in ten is allowed if nothing else is said."""
    scenario = measured(small_scenario(2)).changed(**{"target.failures_per_fill": 0.1, **changes})
    return find_count(scenario, counts=counts, max_fills=max_fills, seed=7, executor=executor or AtOnce())


def errors(decision):
    """Give the error that the intervals of each count are allowed."""
    return {option.value: 1 - option.risks.level for option in decision.options}


def looked_at(decision):
    return [option.value for option in decision.options]


@pytest.mark.parametrize("border", range(FULL + 1))
def test_wherever_the_border_is_it_is_found_in_a_logarithmic_number_of_counts(pretend, border):
    pretend(lambda count: 1000 * (count > border))
    decision = decide()
    assert decision.recommended == (border or None)
    assert decision.status == ("meets" if border else "fails")
    assert decision.chosen is None or decision.chosen.status is Status.MEETS  # confirmed at that very count
    assert len(decision.options) <= 3 + math.ceil(math.log2(FULL))
    if 0 < border < FULL:
        assert border + 1 in looked_at(decision)
        assert f"From {border + 1} up it fails: second one in the pocket." in decision.reason


@pytest.mark.parametrize("seed", range(6))
def test_however_the_risks_lie_few_counts_are_looked_at_and_what_is_recommended_meets(pretend, seed):
    shares = np.random.default_rng(seed).choice([0, 50, 90, 110, 200, 1000], size=FULL + 1).tolist()
    pretend(lambda count: shares[count])
    decision = decide(max_fills=96)
    assert len(decision.options) <= 3 + 2 * math.ceil(math.log2(FULL))
    shown = [option.value for option in decision.options if option.status is Status.MEETS]
    assert decision.recommended == max(shown) if shown else decision.status is not Status.MEETS


@pytest.mark.parametrize("present", [2, FULL])
def test_where_half_may_meet_but_is_not_shown_to_fewer_are_looked_at(pretend, present):
    # Of two a loading 96 clean fills do not show it, of five they do.
    pretend(lambda count: 0 if count < 6 else 80 if count < 10 else 1000)
    per_vend = {"target.failures_per_fill": None, "target.failures_per_vend": 0.02}
    decision = decide(**per_vend, **{"loading.count": present})
    assert decide([2], **per_vend).status == "undecided"
    assert (decision.recommended, decision.status) == (5, "meets")
    assert {6, 9, 10} <= set(looked_at(decision))
    assert "Not settled: 6 to 9. From 10 up it fails" in decision.reason


def test_a_clean_column_is_loaded_in_full_and_nothing_more_is_looked_at(pretend):
    asked = pretend(lambda _: 0)
    decision = decide()
    assert (decision.recommended, decision.decision, decision.unit) == (FULL, "count", "containers")
    assert looked_at(decision) == [2, (FULL + 1) // 2, FULL]  # as it is now, half, full
    assert decision.reason == f"The load of {FULL} stays within 100 bad loadings in 1000. There is room for no more."
    assert f"count: load of {FULL} (meets)" in decision.summary()
    assert decision.measure_next == ()
    assert {seed for _, seed, _ in asked} == {7}  # one seed: common draws


def test_none_is_recommended_where_all_fail(pretend):
    pretend(lambda _: 1000)
    decision = decide()
    assert (decision.recommended, decision.status) == (None, "fails")
    assert 1 in looked_at(decision)
    assert "second one in the pocket" in decision.reason


def test_what_finds_no_room_in_a_loading_is_not_recommended(pretend):
    pretend(lambda _: 0, room=FULL - 3)
    decision = decide()
    assert decision.recommended == FULL - 3
    assert max(looked_at(decision)) == FULL - 3


def test_more_than_finds_room_where_containers_come_out_thick_is_not_looked_at(pretend):
    pretend(lambda _: 0)
    thick = {"kind": "varies", "low": 60, "typical": 66, "high": 72}
    decision = decide(**{"container.diameter": thick})
    assert decision.recommended == small_scenario(2, **{"container.diameter": 72}).greatest_count() < FULL


def test_a_count_named_for_which_there_is_no_room_is_not_recommended(pretend):
    pretend(lambda _: 0, room=8)
    decision = decide([6, 8, 10])
    assert decision.recommended == 8
    assert "There is not always room for 10." in decision.reason
    assert "no room for all in" in decision.options[-1].geometry
    with pytest.raises(SimulationError, match="no room for 1 of the 9"):
        decide([9, 10])


def test_a_smaller_count_that_is_worse_is_named(pretend):
    pretend(lambda count: 1000 * (count == (FULL + 1) // 2))
    decision = decide()
    half = (FULL + 1) // 2
    assert decision.recommended == FULL
    assert f"Fewer is not always safer: {half} went wrong more often than {FULL}" in decision.reason


def test_of_two_stretches_that_meet_a_border_with_its_neighbour_is_found(pretend):
    pretend(lambda count: 1000 * (count in (3, 4) or count > 5))
    decision = decide([2, 3, 4, 5, 6])
    assert (decision.recommended, decision.status) == (5, "meets")
    assert "From 6 up it fails" in decision.reason
    assert "3 went wrong more often than 5" in decision.reason


def test_failures_that_are_no_tail_are_not_called_one(pretend):
    pretend(lambda count: {3: 1000, 4: 100}.get(count, 0))
    decision = decide([2, 3, 4])
    assert (decision.recommended, decision.options[-1].status) == (2, "undecided")
    assert "It fails with 3: " in decision.reason
    assert "Not settled: 4." in decision.reason
    (hint,) = decision.measure_next  # though what is recommended is settled: whether more can be loaded
    assert hint.startswith("to load 4: simulate about ")


def test_what_lies_between_the_unsettled_and_what_fails_is_not_settled_either(pretend):
    pretend(lambda count: {4: 100, 9: 1000}.get(count, 0))
    assert "Not settled: 4 to 8. From 9 up it fails" in decide([2, 4, 9]).reason


def test_without_failures_that_differ_no_smaller_count_is_called_worse(pretend):
    pretend(lambda count: 30 * (count < FULL))
    assert "Fewer" not in decide().reason


def test_what_is_not_shown_is_undecided_and_says_how_many_fills_would_do(pretend):
    pretend(lambda _: 0)
    decision = decide(max_fills=4)
    assert decision.status == "undecided"
    assert "went wrong least, but 4 loadings do not show whether it stays within" in decision.reason
    assert "no more" not in decision.reason  # that is said of what stays within the target
    assert decision.measure_next[-1].startswith("simulate about ")


def test_per_vend_few_containers_take_more_fills_so_the_search_goes_by_the_best_guess(pretend):
    # The 48 clean fills do not show one container to meet; going down from what is not shown would end there.
    pretend(lambda count: 1000 * (count > 9))
    decision = decide(max_fills=48, **{"target.failures_per_fill": None, "target.failures_per_vend": 0.02})
    assert {9, 10} <= set(looked_at(decision))
    assert not {3, 4} & set(looked_at(decision))


def test_the_confidence_is_shared_among_all_counts_that_may_come_up(pretend):
    pretend(lambda _: 0)
    present, rest = 0.05 / 8, 0.05 * 7 / 8  # an eighth for the load as it is now
    assert errors(decide()) == {
        2: pytest.approx(present),
        (FULL + 1) // 2: pytest.approx(rest / (FULL - 1)),
        FULL: pytest.approx(rest / (FULL - 1)),
    }
    assert errors(decide([4, 2, 4])) == {2: pytest.approx(present), 4: pytest.approx(rest)}
    assert errors(decide([4])) == {4: pytest.approx(0.05)}
    topped = errors(decide(**{"loading.count": 5, "loading.top_up_at": 4}))
    assert topped.pop(5) == pytest.approx(present)
    assert list(topped.values()) == pytest.approx([rest / (FULL - 5)] * len(topped))
    assert topped


@pytest.mark.parametrize("counts", [[1, 3], [2, 3], [1, 2, 3], [3, 4, 5], [3]])
def test_the_errors_of_all_counts_that_are_named_are_together_no_more_than_the_target_allows(pretend, counts):
    pretend(lambda _: 0)
    assert sum(errors(decide(counts, max_fills=1)).values()) <= 0.05 + 1e-12


def test_what_is_topped_up_keeps_that_and_only_counts_above_it_are_looked_at(pretend):
    pretend(lambda count: 1000 * (count > 4))
    decision = decide(**{"loading.count": 5, "loading.top_up_at": 4})
    assert (min(looked_at(decision)), decision.recommended) == (5, None)
    assert {option.fills.scenario.loading.top_up_at for option in decision.options} == {4}
    with pytest.raises(ScenarioError, match="counts: got 4; allowed: 5 or more"):
        decide([4, 6], **{"loading.count": 5, "loading.top_up_at": 4})


def test_a_column_with_no_room_above_the_top_up_is_refused(pretend):
    pretend(lambda _: 0, room=4)
    with pytest.raises(SimulationError, match=r"room for 4 .* lower loading\.top_up_at"):
        decide(**{"loading.count": 5, "loading.top_up_at": 4})


@pytest.mark.parametrize(("stop_at", "reason"), [(8, "Stopped early, so not all was looked at."), (0, None)])
def test_stopped_by_hand_it_says_so_and_goes_by_what_is_done(pretend, monkeypatch, stop_at, reason):
    pretend(lambda _: 0)
    go_on = many_fills.simulate_fill

    def stop(scenario, *, seed, number, engine, settings):
        if number == stop_at:
            raise KeyboardInterrupt
        return go_on(scenario, seed=seed, number=number, engine=engine, settings=settings)

    monkeypatch.setattr(many_fills, "simulate_fill", stop)
    if reason is None:
        with pytest.raises(StoppedError, match="stopped before the first fill was done"):
            decide()
    else:
        decision = decide()
        assert decision.reason.startswith(reason)
        assert decision.status == "undecided"
        assert {option.estimate.fills for option in decision.options} == {stop_at}


@pytest.mark.parametrize(
    ("counts", "message"),
    [
        ([], "counts: got none"),
        ([0], "counts: got 0; allowed: a whole number of 1 or more"),
        ([2.5], r"counts: got 2\.5"),
        ([True], "counts: got True"),
        ([FULL + 1], f"counts: got {FULL + 1}; allowed: at most {FULL}"),
    ],
)
def test_counts_that_are_none_are_refused_before_anything_is_simulated(counts, message, monkeypatch):
    monkeypatch.setattr(many_fills, "simulate_fill", lambda *_, **__: pytest.fail("simulated"))
    with pytest.raises(ScenarioError, match=message):
        decide(counts)


@pytest.mark.parametrize(("name", "value"), [("max_fills", 0), ("seed", -1), ("seed", 1.5)])
def test_numbers_that_are_none_are_refused(name, value):
    with pytest.raises(ScenarioError, match=f"^{name}: got {value}"):
        find_count(small_scenario(), **{"max_fills": 1, "seed": 1, name: value})


def test_several_kinds_are_refused():
    scenario = small_scenario()
    kinds = {"wide": scenario.container, "slim": scenario.container}
    layers = [{"container": "wide", "count": 2}, {"container": "slim", "count": 2}]
    mixed = {**scenario.as_given(), "containers": kinds, "loading": {"layers": layers}}
    del mixed["container"]
    with pytest.raises(ScenarioError, match=r"loading\.layers: got 2 x slim on 2 x wide; allowed: one kind"):
        find_count(type(scenario)(**mixed))


def test_where_it_turns_on_what_was_not_measured_it_says_on_what(monkeypatch, plain):
    def simulate(scenario, *, seed, number, engine, settings):  # with more than four a grippy wall holds them
        drawn = draw_fill_wide(scenario, seed, number)
        count, friction = scenario.loading.total, drawn.get("column.wall_friction", scenario.column.wall_friction)
        found = made(plain, number, (X,) if count > 4 and friction > 0.35 else (S,) * count, count=count)
        return replace(found, drawn=drawn, seed=seed)

    monkeypatch.setattr(many_fills, "simulate_fill", simulate)
    unknown = {"kind": "unknown", "low": 0.2, "high": 0.4, "typical": 0.3}
    some = {"column.wall_friction": unknown}
    decision = decide([4, 5], max_fills=48, **some)
    assert (decision.recommended, decision.status, decision.options[1].status) == (4, "meets", "depends")
    assert "Not settled: 5." in decision.reason
    assert decision.measure_next[0].startswith("to load 5: friction on the walls")
    table = risk_by_count(decision)
    assert table["could be high"][1] > 0.9 > table["high"][1]
    decision = decide([5], max_fills=48, **some)
    assert (decision.recommended, decision.status) == (5, "depends")
    assert "It depends most on the friction on the walls. What goes wrong most: " in decision.reason
    assert "if typical, bad vends in 1000 could be" in decision.measure_next[0]


@pytest.mark.parametrize("per", ["vend", "fill"])
def test_the_table_gives_the_risk_that_the_target_is_about(pretend, per):
    pretend(lambda count: 250 * (count > 3))
    decision = decide([3, 4], **{"target.failures_per_fill": None if per == "vend" else 0.1})
    table = risk_by_count(decision)
    assert table["count [containers]"].tolist() == [3, 4]
    for row, option in zip(table.to_dict("records"), decision.options, strict=True):
        estimate = getattr(option.fills.risk_looking_often(level=option.risks.level), f"per_{per}")
        assert (row["rate"], row["low"], row["high"]) == (estimate.rate, estimate.low, estimate.high)
        assert (row["could be low"], row["could be high"]) == (estimate.low, estimate.high)  # nothing is unknown


def small_real(executor):
    slim = measured(small_scenario(2, **{"container.diameter": 58, "column.height": 150}))
    return find_count(slim, max_fills=3, seed=1, executor=executor)


def test_for_real_it_is_the_same_on_any_executor_and_a_lone_slim_one_comes_where_two_do_not():
    decision = small_real(AtOnce())
    with ThreadPoolExecutor(2) as pool:
        again = small_real(pool)
    assert again.to_dataframe().equals(decision.to_dataframe())
    assert again.reason == decision.reason
    assert (decision.recommended, decision.status) == (1, "undecided")
    assert decision.options[0].estimate.failures == 0
    assert decision.options[-1].mechanism == "second one in the pocket"
