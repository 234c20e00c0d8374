"""The answer as a technician reads it."""

from __future__ import annotations

import math

from colsim.advice.advice import Advice
from colsim.advice.decision import Decision, Option
from colsim.advice.next_command import command
from colsim.advice.spacer_options import spacer_in_words
from colsim.advice.status import Status
from colsim.advice.step_check import StepCheck
from colsim.advice.to_measure import fills_wanted, in_words
from colsim.advice.words import care_as_text, loading_in_words, verdict_in_words, wrapped
from colsim.model import Scenario
from colsim.model.softness import USUAL_TEMPERATURE
from colsim.sampling.fills import Fills

__all__ = ["as_text", "count_as_text"]

_HINTS = 3
_MOST_FILLS, _IN_STEPS = 2000, 16  # loadings that a command is printed for, and to what they are rounded up
_NAMED = 5  # things that were not measured, named on the first screen


def as_text(advice: Advice, *, file: str = "FILE") -> str:
    """Write the answer for the terminal: what to do, what to expect, what to measure next, and the cautions.

    Parameters
    ----------
    advice : Advice
        All decisions.
    file : str
        How the scenario is given to the next command.

    Returns
    -------
    str
        What is not built, not given or left to another command reads ``NOT CHECKED``.
    """
    scenario = advice.scenario
    sizes = ", ".join(
        f"{kind.name if scenario.container else name} {kind.diameter:.1f} mm"
        for name, kind in scenario.loaded_products.items()
    )
    lines = [
        f"{scenario.title}: {sizes}; column {scenario.column.width:.0f} mm",
        f"DO THIS       (limit you set: {scenario.target.in_words()})",
        *(wrapped(f" {k}", order, 3) for k, order in enumerate(_orders(advice), start=1)),
        "WHAT TO EXPECT, bad vends in 1000",
        f"   {'':32} best guess   could be*       verdict",
        *(
            f"   {_described(option, decision, scenario):<32} {_numbers(option)}   {verdict_in_words(option)}"
            for decision in advice.decisions
            for option in decision.options
        ),
        *_footnote(advice),
        *_measure_next(*advice.decisions),
        *_next(advice, file),
        *_hot_weeks(scenario),
    ]
    return "\n".join([*lines, care_as_text()])


def count_as_text(decision: Decision) -> str:
    """Write the answer on the count for the terminal.

    Parameters
    ----------
    decision : Decision
        As `find_count` gives it.

    Returns
    -------
    str
        Its summary, and what to measure next, if anything.
    """
    return "\n".join([wrapped("DO THIS: ", _order(decision), 9), decision.summary(), *_measure_next(decision)])


def _orders(advice: Advice) -> list[str]:
    """Say what to do, the most important first."""
    spacer, count = advice.spacer, advice.count
    if advice.nothing_will_do:
        reasons = [decision.reason for decision in advice.decisions]
        orders = [f"Do not load this container here. {' '.join(reasons)}"]
        if spacer.chosen is not None:
            orders.append(f"If you must: {spacer.chosen.order} It went wrong least.")
    else:
        orders = [f"{_order(spacer)} {spacer.reason}"]
        if count is not None and spacer.chosen is None:
            why = f"With {loading_in_words(advice.scenario)} {spacer.reason[0].lower()}{spacer.reason[1:]}"
            orders = [f"Load fewer. {why} Line 2 is for the {spacer.least_bad.label}, the least bad."]
        if count is not None:
            orders.append(f"{_order(count)} {count.reason}")
    if count is None and not advice.nothing_will_do:
        orders.append(f"Load: NOT CHECKED here how high to fill. All below is for {loading_in_words(advice.scenario)}.")
    return [*orders, f"Liners: {_liners(advice.scenario)}", "End stops, cap direction: NOT CHECKED, not built yet."]


def _order(decision: Decision) -> str:
    """Give the order of a decision, and say so if it is not settled."""
    if decision.chosen is None:
        return "Nothing looked at will do."
    unsettled = "" if decision.status is Status.MEETS else "Not settled. If you must choose now: "
    return f"{unsettled}{decision.chosen.order}"


def _described(option: Option, decision: Decision, scenario: Scenario) -> str:
    with_it = (
        "" if decision.decision == "spacer" else f", {spacer_in_words(option.risks.scenario.rotor.spacer_thickness)}"
    )
    now = decision.decision == "spacer" and option.value == scenario.rotor.spacer_thickness
    return f"{option.label}{with_it}" + " (as it is now)" * now


def _numbers(option: Option) -> str:
    low, high = option.risks.could_be
    rate = option.estimate.rate
    best = "unknown" if math.isnan(rate) else f"{1000 * rate:.0f}"
    return f"{best:>10}   {1000 * low:4.0f} - {1000 * high:<5.0f}"


def _runs(decision: Decision) -> list[Fills]:
    """Give all fills that were simulated, by option and case of the unknowns."""
    return [fills for option in decision.options for fills in option.risks.runs.values()]


def _footnote(advice: Advice) -> list[str]:
    runs = [fills for decision in advice.decisions for fills in _runs(decision)]
    counts = sorted({len(fills) for fills in runs})
    sample = f"{counts[0]} to {counts[-1]}" if len(counts) > 1 else f"{counts[0]}"
    invalid, total = sum(fills.invalid_count for fills in runs), sum(len(fills) for fills in runs)
    text = (
        f"* from {_unmeasured(advice)} and {sample} virtual loadings an option and case"
        + (f"; {invalid} of {total} loadings invalid, counted as failed" if invalid else "")
        + f".{_finer_steps(advice.decisions)} Not checked against this machine: count your next 200 turns."
    )
    lines = [wrapped("", text, 5)]
    chosen = advice.decisions[-1].chosen
    if chosen is not None and (rate := chosen.fills.risk().per_fill.rate) > 0:
        lines.append(f"     About 1 loading of {chosen.risks.scenario.load} in {1 / rate:.0f} meets trouble.")
    return lines


def _unmeasured(advice: Advice) -> str:
    """Name what was not measured, what stands out first; no more than fit on the screen."""
    effects = [effect.path for effect in advice.spacer.least_bad.risks.effects]
    unknowns = advice.scenario.unknowns()
    paths = [path for path in dict.fromkeys((*effects, *unknowns)) if path in unknowns]
    if not paths:
        return "what varies from loading to loading (nothing is unknown)"
    named = ", ".join(in_words(path) for path in paths[:_NAMED])
    more = f" and {len(paths) - _NAMED} more (--why)" if len(paths) > _NAMED else ""
    return f"what you did not measure ({named}{more})"


def _finer_steps(decisions: tuple[Decision, ...]) -> str:
    """Say how many loadings of what is recommended came out otherwise with finer time steps; empty if nothing is."""
    checks = [each.step_check for each in decisions if each.chosen is not None]
    made = [check for check in checks if check is not None]
    if len(made) < len(checks):
        return " Finer time steps: NOT CHECKED, stopped early."
    whole = StepCheck(
        fills=sum(check.fills for check in made),
        only_coarse=sum(check.only_coarse for check in made),
        only_fine=sum(check.only_fine for check in made),
        turns=any(check.turns for check in made),
    )
    return f" Finer time steps: {whole.in_words()}." if made else ""


def _measure_next(*decisions: Decision) -> list[str]:
    """Give the hints that help most, under their heading; no lines if there are none."""
    most = [hint for each in decisions for hint in each.measure_next[:_HINTS]]
    hints = [wrapped("   ", hint, 5) for hint in dict.fromkeys(most)]
    return ["MEASURE NEXT", *hints] if hints else []


def _next(advice: Advice, file: str) -> list[str]:
    """Give the commands to type next, with what to find out by each."""
    scenario, changes = advice.scenario, advice.changes
    if more := _more_fills(advice, file):
        found = [more]
    elif advice.nothing_will_do:
        found = [(command("compare", file, None, "NAME", "NAME"), "which of other containers belong here")]
    elif advice.count is None and not scenario.loading.layers:
        found = [(command("count", file, changes), "how high to fill with it")]
    else:
        found = [(command("advise", file, changes), "all again as it then is")]
    return [
        line for typed, what in found for line in (f"NEXT  {typed}", f"      ({what})")
    ]  # in one line, to be copied


def _more_fills(advice: Advice, file: str) -> tuple[str, str] | None:
    """Give the command that simulates as many loadings as the last decision needs; None if no number settles it."""
    decision = advice.decisions[-1]
    if decision.chosen is None or decision.status is not Status.UNDECIDED or decision.interrupted:
        return None
    needed = fills_wanted(decision.chosen.risks)
    if needed is None or needed > _MOST_FILLS:
        return None
    number = str(math.ceil(needed / _IN_STEPS) * _IN_STEPS)
    if decision is advice.spacer:
        return command("advise", file, None, "--max-fills", number), "enough loadings to settle it"
    spacer = advice.spacer.least_bad.changes
    return command("count", file, spacer, "--max-fills", number), "enough loadings to settle how many"


def _hot_weeks(scenario: Scenario) -> list[str]:
    """Say at which temperature was simulated what gives way with it, and how to look at another; no lines if none."""
    kinds = scenario.loaded_products.values()
    soft, by_gas = (any(kind.is_soft for kind in kinds), any(kind.is_held_by_gas for kind in kinds))
    what = " and ".join(["soft walls"] * soft + ["containers held by their gas"] * by_gas)
    if not what:
        return []
    given = scenario.conditions.service_temperature
    now = f"{USUAL_TEMPERATURE:g} deg C (assumed)" if given is None else f"{given:g} deg C"
    text = (
        f"NOT CHECKED beyond the {now} of the column that {what} were simulated at. Set "
        "conditions.service_temperature to that of a hot week, and ask again."
    )
    return [wrapped("HOT WEEKS", text, 14)]


def _liners(scenario: Scenario) -> str:
    lifted = [wall for wall in ("left", "right") if any(z.lifted_edge > 0 for z in scenario.column.liner_zones(wall))]
    text = "NOT CHECKED whether to replace them; simulated as described."
    if lifted:
        text = f"press the lifted edge ({' and '.join(lifted)}) flush or replace the sheet; it is an obstacle. {text}"
    return text
