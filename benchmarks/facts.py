"""Facts of the trade on spacers, pockets and liners (common practice, no source), each looked for by simulation.

Nothing is tuned: a fact is reproduced, not reproduced, or depends on what nobody measured. Each is looked for with
everything at its typical value, and again with each unknown at each end of its range, one at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from common import STIFFNESS, lifted_scenario, quick_or_full, rotor_scenario, table, wide_scenario, write
from tqdm import tqdm

from colsim import Scenario, simulate_fills
from colsim.errors import ScenarioError
from colsim.sampling import Outcome
from colsim.sampling.pairs import e_value
from colsim.sampling.workers import process_pool

FILLS = 10
EVIDENCE = 20.0  # e-value at which one of two counts as worse
CLEAN, SPOILT = 1, 0.5  # at most so many failed fills, and at least this share of them

ROTOR_UNKNOWNS = {
    "rotor.speed": (15, 60),
    "rotor.torque_limit": (8, 40),
    "container.stiffness": (20, 150),
    "rotor.lead_in": (3, 15),
    "rotor.friction": (0.15, 0.4),
    "column.wall_friction": (0.15, 0.4),
    "container.friction": (0.15, 0.45),
    "loading.count": (5, 20),
}
LINER_UNKNOWNS = {
    "container.stiffness": (20, 150),
    "container.friction": (0.15, 0.45),
    "column.throat_radius": (3, 15),
    "container.restitution": (0.0, 0.4),
    "loading.placement_scatter": (0.2, 0.8),
    "loading.count": (8, 16),
}


@dataclass(frozen=True)
class Fact:
    """What the trade says: that the first column is worse than the second, or fails, brings two at a time, is clean."""

    says: str
    first: Scenario
    second: Scenario | None
    wanted: str
    unknowns: dict[str, tuple[float, float]]


def spaced(diameter: int, spacer: float) -> Scenario:
    return rotor_scenario(diameter, 10).changed(
        **{"rotor.spacer_thickness": spacer, "title": f"{diameter} mm, {spacer:g} mm spacer"}
    )


def deep(scenario: Scenario) -> Scenario:
    return scenario.changed(**{"rotor.pocket_depth": 90, "title": f"{scenario.title}, pocket 90 mm"})


def clear(scenario: Scenario) -> Scenario:
    return scenario.changed(**{"rotor.housing_clearance": 16, "title": f"{scenario.title}, clearance 16 mm"})


def can(scenario: Scenario) -> Scenario:
    """Put a can of the same diameter in its place: its weight, and the frictions of lacquered metal."""
    frictions = {"container.friction": 0.3, "container.wall_friction": 0.3, "container.mass": 0.383}
    return scenario.changed(**frictions, title=f"{scenario.title}, can")


def facts() -> list[Fact]:
    fresh, worn = 0.15, 0.30
    narrow = {"column.width": 112, "column.throat": 90}
    kinds = {like: {"like": like, "stiffness": STIFFNESS} for like in ("12 fl oz can", "500 ml carbonated")}
    narrow_can = wide_scenario(worn, 8).changed(
        **{"container": kinds["12 fl oz can"], **narrow}, title="66 mm can in 112 mm, worn"
    )
    bottle = narrow_can.changed(**{"container": kinds["500 ml carbonated"], "title": "66.5 mm bottle in 112 mm, worn"})
    flat = {"container.set_flat": 8}
    plain = lifted_scenario(0, worn).changed(title="plain wide column, worn, edges flush")
    return [
        Fact("a 58 mm bottle fails without a spacer", spaced(58, 0), None, "spoilt", ROTOR_UNKNOWNS),
        Fact("a 62 mm bottle fails without a spacer", spaced(62, 0), None, "spoilt", ROTOR_UNKNOWNS),
        Fact("with 12 mm the 58 mm bottle is clean", spaced(58, 12), None, "clean", ROTOR_UNKNOWNS),
        Fact("with 12 mm the 62 mm bottle is clean", spaced(62, 12), None, "clean", ROTOR_UNKNOWNS),
        Fact("a pocket of 90 mm brings two of 58 mm at a time", deep(spaced(58, 0)), None, "two", ROTOR_UNKNOWNS),
        Fact("a clearance of 16 mm does so too", clear(spaced(58, 0)), None, "two", ROTOR_UNKNOWNS),
        Fact("with 12 mm that deep pocket is clean", deep(spaced(58, 12)), None, "clean", ROTOR_UNKNOWNS),
        Fact("with 12 mm that clearance is clean", clear(spaced(58, 12)), None, "clean", ROTOR_UNKNOWNS),
        Fact("a 73 mm bottle needs no spacer", spaced(73, 0), None, "clean", ROTOR_UNKNOWNS),
        Fact("a spacer for slim ones stops the 73 mm bottle", spaced(73, 12), spaced(73, 0), "worse", ROTOR_UNKNOWNS),
        Fact("a spacer that suits 58 mm cans suits 58 mm bottles", can(spaced(58, 18)), None, "clean", ROTOR_UNKNOWNS),
        Fact("and the other way round", spaced(58, 18), None, "clean", ROTOR_UNKNOWNS),
        Fact(
            "worn liners bridge a wide column that converges, fresh ones do not",
            wide_scenario(worn, 14),
            wide_scenario(fresh, 14),
            "worse",
            LINER_UNKNOWNS,
        ),
        Fact("fresh liners keep it clean", wide_scenario(fresh, 14), None, "clean", LINER_UNKNOWNS),
        Fact("worn flush walls alone bridge a plain wide column", plain, None, "spoilt", LINER_UNKNOWNS),
        Fact("so do they if the bottles have flats of 8 mm", plain.changed(**flat), None, "spoilt", LINER_UNKNOWNS),
        Fact(
            "a lifted liner edge bridges a plain wide column",
            lifted_scenario(8, worn),
            plain,
            "worse",
            {**LINER_UNKNOWNS, "column.liners.0.lifted_edge": (2, 12)},
        ),
        Fact("cans hardly need liners: worn walls, converging", narrow_can, None, "clean", LINER_UNKNOWNS),
        Fact("cans do better there than bottles of their width", bottle, narrow_can, "worse", LINER_UNKNOWNS),
    ]


def holds(fact: Fact, found: list[str], other: list[str]) -> bool:
    """Tell whether a fact holds in the outcomes of both columns, nothing being a clean fill."""
    failed = sum(map(bool, found))
    if fact.wanted == "clean":
        return failed <= CLEAN
    if fact.wanted == "spoilt":
        return failed >= SPOILT * len(found)
    if fact.wanted == "two":
        return found.count(Outcome.DOUBLE) >= SPOILT * len(found)
    worse = sum(bool(a) and not b for a, b in zip(found, other, strict=True))
    better = sum(bool(b) and not a for a, b in zip(found, other, strict=True))
    return worse > better and e_value(worse, better) >= EVIDENCE


def in_words(found: list[str]) -> str:
    """Say how many failed, and how many of them by two at a time."""
    two = found.count(Outcome.DOUBLE)
    return f"{sum(map(bool, found))}" + (f" ({two} by two at a time)" if two else "")


def look_for(fact: Fact, outcomes: Callable[[Scenario], list[str]], *, quick: bool) -> tuple[str, str, str]:
    """Give the verdict, the failed fills with everything typical, and where it does not hold."""

    def at(changes: dict[str, float]) -> tuple[bool, str]:
        found = outcomes(fact.first.changed(**changes))
        # The column without a lifted edge stays without one.
        both = {path: value for path, value in changes.items() if not path.endswith("lifted_edge")}
        other = [] if fact.second is None else outcomes(fact.second.changed(**both))
        figures = in_words(found) if fact.second is None else f"{in_words(found)} against {in_words(other)}"
        return holds(fact, found, other), figures

    typical, figures = at({})
    turned = []
    for path, ends in {} if quick else fact.unknowns.items():
        for end in ends:
            try:
                found, there = at({path: end})
            except ScenarioError:
                continue  # that end does not go with the rest of this column
            if found != typical:
                turned.append(f"{path} {end:g} ({there})")
    verdict = "depends" if turned else ("reproduced" if typical else "not reproduced")
    return verdict if typical or not turned else "not reproduced as typical; depends", figures, "; ".join(turned)


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills = 1 if quick else FILLS
    rows: list[list[object]] = []
    with process_pool() as pool:

        def outcomes(scenario: Scenario) -> list[str]:
            done = simulate_fills(scenario, fills=fills, seed=11, executor=pool)
            return [fill.invalid or ("" if fill.failure is None else fill.failure.outcome) for fill in done]

        for fact in tqdm(facts()[:1] if quick else facts()):
            verdict, figures, where = look_for(fact, outcomes, quick=quick)
            rows.append([fact.says, figures, verdict, where or "-"])
    head = [
        f"Failed fills of {fills} (of two columns: the first against the second on the same draws). Facts are common "
        "practice, without a source. Walls, drum and containers 0.25 where not named; fresh liner 0.15, worn 0.30; "
        f"{STIFFNESS} N/mm between boards, 20 N m; pocket 82 x 80 mm, column 90 mm, or wide 124 mm.",
        "",
    ]
    lines = table(["the trade says", "failed as typical", "verdict", "turns at"], rows)
    write("facts", head + lines, quick=quick)


if __name__ == "__main__":
    main()
