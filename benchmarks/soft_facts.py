"""What the trade says of how high to fill (common practice, no source), looked for by simulation.

Thin-walled still water not above about half the height, the softest lower still, firm pressurised bottles and cans up
to the top. Nothing is tuned: each is simulated with flats that circulate, that set by half and that set for good, since
nobody knows which. All are of one size and mass, in one column with one spacer.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor

from common import ROTOR, STIFFNESS, quick_or_full, table, write
from tqdm import tqdm

from colsim import Scenario, simulate_fill

COUNTS = (4, 6, 8, 10, 12, 14, 16)
FILLS = 20
FULL = 16  # for some 17 there is room
STILL = {"drink": "still", "headspace": 0.04}
SOFTEST, VERY_THIN, THIN = (f"{word} wall, still" for word in ("softest 0.05 mm", "very thin 0.08 mm", "thin 0.12 mm"))
CRISP, FIRM = "crisp 0.30 mm wall, 300 kPa", f"firm, {STIFFNESS} N/mm between boards"
KINDS: dict[str, dict[str, object]] = {
    SOFTEST: {"wall_thickness": 0.05, **STILL},
    VERY_THIN: {"wall_thickness": 0.08, **STILL},
    THIN: {"wall_thickness": 0.12, **STILL},
    CRISP: {"wall_thickness": 0.30, "gauge_pressure": 300, "headspace": 0.04},
    FIRM: {},
}
SETTING = {"circulate": 0.0, "set by half": 0.5, "set": 1.0}


def scenario(kind: str, fraction: float, count: int) -> Scenario:
    gives = {**KINDS[kind], "set_fraction": fraction} if KINDS[kind] else {"stiffness": STIFFNESS}
    return Scenario(
        title=kind,
        container={"diameter": 65, "mass": 0.515, "empty_mass": 0.015, **gives},
        column={"width": 90, "height": 1000, "wall_friction": 0.25},
        rotor=ROTOR | {"spacer_thickness": 12},
        loading={"count": count},
    )


def outcome(job: tuple[Scenario, int]) -> str:
    """Give what ends or spoils a fill, or nothing."""
    described, fill = job
    found = simulate_fill(described, seed=13, number=fill)
    if found.invalid:
        return "invalid"
    return "" if found.failure is None else str(found.failure.outcome)


def in_words(outcomes: Iterable[str]) -> str:
    """Say how many fills failed, and of what."""
    failed = [each for each in outcomes if each]
    kinds = ", ".join(f"{failed.count(each)} {each}" for each in dict.fromkeys(failed))
    return f"{len(failed)}" + (f" ({kinds})" if kinds else "")


def safe(failed: dict[int, int], fills: int) -> int:
    """Give the greatest count at which, as at all below it, at most one fill in twenty failed; 0 if none."""
    good = itertools.takewhile(lambda count: failed[count] <= fills / 20, sorted(failed))
    return max(good, default=0)


def verdict(holds: Iterable[bool]) -> str:
    """Say whether something holds however the flats set."""
    several = set(holds)
    return "depends on set_fraction" if len(several) > 1 else "reproduced" if several.pop() else "not reproduced"


def facts(limits: dict[tuple[str, str], int]) -> list[list[object]]:
    """Look for what the trade says in the greatest safe counts by kind and flats; give verdicts and these counts."""
    firm = limits[FIRM, "circulate"]

    def of(kind: str) -> list[int]:
        return [limits[kind, word] for word in SETTING]

    said: dict[str, tuple[list[int], Iterable[bool]]] = {
        "thin-walled still water not to the top": (of(THIN), (limit < FULL for limit in of(THIN))),
        "thin-walled still water not above half the height": (of(THIN), (limit <= FULL / 2 for limit in of(THIN))),
        "the very thin not above half the height": (of(VERY_THIN), (limit <= FULL / 2 for limit in of(VERY_THIN))),
        "the softest lower than the thin": (
            of(SOFTEST),
            (a < b for a, b in zip(of(SOFTEST), of(THIN), strict=True)),
        ),
        "crisp pressurised bottles as high as cans": (of(CRISP), (limit >= firm for limit in of(CRISP))),
        "firm ones, such as cans, to within two of the top": ([firm], [firm >= FULL - 2]),
    }
    return [[fact, verdict(holds), ", ".join(map(str, counts))] for fact, (counts, holds) in said.items()]


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills, counts = (1, COUNTS[:1]) if quick else (FILLS, COUNTS)
    rows: list[list[object]] = []
    limits: dict[tuple[str, str], int] = {}
    cases = [(kind, word) for kind in KINDS for word in (SETTING if KINDS[kind] else ("circulate",))]
    with ProcessPoolExecutor() as pool:
        for kind, word in tqdm(cases[:1] if quick else cases):
            found = {}
            for count in counts:
                jobs = itertools.product([scenario(kind, SETTING[word], count)], range(fills))
                found[count] = list(pool.map(outcome, jobs, chunksize=4))
            limits[kind, word] = safe({count: sum(map(bool, each)) for count, each in found.items()}, fills)
            cells = [in_words(each) for each in found.values()]
            rows.append([kind, word if KINDS[kind] else "-", *cells, limits[kind, word]])
    head = [f"Failed fills of {fills} by how many are loaded; 65 mm in 90 mm, spacer 12 mm, room for some 17.", ""]
    lines = table(["container", "flats", *map(str, counts), "safe"], rows)
    if not quick:
        lines += ["", *table(["what the trade says", "here", f"safe: {', '.join(SETTING)}"], facts(limits))]
    write("soft_facts", head + lines, quick=quick)


if __name__ == "__main__":
    main()
