"""A column drawn to scale, as it stands at one moment."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import matplotlib.pyplot as plt
import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.physics.engines import FloatArray
from colsim.physics.scene import Arc, Body, Chain, Line, Part, Piece, Point, straightened
from colsim.physics.vending import Frame
from colsim.pictures.plain import label_of, show_as_is
from colsim.sampling import Replay
from colsim.sampling.checks import require_kind
from colsim.sampling.draws import with_drawn

__all__ = ["plot_column"]

INK, PAPER, STEEL, LINER, SPACER = "#2b2b33", "#fbf8f1", "#cfd3da", "#0072b2", "#7a4f9a"
CONTAINER, MARK = "#f3e3c3", "#a3431f"
_KINDS = ((CONTAINER, ""), ("#d9e6ee", ".."), ("#dfe8cf", "//"))
_MARGIN = 15.0
_CHORD_TURN = 2.0  # [deg] of arcs as drawn
_SEEN = 0.2  # [mm] of a dent, below which an outline's own width hides it
_SPACING = 0.5  # [mm] between points of an outline that is dented


def plot_column(replay: Replay, frame: int = -1, ax: Axes | None = None) -> Axes:
    """Draw walls, liners, drum, spacer and containers to scale.

    Parameters
    ----------
    replay : Replay
        A fill made again, as `Fill.replay`, `Fills.replay` or `replay` give it.
    frame : int
        Which of its frames, as a list counts; the last if not given.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes if not given.

    Returns
    -------
    matplotlib.axes.Axes
        In millimetres from the drum's axis. Each container carries its number in the order of loading, and a
        spoke that turns with it. It is drawn flat where something presses on it: to the surface of a wall or of the
        drum, and by half of the overlap with another container.

    Raises
    ------
    ScenarioError
        If it is not a replay, or has no such frame.
    """
    require_kind("replay", replay, Replay, "fill.replay(scenario), or fills.replay(number), makes a fill again")
    count = len(replay.frames)
    if not isinstance(frame, (int, np.integer)) or not -count <= frame < count:
        raise ScenarioError(f"frame: got {frame!r}; allowed: a whole number from {-count} to {count - 1}, -1 the last")
    shot = replay.frames[frame]
    if ax is None:
        _, ax = plt.subplots(figsize=(5.4, 8.0), layout="constrained")
    section, scenario = replay.section, _as_drawn(replay)
    ax.set_facecolor(PAPER)
    for chain in section.scene.walls:
        _draw_chain(ax, chain, section.top)
    _draw_liners(ax, scenario, section.throat, section.floor_top)
    if section.scene.drum is not None:
        outline = np.array([_turn(point, shot.drum_angle) for point in _points(section.scene.drum.outline)])
        ax.add_patch(Polygon(outline, closed=True, facecolor=STEEL, edgecolor=INK, linewidth=1.2, label="drum"))
    _draw_spacer(ax, scenario, shot.drum_angle)
    for container, dented in zip(_containers(shot), _dented_outlines(replay, shot), strict=True):
        _draw_container(ax, container, scenario.product_of(container.body.index), dented)
    reach = section.housing_radius + _MARGIN
    ax.set(
        xlim=(-reach, reach),
        ylim=(-reach, section.top + _MARGIN),
        aspect="equal",
        xlabel="across the column [mm]",
        ylabel="above the drum's axis [mm]",
        title=_title(replay, shot.time),
    )
    handles, labels = ax.get_legend_handles_labels()
    named = dict(zip(labels, handles, strict=True))
    ax.legend(
        named.values(), named.keys(), loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize="small", frameon=False
    )
    show_as_is(ax)
    return ax


def _as_drawn(replay: Replay) -> Scenario:
    """Give the scenario with the numbers of this fill, which its walls were made of."""
    try:
        return with_drawn(replay.scenario, replay.fill.drawn)
    except ScenarioError:
        return replay.scenario  # an invalid fill, whose walls are the typical ones


def _title(replay: Replay, time: float) -> str:
    fill, failure = replay.fill, replay.fill.failure
    what = "all came one by one" if failure is None else f"{failure.outcome}: {failure.mechanism}"
    return f"{replay.scenario.title}\n{'invalid' if fill.invalid else what}, {time:.1f} s"


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


@dataclass(frozen=True)
class _Container:
    """A container where it lies: its section, centre, angle, and the deepest that it can be pressed in [mm]."""

    body: Body
    centre: Point
    angle: float
    dent: float

    def inside(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give how deep points lie inside its round outline [mm], and the unit vectors out of it."""
        turned = self.angle + self.body.flat_angle
        c, s = math.cos(turned), math.sin(turned)
        local = (points - self.centre) @ np.array([[c, -s], [s, c]])
        core = np.clip(local, *(np.array([[-1.0], [1.0]]) * (self.body.flat / 2, self.body.side / 2)))
        away = local - core
        distance = np.hypot(*away.T)
        out = away / np.maximum(distance, 1e-9)[:, None]
        return self.body.corner_radius - distance, out @ np.array([[c, s], [-s, c]])

    def outline(self) -> FloatArray:
        """Give its outline as if nothing pressed on it, as a closed run of points [mm]."""
        radius, half, side = self.body.corner_radius, self.body.flat / 2, self.body.side / 2
        turns = np.linspace(-math.pi / 2, math.pi / 2, 40)
        right = np.column_stack(
            [half + radius * np.cos(turns), np.where(turns < 0, -side, side) + radius * np.sin(turns)]
        )
        turned = self.angle + self.body.flat_angle
        return np.array([np.add(self.centre, _turn((x, y), turned)) for x, y in (*right, *-right, right[0])])


def _containers(shot: Frame) -> list[_Container]:
    """Give the containers of a frame; each dent is no deeper than the greatest height lost along one axis."""
    state = shot.state
    most = np.linalg.eigvalsh(shot.dents)[:, -1].tolist() if len(shot.dents) else [0.0] * len(shot.bodies)
    return [
        _Container(body, (x, y), angle, dent)
        for body, (x, y), angle, dent in zip(
            shot.bodies, state.position.tolist(), state.angle.tolist(), most, strict=True
        )
    ]


def _dented_outlines(replay: Replay, shot: Frame) -> Iterator[FloatArray | None]:
    """Give the outline of each container as it is pressed in; None where no dent is deep enough to be seen."""
    containers, scene = _containers(shot), replay.section.scene
    for mine in containers:
        if mine.dent < _SEEN:
            yield None
            continue
        before = _densely(mine.outline())
        points = before.copy()
        for other in containers:
            if other is not mine and math.dist(mine.centre, other.centre) < mine.body.reach + other.body.reach:
                depth, out = other.inside(before)
                pressed = (depth > 0.0) & (depth <= mine.dent + other.dent)
                points[pressed] += depth[pressed, None] / 2 * out[pressed]
        for piece in (piece for chain in scene.walls for piece in chain.pieces):
            points = _before(piece, points, mine.dent)
        if scene.drum is not None:
            c, s = math.cos(shot.drum_angle), math.sin(shot.drum_angle)
            turn = np.array([[c, -s], [s, c]])
            points = points @ turn
            for piece in scene.drum.outline.pieces:
                points = _before(piece, points, mine.dent)
            points = points @ turn.T
        yield points


def _densely(outline: FloatArray) -> FloatArray:
    """Give a run of points again, with no two of them far apart."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(outline, axis=0).T))])
    at = np.linspace(0.0, along[-1], math.ceil(along[-1] / _SPACING))
    return np.column_stack([np.interp(at, along, column) for column in outline.T])


def _before(piece: Piece, points: FloatArray, deepest: float) -> FloatArray:
    """Move points that lie behind a piece, no deeper than something is pressed in there, onto its surface."""
    if isinstance(piece, Line):
        (dx, dy), length = piece.direction(0.0), math.dist(piece.start, piece.end)
        rel = points - piece.start
        along, out = rel @ (dx, dy), np.broadcast_to((-dy, dx), points.shape)
        depth, beside = -np.sum(rel * out, axis=1), (along >= 0.0) & (along <= length)
    else:
        depth, out, beside = _behind_arc(piece, points)
    pressed = beside & (depth > 0.0) & (depth <= deepest)
    moved: FloatArray = points + np.where(pressed, depth, 0.0)[:, None] * out
    return moved


def _behind_arc(arc: Arc, points: FloatArray) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Give how deep points lie behind an arc [mm], the unit vectors out to it, and which lie beside it."""
    rel = points - arc.centre
    distance, way = np.hypot(*rel.T), math.copysign(1.0, arc.sweep)
    turned = np.mod(way * (np.arctan2(rel[:, 1], rel[:, 0]) - arc.from_angle), 2 * math.pi)
    return way * (distance - arc.radius), -way * rel / np.maximum(distance, 1e-9)[:, None], turned <= abs(arc.sweep)


def _draw_container(ax: Axes, container: _Container, name: str, dented: FloatArray | None) -> None:
    body, centre = container.body, container.centre
    # Kinds differ in shade and in how they are hatched.
    shade, hatch = _KINDS[body.surface % len(_KINDS)]
    look = {"facecolor": shade, "edgecolor": INK, "linewidth": 1.2, "hatch": hatch, "label": label_of(name)}
    if dented is None and body.flat == 0.0:
        ax.add_patch(Circle(centre, body.corner_radius, **look))
    else:
        ax.add_patch(Polygon(container.outline() if dented is None else dented, closed=True, **look))
    spoke = _turn((body.corner_radius, 0.0), container.angle)
    ax.plot(
        [centre[0] + 0.55 * spoke[0], centre[0] + 0.95 * spoke[0]],
        [centre[1] + 0.55 * spoke[1], centre[1] + 0.95 * spoke[1]],
        color=MARK,
        linewidth=3,
    )
    plate = {"facecolor": shade, "edgecolor": "none", "pad": 1.0}
    ax.text(*centre, str(body.index + 1), ha="center", va="center", fontsize="small", color=INK, bbox=plate)
