"""A column drawn to scale, as it stands at one moment."""

from __future__ import annotations

import math
from collections.abc import Iterable

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.physics.scene import Body, Chain, Part, Point, straightened
from colsim.sampling import Fill

__all__ = ["plot_column"]

INK, PAPER, STEEL, LINER, SPACER = "#2b2b33", "#fbf8f1", "#cfd3da", "#0072b2", "#7a4f9a"
CONTAINER, MARK = "#f3e3c3", "#a3431f"
_KINDS = ((CONTAINER, ""), ("#d9e6ee", ".."), ("#dfe8cf", "//"))
_MARGIN = 15.0
_CHORD_TURN = 2.0  # [deg] of arcs as drawn


def plot_column(fill: Fill, frame: int = -1, ax: Axes | None = None) -> Axes:
    """Draw walls, liners, drum, spacer and containers to scale.

    Parameters
    ----------
    fill : Fill
        What was simulated; recorded, if other moments than the last are wanted.
    frame : int
        Which of its frames, as a list counts; the last if not given.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        In millimetres from the drum's axis. Each container carries its number in the order of loading, and a
        spoke that turns with it.

    Raises
    ------
    ScenarioError
        If the fill has no such frame.
    """
    if not -len(fill.frames) <= frame < len(fill.frames):
        raise ScenarioError(
            f"frame: got {frame}; the fill has {len(fill.frames)} (record=True keeps one every fiftieth of a second)"
        )
    shot = fill.frames[frame]
    if ax is None:
        _, ax = plt.subplots(figsize=(5.4, 8.0), layout="constrained")
    section, scenario = fill.section, fill.scenario
    ax.set_facecolor(PAPER)
    for chain in section.scene.walls:
        _draw_chain(ax, chain, section.top)
    _draw_liners(ax, scenario, section.throat, section.floor_top)
    if section.scene.drum is not None:
        outline = np.array([_turn(point, shot.drum_angle) for point in _points(section.scene.drum.outline)])
        ax.add_patch(Polygon(outline, closed=True, facecolor=STEEL, edgecolor=INK, linewidth=1.2, label="drum"))
    _draw_spacer(ax, scenario, shot.drum_angle)
    bodies = shot.bodies or tuple(fill.bodies[index] for index in shot.state.index.tolist())
    for index, body, (x, y), angle in zip(
        shot.state.index.tolist(), bodies, shot.state.position.tolist(), shot.state.angle.tolist(), strict=True
    ):
        _draw_container(ax, body, scenario.product_of(index), (x, y), angle)
    reach = section.housing_radius + _MARGIN
    ax.set(
        xlim=(-reach, reach),
        ylim=(-reach, section.top + _MARGIN),
        aspect="equal",
        xlabel="across the column [mm]",
        ylabel="above the drum's axis [mm]",
        title=_title(fill, shot.time),
    )
    handles, labels = ax.get_legend_handles_labels()
    named = dict(zip(labels, handles, strict=True))
    ax.legend(
        named.values(), named.keys(), loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize="small", frameon=False
    )
    return ax


def _title(fill: Fill, time: float) -> str:
    failure = fill.failure
    what = "all came one by one" if failure is None else f"{failure.outcome}: {failure.mechanism}"
    return f"{fill.scenario.title}\n{'invalid' if fill.invalid else what}, {time:.1f} s"


def _points(chain: Chain) -> list[Point]:
    lines = [line for piece in chain.pieces for line in straightened(piece, _CHORD_TURN)]
    return [lines[0].start, *(line.end for line in lines)]


def _turn(point: Point, angle: float) -> Point:
    c, s = math.cos(angle), math.sin(angle)
    return (c * point[0] - s * point[1], s * point[0] + c * point[1])


def _draw_chain(ax: Axes, chain: Chain, top: float) -> None:
    for piece in chain.pieces:
        points = np.array(_points(Chain((piece,))))
        points[:, 1] = np.minimum(points[:, 1], top)
        label = {Part.HOUSING: "housing", Part.LIFTED_EDGE: "lifted liner edge"}.get(piece.part, "wall and floor")
        ax.plot(
            *points.T,
            color=MARK if piece.part is Part.LIFTED_EDGE else INK,
            linewidth=1.4 if piece.part is Part.HOUSING else 2.2,
            linestyle=(0, (4, 2)) if piece.part is Part.HOUSING else "-",
            label=label,
        )


def _draw_liners(ax: Axes, scenario: Scenario, throat: float, floor_top: float) -> None:
    for wall, side in (("left", -1), ("right", 1)):
        x = side * (scenario.column.width / 2 + 3.0)
        for zone in scenario.column.liner_zones(wall):
            ax.plot(
                [x, x],
                [max(throat + zone.bottom, floor_top), throat + zone.top],
                color=LINER,
                linewidth=4,
                alpha=0.8,
                label=f"liner, friction {zone.friction:g}",
            )


def _draw_spacer(ax: Axes, scenario: Scenario, angle: float) -> None:
    for corners in _spacer_outlines(scenario):
        ax.add_patch(
            Polygon(
                [_turn(corner, angle) for corner in corners],
                closed=True,
                facecolor=SPACER,
                edgecolor=INK,
                hatch="////",
                alpha=0.75,
                label=f"spacer {scenario.rotor.spacer_thickness:g} mm",
            )
        )


def _spacer_outlines(scenario: Scenario) -> Iterable[list[Point]]:
    rotor = scenario.rotor
    if rotor.spacer_thickness == 0:
        return
    floor, half = rotor.radius - rotor.pocket_depth, rotor.pocket_width / 2
    if rotor.spacer_kind == "raises_floor":
        blocks = [(-half, half, floor, floor + rotor.spacer_thickness)]
    else:
        inner = rotor.clear_width / 2
        blocks = [(-half, -inner, floor, rotor.mouth_height), (inner, half, floor, rotor.mouth_height)]
    pitch = 2 * math.pi / rotor.pockets
    first = pitch / 2 if rotor.rest == "land_up" else 0.0
    for k in range(rotor.pockets):
        for left, right, low, high in blocks:
            corners = [(left, low), (right, low), (right, high), (left, high)]
            yield [_turn(corner, first - k * pitch) for corner in corners]


def _draw_container(ax: Axes, body: Body, name: str, centre: Point, angle: float) -> None:
    radius, half, side = body.corner_radius, body.flat / 2, body.side / 2
    across, turned = half, angle + body.flat_angle
    if body.bulge > 0.0 and half == 0.0:  # as it looks; to the engine it is round
        across, turned = body.bulge / 2, body.bulge_angle
    # Kinds differ in shade and in how they are hatched.
    shade, hatch = _KINDS[body.surface % len(_KINDS)]
    look = {"facecolor": shade, "edgecolor": INK, "linewidth": 1.2, "hatch": hatch, "label": name}
    if across == 0:
        ax.add_patch(Circle(centre, radius, **look))
    else:
        turns = np.linspace(-math.pi / 2, math.pi / 2, 40)
        up_or_down = np.where(turns < 0, -side, side)
        right = np.column_stack([across + radius * np.cos(turns), up_or_down + radius * np.sin(turns)])
        outline = np.vstack([right, -right])
        ax.add_patch(Polygon([np.add(centre, _turn((x, y), turned)) for x, y in outline], closed=True, **look))
    spoke = _turn((radius, 0.0), angle)
    ax.plot(
        [centre[0] + 0.55 * spoke[0], centre[0] + 0.95 * spoke[0]],
        [centre[1] + 0.55 * spoke[1], centre[1] + 0.95 * spoke[1]],
        color=MARK,
        linewidth=3,
    )
    plate = {"facecolor": shade, "edgecolor": "none", "pad": 1.0}
    ax.text(*centre, str(body.index + 1), ha="center", va="center", fontsize="small", color=INK, bbox=plate)
