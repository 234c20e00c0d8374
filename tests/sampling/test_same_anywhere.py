"""The same fills for any workers, chunking, executor, hash seed and company."""

import os
import random
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from itertools import takewhile

import numpy as np
import pytest
from tests_shared import ROOT, small_scenario

from colsim import find_spacer, replay, simulate_fill, simulate_fills
from colsim.sampling import many_fills
from colsim.sampling.draws import draw_placement

SCENARIO = small_scenario(3, **{"container.diameter": 62})  # fails in some fills and not in others


def fingerprint(fills):
    """Write down everything that a difference could hide in, to the last bit."""
    # Vends hold times, forces and dents.
    return [(fill.number, repr(fill.vends), fill.drawn, fill.engine, fill.invalid) for fill in fills]


@pytest.fixture(scope="module")
def reference():
    return fingerprint(simulate_fill(SCENARIO, seed=5, number=k) for k in range(6))


@pytest.mark.parametrize("workers", [1, 2])
def test_any_number_of_workers(reference, workers):
    with ProcessPoolExecutor(workers) as pool:
        assert fingerprint(simulate_fills(SCENARIO, fills=6, seed=5, executor=pool)) == reference


class Seen(ThreadPoolExecutor):
    """An executor that notes which fills each chunk holds."""

    def __init__(self):
        super().__init__(2)
        self.chunks = []

    def submit(self, function, /, *arguments):
        self.chunks.append(list(arguments[-1].numbers))
        return super().submit(function, *arguments)


def take_chunks_of(size, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", size)
    monkeypatch.setattr(many_fills.os, "cpu_count", lambda: 0.25)  # so that the largest chunk is the one taken


@pytest.mark.parametrize(
    ("size", "chunks"),
    [(1, [[0], [1], [2], [3], [4], [5]]), (2, [[0, 1], [2, 3], [4, 5]]), (4, [[0, 1, 2, 3], [4, 5]])],
)
def test_any_chunking(reference, size, chunks, monkeypatch):
    take_chunks_of(size, monkeypatch)
    with Seen() as threads:
        assert fingerprint(simulate_fills(SCENARIO, fills=6, seed=5, executor=threads)) == reference
        assert threads.chunks == chunks


def test_soft_walls_too():
    # An engine may list contacts by where they lie in memory; what is read from them must not depend on that.
    soft = {"diameter": 65, "mass": 0.515, "empty_mass": 0.015, "drink": "still", "wall_thickness": 0.08}
    scenario = small_scenario(4).changed(container={**soft, "headspace": 0.04, "set_fraction": 0.5})
    scenario = scenario.changed(**{"column.width": 66})
    first = fingerprint([simulate_fill(scenario, seed=5)])
    kept = [bytearray(k) for k in range(1000)]  # so that the next one lies elsewhere
    assert fingerprint([simulate_fill(scenario, seed=5)]) == first
    with ProcessPoolExecutor(1) as pool:
        assert fingerprint(simulate_fills(scenario, fills=1, seed=5, executor=pool)) == first
    assert len(kept) == 1000


def test_fewer_fills_are_the_first_of_more(reference):
    with ThreadPoolExecutor(2) as threads:
        assert fingerprint(simulate_fills(SCENARIO, fills=2, seed=5, executor=threads)) == reference[:2]


def test_the_executor_of_the_caller_stays_open():
    with ThreadPoolExecutor(1) as threads:
        simulate_fills(small_scenario(1), fills=1, seed=5, executor=threads)
        find_spacer(small_scenario(1), spacers=[0], max_fills=1, seed=5, executor=threads)
        assert threads.submit(int).result() == 0


def test_one_alone_equals_the_same_among_many(reference):
    assert fingerprint([simulate_fill(SCENARIO, seed=5, number=4)]) == reference[4:5]


@pytest.mark.parametrize("hash_seed", ["0", "1", "2"])
def test_any_hash_seed(reference, hash_seed):
    code = (
        "import sys; sys.path.insert(0, 'tests/sampling'); sys.path.insert(0, 'tests');"
        "from test_same_anywhere import SCENARIO, fingerprint; from colsim import simulate_fill;"
        "print(fingerprint(simulate_fill(SCENARIO, seed=5, number=k) for k in range(6)))"
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
    assert fingerprint(simulate_fills(SCENARIO, fills=1, seed=first.seed)) == fingerprint(first)


def test_seed_zero_is_a_seed(reference):
    with ThreadPoolExecutor(1) as threads:
        runs = [simulate_fills(SCENARIO, fills=2, seed=0, executor=threads) for _ in range(2)]
    assert [run.seed for run in runs] == [0, 0]
    assert fingerprint(runs[0]) == fingerprint(runs[1])
    assert [row[1] for row in fingerprint(runs[0])] != [row[1] for row in reference[:2]]


def test_the_global_random_state_is_left_alone():
    random.seed(1)
    before = random.getstate(), str(np.random.get_state())  # noqa: NPY002
    simulate_fill(small_scenario(1), seed=5)
    assert (random.getstate(), str(np.random.get_state())) == before  # noqa: NPY002


def test_the_first_containers_come_to_rest_the_same_whatever_is_laid_on_them_later():
    def before_the_third(count):
        frames = replay(small_scenario(count), seed=5).frames
        return [f.state.position.tolist() for f in takewhile(lambda f: len(f.state.index) < 3, frames)]

    assert len(before_the_third(3)) > 10
    assert before_the_third(3) == before_the_third(4)
