"""How the sections of soft-walled containers follow what presses on them.

Once in a while the load on each container is read from its contacts and its section moved part of the way to the one
that this load makes.

Where a column leaves less than 3 mm beside a container and its bulge fills that, both walls press on it. It is then a
box with rounded corners a little narrower than the column, which touches neither wall, and what they do to it, the
friction of what they are pressed with, holds it back by a force of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Engine, IntArray, Settings
from colsim.physics.giving_way import SECTION, GivingWay, Pace
from colsim.physics.scene import Body
from colsim.physics.section_under_load import HEIGHTS, LOST, held_table, load_of, pressures_of
from colsim.physics.watching import has_settled

__all__ = ["SoftBodies"]

SLICE = 0.005  # [s] between two looks at the loads, and two changes of the sections
FASTEST = 10.0  # [mm/s] at which a height or a flat changes
SINGLE_FILE = 3.0  # [mm] beside a container, below which both walls can press on it


class SoftBodies:
    """The soft ones among a column's containers, and the sections that they have taken.

    Parameters
    ----------
    engine : Engine
        That they are in.
    settings : Settings
        Its time step, and how fast sections follow loads.
    section : CrossSection, optional
        Whose walls press on what fills its width; without it none do.

    Attributes
    ----------
    pace : Pace
        How fast sections follow.
    """

    def __init__(self, engine: Engine, settings: Settings, section: CrossSection | None = None) -> None:
        self._engine, self._section = engine, section
        steps = max(1, round(SLICE / settings.step))
        passing = steps * settings.step
        self.pace = Pace(
            steps=steps,
            keep=math.exp(-passing / settings.memory),
            share=-math.expm1(-passing / settings.response),
            most=FASTEST * passing,
        )
        self._bodies: dict[int, Body] = {}  # as they are without load, in the order of the sections
        walls = np.zeros((0, 2)) if section is None else section.side_walls(0)[0]
        self._soft = GivingWay(
            sections=np.zeros(0, dtype=SECTION),
            virials=np.zeros((0, 2, 2)),
            past=np.zeros((0, max(1, round(settings.response / passing)), 2)),
            slices=np.zeros(1, dtype=np.int64),
            pressures=np.zeros((0, LOST)),
            held=np.zeros((0, 3, HEIGHTS)),
            walls=walls,
            friction=np.zeros((0, len(walls))),
        )
        self._placed = True

    def __bool__(self) -> bool:
        return bool(self._bodies)

    @property
    def flattest(self) -> float:
        """Greatest squeeze of any of them, as a share of its diameter [-]."""
        rows = self._soft.sections
        return float((rows["squeeze"] / rows["diameter"]).max(initial=0.0))

    @property
    def settled(self) -> bool:
        """Whether all sections are those that their loads make."""
        return has_settled(self._soft)

    @property
    def grips(self) -> Mapping[int, float]:
        """By how much the walls hold back those on which both press, by index [mN]."""
        return {
            number: grip
            for number, grip in zip(self._bodies, self._soft.sections["grip"].tolist(), strict=True)
            if grip
        }

    @property
    def shapes(self) -> Mapping[int, Body]:
        """Each with its section of now, by index: the flat that has set, rounded for the rest."""
        rows = self._soft.sections
        return {number: _shape(body, row) for (number, body), row in zip(self._bodies.items(), rows, strict=True)}

    def add(self, body: Body) -> None:
        """Take note of a container that has been put in, soft or not."""
        self._placed = False
        if body.wall is None:
            return
        bottle, section = body.wall.bottle, self._section
        row = np.zeros(1, dtype=SECTION)
        row["diameter"], row["own_flat"], row["shown_flat"] = body.height, body.flat, body.flat
        row["length"], row["ring"], row["width"] = bottle.length, bottle.ring_force(1.0), math.inf
        held, friction = np.zeros((3, HEIGHTS)), np.zeros(0)
        if section is not None:
            friction = section.side_walls(body.surface)[1]
            if 0.0 <= section.width - body.height < SINGLE_FILE:
                row["width"], held = section.width, held_table(bottle, section.width)
        place = int(np.searchsorted(self._numbers, body.index))
        self._bodies = dict(sorted([*self._bodies.items(), (body.index, body)]))
        rows = {"sections": row, "pressures": pressures_of(bottle), "held": held, "friction": friction}
        self._change(lambda name, array: np.insert(array, place, rows.get(name, 0.0), axis=0))

    def remove(self, index: int) -> None:
        """Forget a container that has come out, soft or not."""
        self._placed = False
        if index in self._bodies:
            place = list(self._bodies).index(index)
            del self._bodies[index]
            self._change(lambda _, array: np.delete(array, place, axis=0))

    def _change(self, change: Callable[[str, npt.NDArray[Any]], npt.NDArray[Any]]) -> None:
        """Give every array that has a row a body one more or one less."""
        names = ("sections", "virials", "past", "pressures", "held", "friction")
        self._soft = self._soft._replace(**{name: change(name, getattr(self._soft, name)) for name in names})

    @property
    def _numbers(self) -> IntArray:
        return np.array(list(self._bodies), dtype=np.int64)

    @property
    def rows(self) -> GivingWay:
        """Their sections as an engine takes them."""
        if not self._placed:
            self._soft.sections["place"] = np.searchsorted(self._engine.state().index, self._numbers)
            self._placed = True
        return self._soft

    def set_flats(self) -> bool:
        """Have the share that sets of every flat come to stay, across what presses now; tell whether any does."""
        rows, state = self._soft.sections, self._engine.state()
        if not len(rows):
            return False
        turned = state.angle[np.searchsorted(state.index, self._numbers)]
        shares = [body.wall.set_fraction for body in self._bodies.values() if body.wall is not None]
        flat = np.array(shares) * math.pi / 2 * rows["squeeze"]
        pressed = np.array([load_of(virial)[2] for virial in self._soft.virials])
        setting = flat > 0.0
        rows["flat_to_set"][setting] = flat[setting]
        rows["flat_angle"][setting] = (pressed - turned + math.pi / 2)[setting]
        rows["slices"][setting] = 0
        return bool(setting.any())


def _shape(body: Body, row: np.void) -> Body:
    """Give a body with the section that the engine has."""
    squeeze, flat, side = float(row["shown_squeeze"]), float(row["shown_flat"]), float(row["shown_side"])
    shape = replace(body, height=body.height - squeeze, flat=flat, side=side, flat_angle=float(row["shown_angle"]))
    if side > 0.0:
        return shape
    bulge_angle = float(row["pressed_along"]) + math.pi / 2
    return replace(shape, bulge=max(0.0, math.pi / 2 * squeeze - flat), bulge_angle=bulge_angle)
