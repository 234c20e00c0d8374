"""What to measure next: how long it takes, and what it would tell."""

from __future__ import annotations

from concurrent.futures import Executor

from colsim.advice.over_unknowns import End, OverUnknowns, simulate_with_known
from colsim.advice.status import Status, fills_to_settle, judged

__all__ = ["MINUTES", "what_measuring_brings", "what_to_do_next"]

# How long a measurement takes with the tools at hand [min], assumed; what is not listed cannot be measured on site.
MINUTES = {
    "wall_friction": 5,
    "liner_friction": 5,
    "rotor_friction": 5,
    "mixed_friction": 5,
    "floor_friction": 5,
    "friction": 5,
    "speed": 1,
    "torque_limit": 10,
    "lead_in": 2,
    "throat_radius": 2,
    "housing_clearance": 3,
    "lifted_edge": 1,
    "pocket_width": 3,
    "pocket_depth": 3,
    "diameter": 1,
    "mass": 1,
    "empty_mass": 1,
    "set_flat": 5,
    "restitution": 3,
    "wall_thickness": 5,
    "width": 1,
    "height": 2,
    "throat": 2,
    "floor_slope": 3,
}


def what_to_do_next(over: OverUnknowns) -> tuple[str, ...]:
    """Say what to measure, most help a minute first, and how many more fills would tell.

    Parameters
    ----------
    over : OverUnknowns
        What was simulated.

    Returns
    -------
    tuple of str
        Of the unknowns those that stand out from chance and can be measured on site; a sentence each.
    """
    helpful = sorted(
        (e for e in over.effects if e.seen and _minutes(e.path)), key=lambda e: -e.difference / _minutes(e.path)
    )
    hints = [
        f"{e.path}, {_minutes(e.path)} min (now anything from {e.low:g} to {e.high:g}): its worse half fails in "
        f"{100 * max(e.share_when_low, e.share_when_high):.0f} of 100 loadings, its better half in "
        f"{100 * min(e.share_when_low, e.share_when_high):.0f}"
        for e in helpful
    ]
    if over.status is Status.UNDECIDED:
        hints.append(_more_fills(over))
    return tuple(hints)


def _more_fills(over: OverUnknowns) -> str:
    undecided = {end: fills for end, fills in over.runs.items() if judged(fills, over.level) is Status.UNDECIDED}
    needed = [fills_to_settle(fills, over.level) for end, fills in undecided.items() if end is not End.DRAWN]
    so_far = max(len(fills.fills) for fills in over.runs.values())
    if not needed:
        return f"simulate more fills (now {so_far})"
    if None in needed:
        return "more fills may never tell: the risk is about the limit itself"
    return f"simulate about {max(n for n in needed if n is not None)} fills (now {so_far})"


def what_measuring_brings(over: OverUnknowns, *, max_fills: int, seed: int, executor: Executor) -> str:
    """Simulate by how much the most helpful measurement would narrow the answer.

    Parameters
    ----------
    over : OverUnknowns
        What was simulated with it unknown.
    max_fills, seed, executor
        As for `simulate_over_unknowns`.

    Returns
    -------
    str
        A sentence; empty if nothing that can be measured stands out.
    """
    helpful = [e for e in over.effects if e.seen and _minutes(e.path)]
    if not helpful:
        return ""
    most = max(helpful, key=lambda e: e.difference / _minutes(e.path))
    after = simulate_with_known(over, most.path, max_fills=max_fills, seed=seed, executor=executor)
    (low, high), (low_after, high_after) = over.could_be, after.could_be
    return (
        f"{most.path}, {_minutes(most.path)} min: if it came out typical, bad vends in 1000 could be "
        f"{1000 * low_after:.0f} - {1000 * high_after:.0f} instead of {1000 * low:.0f} - {1000 * high:.0f}"
    )


def _minutes(path: str) -> int:
    """How long it takes to measure [min]; 0 if it cannot be measured on site."""
    return MINUTES.get(path.rpartition(".")[2], 0)
