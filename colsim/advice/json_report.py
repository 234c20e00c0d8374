"""The answer as a program reads it."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from colsim.advice.advice import Advice
from colsim.advice.decision import Decision, Option

__all__ = ["as_json_object"]


def as_json_object(advice: Advice) -> dict[str, Any]:
    """Give the answer for a program.

    Parameters
    ----------
    advice : Advice
        All decisions.

    Returns
    -------
    dict
        ``scenario, version, engine, seed, fills, risks, decisions, changes, interrupted, assumed, unknowns``, of
        plain lists, dicts, numbers and text.
    """
    scenario, decisions = advice.scenario, advice.decisions
    return {
        "scenario": scenario.as_given(),
        "version": advice.spacer.version,
        "engine": f"{advice.spacer.engine}, cross-section",
        "seed": advice.spacer.seed,
        "fills": sum(
            len(fills) for each in decisions for option in each.options for fills in option.risks.runs.values()
        ),
        "risks": [
            {"option": _option_name(each, option), "unknowns": str(case), **_row(estimate)}
            for each in decisions
            for option in each.options
            for case, estimate in option.estimates
        ],
        "decisions": [_decided(each) for each in decisions],
        "changes": dict(advice.changes),
        "interrupted": advice.interrupted,
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
                "could_be": list(option.risks.could_be),
                "depends_on": option.risks.depends_on,
                "effects": [_row(effect) for effect in option.risks.effects],
                "mechanism": option.mechanism,
                "first_failure": option.first_failure,
            }
            for option in decision.options
        ],
        "measure_next": list(decision.measure_next),
        "step_check": None if check is None else {**_row(check), "changed": check.changed},
        "window": None if decision.window is None else _row(decision.window),
    }


def _option_name(decision: Decision, option: Option) -> str:
    return f"{decision.decision}: {option.label}"


def _row(record: Any) -> dict[str, Any]:
    row = dataclasses.asdict(record)
    # JSON has no "not a number".
    return {key: None if isinstance(value, float) and math.isnan(value) else value for key, value in row.items()}
