"""Looks at a fixed schedule: where simulating stops, and that nothing else depends on it."""

from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import pytest
from tests_shared import AtOnce, made, measured, small_scenario

from colsim import ScenarioError, SimulationError, simulate_fill
from colsim.sampling import Outcome, many_fills
from colsim.sampling.looks import FIRST_LOOK, Run, look_schedule, simulate_until_settled
from colsim.sampling.many_fills import require_room

S, X = Outcome.SINGLE, Outcome.STALL
SCENARIO = small_scenario(2, **{"container.diameter": 62})
THICKER = SCENARIO.changed(**{"rotor.spacer_thickness": 6})


@pytest.mark.parametrize(
    ("most", "looks"),
    [
        (1, [1]),
        (7, [7]),
        (8, [8]),
        (9, [8, 9]),
        (96, [8, 12, 16, 24, 32, 48, 64, 96]),
        (100, [8, 12, 16, 24, 32, 48, 64, 96, 100]),
    ],
)
def test_the_schedule(most, looks):
    assert list(look_schedule(most)) == looks


@pytest.mark.parametrize("most", [11, 97, 1000, 4099])
def test_a_longer_schedule_begins_with_the_looks_of_a_shorter_one(most):
    looks = list(look_schedule(most))
    assert looks[:-1] == list(look_schedule(10 * most))[: len(looks) - 1]
    assert looks[-1] == most
    assert all(1 < later / look <= 1.5 for look, later in pairwise(looks))


@pytest.fixture(scope="module")
def plain():
    return simulate_fill(measured(small_scenario(1)), seed=0)


@pytest.fixture
def asked(monkeypatch, plain):
    """Make fills by hand, every third of which fails, and note which were asked for."""
    numbers = []

    def simulate(scenario, *, seed, number, engine, settings):
        numbers.append((scenario.rotor.spacer_thickness, seed, number))
        return made(plain, number, (S, X) if number % 3 == 2 else (S,) * 4)

    monkeypatch.setattr(many_fills, "simulate_fill", simulate)
    return numbers


def after(number, seen=None):
    """Be settled at so many fills, and note what one was shown."""

    def settled(fills):
        if seen is not None:
            seen.append([fill.number for fill in fills])
        return len(fills) >= number

    return settled


def test_each_run_stops_at_the_first_look_that_settles_it(asked):
    seen = [[], []]
    runs = [Run(SCENARIO, after(10, seen[0])), Run(THICKER, after(1000, seen[1]))]
    short, long = simulate_until_settled(runs, max_fills=30, seed=4, executor=AtOnce())
    assert seen[0] == [list(range(8)), list(range(12))]
    assert seen[1] == [list(range(n)) for n in (8, 12, 16, 24, 30)]
    assert [fill.number for fill in short] == list(range(12))
    assert [fill.number for fill in long] == list(range(30))
    assert sorted(asked) == [(0, 4, k) for k in range(12)] + [(6, 4, k) for k in range(30)]
    assert [(f.scenario, f.seed, f.asked_for, f.interrupted) for f in (short, long)] == [
        (SCENARIO, 4, 12, False),
        (THICKER, 4, 30, False),
    ]


def test_what_is_settled_by_failures_stops_there_and_nowhere_else(asked):
    def settled(fills):
        return sum(fill.failure is not None for fill in fills) >= 5  # fails: 2, 5, 8, 11, 14, ...

    (found,) = simulate_until_settled([Run(SCENARIO, settled)], max_fills=1000, seed=4, executor=AtOnce())
    assert len(found) == 16


@pytest.mark.parametrize("there", [3, 8, 10, 40])
def test_fills_that_are_there_are_gone_on_with(asked, plain, there):
    done = [made(plain, k, (S,) * 4) for k in range(there)]
    first, seen = list(done), []
    (found,) = simulate_until_settled([Run(SCENARIO, after(16, seen), done)], max_fills=24, seed=4, executor=AtOnce())
    assert [fill for _, _, fill in asked] == list(range(there, 16))
    assert seen == [list(range(n)) for n in (8, 12, 16)]  # also where more were there: looks do not depend on that
    assert [fill.number for fill in found] == list(range(max(there, 16)))
    assert all(kept is given for kept, given in zip(found, first, strict=False))
    assert not found.interrupted


class Stopped(AtOnce):
    """An executor that brings Ctrl-C when the result of one chunk is asked for."""

    def __init__(self, at):
        self.at, self.number = at, 0

    def submit(self, function, /, *arguments):
        number, self.number = self.number, self.number + 1
        if number != self.at:
            return super().submit(function, *arguments)
        future = Future()
        future.result = self.stop
        return future

    def stop(self, timeout=None):
        raise KeyboardInterrupt


@pytest.mark.parametrize("at", [3, 11, 17])
def test_ctrl_c_keeps_the_fills_without_a_gap_and_ends_the_looking(asked, at, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", 1)
    # Chunks of one: 8 of each run to the first look, then 4 of each to the second; the one that never comes is a gap.
    seen = [[], []]
    runs = [Run(SCENARIO, after(1000, seen[0])), Run(THICKER, after(1000, seen[1]))]
    found = simulate_until_settled(runs, max_fills=40, seed=4, executor=Stopped(at))
    counts = {3: (3, 8), 11: (8, 3), 17: (9, 12)}[at]
    assert [[fill.number for fill in fills] for fills in found] == [list(range(n)) for n in counts]
    assert all(fills.interrupted and fills.asked_for == 40 for fills in found)
    assert max(fill for _, _, fill in asked) < (8 if at < 16 else 12)


def test_a_run_that_was_settled_before_ctrl_c_is_not_interrupted(asked, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", 1)
    runs = [Run(SCENARIO, after(8)), Run(THICKER, after(1000))]
    settled, cut = simulate_until_settled(runs, max_fills=40, seed=4, executor=Stopped(18))
    assert (len(settled), settled.interrupted) == (8, False)
    assert (len(cut), cut.interrupted) == (10, True)


def test_a_look_that_ctrl_c_cut_short_settles_nothing(asked, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", 1)
    (cut,) = simulate_until_settled([Run(SCENARIO, after(3))], max_fills=40, seed=4, executor=Stopped(5))
    assert (len(cut), cut.interrupted) == (5, True)


def fingerprint(fills):
    """Write down the fills with the last places of their containers, to the last bit."""
    return [(f.number, repr(f.vends), f.drawn) for f in fills]


@pytest.fixture(scope="module")
def reference():
    return [
        fingerprint(simulate_fill(scenario, seed=5, number=k) for k in range(n))
        for scenario, n in ((SCENARIO, FIRST_LOOK), (THICKER, 9))
    ]


@pytest.mark.parametrize(
    ("make", "chunk"),
    [
        (lambda: ProcessPoolExecutor(1), 4),
        (lambda: ProcessPoolExecutor(2), 1),
        (lambda: ThreadPoolExecutor(2), 3),
        (AtOnce, 2),
    ],
)
def test_the_same_for_any_workers_executor_and_chunking(reference, make, chunk, monkeypatch):
    monkeypatch.setattr(many_fills, "_LARGEST_CHUNK", chunk)
    monkeypatch.setattr(many_fills.os, "cpu_count", lambda: 0.25)  # so that the largest chunk is the one taken
    runs = [Run(SCENARIO, after(1)), Run(THICKER, after(100))]
    with make() as pool:
        found = simulate_until_settled(runs, max_fills=9, seed=5, executor=pool)
    assert [fingerprint(fills) for fills in found] == reference


def test_fills_that_one_looked_at_say_so(asked):
    seen = []
    (found,) = simulate_until_settled([Run(SCENARIO, after(12, seen))], max_fills=24, seed=4, executor=AtOnce())
    assert found.looked_often
    assert "sequence" in found.risk(Outcome.STALL).per_fill.method


def test_runs_share_their_draws():
    varies = {"rotor.friction": {"kind": "varies", "low": 0.2, "high": 0.4}}
    sizes = {"container.diameter": {"kind": "varies", "low": 61, "high": 63}}
    runs = [Run(each.changed(**varies, **sizes), after(1)) for each in (SCENARIO, THICKER)]
    bare, thick = simulate_until_settled(runs, max_fills=3, seed=5, executor=AtOnce())
    assert [fill.drawn for fill in bare] == [fill.drawn for fill in thick]
    assert [bare.replay(k).bodies for k in range(3)] == [thick.replay(k).bodies for k in range(3)]
    assert len({fill.drawn["rotor.friction"] for fill in bare}) == 3


def test_a_load_that_never_fits_is_simulated_all_the_same_and_says_so(asked, plain, monkeypatch):
    def short_where(condition):
        monkeypatch.setattr(
            many_fills,
            "simulate_fill",
            lambda scenario, *, number, **_: replace(made(plain, number, (S,) * 3), short=int(condition(number))),
        )

    short_where(lambda fill: fill != 5)
    (found,) = simulate_until_settled([Run(SCENARIO, after(12))], max_fills=40, seed=4, executor=AtOnce())
    assert len(found) == 12
    assert not found.always_short
    short_where(lambda fill: True)
    (found,) = simulate_until_settled([Run(SCENARIO, after(12))], max_fills=40, seed=4, executor=AtOnce())
    assert found.always_short
    with pytest.raises(SimulationError, match=r"no room for 1 of the 2 .* in any of 12 fills"):
        require_room(found)


@pytest.mark.parametrize(("name", "value"), [("max_fills", 0), ("max_fills", 2.0), ("seed", -1), ("seed", True)])
def test_numbers_that_are_none_are_refused(name, value):
    with pytest.raises(ScenarioError, match=f"^{name}: got {value!r}"):
        simulate_until_settled([], **{"max_fills": 3, "seed": 1, name: value}, executor=AtOnce())
