"""What a fill does to its engine, recorded and replayed: the same bodies and the same turns on any engine."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from colsim import Scenario, simulate_fill
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Settings, run_by_steps
from colsim.physics.monitor import Monitor
from colsim.physics.scene import Body, Point, Scene

__all__ = ["Calls", "Maker", "Window", "recorded", "replayed"]

Calls = list[tuple[str, tuple[Any, ...]]]
Maker = Callable[[Scene, Settings], Any]


@dataclass(frozen=True)
class Window:
    """What is done to an engine from some moment on: bodies to put in first, calls, and the time they take [s]."""

    scene: Scene
    bodies: list[tuple[Body, Point, float]]
    calls: Calls
    time: float


class _Recorder(CompiledEngine):
    """The compiled engine, keeping every call; with a number of turns, those from the first one on alone."""

    def __init__(self, scene: Scene, settings: Settings, turns: int) -> None:
        super().__init__(scene, settings)
        self.scene, self.turns = scene, turns
        self.calls: Calls = []
        self.inside: dict[int, Body] = {}
        self.laid: list[tuple[Body, Point, float]] = []
        self.turned = 0
        self.driven = False

    def _keep(self, name: str, *arguments: Any) -> None:
        if not self.turns or 0 < self.turned <= self.turns:
            self.calls.append((name, arguments))

    def add(self, body: Body, position: Point, angle: float = 0.0, *motion: Any) -> None:
        self._keep("add", body, position, angle, *motion)
        self.inside[body.index] = body
        super().add(body, position, angle, *motion)

    def reshape(self, body: Body) -> None:
        if body.index in self.inside and self.inside[body.index] != body:
            self._keep("reshape", body)
            self.inside[body.index] = body
        super().reshape(body)

    def remove(self, index: int) -> None:
        self._keep("remove", index)
        del self.inside[index]
        super().remove(index)

    def drive(self, rate: float) -> None:
        if not self.driven:
            self.turned += 1
            if self.turned == 1:
                state = self.state()
                where = zip(self.inside.items(), state.position.tolist(), state.angle.tolist(), strict=True)
                self.laid = [(body, (x, y), angle) for (_, body), (x, y), angle in where]
        self.driven = True
        self._keep("drive", rate)
        super().drive(rate)

    def hold(self) -> None:
        self.driven = False
        self._keep("hold")
        super().hold()

    def advance(self, steps: int) -> None:
        self._keep("advance", steps)
        super().advance(steps)

    def run(self, monitor: Monitor, checks: int) -> int:
        return run_by_steps(self, monitor, checks)


def recorded(scenario: Scenario, *, turns: int = 0) -> Window:
    """Record a fill: all of it, or from its full load on so many turns and the rest after each."""
    made: list[_Recorder] = []

    def recorder(scene: Scene, settings: Settings) -> _Recorder:
        made.append(_Recorder(scene, settings, turns))
        return made[-1]

    simulate_fill(scenario, seed=1, engine=recorder)
    calls = _run_together(made[0].calls)
    steps = sum(arguments[0] for name, arguments in calls if name == "advance")
    return Window(made[0].scene, made[0].laid if turns else [], calls, steps * Settings().step)


def _run_together(calls: Calls) -> Calls:
    """Leave out what drives the drum as it is driven already, and add up steps that follow each other."""
    found: Calls = []
    driven = None
    for name, arguments in calls:
        if name in ("drive", "hold"):
            if (name, arguments) == driven:
                continue
            driven = (name, arguments)
        if name == "advance" and found and found[-1][0] == "advance":
            found[-1] = (name, (found[-1][1][0] + arguments[0],))
        else:
            found.append((name, arguments))
    return found


def replayed(window: Window, maker: Maker, settings: Settings) -> float:
    """Give the processor seconds that an engine takes over the calls of a window."""
    engine, finer = maker(window.scene, settings), round(Settings().step / settings.step)
    for body, place, angle in window.bodies:
        engine.add(body, place, angle)
    engine.hold()
    begun = time.process_time()
    for name, arguments in window.calls:
        if name == "advance":
            engine.advance(arguments[0] * finer)
        else:
            getattr(engine, name)(*arguments)
    return time.process_time() - begun
