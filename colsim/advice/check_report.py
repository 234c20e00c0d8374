"""What follows from the measurements alone, as a technician reads it."""

from __future__ import annotations

from colsim.advice.measurements import BEHIND, what_follows
from colsim.advice.next_command import command
from colsim.advice.words import care_as_text, wrapped
from colsim.model import Scenario

__all__ = ["check_as_text"]


def check_as_text(scenario: Scenario, *, file: str = "FILE", show_why: bool = False) -> str:
    """Write what follows from the measurements alone, for the terminal.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    file : str
        How the scenario is given to the next command.
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
    lines += [wrapped(subject.upper(), sentence, 11) for subject, sentence in what_follows(scenario)]
    if show_why:
        lines += ["WHY", *(wrapped(f"   {subject}", theory, 14) for subject, theory in BEHIND.items())]
    lines += [wrapped("UNKNOWN", ranges or "nothing", 11), wrapped("ASSUMED", assumed or "nothing", 11)]
    if kept := _kept_for_later(scenario):
        lines.append(wrapped("KEPT", f"{kept}: read, and without effect here", 11))
    not_built = "Whether to replace liners, end stops, cap direction: NOT CHECKED, not built yet."
    lines += ["", wrapped("", not_built, 0), f"NEXT  {command('advise', file)}   (which spacer, and how sure that is)"]
    if not scenario.loading.layers:
        lines.append(f"      {command('count', file)}   (how high to fill)")
    return "\n".join([*lines, care_as_text()])


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
