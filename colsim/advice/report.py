"""The answer as a technician reads it, and as a program does."""

from __future__ import annotations

import dataclasses
import textwrap
from typing import Any

from colsim.advice.cautions import CAUTIONS
from colsim.advice.decision import Decision, Option, Status
from colsim.advice.measurements import what_follows
from colsim.model import Scenario
from colsim.sampling.one_fill import ENGINE
from colsim.version import __version__

__all__ = ["as_json_object", "as_text", "check_as_text"]

_VERDICT = {Status.MEETS: "meets", Status.FAILS: "fails", Status.UNDECIDED: "cannot tell yet"}
NOT_CHECKED = "End stops, cap direction, soft walls, worn or lifted liners: NOT CHECKED by this version."


_LINE = 100  # characters


def _care() -> list[str]:
    return ["CARE", *(f"   {caution}" for caution in CAUTIONS)]


def _wrapped(label: str, text: str, indent: int) -> str:
    return textwrap.fill(text, _LINE, initial_indent=f"{label:<{indent}}", subsequent_indent=" " * indent)


def check_as_text(scenario: Scenario) -> str:
    """Write what follows from the measurements alone, for the terminal.

    Parameters
    ----------
    scenario : Scenario
        What was measured.

    Returns
    -------
    str
        What follows, what was assumed, what is not checked, and the cautions.
    """
    given = {path: value for path, value in scenario.assumed().items() if value not in (None, ())}
    assumed = ", ".join(f"{path} = {v:g}" if isinstance(v, float) else f"{path} = {v}" for path, v in given.items())
    lines = [f"{scenario.title}: the measurements fit together."]
    lines += [_wrapped(subject.upper(), sentence, 11) for subject, sentence in what_follows(scenario)]
    lines += [_wrapped("ASSUMED", assumed or "nothing", 11), "", NOT_CHECKED, *_care()]
    return "\n".join(lines)


def as_text(scenario: Scenario, decision: Decision) -> str:
    """Write the answer for the terminal.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    decision : Decision
        The spacer.

    Returns
    -------
    str
        Title, what to do, what to expect, what to measure next, and the cautions.
    """
    container, column = scenario.container, scenario.column
    lines = [
        f"{scenario.title}: {container.name}, {container.diameter:.1f} mm; column {column.width:.1f} mm; "
        f"{scenario.loading.count} loaded",
        f"DO THIS       (limit you set: {1000 * decision.target:g} bad vends in 1000)",
        _wrapped(" 1", _order(scenario, decision), 3),
        f" 2 {NOT_CHECKED}",
        "WHAT TO EXPECT, bad vends in 1000",
        f"   {'':32} best guess   could be*       verdict",
        *(
            f"   {_described(option, scenario):<32} {_numbers(option)}   {_verdict(option)}"
            for option in decision.options
        ),
        f"   * from {_sample(decision)}: chance in loading only. Whatever you guessed in the",
        "     file is not in it. Not checked against this machine: count your next 200 turns.",
    ]
    if decision.measure_next:
        lines += ["MEASURE NEXT", *(f"   {hint}" for hint in decision.measure_next)]
    return "\n".join([*lines, *_care()])


def _order(scenario: Scenario, decision: Decision) -> str:
    if decision.recommended is None:
        return f"Do not run it so: no spacer looked at will do. {decision.reason}"
    where = "on the pocket's floor" if scenario.rotor.spacer_kind == "raises_floor" else "at the pocket's sides"
    order = (
        "Leave the pocket bare."
        if decision.recommended == 0
        else f"Put in the {decision.recommended:g} mm spacer ({where})."
    )
    if decision.status is Status.UNDECIDED:
        order = f"Not settled. If you must choose now: {order}"
    return f"{order} {decision.reason}"


def _described(option: Option, scenario: Scenario) -> str:
    text = "no spacer" if option.value == 0 else f"{option.value:g} mm spacer"
    return f"{text} (as it is now)" if option.value == scenario.rotor.spacer_thickness else text


def _numbers(option: Option) -> str:
    e = option.estimate
    return f"{1000 * e.rate:10.0f}   {1000 * e.low:4.0f} - {1000 * e.high:<5.0f}"


def _verdict(option: Option) -> str:
    verdict = _VERDICT[option.status]
    return f"{verdict}: {option.mechanism}" if option.mechanism and option.status is not Status.MEETS else verdict


def _sample(decision: Decision) -> str:
    counts = {option.estimate.fills for option in decision.options}
    fills = f"{counts.pop()}" if len(counts) == 1 else f"{min(counts)} to {max(counts)}"
    invalid = sum(len(option.fills.fills) - len(option.fills.valid) for option in decision.options)
    return f"{fills} virtual loadings an option" + (f" ({invalid} invalid in all)" if invalid else "")


def as_json_object(scenario: Scenario, decision: Decision) -> dict[str, Any]:
    """Give the answer for a program.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    decision : Decision
        The spacer.

    Returns
    -------
    dict
        ``scenario, version, engine, seed, fills, risks, decisions``, of plain lists, dicts, numbers and text.
    """
    return {
        "scenario": scenario.model_dump(mode="json"),
        "version": __version__,
        "engine": ENGINE,
        "seed": decision.seed,
        "fills": sum(option.estimate.fills for option in decision.options),
        "risks": [
            {"option": _option_name(decision, option), **_row(estimate)}
            for option in decision.options
            for estimate in option.estimates
        ],
        "decisions": [
            {
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
                        "mechanism": option.mechanism,
                        "first_failure": option.first_failure,
                    }
                    for option in decision.options
                ],
                "measure_next": list(decision.measure_next),
            }
        ],
    }


def _option_name(decision: Decision, option: Option) -> str:
    return f"{decision.decision} {option.value:g} {decision.unit}"


def _row(estimate: Any) -> dict[str, Any]:
    row = dataclasses.asdict(estimate)
    # JSON has no "not a number".
    return {key: None if value != value else value for key, value in row.items() if key != "vends"}  # noqa: PLR0124
