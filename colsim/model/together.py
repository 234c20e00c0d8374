"""What words stand for that more than one part must know: surfaces, condensation and days in the column."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from colsim.model.container import Container
from colsim.model.paths import opened
from colsim.model.spread import StandIn
from colsim.model.stand_ins import (
    CREEP_EXPONENT,
    FRICTION_OF_CONTAINERS,
    FRICTION_ON_LINER,
    FRICTION_ON_WALL,
    any_of,
    wetted,
)

__all__ = ["with_stand_ins"]


def with_stand_ins(data: dict[str, Any]) -> dict[str, Any]:
    """Put in what surfaces, condensation and days in the column stand for, where it was not measured.

    Parameters
    ----------
    data : dict
        What was given for a scenario; changed in place, but not the tables in it.

    Returns
    -------
    dict
        The same one.
    """
    conditions, column = (opened(name, data.get(name)) for name in ("conditions", "column"))
    wet = isinstance(conditions, dict) and conditions.get("wet") is True
    column = column if isinstance(column, dict) else {}
    walls = FRICTION_ON_WALL.get(str(column.get("wall_surface")), {}) if column.get("wall_friction") is None else {}
    days = conditions.get("days") if isinstance(conditions, dict) else None

    def stood_in(table: Any) -> Any:
        return _with_creep(_with_friction(table, walls, wet=wet), days)

    if data.get("container") is not None:
        data["container"] = stood_in(data["container"])
    if isinstance(data.get("containers"), dict):
        data["containers"] = {name: stood_in(table) for name, table in data["containers"].items()}
    if wet and walls:
        data["column"] = column = {**column, "wall_friction": wetted(any_of(walls.values()))}
    if wet and isinstance(column.get("liners"), (list, tuple)):
        data["column"] = {**column, "liners": [_with_wet_friction(liner) for liner in column["liners"]]}
    return data


def _with_friction(table: Any, walls: Mapping[Any, StandIn], *, wet: bool) -> Any:
    surface = str(table.get("surface")) if isinstance(table, dict) else ""
    if surface not in FRICTION_OF_CONTAINERS:
        return table
    found = {"friction": FRICTION_OF_CONTAINERS[surface]}
    if surface in walls:
        found["wall_friction"] = walls[surface]
    return {
        **table,
        **{name: wetted(spread) if wet else spread for name, spread in found.items() if table.get(name) is None},
    }


def _with_wet_friction(liner: Any) -> Any:
    liner = opened("liners", liner)
    condition = str(liner.get("condition")) if isinstance(liner, dict) else ""
    if condition not in FRICTION_ON_LINER or liner.get("friction") is not None:
        return liner
    return {**liner, "friction": wetted(FRICTION_ON_LINER[condition])}


def _with_creep(table: Any, days: Any) -> Any:
    """Put in by how much a soft wall gets softer, which matters to one that lies for days alone."""
    lies = isinstance(days, (int, float)) and days > 0
    soft = isinstance(table, dict) and Container.is_described_soft(table)
    if not (lies and soft) or table.get("creep_exponent") is not None:
        return table
    return {**table, "creep_exponent": CREEP_EXPONENT}
