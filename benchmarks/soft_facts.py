"""What the trade says of how high to fill (common practice, no source), looked for by simulation.

Thin-walled still water not above about half the height, the softest lower still, firm pressurised bottles and cans up
to the top. Nothing is tuned: each is simulated with flats that circulate and with flats that set for good, since nobody
knows which. All are of one size and mass, in one column with one spacer.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor

from common import ROTOR, quick_or_full, table, write
from tqdm import tqdm

from colsim import Scenario, simulate_fill

COUNTS = (4, 8, 12, 16)
STILL = {"drink": "still", "headspace": 0.04}
KINDS: dict[str, dict[str, object]] = {
    "very thin wall 0.08 mm, still": {"wall_thickness": 0.08, **STILL},
    "thin wall 0.12 mm, still": {"wall_thickness": 0.12, **STILL},
    "crisp wall 0.30 mm, 300 kPa": {"wall_thickness": 0.30, "gauge_pressure": 300, "headspace": 0.04},
    "rigid, as a can": {},
}
SETTING = {"circulate": 0.0, "set": 1.0}


def scenario(kind: str, fraction: float, count: int) -> Scenario:
    soft = {**KINDS[kind], "set_fraction": fraction} if KINDS[kind] else {}
    return Scenario(
        title=kind,
        container={"diameter": 65, "mass": 0.515, "empty_mass": 0.015, **soft},
        column={"width": 90, "height": 1000, "wall_friction": 0.25},
        rotor=ROTOR | {"spacer_thickness": 12},
        loading={"count": count},
    )


def outcome(job: tuple[Scenario, int]) -> str:
    """Give what ends or spoils a fill, or nothing."""
    described, fill = job
    found = simulate_fill(described, seed=13, fill=fill)
    if found.invalid:
        return "invalid"
    return "" if found.failure is None else str(found.failure.outcome)


def in_words(outcomes: Iterable[str]) -> str:
    """Say how many fills failed, and of what."""
    failed = [each for each in outcomes if each]
    kinds = ", ".join(f"{failed.count(each)} {each}" for each in dict.fromkeys(failed))
    return f"{len(failed)}" + (f" ({kinds})" if kinds else "")


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills, counts = (1, COUNTS[:1]) if quick else (8, COUNTS)
    rows: list[list[object]] = []
    cases = [(kind, word) for kind in KINDS for word in (SETTING if KINDS[kind] else ("circulate",))]
    with ProcessPoolExecutor() as pool:
        for kind, word in tqdm(cases[:1] if quick else cases):
            cells = []
            for count in counts:
                jobs = itertools.product([scenario(kind, SETTING[word], count)], range(fills))
                cells.append(in_words(pool.map(outcome, jobs)))
            rows.append([kind, word if KINDS[kind] else "-", *cells])
    head = [f"Failed fills of {fills} by how many are loaded; 65 mm in 90 mm, spacer 12 mm, room for some 17.", ""]
    write("soft_facts", head + table(["container", "flats", *map(str, counts)], rows), quick=quick)


if __name__ == "__main__":
    main()
