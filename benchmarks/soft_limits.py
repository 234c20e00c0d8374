"""What moves the count to which a column of thin-walled still water can be filled.

The bottle and column of ``soft_facts``, with flats that set for good, and one thing at a time at its low and its high
end. Nothing is tuned: the ends are how far apart two bottles, two columns, two summers, or two guesses at what nobody
measures may well lie.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ProcessPoolExecutor
from operator import attrgetter

from common import quick_or_full, table, write
from soft_facts import FILLS, THIN, in_words, outcome, scenario
from tqdm import tqdm

from colsim import Scenario

COUNTS = (8, 10, 12, 14, 16)
FILLED = 20.0  # [deg C], also in the typical column
LIMITS: dict[str, tuple[str, tuple[float, float]]] = {
    "headspace [-]": ("container.headspace", (0.01, 0.08)),
    "wall thickness [mm]": ("container.wall_thickness", (0.08, 0.16)),
    "wall friction [-]": ("column.wall_friction", (0.15, 0.35)),
    "container friction [-]": ("container.friction", (0.15, 0.35)),
    f"service temperature, filled at {FILLED:g} [deg C]": ("conditions.service_temperature", (4.0, 35.0)),
    "end stiffness [-]": ("container.end_stiffness", (1.0, 100.0)),
    "set fraction [-]": ("container.set_fraction", (0.0, 1.0)),
}


def typical(count: int) -> Scenario:
    temperatures = {"conditions.loading_temperature": FILLED, "conditions.service_temperature": FILLED}
    return scenario(THIN, 1.0, count).changed(**temperatures)


def cases() -> list[tuple[list[str], dict[str, float]]]:
    """Give the head of each row with what is changed in it; the typical first, and not again."""
    found: list[tuple[list[str], dict[str, float]]] = [(["typical", "-", "-"], {})]
    for what, (path, ends) in LIMITS.items():
        usual = attrgetter(path)(typical(COUNTS[0]))
        found += [([what, f"{usual:g}", f"{end:g}"], {path: end}) for end in ends if end != usual]
    return found


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    chosen, counts, fills = (cases()[:2], COUNTS[:1], 1) if quick else (cases(), COUNTS, FILLS)
    scenarios = [typical(count).changed(**changes) for _, changes in chosen for count in counts]
    jobs = list(itertools.product(scenarios, range(fills)))
    with ProcessPoolExecutor() as pool:
        found = list(tqdm(pool.map(outcome, jobs, chunksize=4), total=len(jobs), unit="fill"))
    cells = [in_words(found[start : start + fills]) for start in range(0, len(found), fills)]
    rows: list[list[object]] = [
        [*head, *cells[k * len(counts) : (k + 1) * len(counts)]] for k, (head, _) in enumerate(chosen)
    ]
    head = [
        f"Failed fills of {fills} by how many are loaded, the same draws in every row; 65 mm in 90 mm, spacer 12 mm. "
        "An end that is typical has no row of its own.",
        "",
    ]
    columns = ["what moves", "typical", "goes to", *map(str, counts)]
    write("soft_limits", head + table(columns, rows), quick=quick)


if __name__ == "__main__":
    main()
