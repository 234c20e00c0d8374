"""Which engine simulates, how it is chosen, and what becomes of a simulation that comes apart."""

import importlib.util
import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from tests_shared import small_scenario

from colsim import ScenarioError, find_spacer, simulate_fill, simulate_fills
from colsim.advice.report import as_json_object
from colsim.physics import choice, kernel
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Settings, TornApartError
from colsim.physics.scene import Body, Chain, Line, Scene


def test_auto_takes_the_compiled_one_where_numba_is(monkeypatch):
    assert choice.engine_named("auto") == "compiled"
    assert simulate_fill(small_scenario(1), seed=1).engine == "compiled"
    monkeypatch.setattr(choice, "find_spec", lambda _: None)
    assert choice.engine_named("auto") == "pymunk"
    assert not choice.compiles_first("auto")
    assert simulate_fill(small_scenario(1), seed=1).engine == "pymunk"
    with pytest.raises(
        ScenarioError, match=r'engine: got "compiled", but numba is not installed; install colsim\[fast\]'
    ):
        simulate_fills(small_scenario(1), fills=1, seed=1, engine="compiled")


def test_other_names_are_refused():
    with pytest.raises(ScenarioError, match=r"engine: got 'fast'; allowed: auto \| compiled \| pymunk"):
        simulate_fill(small_scenario(1), seed=1, engine="fast")


@pytest.mark.parametrize("engine", ["compiled", "pymunk"])
def test_the_answer_says_which_it_was(engine):
    with ThreadPoolExecutor(1) as pool:
        decision = find_spacer(small_scenario(1), spacers=[0], max_fills=2, seed=1, executor=pool, engine=engine)
    assert {fill.engine for fill in decision.options[0].fills.fills} == {engine}
    assert json.loads(json.dumps(as_json_object(small_scenario(1), decision)))["engine"] == f"{engine}, cross-section"


def test_machine_code_is_there_after_it_was_made_ready():
    choice.make_ready("compiled")
    assert not choice.compiles_first("compiled")
    assert kernel.is_compiled()


def test_another_process_finds_all_machine_code_and_compiles_none():
    choice.make_ready("compiled")
    code = (
        "from colsim.physics import kernel; from colsim.physics.choice import make_ready; make_ready('compiled');"
        "made = (kernel.look_on, kernel.advance_giving_way, kernel.advance);"
        "print([sum(each.stats.cache_misses.values()) for each in made])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[0, 0, 0]"


def test_a_speed_that_is_none_comes_apart_and_the_fill_is_invalid(monkeypatch):
    engine = CompiledEngine(Scene((0.0, -9806.65), (), 0.3))
    engine.add(Body(0, 60.0, 0.0, 0.5, 225.0), (0.0, 100.0), velocity=(np.nan, 0.0))
    with pytest.raises(TornApartError, match="beyond all bounds"):
        engine.advance(1)

    class Torn(CompiledEngine):
        def look_on(self, watch, soft, pace, looks):
            if watch.row["turning"][0]:
                self._world.bodies[0, kernel.VX] = np.inf
            return super().look_on(watch, soft, pace, looks)

    fill = simulate_fill(small_scenario(2), seed=1, engine=Torn)
    assert fill.invalid == "a speed or a number of contacts beyond all bounds"
    assert fill.engine == "Torn"


def test_more_contacts_than_there_is_room_for_come_apart():
    # A crowd in one place, each on each: 60 x 59 / 2 contacts.
    engine = CompiledEngine(Scene((0.0, 0.0), (), 0.3), Settings())
    for k in range(60):
        engine.add(Body(k, 60.0, 0.0, 0.5, 225.0), (0.1 * k, 0.0))
    with pytest.raises(TornApartError):
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


def test_numba_is_what_the_extra_installs():
    assert importlib.util.find_spec("numba") is not None
