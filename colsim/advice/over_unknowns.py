"""The risk of a scenario at the typical, favourable and unfavourable ends of what nobody measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy.special import ndtri

from colsim.advice.status import Status, judged
from colsim.model import Scenario
from colsim.physics.choice import AUTO
from colsim.sampling.fills import Fills
from colsim.sampling.intervals import Estimate
from colsim.sampling.looks import Run, simulate_until_settled
from colsim.sampling.one_fill import Fill

__all__ = ["Effect", "End", "OverUnknowns", "simulate_over_unknowns", "simulate_with_known"]

POOLED_FILLS = 48
_BY_CHANCE = 0.1  # chance that any of the unknowns counts as seen if none does anything
_MOVED = 1.0  # deviations at which it is moved to its ends; else it stays typical, or chance would set its direction


class End(StrEnum):
    """Where the unknowns stand."""

    TYPICAL = "typical"
    FAVOURABLE = "favourable"
    UNFAVOURABLE = "unfavourable"
    DRAWN = "drawn over their ranges"


@dataclass(frozen=True)
class Effect:
    """What one unknown does to the risk, in fills with all unknowns drawn.

    Attributes
    ----------
    path : str
        Of the unknown.
    low, high : float
        Ends of its range [unit of the field].
    share_when_low, share_when_high : float
        Share of fills that failed with it in the lower, and in the upper, half of its range [-]; nan without any.
    deviations : float
        Mean place in its range of fills that failed less that of clean ones, over its standard deviation; positive
        where more of it is worse.
    seen : bool
        Whether it stands out from chance, with as many unknowns as there are.
    """

    path: str
    low: float
    high: float
    share_when_low: float
    share_when_high: float
    deviations: float
    seen: bool

    @property
    def difference(self) -> float:
        """Share of fills that fail in its worse half less that in its better half [-]; 0 where one half is empty."""
        found = abs(self.share_when_high - self.share_when_low)
        return 0.0 if math.isnan(found) else found

    @property
    def worse(self) -> float:
        """Its bad end [unit of the field]."""
        return self.high if self.deviations > 0 else self.low

    @property
    def better(self) -> float:
        """Its good end [unit of the field]."""
        return self.low if self.deviations > 0 else self.high


@dataclass(frozen=True)
class OverUnknowns:
    """One scenario, simulated at each end of its unknowns.

    Attributes
    ----------
    scenario : Scenario
        What was asked about.
    level : float
        Confidence of the interval at each end.
    runs : mapping of End to Fills
        ``typical`` always. With unknowns also ``drawn over their ranges``; and the two ends, unless all or no fills
        failed when drawn, so that no end stood out.
    effects : tuple of Effect
        By how much they stand out, most first; empty where nothing is unknown or no end stood out.
    """

    scenario: Scenario
    level: float
    runs: Mapping[End, Fills]
    effects: tuple[Effect, ...]

    @property
    def typical(self) -> Fills:
        """The fills with every unknown at its typical value."""
        return self.runs[End.TYPICAL]

    @property
    def ends(self) -> tuple[End, ...]:
        """Those of the runs that bear on the answer: what was drawn over the ranges only where no end stood out."""
        return tuple(end for end in self.runs if end is not End.DRAWN or End.UNFAVOURABLE not in self.runs)

    def estimate(self, end: End = End.TYPICAL) -> Estimate:
        """Give the risk per vend at one end."""
        return self.runs[end].risk_looking_often(level=self.level).per_vend

    @property
    def could_be(self) -> tuple[float, float]:
        """Failures per vend, from the lower bound at the best end to the upper bound at the worst [-]."""
        found = [self.estimate(end) for end in self.ends]
        return min(e.low for e in found), max(e.high for e in found)

    @property
    def status(self) -> Status:
        """Whether the target is met: at every end, at none, or depending on what was not measured."""
        at = {end: judged(fills, self.level) for end, fills in self.runs.items()}
        if self.effects and End.UNFAVOURABLE not in at:  # cut short before its ends were simulated
            return Status.UNDECIDED
        decided = [at[end] for end in self.ends]
        if all(status is Status.MEETS for status in decided):
            return Status.MEETS
        if all(status is Status.FAILS for status in decided):
            return Status.FAILS
        return Status.DEPENDS if {Status.MEETS, Status.FAILS} <= set(at.values()) else Status.UNDECIDED

    @property
    def how_bad(self) -> tuple[bool, float, float]:
        """By what to put scenarios in order: best guess, then how bad it could be; nothing known comes last."""
        rate = self.estimate().rate
        return (math.isnan(rate), rate, self.could_be[1])

    @property
    def interrupted(self) -> bool:
        """Whether Ctrl-C cut it short."""
        return any(fills.interrupted for fills in self.runs.values())

    @property
    def depends_on(self) -> str:
        """Path of the unknown that stands out most; empty if none does."""
        return self.effects[0].path if self.effects and self.effects[0].seen else ""


def simulate_over_unknowns(
    scenarios: Sequence[Scenario],
    *,
    level: float,
    max_fills: int,
    seed: int,
    executor: Executor,
    engine: str = AUTO,
    progress: bool = False,
) -> list[OverUnknowns]:
    """Simulate scenarios on common draws, each at the ends of its unknowns.

    With every unknown drawn, fills show which end of each is the bad one; then all that show anything are put at their
    bad ends together, and at their good ends. Of these two and the typical values, the best and the worst as simulated
    are the favourable and unfavourable ends.

    Parameters
    ----------
    scenarios : sequence of Scenario
        What to simulate.
    level : float
        Confidence of the interval at each end.
    max_fills : int
        Fills at each end, at most.
    seed : int
        Seed of all draws.
    executor : concurrent.futures.Executor
        Where to run.
    engine : str
        On which engine.
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    list of OverUnknowns
        In the order of the scenarios; interrupted by Ctrl-C, what was done till then.
    """

    def simulate(runs: list[Run]) -> list[Fills]:
        return simulate_until_settled(runs, max_fills=max_fills, seed=seed, executor=executor, progress=progress)

    settled = _settled_at(level)
    unknowns = [scenario.unknowns() for scenario in scenarios]
    pooled = [scenario.pooled() if names else None for scenario, names in zip(scenarios, unknowns, strict=True)]
    first = [Run(scenario, settled, engine=engine) for scenario in scenarios]
    first += [Run(each, lambda fills: len(fills) >= POOLED_FILLS, engine=engine) for each in pooled if each is not None]
    found = simulate(first)
    drawn = iter(found[len(scenarios) :])
    results = []
    for scenario, typical, each in zip(scenarios, found, pooled, strict=False):
        runs = {End.TYPICAL: typical}
        effects: tuple[Effect, ...] = ()
        if each is not None:
            runs[End.DRAWN] = next(drawn)
            effects = _effects(scenario, runs[End.DRAWN])
        results.append(OverUnknowns(scenario, level, runs, effects))
    if any(fills.interrupted for fills in found):
        return results
    ends = [(k, end) for k, result in enumerate(results) for end in _ends_to_simulate(result)]
    more = simulate([Run(_at(results[k], end), settled, _so_far(results[k], end), engine) for k, end in ends])
    for (k, end), fills in zip(ends, more, strict=True):
        results[k] = replace(results[k], runs={**results[k].runs, end: fills})
    return [_with_ends_in_order(result) for result in results]


def simulate_with_known(
    result: OverUnknowns, paths: Iterable[str], *, max_fills: int, seed: int, executor: Executor
) -> OverUnknowns:
    """Simulate what would be left to know if some unknowns were measured and came out typical.

    Parameters
    ----------
    result : OverUnknowns
        With these still unknown, and ends that stand out.
    paths : iterable of str
        Of the unknowns.
    max_fills, seed, executor
        As for `simulate_over_unknowns`.

    Returns
    -------
    OverUnknowns
        The other unknowns at the same ends as before, on the same engine.
    """
    unknowns = result.scenario.unknowns()
    known = {path: unknowns[path].typical for path in paths}
    left = tuple(effect for effect in result.effects if effect.path not in known)
    after = OverUnknowns(result.scenario.changed(**known), result.level, {End.TYPICAL: result.typical}, left)
    ends = _ends_to_simulate(after)
    found = simulate_until_settled(
        [Run(_at(after, end), _settled_at(result.level), engine=result.typical.engine) for end in ends],
        max_fills=max_fills,
        seed=seed,
        executor=executor,
    )
    return _with_ends_in_order(replace(after, runs={**after.runs, **dict(zip(ends, found, strict=True))}))


def _settled_at(level: float) -> Callable[[Fills], bool]:
    return lambda fills: judged(fills, level) is not Status.UNDECIDED


def _ends_to_simulate(result: OverUnknowns) -> tuple[End, ...]:
    if result.effects:
        return (End.FAVOURABLE, End.UNFAVOURABLE)
    return (End.DRAWN,) if End.DRAWN in result.runs else ()


def _so_far(result: OverUnknowns, end: End) -> list[Fill]:
    """Give the fills that are there already: what was drawn over the ranges is gone on with."""
    return list(result.runs[end]) if end in result.runs else []


def _at(result: OverUnknowns, end: End) -> Scenario:
    if end is End.DRAWN:
        return result.scenario.pooled()
    scenario, unknowns = result.scenario, result.scenario.unknowns()
    for effect in result.effects:
        if abs(effect.deviations) >= _MOVED:
            # One after the other, each as far as goes with those before it.
            to = effect.worse if end is End.UNFAVOURABLE else effect.better
            value = scenario.nearest_allowed(effect.path, unknowns[effect.path].typical, to)
            scenario = scenario.changed(**{effect.path: value})
    return scenario


def _with_ends_in_order(result: OverUnknowns) -> OverUnknowns:
    """Let the ends be those that simulating proved best and worst, the typical values among them."""
    if End.UNFAVOURABLE not in result.runs:
        return result
    simulated = [result.runs[end] for end in (End.FAVOURABLE, End.TYPICAL, End.UNFAVOURABLE)]
    if not all(fills.valid for fills in simulated):
        return result
    in_order = sorted(simulated, key=lambda fills: fills.risk().per_fill.rate)
    return replace(result, runs={**result.runs, End.FAVOURABLE: in_order[0], End.UNFAVOURABLE: in_order[-1]})


def _effects(scenario: Scenario, drawn: Fills) -> tuple[Effect, ...]:
    """Tell from fills with all unknowns drawn which end of each is the bad one."""
    failed = np.array([fill.failure is not None for fill in drawn.valid])
    if failed.all() or not failed.any():
        return ()
    found = []
    unknowns = scenario.unknowns()
    needed = float(ndtri(1 - _BY_CHANCE / (2 * len(unknowns))))
    for path, spread in unknowns.items():
        place = np.array([fill.drawn[path] for fill in drawn.valid])
        place = (place - spread.low) / (spread.high - spread.low)
        upper = place > 0.5
        when_low, when_high = (float(failed[half].mean()) if half.any() else math.nan for half in (~upper, upper))
        deviation = math.sqrt((1 / failed.sum() + 1 / (~failed).sum()) / 12)
        shift = float(place[failed].mean() - place[~failed].mean()) / deviation
        found.append(Effect(path, spread.low, spread.high, when_low, when_high, shift, abs(shift) >= needed))
    return tuple(sorted(found, key=lambda effect: -abs(effect.deviations)))
