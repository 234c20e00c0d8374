"""Ctrl-C keeps the fills that are done without a gap."""

import os
import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor

import pytest
from tests_shared import ROOT, small_scenario

from colsim import SimulationError, find_spacer, simulate_fill, simulate_fills
from colsim.sampling import many_fills

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
    assert [fill.fill for fill in result.fills] == list(range(at * chunk))
    assert [repr(f.vends) for f in result.fills] == [
        repr(simulate_fill(SCENARIO, seed=5, fill=f.fill).vends) for f in result.fills
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
    # While the bar is being closed, say; six fills are no whole number of chunks of four.
    def bar(futures, **_):
        yield from futures
        raise KeyboardInterrupt

    monkeypatch.setattr(many_fills, "tqdm", bar)
    with ThreadPoolExecutor(1) as threads:
        result = simulate_fills(SCENARIO, fills=6, seed=5, executor=threads)
    assert [fill.fill for fill in result.fills] == list(range(6))


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
        assert [fill.fill for fill in result.fills] == [0]
    assert [future.cancelled() for future in executor.futures] == [False, True, True]


def test_a_spacer_half_looked_at_counts_and_the_rest_is_not_looked_at():
    decision = find_spacer(SCENARIO, spacers=[0, 6, 12], max_fills=2, seed=5, executor=Interrupted(at=3))
    assert [(option.value, option.estimate.fills) for option in decision.options] == [(0, 2), (6, 1)]
    assert [option.level for option in decision.options] == pytest.approx([1 - 0.05 / 3] * 2)  # shared by all three
    assert decision.reason.startswith("Stopped early")


def test_advice_from_nothing_is_refused():
    with pytest.raises(SimulationError, match="stopped before the first fill was done"):
        find_spacer(SCENARIO, spacers=[0], max_fills=2, seed=5, executor=Interrupted(at=0, never=[1]))


PROGRAM = """
import os, signal, sys
sys.path.insert(0, "tests")
from tests_shared import small_scenario
from colsim import simulate_fills
from colsim.sampling.many_fills import process_pool

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
    numbers = [fill.fill for fill in result.fills]
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
