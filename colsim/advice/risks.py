"""The risk of a scenario in the typical, most favourable and least favourable case of what nobody measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from colsim.advice.status import Status, judged
from colsim.advice.study import Study
from colsim.model import Scenario, Spread
from colsim.physics.engines import FloatArray
from colsim.sampling.fills import Fills
from colsim.sampling.intervals import Estimate
from colsim.sampling.looks import Run
from colsim.sampling.one_fill import Fill

__all__ = ["SCREENING_FILLS", "Case", "Effect", "Risks", "simulate_risks", "simulate_with_known"]

SCREENING_FILLS = 48
_BY_CHANCE = 0.1  # chance that any of the unknowns counts as seen if none does anything
_MOVED = 1.0  # deviations at which it is moved to its ends; else it stays typical, or chance would set its direction
_RETRIED = 2  # failed screening fills whose unknowns are looked at again where the expected worst case does not fail


class Case(StrEnum):
    """Where the unknowns stand."""

    TYPICAL = "typical"
    FAVOURABLE = "favourable"
    UNFAVOURABLE = "unfavourable"
    SCREENED = "drawn over their ranges"


@dataclass(frozen=True)
class Effect:
    """What one unknown does to the risk, in the screening fills.

    Attributes
    ----------
    path : str
        Of the unknown.
    low, high : float
        Ends of its range [unit of the field].
    share_when_low, share_when_high : float
        Share of fills that failed or cannot be believed with it in the lower, and in the upper, half of its range [-];
        nan without any.
    deviations : float
        How strongly fills got worse with more of it, in standard deviations of what chance does; positive where more
        of it is worse. Between failed and clean fills it is the difference of its mean place in its range; where all
        failed or none did, a rank correlation with how near each came to failing.
    seen : bool
        Whether it stands out from chance among failed and clean fills, with as many unknowns as there are.
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
class Risks:
    """One scenario, simulated in each case of its unknowns.

    Attributes
    ----------
    scenario : Scenario
        What was asked about.
    level : float
        Confidence of the interval in each case.
    runs : mapping of Case to Fills
        ``typical`` always. With unknowns also ``favourable``, ``unfavourable``, and ``drawn over their ranges``, the
        screening fills that showed which end of each unknown is the bad one. Cut short, those that were begun.
    effects : tuple of Effect
        Of all unknowns, by how much they stand out, most first; empty where nothing is unknown.
    """

    scenario: Scenario
    level: float
    runs: Mapping[Case, Fills]
    effects: tuple[Effect, ...]

    @property
    def typical(self) -> Fills:
        """The fills with every unknown at its typical value."""
        return self.runs[Case.TYPICAL]

    @property
    def cases(self) -> tuple[Case, ...]:
        """Those of the runs that bear on the answer: all but the screening fills."""
        return tuple(case for case in self.runs if case is not Case.SCREENED)

    def estimate(self, case: Case = Case.TYPICAL) -> Estimate:
        """Give the risk per vend in one case.

        Parameters
        ----------
        case : Case
            One of those that were simulated.

        Returns
        -------
        Estimate
            Of the share of vends that fail [-], at a confidence of ``level``.
        """
        return self.runs[case].risk_looking_often(level=self.level).per_vend

    def estimate_of_target(self, case: Case = Case.TYPICAL) -> Estimate:
        """Give the risk that the target limits in one case, per vend or per fill.

        Parameters
        ----------
        case : Case
            One of those that were simulated.

        Returns
        -------
        Estimate
            Of the share of vends, or of fills, that fail [-], at a confidence of ``level``.
        """
        return self.runs[case].risk_looking_often(level=self.level).per(self.scenario.target.unit)

    @property
    def could_be(self) -> tuple[float, float]:
        """Failures per vend, from the lower bound in the best case to the upper bound in the worst [-]."""
        found = [self.estimate(case) for case in self.cases]
        return min(e.low for e in found), max(e.high for e in found)

    @property
    def status(self) -> Status:
        """Whether the target is met: in every case, in none, or depending on what was not measured."""
        if self.is_cut_short:
            return Status.UNDECIDED
        decided = [judged(self.runs[case], self.level) for case in self.cases]
        screened = self.runs.get(Case.SCREENED)
        if screened is not None and judged(screened, self.level) is Status.FAILS:
            decided.append(Status.FAILS)
        if len(set(decided)) == 1:
            return decided[0]
        return Status.DEPENDS if {Status.MEETS, Status.FAILS} <= set(decided) else Status.UNDECIDED

    @property
    def is_cut_short(self) -> bool:
        """Whether a case of its unknowns is missing, because Ctrl-C came before it was begun."""
        return bool(self.scenario.unknowns()) and Case.UNFAVOURABLE not in self.runs

    @property
    def best_guess_fails(self) -> bool:
        """Whether more goes wrong than the target allows by the best guess, however sure that is."""
        return self.estimate_of_target().rate > self.scenario.target.limit

    @property
    def how_bad(self) -> tuple[bool, float, float]:
        """By what to put scenarios in order: best guess, then how bad it could be; nothing known comes last."""
        rate = self.estimate().rate
        return (math.isnan(rate), rate, self.could_be[1])

    @property
    def interrupted(self) -> bool:
        """Whether Ctrl-C cut it short."""
        return self.is_cut_short or any(fills.interrupted for fills in self.runs.values())

    @property
    def depends_on(self) -> str:
        """Path of the unknown that stands out most; empty if none does."""
        return self.effects[0].path if self.effects and self.effects[0].seen else ""


def simulate_risks(scenarios: Sequence[Scenario], *, level: float | Sequence[float], study: Study) -> list[Risks]:
    """Simulate scenarios on common draws, each in all cases of its unknowns.

    Screening fills have every unknown at an end of its range or between, at random. They show which end of each is the
    bad one; then all are put at their bad ends together, and at their good ends. If a screening fill failed though the
    bad ends together do not, the unknowns of that fill are looked at as well. Of all that was simulated so, the typical
    values among it, the best and the worst are the favourable and unfavourable case.

    Parameters
    ----------
    scenarios : sequence of Scenario
        What to simulate.
    level : float, or sequence of float
        Confidence of the interval in each case; one for all scenarios, or one for each.
    study : Study
        Seed, fills in each case at most, engine, and where to run.

    Returns
    -------
    list of Risks
        In the order of the scenarios; interrupted by Ctrl-C, what was done till then.

    Raises
    ------
    SimulationError
        If a fill cannot be carried through.
    """
    levels = [level] * len(scenarios) if isinstance(level, float) else list(level)
    unknown = [bool(scenario.unknowns()) for scenario in scenarios]
    first = [_run(scenario, level, study) for scenario, level in zip(scenarios, levels, strict=True)]
    first += [
        Run(scenario.screened(), lambda fills: len(fills) >= SCREENING_FILLS, engine=study.engine)
        for scenario, has_unknowns in zip(scenarios, unknown, strict=True)
        if has_unknowns
    ]
    found = study.simulate(first)
    screened = iter(found[len(scenarios) :])
    results = []
    for scenario, one_level, typical, has_unknowns in zip(scenarios, levels, found, unknown, strict=False):
        runs, effects = {Case.TYPICAL: typical}, tuple[Effect, ...]()
        if has_unknowns:
            runs[Case.SCREENED] = next(screened)
            effects = _effects(scenario, runs[Case.SCREENED])
        results.append(Risks(scenario, one_level, runs, effects))
    if any(fills.interrupted for fills in found):
        return results
    return _with_cases(results, study)


def simulate_with_known(risks: Risks, paths: Iterable[str], *, study: Study) -> Risks:
    """Simulate what would be left to know if some unknowns were measured and came out typical.

    Parameters
    ----------
    risks : Risks
        With these still unknown.
    paths : iterable of str
        Of the unknowns.
    study : Study
        As for `simulate_risks`.

    Returns
    -------
    Risks
        The other unknowns at the bad and good ends of what is left of their ranges.

    Raises
    ------
    SimulationError
        If a fill cannot be carried through.
    """
    unknowns = risks.scenario.unknowns()
    known = {path: unknowns[path].typical for path in paths if path in unknowns}
    scenario = risks.scenario.changed(**known)
    left = scenario.unknowns()  # what was derived from one that is known now may be gone as well
    effects = tuple(
        replace(effect, low=left[effect.path].low, high=left[effect.path].high)
        for effect in risks.effects
        if effect.path in left
    )
    typical = risks.typical
    if _at_typical(scenario) != _at_typical(risks.scenario):  # what is derived from one that is known now has moved
        (typical,) = study.simulate([_run(scenario, risks.level, study)])
    after = Risks(scenario, risks.level, {Case.TYPICAL: typical}, effects)
    if not effects or typical.interrupted:
        return after
    # Screening fills drew what is known now as well; those near it that failed show where else to look.
    screened = risks.runs[Case.SCREENED]
    near = _nearest_half(screened, known, unknowns)
    runs = {**after.runs, Case.SCREENED: replace(screened, records=near)}
    (found,) = _with_cases([replace(after, runs=runs)], study)
    return replace(found, runs={case: found.runs[case] for case in found.cases})


def _nearest_half(screened: Fills, known: Mapping[str, float], unknowns: Mapping[str, Spread]) -> tuple[Fill, ...]:
    """Give the half of the screening fills that drew something nearest to what is known now."""
    widths = {path: unknowns[path].high - unknowns[path].low for path in known}

    def distance(fill: Fill) -> float:
        return sum(abs(fill.drawn[path] - value) / widths[path] for path, value in known.items())

    return tuple(sorted(screened, key=distance)[: len(screened) // 2])


def _at_typical(scenario: Scenario) -> Scenario:
    return scenario.changed(**{path: spread.typical for path, spread in scenario.unknowns().items()})


def _run(scenario: Scenario, level: float, study: Study) -> Run:
    return Run(scenario, _settled_at(level), engine=study.engine)


def _settled_at(level: float) -> Callable[[Fills], bool]:
    return lambda fills: judged(fills, level) is not Status.UNDECIDED


def _with_cases(results: list[Risks], study: Study) -> list[Risks]:
    """Add the most and least favourable case to what has unknowns."""
    open_ones = [k for k, risks in enumerate(results) if risks.effects]
    corners = {(k, way): _corner(results[k], way) for k in open_ones for way in ("better", "worse")}
    moved = {key: scenario for key, scenario in corners.items() if scenario != results[key[0]].scenario}
    found = study.simulate([_run(scenario, results[k].level, study) for (k, _), scenario in moved.items()])
    at = dict(zip(moved, found, strict=True))
    of: dict[int, list[Fills]] = {}
    for k in open_ones:
        typical = results[k].typical
        # From what is expected to be best to what is expected to be worst, so that those that come out alike stay so.
        of[k] = [at.get((k, "better"), typical), typical, at.get((k, "worse"), typical)]
    if not any(fills.interrupted for fills in found):
        again = [(k, each) for k in open_ones for each in _failed_otherwise(results[k], of[k])]
        more = study.simulate([_run(scenario, results[k].level, study) for k, scenario in again])
        for (k, _), fills in zip(again, more, strict=True):
            of[k].append(fills)
    for k, runs in of.items():
        results[k] = _with_ends_of(results[k], [fills for fills in runs if fills.records])
    return results


def _with_ends_of(risks: Risks, simulated: Sequence[Fills]) -> Risks:
    """Let the two cases be those that simulating proved best and worst, the typical values among them."""
    if len(simulated) < 3:  # cut short
        return risks
    in_order = sorted(simulated, key=_share_that_failed)
    return replace(risks, runs={**risks.runs, Case.FAVOURABLE: in_order[0], Case.UNFAVOURABLE: in_order[-1]})


def _share_that_failed(fills: Fills) -> float:
    """Give the share of fills that failed or cannot be believed."""
    return sum(fill.went_wrong for fill in fills) / len(fills)


def _corner(risks: Risks, way: str) -> Scenario:
    """Move all unknowns that show anything to the worse, or to the better, of their ends together."""
    moved = {e.path: getattr(e, way) for e in risks.effects if abs(e.deviations) >= _MOVED}
    return _moved_to(risks.scenario, moved)


def _moved_to(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """Move unknowns one after the other, each as far as goes with those before it."""
    unknowns = scenario.unknowns()
    for path, to in values.items():
        value = scenario.nearest_allowed(path, unknowns[path].typical, to)
        scenario = scenario.changed(**{path: value})
    return scenario


def _failed_otherwise(risks: Risks, simulated: Sequence[Fills]) -> list[Scenario]:
    """Give the unknowns of some screening fills that failed, unless a case that was simulated fails anyway."""
    screened = risks.runs.get(Case.SCREENED)
    if screened is None or any(judged(fills, risks.level) is Status.FAILS for fills in simulated):
        return []
    paths = [effect.path for effect in risks.effects]
    failed = [fill for fill in screened if fill.went_wrong]
    failed.sort(key=lambda fill: fill.vends_to_failure)
    found: list[Scenario] = []
    for fill in failed:
        scenario = _moved_to(risks.scenario, {path: fill.drawn[path] for path in paths})
        if len(found) < _RETRIED and scenario not in found:
            found.append(scenario)
    return found


def _effects(scenario: Scenario, screened: Fills) -> tuple[Effect, ...]:
    """Tell from the screening fills which end of each unknown is the bad one."""
    fills, unknowns = screened.records, scenario.unknowns()
    failed = np.array([fill.went_wrong for fill in fills], dtype=bool)
    low, high = (np.array([getattr(spread, end) for spread in unknowns.values()]) for end in ("low", "high"))
    drawn = np.array([[fill.drawn[path] for path in unknowns] for fill in fills]).reshape(len(fills), len(unknowns))
    places = (drawn - low) / (high - low)
    mixed = bool(0 < failed.sum() < len(fills))
    moved = _shift_between(places, failed) if mixed else _correlation(places, _how_near_to_failing(fills))
    needed = float(ndtri(1 - _BY_CHANCE / (2 * len(unknowns))))
    found = []
    for (path, spread), place, deviations in zip(unknowns.items(), places.T, moved, strict=True):
        upper = place > 0.5
        when_low, when_high = (float(failed[half].mean()) if half.any() else math.nan for half in (~upper, upper))
        seen = mixed and bool(abs(deviations) >= needed)
        found.append(Effect(path, spread.low, spread.high, when_low, when_high, float(deviations), seen))
    return tuple(sorted(found, key=lambda effect: -abs(effect.deviations)))


def _shift_between(places: FloatArray, failed: npt.NDArray[np.bool_]) -> FloatArray:
    """Give the mean place of failed fills less that of clean ones, in deviations of what chance does."""
    shift = places[failed].mean(axis=0) - places[~failed].mean(axis=0)
    variance = places.var(axis=0) * (1 / failed.sum() + 1 / (~failed).sum())
    found: FloatArray = np.divide(shift, np.sqrt(variance), out=np.zeros_like(shift), where=variance > 0)
    return found


def _correlation(places: FloatArray, badness: FloatArray) -> FloatArray:
    """Give the rank correlation of each place with how bad a fill was, in deviations of what chance does."""
    from scipy.stats import rankdata

    if len(places) < 2:
        return np.zeros(places.shape[1])
    x, y = rankdata(places, axis=0) - (len(places) + 1) / 2, rankdata(badness) - (len(places) + 1) / 2
    norm = np.sqrt((x**2).sum(axis=0) * (y**2).sum())
    found: FloatArray = np.divide(x.T @ y, norm, out=np.zeros(x.shape[1]), where=norm > 0)
    return found * math.sqrt(len(places) - 1)


def _how_near_to_failing(fills: Sequence[Fill]) -> FloatArray:
    """Give a number for each fill that grows as it fails sooner, or else as a vend takes longer and presses harder."""
    from scipy.stats import rankdata

    longest = rankdata([max((v.duration for v in fill.vends), default=0.0) for fill in fills])
    hardest = rankdata([max((v.peak_force for v in fill.vends), default=0.0) for fill in fills])
    sooner = np.array([-fill.vends_to_failure if fill.failure else -math.inf for fill in fills])
    return rankdata(sooner) * (len(fills) + 1) ** 2 + longest + hardest
