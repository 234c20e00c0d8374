"""What to measure next: how long it takes, and what it would tell."""

from __future__ import annotations

from concurrent.futures import Executor

from colsim.advice.over_unknowns import Effect, End, OverUnknowns, simulate_with_known
from colsim.advice.status import Status, fills_to_settle, judged

__all__ = ["in_words", "what_measuring_brings", "what_to_do_next"]

# In words, and how long it takes with the tools at hand [min], assumed; 0 is what cannot be measured on site.
_MEASUREMENTS = {
    "column.wall_friction": ("friction on the walls", 5),
    "column.floor_friction": ("friction on the floor", 5),
    "column.throat_radius": ("rounding of the throat's edge", 2),
    "column.width": ("width of the column", 1),
    "column.height": ("height of the column", 2),
    "column.throat": ("width of the throat", 2),
    "column.floor_slope": ("slope of the floor", 3),
    "column.lean": ("lean of the column", 1),
    "liners.friction": ("friction on the liner", 5),
    "liners.lifted_edge": ("how far the liner's edge stands off", 1),
    "rotor.friction": ("friction on the rotor", 5),
    "rotor.speed": ("speed of the rotor", 1),
    "rotor.torque_limit": ("torque at which the motor stalls", 10),
    "rotor.lead_in": ("rounding of the pocket's mouth", 2),
    "rotor.housing_clearance": ("clearance of the housing", 3),
    "rotor.pocket_width": ("width of the pocket", 3),
    "rotor.pocket_depth": ("depth of the pocket", 3),
    "rotor.radius": ("radius of the drum", 2),
    "rotor.spacer_thickness": ("thickness of the spacer", 1),
    "loading.mixed_friction": ("friction of one kind on the other", 5),
    "loading.placement_scatter": ("how carefully it is loaded", 0),
    "container.friction": ("friction of container on container", 5),
    "container.wall_friction": ("friction on the walls", 5),
    "container.liner_friction": ("friction on the liner", 5),
    "container.rotor_friction": ("friction on the rotor", 5),
    "container.diameter": ("diameter", 1),
    "container.mass": ("weight", 1),
    "container.empty_mass": ("weight when empty", 1),
    "container.set_flat": ("width of its flat", 5),
    "container.restitution": ("how it rebounds", 3),
    "container.liquid_spin": ("how its liquid spins up", 0),
    "container.stiffness": ("how it gives way between two boards", 3),
    "container.wall_thickness": ("thickness of its wall", 5),
    "container.modulus": ("stiffness of its plastic", 0),
    "container.carbonation": ("carbon dioxide in the drink, from the bottler", 5),
    "container.gauge_pressure": ("pressure in it", 10),
    "container.headspace": ("share of gas in it", 5),
    "container.inside_volume": ("all that it holds", 5),
    "container.body_length": ("length of its straight part", 1),
    "container.end_stiffness": ("how stiff its ends make it, by a squeeze test", 15),
    "container.creep_exponent": ("how much softer its wall gets with time", 0),
    "container.set_fraction": ("share of its flat that stays", 10),
}


_NARROWER = 0.9  # share of the former upper bound below which an answer counts as narrowed


def in_words(path: str) -> str:
    """Name what stands at a path, as a technician would.

    Parameters
    ----------
    path : str
        Dotted path of a number of a scenario.

    Returns
    -------
    str
        Of one of several containers or liners with its name or place; the path itself where there are no words.
    """
    words, _ = _measurement(path)
    *_, holder, which, _ = ("", "", *path.split("."))
    whose = {"containers": f" ({which})", "liners": f" (liner {int(which) + 1})" if which.isdigit() else ""}
    return words + whose.get(holder, "") if words else path


def _minutes(path: str) -> int:
    """Give how long it takes to measure [min]; 0 if it cannot be measured on site."""
    return _measurement(path)[1]


def _measurement(path: str) -> tuple[str, int]:
    """Look up a path without the name or place of the one among several; nothing and 0 if there are no words."""
    *_, holder, which, field = ("", "", *path.split("."))
    group = {"containers": "container", "liners": "liners"}.get(holder, which)
    return _MEASUREMENTS.get(f"{group}.{field}", ("", 0))


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
    hints = [
        f"{in_words(e.path)}, {_minutes(e.path)} min (now anything from {e.low:g} to {e.high:g}): its worse half fails "
        f"in {100 * max(e.share_when_low, e.share_when_high):.0f} of 100 loadings, its better half in "
        f"{100 * min(e.share_when_low, e.share_when_high):.0f}"
        for e in _helpful(over)
    ]
    if over.status is Status.UNDECIDED:
        hints.append(_more_fills(over))
    return tuple(hints)


def _more_fills(over: OverUnknowns) -> str:
    undecided = {end: fills for end, fills in over.runs.items() if judged(fills, over.level) is Status.UNDECIDED}
    needed = [fills_to_settle(fills, over.level) for end, fills in undecided.items() if end is not End.DRAWN]
    so_far = max(len(fills) for fills in over.runs.values())
    if not needed:
        return f"simulate more fills (now {so_far})"
    if None in needed:
        return "more fills may never tell: the risk is about the limit itself"
    return f"simulate about {max(n for n in needed if n is not None)} fills (now {so_far})"


def what_measuring_brings(over: OverUnknowns, *, max_fills: int, seed: int, executor: Executor) -> tuple[str, ...]:
    """Simulate by how much measuring would narrow the answer: what helps most on its own, and all that helps.

    Parameters
    ----------
    over : OverUnknowns
        What was simulated with everything unknown.
    max_fills, seed, executor
        As for `simulate_over_unknowns`.

    Returns
    -------
    tuple of str
        A sentence each; none if nothing that can be measured stands out.
    """
    helpful = [e.path for e in _helpful(over)]
    low, high = over.could_be
    found = []
    for paths in dict.fromkeys((tuple(helpful[:1]), tuple(helpful))):
        if not paths:
            continue
        after = simulate_with_known(over, paths, max_fills=max_fills, seed=seed, executor=executor)
        low_after, high_after = after.could_be
        what = f"{' and '.join(in_words(path) for path in paths)}, {sum(map(_minutes, paths))} min"
        if high_after < _NARROWER * high:
            found.append(
                f"{what}: if typical, bad vends in 1000 could be {1000 * low_after:.0f} - {1000 * high_after:.0f} "
                f"instead of {1000 * low:.0f} - {1000 * high:.0f}"
            )
        else:
            found.append(
                f"{what}: would not narrow the answer by itself; the rest that was not measured can still spoil it"
            )
    return tuple(found)


def _helpful(over: OverUnknowns) -> list[Effect]:
    """Order the unknowns that stand out and can be measured on site by how much they help a minute."""
    seen = [e for e in over.effects if e.seen and _minutes(e.path)]
    return sorted(seen, key=lambda e: -e.difference / _minutes(e.path))
