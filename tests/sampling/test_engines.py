"""Which engine simulates, how it is chosen, and what becomes of a simulation that diverges or breaks off."""

import json
import os
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
import pytest
from tests_shared import AtOnce, small_scenario, small_toml

from colsim import (
    ScenarioError,
    SimulationError,
    find_count,
    find_spacer,
    simulate_fill,
    simulate_fills,
    simulate_sweep,
)
from colsim.advice import study, sweep
from colsim.advice.advice import Advice
from colsim.advice.json_report import as_json_object
from colsim.physics import choice, pymunk_forces
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import DivergedError, Settings
from colsim.physics.kernel import compiling, stepping, world
from colsim.physics.pymunk_engine import LONGEST_STEP
from colsim.physics.scene import Body, Chain, Line, Scene
from colsim.sampling import many_fills, one_fill
from colsim.sampling.draws import draw_fill_wide
from colsim.sampling.workers import process_pool

ENGINES = ("auto", "compiled", "pymunk")


def test_auto_is_the_compiled_one():
    assert choice.engine_named("auto") == "compiled"
    assert simulate_fill(small_scenario(1), seed=1).engine == "compiled"


BROKEN = {
    "not installed": ModuleNotFoundError("No module named 'numba'"),
    "without its compiler": ImportError("No module named 'llvmlite'"),
    "a library that does not load": OSError("Could not find/load shared object file 'libllvmlite.so'"),
}


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("error", BROKEN.values(), ids=BROKEN)
def test_a_numba_that_cannot_be_imported_is_refused_with_what_to_do(monkeypatch, engine, error):
    def broken(name):
        raise error

    monkeypatch.setattr(choice, "import_module", broken)
    for simulate in (
        lambda: simulate_fill(small_scenario(1), seed=1, engine=engine),
        lambda: simulate_fills(small_scenario(1), fills=1, seed=1, engine=engine),
        lambda: find_spacer(small_scenario(1), max_fills=1, seed=1, engine=engine),
    ):
        with pytest.raises(ScenarioError) as refused:
            simulate()
        assert str(refused.value).startswith(f'engine: got "{engine}", but numba, which both engines need, ')
        assert f"{type(error).__name__}: {error}" in str(refused.value)
        assert "pip install --force-reinstall numba llvmlite" in str(refused.value)


@pytest.mark.parametrize("missing", ["numba", "llvmlite"])
def test_for_real_a_missing_package_is_one_message(tmp_path, missing):
    (tmp_path / "sitecustomize.py").write_text(f"import sys\nsys.modules[{missing!r}] = None\n", encoding="utf-8")
    done = advise(small_toml(tmp_path), PYTHONPATH=str(tmp_path))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith('colsim: engine: got "auto", but numba, which both engines need, cannot be imported')
    assert "--force-reinstall" in done.stderr
    assert done.stderr.count("\n") == 1


def test_for_real_a_numba_that_compiles_nothing_is_refused_and_the_reference_is_named(tmp_path):
    file = small_toml(tmp_path)
    done = advise(file, NUMBA_DISABLE_JIT="1")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith('colsim: engine: got "auto", but numba compiles nothing, because NUMBA_DISABLE_JIT')
    assert "unset it, or take the reference (--engine pymunk" in done.stderr
    assert done.stderr.count("\n") == 1
    code = "from colsim.physics.choice import engine_named, engine_maker; print(engine_maker('pymunk').__name__)"
    named = run_python("-c", code, NUMBA_DISABLE_JIT="1")
    assert named.stdout.strip() == "PymunkEngine"


def advise(file, **environment):
    return run_python("-m", "colsim", "advise", str(file), "--max-fills", "1", "--seed", "1", **environment)


def run_python(*arguments, **environment):
    command = [sys.executable, *arguments]
    return subprocess.run(command, env={**os.environ, **environment}, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("engine", ENGINES)
def test_the_finer_settings_halve_the_step_that_an_engine_takes(engine):
    usual, finer = Settings(), choice.finer(engine)
    assert finer == replace(usual, step=finer.step)
    taken = min(usual.step, LONGEST_STEP) if engine == "pymunk" else usual.step
    assert finer.step == taken / 2


def test_what_is_unforeseen_in_a_fill_names_it_and_its_seed():
    class Faulty(CompiledEngine):
        def state(self):
            raise ZeroDivisionError("division by zero\nand much more")

    with pytest.raises(SimulationError, match=r"^fill 3 \(seed 17\): ZeroDivisionError: division by zero$") as found:
        simulate_fill(small_scenario(1), seed=17, number=3, engine=Faulty)
    assert isinstance(found.value.__cause__, ZeroDivisionError)
    with pytest.raises(ScenarioError, match=r"^seed: got -1"):
        simulate_fill(small_scenario(1), seed=-1, engine=Faulty)


def test_what_is_unforeseen_in_one_fill_of_many_names_it_too(monkeypatch):
    def draw(scenario, seed, fill):
        if fill == 2:
            raise KeyError("nothing")
        return draw_fill_wide(scenario, seed, fill)

    monkeypatch.setattr(one_fill, "draw_fill_wide", draw)
    with pytest.raises(SimulationError, match=r"^fill 2 \(seed 17\): KeyError: 'nothing'$"):
        simulate_fills(small_scenario(1), fills=4, seed=17, executor=AtOnce())


def test_other_names_are_refused():
    with pytest.raises(ScenarioError, match=r"engine: got 'fast'; allowed: auto \| compiled \| pymunk"):
        simulate_fill(small_scenario(1), seed=1, engine="fast")


@pytest.mark.parametrize("engine", ["compiled", "pymunk"])
def test_the_answer_says_which_it_was(engine):
    with ThreadPoolExecutor(1) as pool:
        decision = find_spacer(small_scenario(1), spacers=[0], max_fills=2, seed=1, executor=pool, engine=engine)
    assert {fill.engine for fill in decision.options[0].fills} == {engine}
    assert (
        json.loads(json.dumps(as_json_object(Advice(small_scenario(1), decision))))["engine"]
        == f"{engine}, cross-section"
    )


@pytest.mark.parametrize(
    ("engine", "entry"), [("compiled", stepping.ENTRY_POINTS.run), ("pymunk", pymunk_forces.APPLY_FORCES)]
)
def test_machine_code_is_there_after_it_was_made_ready(engine, entry):
    choice.make_ready(engine)
    assert not choice.compiles_first(engine)
    assert entry.signatures


def test_what_was_never_compiled_is_known_as_such():
    def doubled(number):
        return 2 * number

    doubled = compiling.entry_point(doubled)
    assert not compiling.is_compiled(doubled)


class Noted(AtOnce):
    """Does its work at once, and notes when it was handed some."""

    def __init__(self, notes):
        self.notes = notes

    def submit(self, function, /, *arguments):
        self.notes.append("work")
        return super().submit(function, *arguments)

    def shutdown(self, *_, **__):
        self.notes.append("end")


SIMULATIONS = {
    "simulate_fills": lambda how: simulate_fills(small_scenario(1), fills=2, seed=1, **how),
    "find_spacer": lambda how: find_spacer(small_scenario(1), spacers=[0, 6], max_fills=1, seed=1, **how),
    "find_count": lambda how: find_count(small_scenario(1), counts=[1], max_fills=1, seed=1, **how),
    "simulate_sweep": lambda how: simulate_sweep(small_scenario(1), {"loading.count": [1, 2]}, fills=1, seed=1, **how),
}


@pytest.mark.parametrize("own", [True, False], ids=["own pool", "executor given"])
@pytest.mark.parametrize("simulate", SIMULATIONS.values(), ids=SIMULATIONS)
def test_the_engine_is_compiled_before_any_work_is_handed_out(monkeypatch, simulate, own):
    notes = []
    monkeypatch.setattr(many_fills, "make_ready", notes.append)
    for module in (many_fills, study, sweep):
        monkeypatch.setattr(module, "process_pool", lambda: Noted(notes))
    simulate({} if own else {"executor": Noted(notes)})
    assert "work" in notes
    assert notes[0] in ("compiled", "auto")
    assert all(before != "end" for before in notes[:-1])
    for k, note in enumerate(notes):  # each time that work is handed out, it was made ready for that
        assert note != "work" or {"compiled", "auto"} & set(notes[:k])


def test_a_pool_begins_no_process_before_it_is_given_work():
    with process_pool(2) as pool:
        assert not pool.process_ids
        simulate_fills(small_scenario(1), fills=1, seed=1, executor=pool)
        assert pool.process_ids


def test_the_workers_of_a_fresh_pool_compile_nothing():
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        simulate_fills(small_scenario(1), fills=1, seed=1, executor=pool)
        code = "from colsim.physics.kernel.stepping import ENTRY_POINTS as all_of_it\n"
        code += "assert not any(each.stats.cache_misses for each in all_of_it)"
        pool.submit(exec, code).result()


def test_another_process_finds_all_machine_code_and_compiles_none():
    choice.make_ready("compiled")
    code = (
        "from colsim.physics.kernel.stepping import ENTRY_POINTS; from colsim.physics.choice import make_ready;"
        "make_ready('compiled'); print({sum(each.stats.cache_misses.values()) for each in ENTRY_POINTS})"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "{0}"


def test_a_speed_that_is_nan_or_infinite_diverges_and_the_fill_is_invalid():
    engine = CompiledEngine(Scene((0.0, -9806.65), (), 0.3))
    engine.add(Body(0, 60.0, 0.0, 0.5, 225.0), (0.0, 100.0), velocity=(np.nan, 0.0))
    with pytest.raises(DivergedError, match="diverged"):
        engine.advance(1)

    class Diverging(CompiledEngine):
        def run(self, monitor, checks):
            if monitor.row["turning"][0]:
                self._world.bodies[0, world.VX] = np.inf
            return super().run(monitor, checks)

    fill = simulate_fill(small_scenario(2), seed=1, engine=Diverging)
    assert fill.invalid.startswith("the simulation diverged: ")
    assert fill.engine == "Diverging"


def test_more_contacts_than_there_is_room_for_diverge():
    # A crowd in one place, each on each: 60 x 59 / 2 contacts.
    engine = CompiledEngine(Scene((0.0, 0.0), (), 0.3), Settings())
    for k in range(60):
        engine.add(Body(k, 60.0, 0.0, 0.5, 225.0), (0.1 * k, 0.0))
    with pytest.raises(DivergedError):
        engine.advance(1)


def test_bodies_come_and_go_without_the_others_noticing():
    # Six in a pile; one that lies apart is taken out and another put in: the pile's forces stay to the last bit.
    floor = Chain((Line((-1000.0, 0.0), (1000.0, 0.0), 0.4),))

    def pile(*, with_guests):
        engine = CompiledEngine(Scene((0.0, -9806.65), (floor,), 0.4))
        for k, x in enumerate((-60.0, 0.0, 60.0)):
            engine.add(Body(2 * k + 1, 60.0, 0.0, 0.5, 225.0), (x, 30.0))
        for step in range(6):
            if with_guests and step == 2:
                engine.add(Body(0, 40.0, 0.0, 0.5, 225.0), (500.0, 20.0))
            if with_guests and step == 4:
                engine.remove(0)
                engine.add(Body(4, 40.0, 0.0, 0.5, 225.0), (-500.0, 20.0))
            engine.advance(50)
        mine = np.isin(engine.state().index, [1, 3, 5])
        return engine.state().position[mine].tolist(), engine.state().velocity[mine].tolist()

    assert pile(with_guests=True) == pile(with_guests=False)
