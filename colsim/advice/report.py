"""The answer as a technician reads it, and as a program does."""

from __future__ import annotations

import dataclasses
import math
import textwrap
from collections import Counter
from typing import Any

from colsim.advice.cautions import CAUTIONS
from colsim.advice.decision import Decision, Option, Status, StepCheck, allowed_in_words, first_failure
from colsim.advice.measurements import BEHIND, what_follows
from colsim.advice.to_measure import in_words
from colsim.model import Scenario
from colsim.model.softness import USUAL_TEMPERATURE
from colsim.sampling.fills import Fills
from colsim.version import __version__

__all__ = ["as_json_object", "as_text", "care_as_text", "check_as_text", "count_as_text", "why"]

_VERDICT = {
    Status.MEETS: "meets",
    Status.FAILS: "fails",
    Status.UNDECIDED: "cannot tell yet",
    Status.DEPENDS: "depends on",
}
_HINTS = 3


_LINE = 100  # characters


def care_as_text() -> str:
    """Write what to mind with the hands in the machine, for the terminal."""
    return "\n".join(["CARE", *(f"   {caution}" for caution in CAUTIONS)])


def _wrapped(label: str, text: str, indent: int) -> str:
    return textwrap.fill(text, _LINE, initial_indent=f"{label:<{indent}}", subsequent_indent=" " * indent)


def check_as_text(scenario: Scenario, *, show_why: bool = False) -> str:
    """Write what follows from the measurements alone, for the terminal.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    show_why : bool
        Whether to say what theory stands behind each number.

    Returns
    -------
    str
        What follows, what was assumed, what is not checked, and the cautions.
    """
    unknowns = scenario.unknowns()
    left = (pair for pair in scenario.assumed().items() if pair[1] not in (None, (), {}) and pair[0] not in unknowns)
    assumed = ", ".join(f"{path} = {v:g}" if isinstance(v, float) else f"{path} = {v}" for path, v in left)
    ranges = ", ".join(f"{path} {s.low:g} to {s.high:g} (typical {s.typical:g})" for path, s in unknowns.items())
    lines = [f"{scenario.title}: the measurements fit together."]
    lines += [_wrapped(subject.upper(), sentence, 11) for subject, sentence in what_follows(scenario)]
    if show_why:
        lines += ["WHY", *(_wrapped(f"   {subject}", theory, 14) for subject, theory in BEHIND.items())]
    lines += [_wrapped("UNKNOWN", ranges or "nothing", 11), _wrapped("ASSUMED", assumed or "nothing", 11)]
    if kept := _kept_for_later(scenario):
        lines.append(_wrapped("KEPT", f"{kept}: read, and without effect here", 11))
    not_built = "Whether to replace liners, end stops, cap direction: NOT CHECKED, not built yet."
    lines += ["", _wrapped("", f"{not_built} How high to fill: {_how_high(scenario)}.", 0), care_as_text()]
    return "\n".join(lines)


def _kept_for_later(scenario: Scenario) -> str:
    """List what was given and no simulation uses yet."""
    products = scenario.products.values()
    any_soft = any(container.is_soft for container in products)
    unused = [] if any_soft else ["days"]
    if not any_soft and not any(container.is_held_by_gas for container in products):
        unused = ["loading_temperature", "service_temperature", *unused]
    found = [f"conditions.{name}" for name in unused if name in scenario.conditions.model_fields_set]
    found += [
        f"{kind}.{name}"
        for kind, container in scenario.products.items()
        for name in sorted(scenario.without_effect(container) - {"length"})
        if getattr(container, name) not in (None, ())
    ]
    return ", ".join(found + (["on_hand.liners"] if scenario.on_hand.liners else []))


def as_text(scenario: Scenario, decision: Decision, count: Decision | None = None) -> str:
    """Write the answer for the terminal: what to do, what to expect, what to measure next, and the cautions.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    decision : Decision
        The spacer.
    count : Decision, optional
        How many to load with that spacer, as `find_count` gives it.

    Returns
    -------
    str
        What is not built, not given or left to another command reads ``NOT CHECKED``.
    """
    sizes = ", ".join(
        f"{kind.name if scenario.container else name} {kind.diameter:.1f} mm"
        for name, kind in scenario.loaded_products.items()
    )
    lines = [
        f"{scenario.title}: {sizes}; column {scenario.column.width:.0f} mm",
        f"DO THIS       (limit you set: {allowed_in_words(scenario.target)})",
        _wrapped(" 1", _order(scenario, decision), 3),
        _wrapped(" 2", _load(scenario, count), 3),
        _wrapped(" 3", f"Liners: {_liners(scenario)}", 3),
        _wrapped(" 4", "End stops, cap direction: NOT CHECKED, not built yet.", 3),
        "WHAT TO EXPECT, bad vends in 1000",
        f"   {'':32} best guess   could be*       verdict",
        *(
            f"   {_described(option, scenario, each):<32} {_numbers(option)}   {_verdict(option)}"
            for each in _both(decision, count)
            for option in each.options
        ),
        *_footnote(scenario, decision, count),
    ]
    return "\n".join([*lines, *_measure_next(decision, count), *_hot_weeks(scenario), care_as_text()])


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
    return "\n".join([decision.summary(), *_measure_next(decision)])


def _both(decision: Decision, count: Decision | None) -> tuple[Decision, ...]:
    return (decision,) if count is None else (decision, count)


def _runs(decision: Decision) -> list[Fills]:
    """Give all fills that were simulated, by option and end of the unknowns."""
    return [fills for option in decision.options for fills in option.over.runs.values()]


def _load(scenario: Scenario, count: Decision | None) -> str:
    """Say how many to load; without a decision on it, which command finds out."""
    if count is None:
        return f"Load: NOT CHECKED here how high to fill; {_how_high(scenario)}. All below is for {_loading(scenario)}."
    if count.recommended is None:
        return f"Load: no count looked at will do. {count.reason}"
    return _with_reason(f"Load {count.recommended:g}, no more.", count)


def why(scenario: Scenario, decision: Decision, count: Decision | None = None) -> str:
    """Write what stands behind the answer: ends of the unknowns, mechanisms, and fills to replay.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    decision : Decision
        The spacer.
    count : Decision, optional
        How many to load with that spacer.

    Returns
    -------
    str
    """
    lines = ["WHY"]
    lines += [_wrapped(f"   {subject.upper()}", sentence, 14) for subject, sentence in what_follows(scenario)]
    if unknowns := scenario.unknowns():
        lines.append("   NOT MEASURED (typical, from - to, origin)")
        lines += [
            f"      {path:<34} {spread.typical:g}, {spread.low:g} - {spread.high:g}, {spread.origin or 'as you wrote'}"
            for path, spread in unknowns.items()
        ]
    for each in _both(decision, count):
        for option in each.options:
            lines += [f"   {_described(option, scenario, each).upper()}: {option.geometry}", *_behind(option)]
    return "\n".join([*lines, *_against_now(scenario, decision)])


def _behind(option: Option) -> list[str]:
    """Give the numbers of an option by end of the unknowns, what they depend on, and fills that are invalid."""
    lines = []
    for end, fills in option.over.runs.items():
        e = option.over.estimate(end)
        mechanisms = Counter(f"{v.outcome} by {v.mechanism}" for fill in fills.valid if (v := fill.failure))
        what = "; ".join(f"{n} {text}" for text, n in mechanisms.most_common()) or "all clean"
        replay = "" if (number := first_failure(fills)) is None else f"; first in fill {number}"
        numbers = f"{e.failures:4d} of {e.fills:<4d} {1000 * e.low:4.0f} - {1000 * e.high:<4.0f}"
        lines.append(f"      {end:<24} {numbers}  {what}{replay}")
    lines += [
        f"         {in_words(e.path)}: {100 * e.share_when_low:.0f} in 100 loadings fail in its lower half, "
        f"{100 * e.share_when_high:.0f} in its upper"
        for e in option.over.effects
        if e.seen
    ]
    if (check := option.step_check) is not None:
        lines.append(
            f"      of {check.fills} loadings {check.only_coarse} met trouble with the usual time step only, "
            f"{check.only_fine} with half of it only"
        )
    invalid = [fill for fills in option.over.runs.values() for fill in fills if fill.invalid]
    lines += [f"      {fill.summary()}" for fill in invalid[:_HINTS]]
    return lines


def _against_now(scenario: Scenario, decision: Decision) -> list[str]:
    """Compare what is recommended with the spacer in the pocket now, on the loadings that both have."""
    now = next((o for o in decision.options if o.value == scenario.rotor.spacer_thickness), None)
    if now is None or decision.chosen is None or now is decision.chosen:
        return []
    pairs = decision.chosen.fills.paired_with(now.fills)
    return [
        f"   AGAINST NOW: of {pairs.fills} common loadings {pairs.only_second} failed only as it is now, "
        f"{pairs.only_first} only as recommended (evidence {pairs.e_value:.3g} to 1 that they differ)"
    ]


def _loading(scenario: Scenario) -> str:
    top_up = scenario.loading.top_up_at
    return scenario.load + ("" if top_up is None else f", topped up once at {top_up} left")


def _how_high(scenario: Scenario) -> str:
    """Name the command that says how high to fill; it takes one kind at a time."""
    return "run colsim count FILE" + (", with each kind described alone" if scenario.loading.layers else "")


def _measure_next(decision: Decision, count: Decision | None = None) -> list[str]:
    """Give the hints that help most, under their heading; no lines if there are none."""
    most = [hint for each in _both(decision, count) for hint in each.measure_next[:_HINTS]]
    hints = [_wrapped("", hint, 3) for hint in dict.fromkeys(most)]
    return ["MEASURE NEXT", *hints] if hints else []


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
    return [_wrapped("HOT WEEKS", text, 14)]


def _liners(scenario: Scenario) -> str:
    lifted = [wall for wall in ("left", "right") if any(z.lifted_edge > 0 for z in scenario.column.liner_zones(wall))]
    text = "NOT CHECKED whether to replace them; simulated as described."
    if lifted:
        text = f"press the lifted edge ({' and '.join(lifted)}) flush or replace the sheet; it is an obstacle. {text}"
    return text


def _order(scenario: Scenario, decision: Decision) -> str:
    if decision.recommended is None:
        return f"Do not run it so: no spacer looked at will do. {decision.reason}"
    where = "on the pocket's floor" if scenario.rotor.spacer_kind == "raises_floor" else "at the pocket's sides"
    order = (
        "Leave the pocket bare."
        if decision.recommended == 0
        else f"Put in the {decision.recommended:g} mm spacer ({where})."
    )
    return _with_reason(order, decision)


def _with_reason(order: str, decision: Decision) -> str:
    """Give an order with its reason, and say so if the decision is not settled."""
    unsettled = "" if decision.status is Status.MEETS else "Not settled. If you must choose now: "
    return f"{unsettled}{order} {decision.reason}"


def _described(option: Option, scenario: Scenario, decision: Decision) -> str:
    if decision.decision == "count":
        return f"{option.value:g} loaded, {_spacer_in(option.fills.scenario)}"
    text = _spacer_in(option.fills.scenario)
    return f"{text} (as it is now)" if option.value == scenario.rotor.spacer_thickness else text


def _spacer_in(scenario: Scenario) -> str:
    thickness = scenario.rotor.spacer_thickness
    return f"{thickness:g} mm spacer" if thickness else "no spacer"


def _numbers(option: Option) -> str:
    low, high = option.over.could_be
    return f"{1000 * option.estimate.rate:10.0f}   {1000 * low:4.0f} - {1000 * high:<5.0f}"


def _verdict(option: Option) -> str:
    text = _VERDICT[option.status]
    if option.turns_on_steps:
        return f"{text}: finer time steps change it"
    if option.status is Status.DEPENDS:
        text = f"{text} {in_words(option.over.depends_on) if option.over.depends_on else 'what was not measured'}"
    return f"{text}: {option.mechanism}" if option.mechanism and option.status is not Status.MEETS else text


def _footnote(scenario: Scenario, decision: Decision, count: Decision | None) -> list[str]:
    runs = [fills for each in _both(decision, count) for fills in _runs(each)]
    counts = sorted({len(fills) for fills in runs})
    sample = f"{counts[0]} to {counts[-1]}" if len(counts) > 1 else f"{counts[0]}"
    invalid = sum(fills.invalid_count for fills in runs)
    total = sum(len(fills) for fills in runs)
    unknown = len(scenario.unknowns())
    what = f"{unknown} things you did not measure" if unknown else "nothing unknown"
    text = (
        f"* from {what} and {sample} virtual loadings an option and end"
        + (f"; {invalid} of {total} loadings invalid, counted in both bounds" if invalid else "")
        + f".{_finer_steps(_both(decision, count))} Not checked against this machine: count your next 200 turns."
    )
    chosen = (count or decision).chosen
    lines = [_wrapped("", text, 5)]
    if chosen is not None and (rate := chosen.fills.risk().per_fill.rate) > 0:
        lines.append(f"     About 1 loading of {chosen.fills.scenario.load} in {1 / rate:.0f} meets trouble.")
    return lines


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


def as_json_object(scenario: Scenario, decision: Decision, count: Decision | None = None) -> dict[str, Any]:
    """Give the answer for a program.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    decision : Decision
        The spacer.
    count : Decision, optional
        How many to load with that spacer.

    Returns
    -------
    dict
        ``scenario, version, engine, seed, fills, risks, decisions``, of plain lists, dicts, numbers and text.
    """
    both = _both(decision, count)
    return {
        "scenario": scenario.as_given(),
        "version": __version__,
        "engine": f"{decision.options[0].fills.engine}, cross-section",
        "seed": decision.seed,
        "fills": sum(len(fills) for each in both for option in each.options for fills in option.over.runs.values()),
        "risks": [
            {"option": _option_name(each, option), "unknowns": str(end), **_row(estimate)}
            for each in both
            for option in each.options
            for end, estimate in option.estimates
        ],
        "decisions": [_decided(each) for each in both],
        "assumed": {path: value for path, value in scenario.assumed().items() if value not in (None, (), {})},
        "unknowns": {path: spread.table() for path, spread in scenario.unknowns().items()},
    }


def _decided(decision: Decision) -> dict[str, Any]:
    check = decision.step_check
    return {
        "decision": decision.decision,
        "recommended": decision.recommended,
        "unit": decision.unit,
        "status": str(decision.status),
        "reason": decision.reason,
        "options": [
            {
                "option": _option_name(decision, option),
                "value": option.value,
                "geometry": option.geometry,
                "status": str(option.status),
                "could_be": list(option.over.could_be),
                "depends_on": option.over.depends_on,
                "effects": [_row(effect) for effect in option.over.effects],
                "mechanism": option.mechanism,
                "first_failure": option.first_failure,
            }
            for option in decision.options
        ],
        "measure_next": list(decision.measure_next),
        "step_check": None if check is None else {**_row(check), "changed": check.changed},
    }


def _option_name(decision: Decision, option: Option) -> str:
    return f"{decision.decision} {option.value:g} {decision.unit}"


def _row(record: Any) -> dict[str, Any]:
    row = dataclasses.asdict(record)
    # JSON has no "not a number".
    return {key: None if isinstance(value, float) and math.isnan(value) else value for key, value in row.items()}
