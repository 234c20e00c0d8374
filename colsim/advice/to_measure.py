"""What to measure next: how long it takes, and what it would tell."""

from __future__ import annotations

from dataclasses import replace

from colsim.advice.risks import Effect, Risks, simulate_with_known
from colsim.advice.status import Status, fills_to_settle, judged
from colsim.advice.study import Study

__all__ = ["fills_wanted", "in_words", "what_measuring_brings", "what_to_do_next"]

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


_TRIAL_FILLS = 48  # of a group of measurements and case that may always be simulated
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


def what_to_do_next(risks: Risks) -> tuple[str, ...]:
    """Say what to measure, most help a minute first, and how many more fills would tell.

    Parameters
    ----------
    risks : Risks
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
        for e in _helpful(risks)
        if e.seen
    ]
    if risks.status is Status.UNDECIDED:
        hints.append(_more_fills(risks))
    return tuple(hints)


def fills_wanted(risks: Risks) -> int | None:
    """Estimate how many fills a case would settle what is undecided.

    Parameters
    ----------
    risks : Risks
        What was simulated.

    Returns
    -------
    int or None
        None if no number would, or no case is undecided.
    """
    undecided = [risks.runs[case] for case in risks.cases if judged(risks.runs[case], risks.level) is Status.UNDECIDED]
    needed = [fills_to_settle(fills, risks.level) for fills in undecided]
    known = [number for number in needed if number is not None]
    return max(known) if known and len(known) == len(needed) else None


def _more_fills(risks: Risks) -> str:
    so_far = max(len(fills) for fills in risks.runs.values())
    if (needed := fills_wanted(risks)) is not None:
        return f"simulate about {needed} loadings (now {so_far})"
    if any(judged(risks.runs[case], risks.level) is Status.UNDECIDED for case in risks.cases):
        return "more loadings may never tell: the risk is about the limit itself"
    return f"simulate more loadings (now {so_far})"


def what_measuring_brings(risks: Risks, *, study: Study) -> tuple[str, ...]:
    """Find what would settle the answer: the smallest group of measurements that does if they come out typical.

    Parameters
    ----------
    risks : Risks
        What was simulated with everything unknown.
    study : Study
        How to simulate.

    Returns
    -------
    tuple of str
        A sentence each: what the measurement that helps most does by itself, and the group that settles the answer, or
        all together where even they do not. Empty if nothing can be measured, or Ctrl-C came.

    Raises
    ------
    SimulationError
        If a fill cannot be carried through.

    Notes
    -----
    Groups are tried in the order of what each unknown does a minute; that with the fewest is sought by bisection, and
    then each is left out in turn where the rest does without it.
    """
    paths = [effect.path for effect in _helpful(risks)]
    if not paths:
        return ()
    # What was enough at the typical values is about enough at the ends of what is left.
    trial = replace(study, max_fills=min(study.max_fills, max(_TRIAL_FILLS, 2 * len(risks.typical))))
    tried: dict[tuple[str, ...], Risks] = {}

    def settles(group: tuple[str, ...]) -> bool:
        if group not in tried:
            tried[group] = simulate_with_known(risks, group, study=trial)
        return tried[group].status in (Status.MEETS, Status.FAILS)

    found: tuple[str, ...] = tuple(paths)
    if settles(found):
        few, enough = 0, len(paths)
        while enough - few > 1:
            middle = (few + enough) // 2
            few, enough = (few, middle) if settles(tuple(paths[:middle])) else (middle, enough)
        found = tuple(paths[:enough])
        for path in found[:-1]:
            rest = tuple(each for each in found if each != path)
            found = rest if settles(rest) else found
    settles(tuple(paths[:1]))
    if any(after.interrupted for after in tried.values()):
        return ()
    wanted = dict.fromkeys((tuple(paths[:1]), found))
    return tuple(_brought(risks, tried[group], group) for group in wanted)


def _brought(risks: Risks, after: Risks, group: tuple[str, ...]) -> str:
    """Say what a group of measurements does to the answer."""
    low, high = risks.could_be
    low_after, high_after = after.could_be
    together = " together" if len(group) > 1 else ""
    what = f"{_listed([in_words(path) for path in group])}{together}, {sum(map(_minutes, group))} min"
    would = f"bad vends in 1000 could be {1000 * low_after:.0f} - {1000 * high_after:.0f}"
    instead = f"{would} instead of {1000 * low:.0f} - {1000 * high:.0f}"
    if after.status in (Status.MEETS, Status.FAILS):
        return f"{what}: settles it; if typical, {instead}"
    if high_after < _NARROWER * high:
        return f"{what}: if typical, {instead}"
    if len(group) > 1:
        return f"{what}: would not settle it even so; {_more_fills(after)}"
    return f"{what}: would not narrow the answer by itself; the rest that was not measured can still spoil it"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _helpful(risks: Risks) -> list[Effect]:
    """Order the unknowns that can be measured on site by how much they help a minute, those that are seen first."""
    measurable = [e for e in risks.effects if _minutes(e.path)]
    return sorted(measurable, key=lambda e: (not e.seen, -e.difference / _minutes(e.path)))
