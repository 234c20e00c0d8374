"""Plots for a training handout, each as PNG and SVG, and all with the cautions in one plain PDF.

``python examples/training_handout.py FOLDER``; with ``--quick`` from so few loadings that the count chart shows its
form and nothing else. Files of the same names, from an earlier run, are replaced; nothing else in the folder is
touched. The machine is invented; sizes, masses and frictions are those of its description below.
"""

import argparse
import sys
import textwrap
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from sweep_count import as_file, sweep_of
from sweep_count import draw as draw_counts

from colsim import Scenario, replay
from colsim.advice.cautions import CAUTIONS
from colsim.advice.spacer_bounds import spacer_bounds
from colsim.outputs import require_outputs, write_whole
from colsim.pictures import plot_column
from colsim.screen import exit_code_of
from colsim.theory.equilibrium import channel_critical_friction

PAGE = (8.27, 11.69)  # [in] A4
SEED = 4417
KINDS = ("png", "svg")
SLIM = Scenario(
    title="a slim bottle of 58 mm in a column of 90 mm (invented)",
    container={"diameter": 58, "mass": 0.45, "stiffness": 70},
    column={"width": 90, "height": 520, "wall_friction": 0.25},
    rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80},
    loading={"count": 8},
)
SPACER = "rotor.spacer_thickness"


def main() -> None:
    parser = argparse.ArgumentParser(description="Plots for a training handout.")
    parser.add_argument("folder", type=Path, help="where to write them")
    parser.add_argument(
        "--quick", action="store_true", help="few loadings: the form of the count chart, not its values"
    )
    arguments = parser.parse_args()
    folder, handout = arguments.folder, arguments.folder / "handout.pdf"
    charts = {
        folder / "right-and-wrong": right_and_wrong,
        folder / "spacer-by-diameter": spacer_by_diameter,
        folder / "bridging-by-width": bridging_by_width,
        folder / "count-by-softness": lambda: draw_counts(sweep_of(quick=arguments.quick)),
    }
    files = [path.with_suffix(f".{kind}") for path in charts for kind in KINDS]
    require_outputs([*files, handout], folder=folder, force=True)
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(handout, draw_and_bind(charts), force=True)
    for path in charts:
        print(f"drawn: {path}.png and .svg")
    print(f"bound: {handout}")


def draw_and_bind(charts: dict[Path, Callable[[], Figure]]) -> bytes:
    """Write each chart, and give the PDF that holds all of them."""
    bound = BytesIO()
    with PdfPages(bound) as pdf:
        pdf.savefig(cautions())
        for path, draw in charts.items():
            figure = draw()
            pdf.savefig(figure)
            for kind in KINDS:
                write_whole(path.with_suffix(f".{kind}"), as_file(figure, kind, dpi=200), force=True)
    return bound.getvalue()


def cautions() -> Figure:
    figure = Figure(figsize=PAGE)
    lines = ["Before you put a hand in", ""]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, 60, initial_indent="-  ", subsequent_indent="   ")
    lines += ["", *textwrap.wrap("The machine and the site in these pages are invented. Measure your own.", 60)]
    figure.text(0.12, 0.9, "\n".join(lines), fontsize=14, va="top", linespacing=1.8)
    return figure


def right_and_wrong() -> Figure:
    """Draw the same loading without a spacer, where it sticks, and with one, as it stands when loaded."""
    figure = Figure(figsize=(PAGE[0], 7.8), layout="constrained")
    left, right = figure.subplots(1, 2)
    wrong = replay(SLIM, seed=SEED)
    plot_column(wrong, ax=left)
    failure = wrong.fill.failure
    left.set_title("no spacer: " + (f"{failure.outcome} at vend {failure.number}" if failure else "all came"))
    good = replay(SLIM.changed(**{SPACER: 12}), seed=SEED)
    turned = next((k for k, frame in enumerate(good.frames) if abs(frame.drum_angle) > 0.02), 1)
    plot_column(good, max(0, turned - 1), ax=right)
    fill = good.fill
    came = f"all {fill.loaded} came one by one" if fill.failure is None else f"{fill.failure.outcome}"
    right.set_title(f"12 mm spacer: {came}")
    figure.suptitle(SLIM.title)
    return figure


def spacer_by_diameter() -> Figure:
    """Draw between which spacers geometry and friction alone let one bottle at a time into the pocket."""
    figure = Figure(figsize=(PAGE[0], 5.5), layout="constrained")
    ax = figure.add_subplot()
    diameters = np.arange(56.0, 77.0, 0.5)
    bounds = np.array(
        [spacer_bounds(SLIM.changed(**{"container.diameter": d, "loading.count": 1})) for d in diameters.tolist()]
    )
    least, greatest = np.clip(bounds[:, 0], 0, None), bounds[:, 1]
    fits = (greatest >= least) & np.isfinite(least)
    ax.fill_between(diameters, least, greatest, where=fits, color="#0072b2", alpha=0.2, label="one at a time")
    ax.plot(diameters, least, color="#a3431f", label="thinner: a second one sinks in (slow rotor)")
    ax.plot(diameters, greatest, color="#7a4f9a", linestyle="--", label="thicker: the first stands proud")
    ax.set(
        xlabel="diameter of the bottle [mm]",
        ylabel="spacer under the bottle [mm]",
        ylim=(0, 25),
        title="Spacer by diameter: pocket 82 x 80 mm, friction 0.25, by formula for ones that do not give way",
    )
    ax.legend(frameon=False)
    return figure


def bridging_by_width() -> Figure:
    """Draw from which friction a zig-zag can hold itself up between flush walls, if anything resists its rolling."""
    figure = Figure(figsize=(PAGE[0], 5.5), layout="constrained")
    ax = figure.add_subplot()
    ratios = np.linspace(1.05, 1.86, 60)
    needed = [channel_critical_friction(ratio * 66.0, 66.0, 6, 0.05) for ratio in ratios.tolist()]
    ax.plot(ratios, needed, color="#a3431f")
    ax.fill_between(ratios, needed, 1.5, color="#a3431f", alpha=0.15)
    ax.text(1.5, 1.15, "panelled or set bottles may bridge", ha="center")
    ax.text(1.25, 0.25, "cannot bridge between flush walls", ha="center")
    ax.axhspan(0.15, 0.4, color="#0072b2", alpha=0.12, label="usual frictions of bottles on walls")
    ax.set(
        xlabel="clear width over diameter [-]",
        ylabel="friction of walls and bottles [-]",
        xlim=(1.05, 1.86),
        ylim=(0, 1.5),
        title="Bridging: round stiff ones never do; a lip or a lifted liner edge lets anything",
    )
    ax.legend(frameon=False, loc="upper right")
    return figure


if __name__ == "__main__":  # worker processes read this file too
    sys.exit(exit_code_of(main))
