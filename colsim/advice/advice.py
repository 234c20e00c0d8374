"""All decisions on one column, each with what the one before it recommends."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

from colsim.advice.count import MAX_FILLS as MAX_FILLS_OF_COUNT
from colsim.advice.count import find_count
from colsim.advice.decision import Decision
from colsim.advice.spacer import MAX_FILLS, find_spacer
from colsim.advice.study import study
from colsim.model import Scenario
from colsim.physics.choice import AUTO
from colsim.sampling.one_fill import Replay, replay

__all__ = ["Advice", "advise", "moment_to_show", "replay_to_show"]

_MOVES = 0.02  # [rad] that the drum turns before it counts as turning


@dataclass(frozen=True, repr=False)
class Advice:
    """What to do with one column.

    Attributes
    ----------
    scenario : Scenario
        What was measured.
    spacer : Decision
        Which spacer goes into the pocket.
    count : Decision or None
        How many to load with that spacer; None unless one kind with soft walls is loaded, or if cut short before.
    """

    scenario: Scenario
    spacer: Decision
    count: Decision | None = None

    @property
    def decisions(self) -> tuple[Decision, ...]:
        """All that was decided, in order."""
        return (self.spacer,) if self.count is None else (self.spacer, self.count)

    @property
    def interrupted(self) -> bool:
        """Whether Ctrl-C cut it short."""
        return any(decision.interrupted for decision in self.decisions)

    @property
    def nothing_will_do(self) -> bool:
        """Whether the container should not be loaded here: no spacer serves, nor does a smaller load with the best."""
        return self.spacer.nothing_will_do and (self.count is None or self.count.nothing_will_do)

    @property
    def changes(self) -> Mapping[str, Any]:
        """What to change in the scenario so that it is as recommended, by dotted path."""
        found: dict[str, Any] = {}
        for decision in self.decisions:
            option = decision.chosen or (decision.least_bad if decision is self.spacer and self.count else None)
            found |= {} if option is None else option.changes
        return found

    def __repr__(self) -> str:
        return f"<Advice on {self.scenario.title!r}: {', '.join(map(repr, self.decisions))}>"

    def __str__(self) -> str:
        from colsim.advice.report import as_text

        return as_text(self)

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(str(self))}</pre>"


def advise(
    scenario: Scenario,
    *,
    max_fills: int = MAX_FILLS,
    seed: int | None = None,
    executor: Executor | None = None,
    engine: str = AUTO,
    progress: bool = False,
) -> Advice:
    """Decide which spacer to use, and of soft walls how many to load with it.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    max_fills : int
        Fills to simulate for each spacer and case of the unknowns, at most; for each count twice as many, since there
        are few containers in some.
    seed : int, optional
        Seed of all draws; a fresh one, kept in the result, if not given.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    progress : bool
        Whether to show bars on standard error.

    Returns
    -------
    Advice
        The count is sought with the spacer that is recommended, or else the one that went wrong least.

    Raises
    ------
    ScenarioError
        If a number is not allowed.
    SimulationError
        If the column does not hold what it is to be loaded with, or a fill cannot be carried through.
    StoppedError
        If Ctrl-C came before the first fill was done.
    """
    with study(max_fills=max_fills, seed=seed, executor=executor, engine=engine, progress=progress) as how:
        shared: dict[str, Any] = {"seed": how.seed, "executor": how.executor, "engine": engine, "progress": progress}
        spacer = find_spacer(scenario, max_fills=how.max_fills, **shared)
        (first, *more) = scenario.loaded_products.values()
        if more or not first.is_soft or spacer.interrupted:
            return Advice(scenario, spacer)
        with_it = scenario.changed(**spacer.least_bad.changes)
        of_count = max(1, how.max_fills * MAX_FILLS_OF_COUNT // MAX_FILLS)
        return Advice(scenario, spacer, find_count(with_it, max_fills=of_count, **shared))


def replay_to_show(decision: Decision, changes: Mapping[str, Any]) -> Replay:
    """Replay a loading that shows what happens: the first that failed with some changes, or else the first.

    Parameters
    ----------
    decision : Decision
        Whose options and draws count.
    changes : mapping of str to object
        What is changed in its scenario, by dotted path.

    Returns
    -------
    Replay

    Raises
    ------
    ScenarioError
        If a path is unknown, or the changes contradict the scenario.
    SimulationError
        If the fill cannot be carried through.
    """
    scenario = decision.scenario.changed(**changes)
    same = next((option for option in decision.options if dict(option.changes) == dict(changes)), None)
    number = None if same is None else same.first_failure
    return replay(scenario, seed=decision.seed, number=number or 0, engine=decision.engine)


def moment_to_show(again: Replay) -> int:
    """Choose the frame of a replay that shows most: where it stuck, or else as loaded, before the drum first turns.

    Parameters
    ----------
    again : Replay
        With its frames.

    Returns
    -------
    int
        Index into its frames.
    """
    if again.fill.failure:
        return len(again.frames) - 1
    turned = next((k for k, frame in enumerate(again.frames) if abs(frame.drum_angle) > _MOVES), 1)
    return max(0, turned - 1)
