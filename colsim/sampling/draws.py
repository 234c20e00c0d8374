"""Independent random draws that depend on nothing but what they are for.

Each draw has its own stream, keyed by purpose, fill and container, so that fill k and its container i are
the same for any number of workers, fills, containers or options.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from colsim.model import Container, Loading, Scenario
from colsim.model.spread import Spread

__all__ = [
    "Placement",
    "draw_container",
    "draw_fill_wide",
    "draw_placement",
    "fresh_seed",
    "with_drawn",
]


class _Stream(IntEnum):
    """Purposes; a number once given is never given to another purpose."""

    FILL = 0
    PLACEMENT = 1
    FILL_WIDE = 2
    CONTAINER = 3


@dataclass(frozen=True)
class Placement:
    """How a hand lays one container: place across the free width from -1 (left) to 1, and angle [rad]."""

    across: float
    angle: float


def fresh_seed() -> int:
    """Give a seed that was not used before, short enough to copy by hand."""
    return int(np.random.SeedSequence().generate_state(1)[0])


def draw_placement(loading: Loading, seed: int, number: int, item: int) -> Placement:
    """Draw how one container is laid.

    Parameters
    ----------
    loading : Loading
        Pattern and scatter.
    seed, number, item : int
        Seed, number of the fill, and which container of it.

    Returns
    -------
    Placement
        Place across [-] and angle [rad].
    """
    first_side = 1.0 if _generator(seed, _Stream.FILL, number, 0).random() < 0.5 else -1.0
    rng = _generator(seed, _Stream.PLACEMENT, number, item)
    off, angle, either = rng.random(3).tolist()
    side = {
        "alternate": first_side * (-1.0) ** item,
        "one_side": first_side,
        "random": 1.0 if either < 0.5 else -1.0,
    }[loading.pattern]
    return Placement(side * (1.0 - loading.placement_scatter * off), 2.0 * np.pi * angle)


def draw_fill_wide(scenario: Scenario, seed: int, number: int) -> dict[str, float]:
    """Draw what differs from fill to fill and is one for the whole of it.

    Parameters
    ----------
    scenario : Scenario
        With its spreads.
    seed, number : int
        Seed, and number of the fill.

    Returns
    -------
    dict of str to float
        Value by dotted path [unit of the field]. What is drawn for one path does not depend on which others there are.
    """
    return {
        path: _draw(spread, seed, _Stream.FILL_WIDE, number, 0, path)
        for path, spread in scenario.varying().items()
        if not _is_drawn_for_each(path.rpartition(".")[2], spread)
    }


def with_drawn(scenario: Scenario, drawn: Mapping[str, float]) -> Scenario:
    """Put in what was drawn for the whole of a fill, and the typical value in place of every other spread.

    Parameters
    ----------
    scenario : Scenario
        With its spreads.
    drawn : mapping of str to float
        As `draw_fill_wide` gives it.

    Returns
    -------
    Scenario
        Without spreads.

    Raises
    ------
    ScenarioError
        If the numbers drawn do not go together.
    """
    typical = {path: spread.typical for path, spread in scenario.all_spreads()}
    return scenario.changed(**{**typical, **drawn}) if typical else scenario


def draw_container(
    container: Container, seed: int, number: int, item: int, *, spreads: Mapping[str, Spread] | None = None
) -> Container:
    """Draw what differs from container to container.

    Parameters
    ----------
    container : Container
        What is the same for all.
    seed, number, item : int
        Seed, number of the fill, and which container of it.
    spreads : mapping of str to Spread, optional
        Spreads of its fields; its own if not given.

    Returns
    -------
    Container
        With plain numbers in place of what was drawn.

    Raises
    ------
    ScenarioError
        If the numbers drawn do not go together.
    """
    drawn = {
        name: _draw(spread, seed, _Stream.CONTAINER, number, item, name)
        for name, spread in (container.spreads if spreads is None else spreads).items()
        if spread.kind == "varies" and _is_drawn_for_each(name, spread)
    }
    return Container(**{**container.as_given(), **drawn}) if drawn else container


def _is_drawn_for_each(field: str, spread: Spread) -> bool:
    return spread.per == "container" or (spread.per is None and field in Container.drawn_for_each)


def _draw(spread: Spread, seed: int, stream: _Stream, number: int, item: int, path: str) -> float:
    return spread.quantile(_generator(seed, stream, number, item, zlib.crc32(path.encode())).random())


def _generator(seed: int, stream: _Stream, *key: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(int(stream), *key)))
