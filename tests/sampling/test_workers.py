"""Workers end with their parent, and one that dies costs nothing that was done."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor

import pytest
from tests_shared import ROOT, small_scenario

from colsim import SimulationError, simulate_fill, simulate_fills
from colsim.sampling import many_fills
from colsim.sampling.workers import process_pool

SCENARIO = small_scenario(1)
FROM_HERE = {**os.environ, "PYTHONPATH": str(ROOT)}
posix = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="processes are killed by a signal on POSIX only")


def vends(fills):
    return [(fill.number, repr(fill.vends), fill.invalid) for fill in fills]


class Deadly(type(process_pool(1))):
    """A pool whose work dies: a number of times among many, and in a process of its own for some fills."""

    def __init__(self, workers, deaths, alone=()):
        super().__init__(workers)
        self.deaths, self.alone = deaths, list(alone)
        self.submitted = 0

    def submit(self, fn, /, *arguments):
        self.submitted += 1
        if self.deaths and self.submitted == 3:
            self.deaths, self.submitted = self.deaths - 1, 0
            return super().submit(die)
        return super().submit(fn, *arguments)

    def call_alone(self, fn, /, *arguments):
        number = arguments[0].numbers[0]
        if number in self.alone:
            self.alone.remove(number)
            return super().call_alone(die)
        return super().call_alone(fn, *arguments)


def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)


@posix
@pytest.mark.parametrize("deaths", [1, 2])
def test_a_worker_that_dies_costs_nothing(deaths):
    undisturbed = simulate_fills(SCENARIO, fills=24, seed=5)
    with Deadly(2, deaths) as pool:
        disturbed = simulate_fills(SCENARIO, fills=24, seed=5, executor=pool)
        assert pool.deaths == 0
    assert vends(disturbed) == vends(undisturbed)
    assert not disturbed.interrupted


@posix
def test_a_fill_that_kills_its_process_twice_is_invalid_and_no_other_is():
    with Deadly(2, 1, alone=[6, 6, 7]) as pool:
        fills = simulate_fills(SCENARIO, fills=24, seed=5, executor=pool)
        assert pool.alone == []
    assert [fill.number for fill in fills] == list(range(24))
    assert [fill.number for fill in fills if fill.invalid] == [6]
    (lost,) = (fill for fill in fills if fill.invalid)
    assert lost.summary() == "fill 6 (seed 5) is invalid: its process died 2 times"
    assert repr(fills[7].vends) == repr(simulate_fill(SCENARIO, seed=5, number=7).vends)


@posix
def test_a_death_in_an_executor_of_the_users_says_what_to_do():
    class Fatal(ProcessPoolExecutor):
        def submit(self, fn, /, *arguments):
            return super().submit(die)

    with (
        Fatal(1) as pool,
        pytest.raises(SimulationError, match=r"a worker process of the executor died"),
    ):
        simulate_fills(SCENARIO, fills=2, seed=5, executor=pool)


@posix
def test_a_pool_is_usable_after_a_death_in_a_process_of_its_own():
    with process_pool(1) as pool:
        with pytest.raises(BrokenExecutor):
            pool.call_alone(die)
        assert pool.call_alone(int) == 0


PARENT = """
import sys, time
from colsim.sampling.workers import process_pool

if __name__ == "__main__":
    pool = process_pool(2)
    works = [pool.submit(time.sleep, 600) for _ in range(2)]
    while not all(work.running() for work in works) or len(pool.process_ids) < 2:
        time.sleep(0.01)
    print(*pool.process_ids, flush=True)
    time.sleep(600)
"""


def is_alive(process_id):
    try:
        with open(f"/proc/{process_id}/stat", encoding="utf-8") as file:
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="processes are looked up in /proc")
@pytest.mark.parametrize("how", ["SIGTERM", "SIGHUP", "SIGKILL"])
def test_workers_end_with_their_parent_whatever_ends_it(how, tmp_path):
    program = tmp_path / "parent.py"
    program.write_text(PARENT, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(program)], stdout=subprocess.PIPE, text=True, env=FROM_HERE) as parent:
        workers = [int(word) for word in parent.stdout.readline().split()]
        assert len(workers) == 2
        assert all(map(is_alive, workers))
        parent.send_signal(getattr(signal, how))
        parent.wait(timeout=60)
    deadline = time.monotonic() + 60
    while any(map(is_alive, workers)) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not any(map(is_alive, workers))


TWICE = """
import signal, threading, time, os
from colsim.sampling.workers import process_pool

if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with process_pool(2) as pool:
            for _ in range(4):
                pool.submit(time.sleep, 600)
            while len(pool.process_ids) < 2:
                time.sleep(0.01)
            threading.Timer(0.2, os.kill, (os.getpid(), signal.SIGINT)).start()
            threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT)).start()
            time.sleep(600)
    except KeyboardInterrupt:
        print("ended", *pool.process_ids)
"""


@posix
def test_a_second_ctrl_c_ends_all_at_once(tmp_path):
    program = tmp_path / "twice.py"
    program.write_text(TWICE, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(program)], capture_output=True, text=True, check=False, timeout=120, env=FROM_HERE
    )
    assert done.stdout.split()[0] == "ended", done.stderr


def test_simulate_batches_takes_up_no_more_than_was_asked_for():
    with process_pool(1) as pool, many_fills.tqdm(disable=True) as bar:
        found, interrupted = many_fills.simulate_batches(
            [many_fills.Batch(SCENARIO, 5, range(0)), many_fills.Batch(SCENARIO, 5, range(2, 5))], pool, bar
        )
    assert ([[fill.number for fill in fills] for fills in found], interrupted) == ([[], [2, 3, 4]], False)
