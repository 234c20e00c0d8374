"""Ctrl-C keeps the fills that are done without a gap."""

import os
import signal
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace

import pytest
from tests_shared import ROOT, AtOnce, measured, small_scenario

from colsim import find_spacer, simulate_fill, simulate_fills
from colsim.advice.status import judged
from colsim.errors import StoppedError
from colsim.sampling import Outcome, many_fills
from colsim.sampling.workers import process_pool

SCENARIO = small_scenario(1)


class Interrupted(ThreadPoolExecutor):
    """An executor that does its work at once, but for chunks never done, and brings Ctrl-C at one result."""

    def __init__(self, at, never=()):
        super().__init__(1)
        self.at, self.never, self.futures = at, never, []

    def submit(self, function, /, *arguments):
        future, number = Future(), len(self.futures)
        self.futures.append(future)
        if number == self.at:
            future.result = self.interrupt
        elif number not in self.never:
            future.set_result(function(*arguments))
        return future

    def interrupt(self, timeout=None):
        raise KeyboardInterrupt


@pytest.fixture(params=[1, 2, 4])
def chunk(request, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", request.param)
    monkeypatch.setattr(many_fills.os, "cpu_count", lambda: 0.25)  # so that the largest chunk is the one taken
    return request.param


@pytest.mark.parametrize("at", [0, 1])
def test_what_is_done_before_the_gap_is_kept(at, chunk):
    executor = Interrupted(at, never=[at + 1])
    result = simulate_fills(SCENARIO, fills=13, seed=5, executor=executor)
    assert [fill.number for fill in result] == list(range(at * chunk))
    assert [repr(f.vends) for f in result] == [
        repr(simulate_fill(SCENARIO, seed=5, number=f.number).vends) for f in result
    ]
    assert result.interrupted
    assert result.asked_for == 13
    assert f"stopped early: {at * chunk} of 13 fills are done, and only these count" in result.summary()
    assert executor.futures[at + 1].cancelled()


def test_what_was_not_interrupted_does_not_say_so():
    with ThreadPoolExecutor(1) as threads:
        result = simulate_fills(SCENARIO, fills=2, seed=5, executor=threads)
    assert not result.interrupted
    assert "stopped early" not in result.summary()


def test_no_fill_counts_twice_if_it_comes_after_the_last_result(chunk, monkeypatch):
    # While the bar is moved on by the last fills, say; six fills are no whole number of chunks of four.
    class Bar(many_fills.tqdm):
        def update(self, n=1):
            self.done = getattr(self, "done", 0) + n
            if self.done == 6:
                raise KeyboardInterrupt

    monkeypatch.setattr(many_fills, "tqdm", Bar)
    result = simulate_fills(SCENARIO, fills=6, seed=5, executor=AtOnce())
    assert [fill.number for fill in result] == list(range(6))
    assert not result.interrupted


def test_work_already_handed_out_is_called_back_if_it_comes_while_handing_out():
    class Hasty(Interrupted):
        def submit(self, function, /, *arguments):
            if len(self.futures) == 3:
                raise KeyboardInterrupt
            return super().submit(function, *arguments)

    executor = Hasty(at=None, never=[1, 2])
    try:
        result = simulate_fills(SCENARIO, fills=5, seed=5, executor=executor)
    except KeyboardInterrupt:
        pass  # nothing to show is fair this early
    else:
        assert [fill.number for fill in result] == [0]
    assert [future.cancelled() for future in executor.futures] == [False, True, True]


def test_a_spacer_half_looked_at_counts_and_one_of_which_nothing_is_done_is_left_out():
    # Spacers are simulated side by side, two fills each in chunks of one: the second of the second is the gap.
    executor = Interrupted(at=3, never=[4])
    decision = find_spacer(measured(SCENARIO), spacers=[0, 6, 12], max_fills=2, seed=5, executor=executor)
    assert len(executor.futures) == 6
    assert [(option.value, option.estimate.fills) for option in decision.options] == [(0, 2), (6, 1)]
    # An eighth of the error is the present bare pocket's; the two others share the rest, though one came to nothing.
    assert [option.risks.level for option in decision.options] == pytest.approx([1 - 0.05 / 8, 1 - 0.05 * 7 / 16])
    assert decision.reason.startswith("Stopped early")


def test_what_is_done_of_a_spacer_after_the_gap_of_another_counts():
    decision = find_spacer(
        measured(SCENARIO), spacers=[0, 6, 12], max_fills=2, seed=5, executor=Interrupted(at=3, never=[])
    )
    assert [(option.value, option.estimate.fills) for option in decision.options] == [(0, 2), (6, 1), (12, 2)]
    assert [option.risks.interrupted for option in decision.options] == [False, True, False]


def test_advice_from_nothing_is_refused():
    with pytest.raises(StoppedError, match="stopped before the first fill was done"):
        find_spacer(SCENARIO, spacers=[0], max_fills=2, seed=5, executor=Interrupted(at=0, never=[1]))


BEFORE = {"typical": 2, "drawn over their ranges": 2}


@pytest.mark.parametrize(
    ("at", "done"),
    [
        (1, {"typical": 1, "drawn over their ranges": 2}),
        (3, {"typical": 2, "drawn over their ranges": 1}),
        (4, BEFORE),  # nothing at one of the two ends, so that no case is known to be the worst
        (5, {**BEFORE, "favourable": 1, "unfavourable": 2}),
        (9, {**BEFORE, "favourable": 1, "unfavourable": 2}),  # while looking at a screening fill again that failed
        (11, {**BEFORE, "favourable": 2, "unfavourable": 2}),  # while looking at all with finer time steps
    ],
)
def test_what_was_done_before_all_cases_were_looked_at_counts(monkeypatch, at, done):
    # One unknown, of which every other fill fails: 2 typical fills and 2 drawn over the range, then 2 at each end, then
    # 2 with what the one had that failed, then 4 with finer time steps.
    def simulate(scenario, *, seed, number, engine, settings):
        one = simulate_fill(measured(SCENARIO), seed=seed, number=number)
        bad = replace(one.vends[0], outcome=Outcome.STALL)
        return replace(one, vends=(bad,) if number else one.vends, drawn={"rotor.friction": 0.2 + 0.1 * number})

    monkeypatch.setattr(many_fills, "simulate_fill", simulate)
    scenario = measured(SCENARIO).changed(**{"rotor.friction": {"kind": "unknown", "low": 0.2, "high": 0.4}})
    decision = find_spacer(scenario, spacers=[0], max_fills=2, seed=5, executor=Interrupted(at=at))
    (option,) = decision.options
    assert {str(case): len(fills) for case, fills in option.risks.runs.items()} == done
    assert decision.interrupted
    assert (decision.status, decision.step_check) == ("undecided", None)
    assert decision.reason.startswith("Stopped early")
    assert not any("if typical" in hint for hint in decision.measure_next)  # nothing more is simulated


@pytest.mark.parametrize(("fails", "status"), [(False, "meets"), (True, "fails")])
def test_what_the_typical_fills_show_is_no_answer_before_the_cases_were_looked_at(monkeypatch, fails, status):
    # 8 typical fills settle it, and so do 48 over the range; then comes Ctrl-C, at the first fill at an end.
    def simulate(scenario, *, seed, number, engine, settings):
        one = simulate_fill(measured(SCENARIO), seed=seed, number=number)
        place = 0.2 + 0.2 * (number % 5) / 4
        outcome = Outcome.STALL if fails else Outcome.SINGLE
        vend = replace(one.vends[0], outcome=outcome, peak_force=place)
        return replace(one, vends=(vend,), drawn={"rotor.friction": place})

    monkeypatch.setattr(many_fills, "simulate_fill", simulate)
    unknown = {"rotor.friction": {"kind": "unknown", "low": 0.2, "high": 0.4}}
    scenario = measured(SCENARIO).changed(**unknown, **{"target.failures_per_fill": 0.5})
    whole = find_spacer(scenario, spacers=[0], max_fills=48, seed=5, executor=AtOnce())
    assert whole.status == status
    handed_out = []

    class Counting(AtOnce):
        def submit(self, function, /, *arguments):
            handed_out.append(arguments)
            return super().submit(function, *arguments)

    find_spacer(scenario, spacers=[0], max_fills=48, seed=5, executor=Counting())
    at = next(k for k, (batch,) in enumerate(handed_out) if batch.scenario.rotor.friction in (0.2, 0.4))
    decision = find_spacer(scenario, spacers=[0], max_fills=48, seed=5, executor=Interrupted(at=at))
    (option,) = decision.options
    assert [str(case) for case in option.risks.runs] == ["typical", "drawn over their ranges"]
    assert judged(option.fills, option.risks.level) == status
    assert (option.status, decision.status, decision.interrupted) == ("undecided", "undecided", True)


PROGRAM = """
import os, signal, sys
sys.path.insert(0, "tests")
from tests_shared import small_scenario
from colsim import simulate_fills
from colsim.sampling.workers import process_pool

signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell starts what runs in its background deaf to it

class Key:  # pressed once, when the fourth result is asked for
    def __init__(self, pool):
        self.pool, self.futures = pool, []
    def submit(self, *arguments):
        future = self.pool.submit(*arguments)
        self.futures.append(future)
        if len(self.futures) == 4:
            future.result = lambda: self.press(future)
        return future
    def press(self, future):
        del future.result
        os.killpg(0, signal.SIGINT)
        return future.result()

with process_pool(2) as pool:
    key = Key(pool)
    result = simulate_fills(small_scenario(2), fills=40, seed=5, executor=key)
    numbers = [fill.number for fill in result]
    hurt = [future for future in key.futures if not future.cancelled() and future.exception()]
    print(numbers[:3], numbers == list(range(len(numbers))), result.interrupted, hurt, pool.submit(int).result())
"""


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="a terminal's Ctrl-C goes to a process group on POSIX only")
def test_a_real_signal_to_the_whole_group_does_not_touch_the_workers():
    # As a terminal sends it: to the parent and its workers alike. A group of its own keeps it from the tests.
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], cwd=ROOT, capture_output=True, text=True, start_new_session=True, check=False
    )
    assert done.stdout.strip() == "[0, 1, 2] True True [] 0", done.stderr


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals can be blocked on POSIX only")
def test_a_worker_is_deaf_to_the_signal_from_its_first_moment_and_the_parent_is_not():
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    with process_pool(1) as pool:
        blocked = pool.submit(signal.pthread_sigmask, signal.SIG_BLOCK, ()).result()
    assert signal.SIGINT in blocked  # inherited, so that it was so before the initializer ran
    assert signal.pthread_sigmask(signal.SIG_BLOCK, ()) == before
    assert signal.SIGINT not in before
