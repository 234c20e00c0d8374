"""The base of every description: frozen, checked when made, refusing what it does not know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Self

import numpy as np
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    ModelWrapValidatorHandler,
    PrivateAttr,
    ValidationError,
    model_validator,
)
from pydantic_core import CoreSchema

from colsim.errors import ScenarioError
from colsim.model.fields import Key, keys, part_of, reader_of
from colsim.model.refusals import AsRead, nearest_name, problems_of
from colsim.model.spread import Spread, StandIn, is_spread
from colsim.model.units import QUANTITIES, as_float, is_number, read_friction, read_quantity

__all__ = [
    "Angle",
    "AssumedRange",
    "Description",
    "Force",
    "Friction",
    "Key",
    "Length",
    "Mass",
    "Modulus",
    "Number",
    "Pressure",
    "Stiffness",
    "Temperature",
    "Torque",
    "TurningSpeed",
    "Volume",
    "keys",
    "nearest_name",
    "part_of",
    "reader_of",
]


def _finite(unit: str, *, or_text: bool = True) -> Any:
    def extend(schema: dict[str, Any]) -> None:
        schema["unit"] = unit
        schema["type"] = ["number", "string", "object"] if or_text else ["number", "object"]

    return Field(allow_inf_nan=False, json_schema_extra=extend)


def _reads(name: str) -> BeforeValidator:
    return BeforeValidator(partial(read_quantity, quantity=QUANTITIES[name]))


def _plain_number(value: Any) -> float:
    if is_number(value):
        return as_float(value)
    raise ScenarioError(f"got {value!r}; allowed: a plain number without a unit, such as 0.25")


Length = Annotated[float, _finite("mm"), _reads("length")]
Mass = Annotated[float, _finite("kg"), _reads("mass")]
Angle = Annotated[float, _finite("deg"), _reads("angle")]
TurningSpeed = Annotated[float, _finite("rpm"), _reads("speed of turning")]
Torque = Annotated[float, _finite("N m"), _reads("torque")]
Force = Annotated[float, _finite("N"), _reads("force")]
Pressure = Annotated[float, _finite("kPa"), _reads("pressure")]
Stiffness = Annotated[float, _finite("N/mm"), _reads("stiffness")]
Modulus = Annotated[float, _finite("MPa"), _reads("modulus")]
Volume = Annotated[float, _finite("ml"), _reads("volume")]
Temperature = Annotated[float, _finite("deg C"), _reads("temperature")]
Friction = Annotated[float, _finite("-"), BeforeValidator(read_friction)]
Number = Annotated[float, _finite("-", or_text=False), BeforeValidator(_plain_number)]


_SHARE_OF_GREATEST = 0.9  # that is assumed of a size of which the usual one does not fit
_SCHEMA_BOUNDS = {"gt": "exclusiveMinimum", "ge": "minimum", "lt": "exclusiveMaximum", "le": "maximum"}


@dataclass(frozen=True)
class AssumedRange:
    """Mark of a field: over which range its default is unknown where nobody measured it, and on what grounds."""

    low: float
    high: float
    origin: str = "assumed"

    def around(self, typical: float, *, usual: float) -> StandIn:
        """Give the range around an assumed value; less in proportion where less than the usual value is assumed.

        Parameters
        ----------
        typical : float
            What is assumed [unit of the field].
        usual : float
            What is assumed unless something else goes together with the rest [unit of the field].

        Returns
        -------
        StandIn
        """
        share = 1.0 if typical == usual else typical / usual
        origin = self.origin if share == 1.0 else f"{self.origin}; the usual {usual:g} does not fit"
        return StandIn(kind="unknown", low=share * self.low, typical=typical, high=share * self.high, origin=origin)


class Description(BaseModel):
    """What a user measured, as a frozen object that is checked when it is made.

    Raises
    ------
    ScenarioError
        If a value is missing, unreadable or out of bounds, a key is unknown, or values contradict each
        other. The message names the field, what it got, what is allowed and what to do.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    may_spread: ClassVar[bool] = False
    """Whether its numbers may be given as a spread."""
    drawn_for_each: ClassVar[frozenset[str]] = frozenset()
    """Fields that, where they vary, differ from container to container unless their spread says otherwise."""

    _spreads: dict[str, Spread] = PrivateAttr(default_factory=dict)

    def __init__(self, *unnamed: Any, **data: Any) -> None:
        if unnamed:
            raise ScenarioError(
                f"got {len(unnamed)} values without names; allowed: values by name, so unpack a table with **"
            )
        try:
            super().__init__(**{name: _of_python(value) for name, value in data.items()})
        except ValidationError as error:
            raise ScenarioError(tuple(problems_of(error, type(self), data))) from None

    @classmethod
    def stand_ins(cls, data: Mapping[str, Any]) -> Mapping[str, StandIn]:
        """Give the unknown ranges that stand in for numbers of this part which were not measured.

        Parameters
        ----------
        data : mapping
            What was given.

        Returns
        -------
        mapping of str to StandIn
            By field.
        """
        return {}

    @model_validator(mode="wrap")
    @classmethod
    def _take_spreads(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        """Keep spreads beside the numbers, which hold their typical values; check their ends like any number."""
        if not isinstance(data, dict) or not cls.may_spread:
            return handler(data)
        data = {**data, **{name: spread for name, spread in cls.stand_ins(data).items() if data.get(name) is None}}
        spreads = dict(cls._read_spreads(data))
        typical = {**data, **{name: spread.typical for name, spread in spreads.items()}}
        for name, spread in spreads.items():
            for end in dict.fromkeys((spread.low, spread.high)):
                if end != spread.typical:
                    cls._require_end(typical, name, end)
        instance = handler(typical)
        if spreads:
            instance._spreads = spreads
        return instance

    @classmethod
    def _require_end(cls, typical: Mapping[str, Any], name: str, end: float) -> None:
        found = cls._problems_with({**typical, name: AsRead(end)})
        if not found:
            return
        anyway, at_end = cls._problems_with(typical), f"with {name} at its end of {end:g}: "
        raise ScenarioError(
            [(where, what if where == name or (where, what) in anyway else at_end + what) for where, what in found]
        )

    @classmethod
    def _problems_with(cls, data: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
        """List what is wrong with plain numbers."""
        try:
            cls(**data)
        except ScenarioError as error:
            return error.problems
        return ()

    @classmethod
    def _read_spreads(cls, data: Mapping[str, Any]) -> Iterator[tuple[str, Spread]]:
        problems: list[tuple[str, str]] = []
        for name, value in data.items():
            if name not in cls.model_fields or not is_spread(value):
                continue
            reader = reader_of(cls.model_fields[name])
            if reader is None:
                continue
            try:
                spread = value if isinstance(value, Spread) else Spread.read(value, reader)
                if spread.per == "container" and name not in cls.drawn_for_each:
                    known = ", ".join(sorted(cls.drawn_for_each)) or "none here"
                    raise ScenarioError(
                        [("per", f'got "container"; allowed only for what each has of its own: {known}')]
                    )
                yield name, spread
            except ScenarioError as error:
                problems += [(".".join(part for part in (name, inner) if part), what) for inner, what in error.problems]
        if problems:
            raise ScenarioError(problems)

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Let only the numbers of a part that may spread be tables, and name bounds as JSON Schema does."""
        schema = handler(core_schema)
        for field in handler.resolve_ref_schema(schema).get("properties", {}).values():
            for option in (field, *field.get("anyOf", ())):
                if isinstance(option.get("type"), list) and not cls.may_spread:
                    option["type"] = [kind for kind in option["type"] if kind != "object"]
                for short, name in _SCHEMA_BOUNDS.items():
                    if short in option:
                        option[name] = option.pop(short)
        return schema

    @property
    def spreads(self) -> Mapping[str, Spread]:
        """Spreads of this part's own numbers, by field."""
        return MappingProxyType(self._spreads)

    def all_spreads(self, prefix: str = "") -> Iterator[tuple[str, Spread]]:
        """List the spreads of this part and of all its parts.

        Parameters
        ----------
        prefix : str
            Path of this part, with a dot at its end.

        Yields
        ------
        (str, Spread)
            Dotted path, and the spread as it was given.
        """
        for name, spread in self._spreads.items():
            yield f"{prefix}{name}", spread
        for name, part in self.parts():
            yield from part.all_spreads(f"{prefix}{name}.")

    def assumed_spreads(self, prefix: str = "") -> Iterator[tuple[str, Spread]]:
        """List the ranges over which numbers that were not given are unknown.

        Parameters
        ----------
        prefix : str
            Path of this part, with a dot at its end.

        Yields
        ------
        (str, Spread)
            Dotted path, and the range around what is assumed.
        """
        for name, field in type(self).model_fields.items():
            mark = next((m for m in field.metadata if isinstance(m, AssumedRange)), None)
            if mark is not None and name not in self.model_fields_set:
                typical = getattr(self, name)
                yield f"{prefix}{name}", mark.around(typical, usual=field.default)
        for name, part in self.parts():
            yield from part.assumed_spreads(f"{prefix}{name}.")

    def _assume_at_most(self, name: str, greatest: float) -> None:
        """Assume the default of a field that was not given, or as much as goes together with what was given.

        For validators only, before anything else sees the description.
        """
        if name in self.model_fields_set or not greatest > 0:
            return
        usual = type(self).model_fields[name].default
        self.__dict__[name] = usual if usual < greatest else _SHARE_OF_GREATEST * greatest

    def parts(self) -> Iterator[tuple[str, Description]]:
        """List the descriptions that this one holds, by their path within it."""
        for name in type(self).model_fields:
            value = getattr(self, name)
            if isinstance(value, Description):
                yield name, value
            elif isinstance(value, (tuple, Mapping)):
                items = value.items() if isinstance(value, Mapping) else enumerate(value)
                yield from ((f"{name}.{key}", part) for key, part in items if isinstance(part, Description))

    def as_given(self) -> dict[str, Any]:
        """Write the description as plain tables, with what was given and nothing that follows from it.

        Returns
        -------
        dict
            Makes an equal description again.
        """
        return {
            name: _plain(getattr(self, name), self._spreads.get(name))
            for name in type(self).model_fields
            if name in self.model_fields_set and not isinstance(self._spreads.get(name), StandIn)
        }


_PLAIN = (float, int, str, bool, type(None))


def _of_python(value: Any) -> Any:
    """Give scalars and arrays of numpy as what Python has for them, within tables and lists too."""
    if type(value) in _PLAIN:  # most of what there is, and the cheapest question
        return value
    if isinstance(value, (np.generic, np.ndarray)):
        return value.tolist()
    if isinstance(value, (list, tuple)):
        return [_of_python(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _of_python(item) for key, item in value.items()}
    return value


def _plain(value: Any, spread: Spread | None = None) -> Any:
    if spread is not None:
        return spread.table()
    if isinstance(value, Description):
        return value.as_given()
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    return value
