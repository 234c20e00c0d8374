"""The same fills for any workers, chunking, executor, hash seed and company."""

import os
import subprocess
import sys
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor

import pytest
from tests_shared import ROOT, small_scenario

from colsim import simulate_fill, simulate_fills
from colsim.sampling import many_fills
from colsim.sampling.draws import draw_placement

SCENARIO = small_scenario(3, **{"container.diameter": 62})  # fails in some fills and not in others


def fingerprint(fills):
    """Write down everything that a difference could hide in, to the last bit."""
    rows = []
    for fill in fills:
        last = fill.frames[-1]
        numbers = [*last.state.position.ravel().tolist(), *last.state.angle.tolist(), last.drum_angle, last.time]
        rows.append((fill.fill, fill.vends, [x.hex() for x in numbers]))
    return rows


@pytest.fixture(scope="module")
def reference():
    return fingerprint(simulate_fill(SCENARIO, seed=5, fill=k) for k in range(6))


@pytest.mark.parametrize("workers", [1, 2])
def test_any_number_of_workers(reference, workers):
    with ProcessPoolExecutor(workers) as pool:
        assert fingerprint(simulate_fills(SCENARIO, fills=6, seed=5, executor=pool).fills) == reference


@pytest.mark.parametrize("chunk", [1, 2, 4])
def test_any_chunking(reference, chunk, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", chunk)
    monkeypatch.setattr(many_fills.os, "cpu_count", lambda: 0)  # so that the largest chunk is the one taken
    with ThreadPoolExecutor(1) as pool:
        assert fingerprint(simulate_fills(SCENARIO, fills=6, seed=5, executor=pool).fills) == reference
        pool.submit(int).result()  # the caller's executor still works


def test_one_alone_equals_the_same_among_many(reference):
    assert fingerprint([simulate_fill(SCENARIO, seed=5, fill=4)]) == reference[4:5]


@pytest.mark.parametrize("hash_seed", ["0", "1", "2"])
def test_any_hash_seed(reference, hash_seed):
    code = (
        "import sys; sys.path.insert(0, 'tests/sampling'); sys.path.insert(0, 'tests');"
        "from test_same_anywhere import SCENARIO, fingerprint; from colsim import simulate_fill;"
        "print(fingerprint(simulate_fill(SCENARIO, seed=5, fill=k) for k in range(6)))"
    )
    environment = {**os.environ, "PYTHONHASHSEED": hash_seed}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == str(reference)


def test_the_first_containers_are_laid_the_same_whatever_the_count():
    three, five = (small_scenario(n).loading for n in (3, 5))
    assert [draw_placement(three, 1, 0, i) for i in range(3)] == [draw_placement(five, 1, 0, i) for i in range(3)]


def test_fills_containers_and_seeds_draw_apart():
    loading = small_scenario().loading
    drawn = {draw_placement(loading, s, f, i).angle for s in range(3) for f in range(3) for i in range(3)}
    assert len(drawn) == 27


def test_a_fresh_seed_is_kept_and_replays():
    first, second = (simulate_fills(SCENARIO, fills=1) for _ in range(2))
    assert first.seed != second.seed
    assert fingerprint(simulate_fills(SCENARIO, fills=1, seed=first.seed).fills) == fingerprint(first.fills)


class StopsAfter(ThreadPoolExecutor):
    """An executor whose third result brings Ctrl-C, with the fifth chunk done and the fourth not."""

    def __init__(self):
        super().__init__(1)
        self.number = 0

    def submit(self, function, /, *arguments):
        self.number += 1
        future = Future()
        if self.number == 3:
            future.result = self.interrupt
        elif self.number != 4:
            future.set_result(function(*arguments))
        return future

    def interrupt(self, timeout=None):
        raise KeyboardInterrupt


def test_ctrl_c_keeps_the_part_without_a_gap_and_says_so():
    result = simulate_fills(SCENARIO, fills=6, seed=5, executor=StopsAfter())
    assert [fill.fill for fill in result.fills] == [0, 1]
    assert result.interrupted
    assert "stopped early: 2 of 6 fills are done" in result.summary()
