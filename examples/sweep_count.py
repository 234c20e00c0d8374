"""How high to fill a column of soft-walled bottles: a sweep over wall thickness and count.

``python examples/sweep_count.py FOLDER`` writes ``count.csv``, a row for each combination, and ``count.png`` into the
folder; with ``--quick`` from so few loadings that they show the form of the answer and nothing else. Files of these
names, from an earlier run, are replaced; nothing else in the folder is touched.

The site is that of ``alder-hall-2.toml``, which is invented. Assumed here, and measured nowhere: the wall thicknesses,
that the water is still, by how much bottles differ, the spacer (midway between the bounds of ``colsim check``), and
what the operator will put up with. A container is soft where its wall is described or its drink is still, as here; else
it is firm.
"""

import argparse
import sys
from io import BytesIO
from pathlib import Path

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from colsim import Scenario, Sweep, simulate_sweep
from colsim.outputs import require_outputs, table_as_csv, write_whole
from colsim.screen import exit_code_of

WALL, COUNT = "container.wall_thickness", "loading.count"
FEEL = {0.30: "crisp", 0.12: "thin", 0.08: "very thin"}  # [mm], half-way up
ASSUMED = {
    "container.drink": "still",
    "container.diameter": {"kind": "varies", "shape": "normal", "typical": "60.3 mm", "deviation": "0.3 mm"},
    "rotor.spacer_thickness": "16 mm",
    "target.failures_per_fill": 0.1,
}
LINES = {  # colour, marker, its size and the line; those drawn later are smaller, so that none hides another
    0.30: ("#0072b2", "o", 11, "-"),
    0.12: ("#d55e00", "s", 7, "--"),
    0.08: ("#009e73", "^", 4, ":"),
}


def main() -> None:
    parser = argparse.ArgumentParser(description="How high to fill a column of soft-walled bottles.")
    parser.add_argument("folder", type=Path, help="where to write the table and the chart")
    parser.add_argument("--quick", action="store_true", help="a few loadings: the form of the answer, nothing to trust")
    arguments = parser.parse_args()
    table, chart = arguments.folder / "count.csv", arguments.folder / "count.png"
    require_outputs([table, chart], folder=arguments.folder, force=True)
    sweep = sweep_of(quick=arguments.quick)
    arguments.folder.mkdir(parents=True, exist_ok=True)
    write_whole(table, table_as_csv(sweep.to_dataframe()), force=True)
    write_whole(chart, as_file(draw(sweep), "png", dpi=150), force=True)

    print(sweep.summary())
    assumed = ", ".join(f"{path} = {as_text(value)}" for path, value in ASSUMED.items())
    print(f"assumed, not measured: {WALL}, {assumed}")
    for wall in sweep.over[WALL]:
        print(f"wall {wall:g} mm ({FEEL[wall]}): {fullest(sweep, wall)}")
    print("A container is soft where its wall is described or its drink is still, as here; else it is firm.")
    if WALL in sweep.without_effect():
        print("In these loadings the thickness changed nothing.")
    print(f"written: {table}, {chart}")


def as_text(value: object) -> str:
    """Write what is assumed: a number, or a spread."""
    return f"{value['typical']} (deviation {value['deviation']})" if isinstance(value, dict) else f"{value}"


def sweep_of(*, quick: bool) -> Sweep:
    """Simulate every wall with every count."""
    walls, counts, fills = ([0.30, 0.08], [6, 14], 2) if quick else (list(FEEL), [6, 8, 10, 12, 14, 16], 48)
    scenario = Scenario.from_toml(Path(__file__).parent / "alder-hall-2.toml").changed(**ASSUMED)
    return simulate_sweep(scenario, {WALL: walls, COUNT: counts}, fills=fills, seed=4417, progress=True)


def fullest(sweep: Sweep, wall: float) -> str:
    """Say up to which count the whole interval lies within the target, at that count and at all below it."""
    table = sweep.to_dataframe()
    of_wall = table[table[WALL] == wall].sort_values(COUNT)
    # A refused count has nan, which is within nothing.
    shown = of_wall[COUNT][(of_wall["high per fill"] <= sweep.scenario.target.failures_per_fill).cummin()]
    if shown.empty:
        return f"not shown for any count; {of_wall['fills'].max()} loadings of each are too few, or the risk too high"
    return f"up to {shown.max()}, of those looked at"


def draw(sweep: Sweep) -> Figure:
    """Draw the risk of a loading by how many are loaded: a line for each wall, its 95 % interval as a band."""
    figure = Figure(figsize=(7.2, 4.8), layout="constrained")
    axes = figure.add_subplot()
    for wall, of_wall in sweep.to_dataframe().groupby(WALL, sort=False):
        color, marker, size, line = LINES[wall]
        label = f"wall {wall:g} mm ({FEEL[wall]}), 95 % interval"
        axes.fill_between(
            of_wall[COUNT], of_wall["low per fill"], of_wall["high per fill"], color=color, alpha=0.12, linewidth=0
        )
        axes.plot(
            of_wall[COUNT],
            of_wall["rate per fill"],
            color=color,
            marker=marker,
            markersize=size,
            linestyle=line,
            label=label,
        )
    target = sweep.scenario.target.failures_per_fill
    axes.axhline(target, color="#444444", linewidth=1, label=f"limit, assumed: {target:g}")
    same = "\nthe wall changed nothing: all lines are one" if WALL in sweep.without_effect() else ""
    axes.set(
        xlabel="loaded [containers]",
        ylabel="share of loadings that meet trouble [-]",
        ylim=(-0.02, 1.02),
    )
    # A $ in the title of a scenario is no formula.
    axes.set_title(f"{sweep.scenario.title}: {sweep.asked_for} loadings of each{same}", parse_math=False)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    figure.legend(loc="outside lower center", ncols=2, fontsize="small", frameon=False)
    return figure


def as_file(figure: Figure, kind: str, *, dpi: int) -> bytes:
    """Give what a file of that kind holds."""
    drawn = BytesIO()
    figure.savefig(drawn, format=kind, dpi=dpi)
    return drawn.getvalue()


if __name__ == "__main__":  # worker processes read this file too
    sys.exit(exit_code_of(main))
