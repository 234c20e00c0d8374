"""A bottle or can lying on its side."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import (
    AssumedRange,
    Description,
    Friction,
    Length,
    Mass,
    Modulus,
    Number,
    Pressure,
    Stiffness,
    Volume,
    reader_of,
)
from colsim.model.conditions import Conditions
from colsim.model.generic_sizes import GENERIC_SIZES, figures_of, values_of, without_generic
from colsim.model.one_line import OneLine
from colsim.model.softness import (
    ASSUMED_EMPTY,
    SOFTENS,
    bottle_of,
    require_sizes_of_soft,
    soft_ranges,
    squeeze_fit_of,
)
from colsim.model.spread import Spread, StandIn
from colsim.model.squeeze_test import SqueezeFit, SqueezeReading
from colsim.model.stand_ins import (
    CARBONATION,
    FRICTION_OF_CONTAINERS,
    WALL_THICKNESS,
    Drink,
    Surface,
    WallFeel,
)
from colsim.model.stiffness import (
    NUMBERS_OF_SHAPE,
    board_stiffness,
    firm_ranges,
    is_described_soft,
    require_sizes_of_firm,
)
from colsim.theory.squeeze import Bottle

__all__ = ["Container"]

LEAST_DENSITY, GREATEST_DENSITY = 0.3, 1.5
"""Of a full container, over the cylinder around it [kg/L], assumed: drinks are 1.0, a long neck takes off half,
heavy glass adds as much again as the drink."""
_MAY_BE_NONE = frozenset({"carbonation", "gauge_pressure"})  # numbers that may be 0, or below


class Container(Description):
    """A bottle or can as it lies in the column.

    Write ``like = "500 ml still water"`` to start from a catalogue entry and change only what you measured.
    """

    may_spread: ClassVar[bool] = True
    drawn_for_each: ClassVar[frozenset[str]] = frozenset({"diameter", "length", "mass", "empty_mass", "set_flat"})

    of_soft_walls: ClassVar[frozenset[str]] = frozenset(
        {
            "wall_thickness",
            "modulus",
            "headspace",
            "inside_volume",
            "end_stiffness",
            "creep_exponent",
            "set_fraction",
            "squeeze_test",
            "tested_diameter",
        }
    )
    """Fields that count only where the wall is soft."""
    of_gas: ClassVar[frozenset[str]] = frozenset({"carbonation", "drink", "gauge_pressure", "body_length"})
    """Fields that count where the wall is soft, and where the stiffness follows from the gas."""

    like: str | None = Field(None, description="name of a catalogue entry that gives what is not written here")
    name: OneLine = Field("container", description="what you call it: one line of text without control characters")
    diameter: Length = Field(
        gt=20, le=150, description="calliper across the widest part, turned a quarter and averaged [mm]"
    )
    length: Annotated[Length, Field(gt=20, le=400)] | None = Field(
        None,
        description="ruler from base to the top of the cap [mm]; long enough for the drink in it, at 1.1 g/ml",
    )
    mass: Mass = Field(
        gt=0.02,
        le=5,
        description="kitchen scale, full and closed [kg]; over the volume of a "
        "cylinder of its diameter and length 0.3 to 1.5 kg a litre",
    )
    empty_mass: Annotated[Mass, Field(gt=0, le=1)] | None = Field(
        None,
        description="kitchen scale, empty and dry with its cap [kg], below the mass; assumed 3.5 % of the mass if not "
        "given",
    )
    liquid_spin: Annotated[Number, AssumedRange(0.1, 0.3)] = Field(
        0.2,
        ge=0,
        le=1,
        description="share of the liquid that spins up with the wall [-]; assumed 0.2, not measurable on site",
    )
    set_flat: Length = Field(
        0.0,
        ge=0,
        description="width of a permanent flat [mm]: on a tilting board, flat down and axis across the slope, "
        "height times the tangent of the angle at which it starts to roll; 0 if it rolls at once; at most half the "
        "diameter",
    )
    friction: Annotated[Friction, AssumedRange(0.15, 0.45)] = Field(
        0.25,
        ge=0,
        le=2,
        description="container on container [-]: tangent of the angle at which one slides along another "
        '(axes along the slope), or that angle as text, such as "14 deg"; by its surface, or assumed 0.25, if not '
        "given",
    )
    wall_friction: Annotated[Friction, Field(ge=0, le=2)] | None = Field(
        None,
        description="this container on bare wall [-] or angle as text, where it differs from column.wall_friction",
    )
    liner_friction: Annotated[Friction, Field(ge=0, le=2)] | None = Field(
        None, description="this container on the liners [-] or angle as text, where it differs from theirs"
    )
    rotor_friction: Annotated[Friction, Field(ge=0, le=2)] | None = Field(
        None,
        description="this container on drum and housing [-] or angle as text, where it differs from rotor.friction",
    )
    surface: Surface | None = Field(
        None, description="what touches: bare wall, film or paper label, shrink sleeve, or a can"
    )
    restitution: Annotated[Number, AssumedRange(0.0, 0.4)] = Field(
        0.2,
        ge=0,
        le=0.9,
        description="rebound speed over impact speed [-]: square root of rebound over drop height; assumed 0.2; "
        "below 0.05 it is taken as 0.05, as a damped spring gives some of it back",
    )
    stiffness: Annotated[Stiffness, Field(ge=1, le=500)] | None = Field(
        None,
        description="force over the height that it loses between two boards [N/mm]: full and closed, on its side on a "
        "kitchen scale, a board below and one above; press until the scale shows some 5 kg more, and read by ruler how "
        "many mm the upper board came down, less what the scale alone gives way by; kilograms times 9.81 over mm; "
        "500 for what does not give, such as glass; by its drink, carbonation or gauge_pressure, or an unknown range, "
        "if not given; not besides wall_thickness, wall_feel or squeeze_test",
    )
    wall_thickness: Annotated[Length, Field(gt=0, le=5)] | None = Field(
        None,
        description="micrometer on a piece cut from an empty one, half-way up [mm], at most a twentieth of the "
        "diameter; by its feel if not given",
    )
    wall_feel: WallFeel | None = Field(None, description="side wall under the thumb, if you cannot measure it")
    modulus: Annotated[Modulus, Field(ge=200, le=100_000)] | None = Field(
        None,
        description="Young's modulus of the wall, from the maker of its plastic [MPa]; of a soft wall an unknown range "
        "if not given, and a squeeze test makes up for it",
    )
    carbonation: Annotated[Number, Field(ge=0, le=5)] | None = Field(
        None,
        description="carbon dioxide in the drink, from the bottler [volumes]; by the drink if not given; up to 1 it "
        "counts as still, and its wall holds it; of any other as much as makes 2 N/mm between boards, or say what its "
        "wall is",
    )
    drink: Drink | None = Field(None, description="what is in it, if you do not know its carbonation")
    gauge_pressure: Annotated[Pressure, Field(ge=-60, le=1000)] | None = Field(
        None,
        description="pressure above that of the air in a closed one at the temperature of loading, gauge with a "
        "needle through the cap [kPa]; goes before drink and carbonation; up to 5 its wall holds it, and above as "
        "much as makes 2 N/mm between boards, or say what its wall is",
    )
    headspace: Annotated[Number, Field(ge=0, le=0.5)] | None = Field(
        None,
        description="share of the inside that is gas [-]: water poured in from the fill mark to the brim over all that "
        "it holds; of a soft wall an unknown range if not given",
    )
    inside_volume: Annotated[Volume, Field(ge=20, le=10_000)] | None = Field(
        None,
        description="all that it holds, grams of water to the brim [ml], enough for the drink at 1.1 g/ml; if not "
        "given, mass less empty mass at 1 g/ml over 1 less headspace",
    )
    body_length: Annotated[Length, Field(gt=5, le=400)] | None = Field(
        None,
        description="ruler along the straight part between base and shoulder [mm], at most the length, and so that it "
        "alone does not hold more than the whole; where it counts an unknown range by what it holds, or by the length "
        "of a can, if not given",
    )
    end_stiffness: Annotated[Number, Field(ge=1, le=10_000)] | None = Field(
        None,
        description="factor by which base, shoulder and ribs make the bare wall stiffer [-]; from a squeeze test, or "
        "an unknown range if not given",
    )
    creep_exponent: Annotated[Number, Field(ge=0, le=0.3)] | None = Field(
        None,
        description="how much softer the wall gets with time [-]: ten times as long under load divides its stiffness "
        "by 10 to this power, and 0 is none; nobody measures it on site: leave it out, and of a soft wall that lies "
        "for days it is an unknown range",
    )
    set_fraction: Annotated[Number, Field(ge=0, le=1)] | None = Field(
        None,
        description="share of its flat that stays when the load is gone [-]: set_flat from the tilting board over the "
        "flat under load; days in the column make flats set more; of a soft wall an unknown range if not given, which "
        "takes that in",
    )
    squeeze_test: tuple[SqueezeReading, ...] = Field(
        (),
        strict=False,
        description="heights of one between boards: three readings or more under two loads or more, none higher than "
        "the diameter, none more than 1 mm higher under more load; goes before what is known of its wall",
    )
    tested_diameter: Annotated[Length, Field(gt=20, le=150)] | None = Field(
        None, description="diameter of the one in the squeeze test [mm]; the typical diameter if not given"
    )

    @model_validator(mode="before")
    @classmethod
    def _fill_from_catalogue(cls, data: Any) -> Any:
        if not isinstance(data, dict) or data.get("like") is None:
            return data
        figures_of(data["like"])  # refuses what is not there
        return _with_entry(data)

    @classmethod
    def stand_ins(cls, data: Mapping[str, Any]) -> Mapping[str, StandIn]:
        """Give the ranges that surface, feel and drink stand for, and those of wall and stiffness.

        Parameters
        ----------
        data : mapping
            What was given; what cannot be read is passed over here.

        Returns
        -------
        mapping of str to StandIn
            By field, of those that were not given.
        """
        data = _with_entry(data)
        tables: dict[str, tuple[str, Mapping[Any, StandIn]]] = {
            "friction": ("surface", FRICTION_OF_CONTAINERS),
            "wall_thickness": ("wall_feel", WALL_THICKNESS),
            "carbonation": ("drink", CARBONATION),
        }
        by_word = {
            field: table[str(data[word])] for field, (word, table) in tables.items() if str(data.get(word)) in table
        }
        given = dict(cls._given_numbers(data))
        ranges = soft_ranges if is_described_soft(given, data) else firm_ranges
        found = {**by_word, **ranges(given, data)}
        return {name: spread for name, spread in found.items() if data.get(name) is None}

    @classmethod
    def is_described_soft(cls, data: Mapping[str, Any]) -> bool:
        """Tell whether a container described so is soft: by its wall, or because it is still.

        Parameters
        ----------
        data : mapping
            What was given.

        Returns
        -------
        bool
            As `is_soft` of the container made of it.
        """
        data = _with_entry(data)
        return is_described_soft(dict(cls._given_numbers(data)), data)

    @classmethod
    def _given_numbers(cls, data: Mapping[str, Any]) -> Iterator[tuple[str, Spread]]:
        """List what was given of the numbers from which others follow; what cannot be read is refused elsewhere."""
        for name in NUMBERS_OF_SHAPE & data.keys():
            try:
                spread = _as_spread(data[name], reader_of(cls.model_fields[name]))
            except ScenarioError:
                continue
            makes_sense = 0 <= spread.low <= spread.high < 1 if name == "headspace" else spread.low > 0
            if makes_sense or name in _MAY_BE_NONE:
                yield name, spread

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.empty_mass is not None and self.empty_mass >= self.mass:
            raise ScenarioError(
                f"empty_mass {self.empty_mass:g} kg must be below mass {self.mass:g} kg; weigh it full and empty again"
            )
        if self.set_flat > self.diameter / 2:
            raise ScenarioError(
                f"set_flat {self.set_flat:g} mm must be at most half the diameter ({self.diameter / 2:g} mm); "
                "a container flatter than that will not roll at all and is outside this model"
            )
        self._require_density()
        if self.is_soft and self.stiffness is not None:
            text = (
                f"got {self.stiffness:g} N/mm besides wall_thickness, wall_feel or squeeze_test; allowed: one of them; "
                "leave out stiffness where a squeeze test was made or the wall is thin, and the wall where it is firm"
            )
            raise ScenarioError([("stiffness", text)])
        if self.is_soft:
            require_sizes_of_soft(self)
        elif self.is_held_by_gas:
            require_sizes_of_firm(self)
        return self

    def _require_density(self) -> None:
        """Refuse a mass that no container of its size has; of unknown length, the longest that is allowed."""
        longest = 400.0 if self.length is None else self.length
        litres = math.pi / 4 * self.diameter**2 * longest / 1e6
        density, least = self.mass / litres, 0.0 if self.length is None else LEAST_DENSITY
        if not least <= density <= GREATEST_DENSITY:
            size = f"{self.diameter:g} mm across and {'at most ' if self.length is None else ''}{longest:g} mm long"
            text = (
                f"got {self.mass:g} kg, {density:.2g} kg a litre for a cylinder {size}; allowed: "
                f"{LEAST_DENSITY:g} to {GREATEST_DENSITY:g} kg a litre, heavy glass included; weigh it, full and "
                "closed, and measure both again"
            )
            raise ScenarioError([("mass", text)])

    def as_given(self) -> dict[str, Any]:
        """Write what was given, without what its catalogue entry gives all the same."""
        # So that another ``like`` brings its own sizes.
        return without_generic(super().as_given())

    @property
    def height(self) -> float:
        """Height lying on its set flat [mm]: the perimeter is kept, so h = d - 2 b / pi."""
        return self.diameter - 2.0 * self.set_flat / math.pi

    @property
    def breadth(self) -> float:
        """Greatest width of the cross-section [mm]: height plus flat."""
        return self.height + self.set_flat

    @property
    def is_soft(self) -> bool:
        """Whether its wall holds its shape: its thickness, its feel or a squeeze test was given, or it is still."""
        return any(getattr(self, name) for name in SOFTENS)

    @property
    def is_held_by_gas(self) -> bool:
        """Whether its stiffness follows from its gas: it is not soft, and its stiffness is not given or assumed."""
        return not self.is_soft and self.stiffness is None

    @property
    def without_effect(self) -> frozenset[str]:
        """Fields that are read and kept, but that no simulation of this container uses."""
        unused = frozenset({"length"})
        if not self.is_soft:
            unused |= self.of_soft_walls if self.is_held_by_gas else self.of_soft_walls | self.of_gas
        # A measured pressure goes before what the drink says of it.
        return unused if self.gauge_pressure is None else unused | {"carbonation", "drink"}

    @property
    def contents(self) -> float:
        """Mass of the drink [kg]."""
        return self.mass - self._wall_mass

    @property
    def _wall_mass(self) -> float:
        return ASSUMED_EMPTY * self.mass if self.empty_mass is None else self.empty_mass

    def with_known(self, values: Mapping[str, float]) -> Self:
        """Give the container with some numbers known, and all others at their typical values.

        Parameters
        ----------
        values : mapping of str to float
            By field [unit of the field].

        Returns
        -------
        Container
            Without spreads.

        Raises
        ------
        ScenarioError
            If the numbers do not go together.
        """
        typical = {name: spread.typical for name, spread in self.spreads.items()}
        return type(self)(**{**self.as_given(), **typical, **values})

    def bottle(self, conditions: Conditions | None = None) -> Bottle | None:
        """Give how it gives way between walls, with every number at the value that its field holds.

        Parameters
        ----------
        conditions : Conditions, optional
            Temperatures of loading and of service; 20 deg C is assumed where one is not given. Days that it lies
            under load, over which its wall creeps; none if not given.

        Returns
        -------
        Bottle or None
            None if it is not soft. With a squeeze test, ends and pressure as fitted to its readings, and creep after
            that.

        Raises
        ------
        ScenarioError
            If a drink with carbonation is colder or hotter than its pressure is known for, or its numbers are outside
            the range where the closed form holds.

        Examples
        --------
        >>> water = Container(diameter=65, mass="0.515 kg", drink="still", wall_feel="thin", body_length="130 mm")
        >>> round(water.bottle().squeeze_under(73.0), 1)
        9.3
        """
        return bottle_of(self, conditions)

    def squeeze_fit(self, conditions: Conditions | None = None) -> SqueezeFit | None:
        """Give what its squeeze test says, or None if there is none.

        Parameters
        ----------
        conditions : Conditions, optional
            As for `bottle`; days do not count, as the test is made on a fresh one.

        Returns
        -------
        SqueezeFit or None
            With the misfit and the largest load tested.

        Raises
        ------
        ScenarioError
            As `bottle`.
        """
        return squeeze_fit_of(self, conditions)

    def board_stiffness(self, conditions: Conditions | None = None) -> float:
        r"""Give how stiff it is between two boards, if it is not soft.

        .. math:: k = \frac{\pi}{2} p L

        with its gauge pressure p in service and the length L of its straight body, unless its stiffness is given.

        Parameters
        ----------
        conditions : Conditions, optional
            Temperatures of loading and of service; 20 deg C is assumed where one is not given.

        Returns
        -------
        float
            Force over the height lost [N/mm]: its ``stiffness``, else by its gas, else the typical of the range that
            is assumed where nothing is said of either. One contact alone is twice as stiff.

        Raises
        ------
        ScenarioError
            If it is soft, its gas presses too little to hold any shape, or a drink with carbonation is colder or
            hotter than its pressure is known for.

        References
        ----------
        `colsim.theory.contact.skin_stiffness`, two in series. The wall's own stiffness is left out.

        Examples
        --------
        >>> can = Container(diameter=66, mass="0.385 kg", gauge_pressure="300 kPa", body_length="110 mm")
        >>> round(can.board_stiffness(), 1)
        51.8
        """
        return board_stiffness(self, conditions)

    @property
    def moment_of_inertia(self) -> float:
        """Moment about its own axis [kg mm2]: the wall turns as a ring, a share of the liquid as a solid cylinder."""
        wall, radius = self._wall_mass, self.diameter / 2
        return (wall + self.liquid_spin * (self.mass - wall) / 2) * radius**2


def _as_spread(value: Any, reader: Callable[[Any], float] | None) -> Spread:
    """Read what was given for a number as a spread, a plain one as fixed."""
    if isinstance(value, Spread):
        return value
    if reader is None or value is None:
        raise ScenarioError(f"got {value!r}; allowed: a measured number")
    if isinstance(value, Mapping):
        return Spread.read(value, reader)
    return Spread(kind="unknown", shape="fixed", typical=reader(value))


def _with_entry(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """Fill in what the catalogue entry gives, if there is such an entry; a stiffness goes before the entry's wall."""
    like = data.get("like")
    if not isinstance(like, str) or like not in GENERIC_SIZES:
        return data
    instead = SOFTENS if data.get("stiffness") is not None else frozenset()
    return {**{name: value for name, value in values_of(like).items() if name not in instead}, **data}
