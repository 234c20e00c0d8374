"""What is not one number: a spread from fill to fill, or a range that nobody measured."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Self

from scipy.special import ndtr, ndtri

from colsim.errors import ScenarioError
from colsim.model.one_line import require_one_line
from colsim.model.units import is_number, read_friction

__all__ = ["Spread", "StandIn", "is_spread"]

CUT = 3.0  # deviations from the middle at which a normal or lognormal spread is cut where no ends are given
GREATEST_FACTOR = 1000.0
_NOT_GIVEN = float("nan")  # known by its identity, so that a nan that was given is refused
_NUMBERS = ("low", "high", "typical", "deviation")
_KINDS = ("varies", "unknown")
_NEEDS = {
    "fixed": (("typical",), ()),
    "uniform": (("low", "high"), ("typical",)),
    "normal": (("typical", "deviation"), ("low", "high")),
    "lognormal": (("typical", "factor"), ("low", "high")),
}


@dataclass(frozen=True, kw_only=True)
class Spread:
    """A number that differs from fill to fill (``varies``), or one that nobody measured (``unknown``).

    Risks average over what varies; over what is unknown they are given at its typical value and at its ends.

    Attributes
    ----------
    kind : {"varies", "unknown"}
        Which of the two.
    shape : {"fixed", "uniform", "normal", "lognormal"}
        ``fixed`` needs ``typical``; ``uniform`` needs ``low`` and ``high``; ``normal`` needs ``typical`` (the mean)
        and ``deviation``; ``lognormal`` needs ``typical`` (the median) and ``factor``. The last two are cut at ``low``
        and ``high``, three deviations from the middle if not given.
    low, high : float
        Ends [unit of the field].
    typical : float
        Best guess [unit of the field]; the middle of a uniform one if not given.
    deviation : float or None
        Standard deviation of a normal one, before it is cut [unit of the field].
    factor : float or None
        Standard deviation of a lognormal one as a factor above 1 [-]: two in three lie within it, up or down.
    per : {"fill", "container"} or None
        Whether a varying size is drawn once a fill or for each container; None for the field's own habit.
    origin : str
        Where it comes from: one line of text without control characters.

    Raises
    ------
    ScenarioError
        If a number is missing, superfluous, not finite or out of order.

    Examples
    --------
    >>> Spread(kind="unknown", low=0.2, high=0.4).typical
    0.30000000000000004
    >>> round(Spread(kind="varies", shape="normal", typical=66.0, deviation=0.2).quantile(0.975), 2)
    66.39
    """

    kind: Literal["varies", "unknown"]
    shape: Literal["fixed", "uniform", "normal", "lognormal"] = "uniform"
    low: float = _NOT_GIVEN
    high: float = _NOT_GIVEN
    typical: float = _NOT_GIVEN
    deviation: float | None = None
    factor: float | None = None
    per: Literal["fill", "container"] | None = None
    origin: str = ""

    def __post_init__(self) -> None:
        self._require_choices()
        self._require_numbers()
        given = {name for name in (*_NUMBERS, "factor") if getattr(self, name) not in (None, _NOT_GIVEN)}
        needed, optional = _NEEDS[self.shape]
        if missing := [name for name in needed if name not in given]:
            raise ScenarioError(
                f"a {self.shape} spread needs {' and '.join(needed)}; {' and '.join(missing)} missing: add it"
            )
        if extra := sorted(given - {*needed, *optional}):
            raise ScenarioError(f"a {self.shape} spread takes no {' or '.join(extra)}; leave it out")
        self._fill_in()
        if not self.low <= self.typical <= self.high or (self.shape != "fixed" and self.low >= self.high):
            raise ScenarioError(
                f"got low {self.low:g}, typical {self.typical:g}, high {self.high:g}; allowed: in this order, with "
                "low below high"
            )

    def _require_choices(self) -> None:
        for name, value, allowed in (
            ("kind", self.kind, _KINDS),
            ("shape", self.shape, tuple(_NEEDS)),
            ("per", self.per, ("fill", "container", None)),
        ):
            if value not in allowed:
                words = " or ".join(f'"{choice}"' for choice in allowed if choice)
                raise ScenarioError([(name, f"got {value!r}; allowed: {words}")])
        if not isinstance(self.origin, str):
            raise ScenarioError([("origin", f"got {self.origin!r}; allowed: text")])
        try:
            require_one_line(self.origin)
        except ScenarioError as error:
            raise ScenarioError([("origin", what) for _, what in error.problems]) from None
        if self.kind == "unknown" and self.per == "container":
            raise ScenarioError('per: got "container" for an unknown; one unknown number holds for every container')

    def _require_numbers(self) -> None:
        for name in (*_NUMBERS, "factor"):
            value = getattr(self, name)
            if value is None or value is _NOT_GIVEN:
                continue
            if not is_number(value) or not math.isfinite(value):
                raise ScenarioError([(name, f"got {value!r}; allowed: a finite number")])
            object.__setattr__(self, name, float(value))

    def _fill_in(self) -> None:
        """Work out the ends and the middle that were not given."""
        low, high, typical = self.low, self.high, self.typical
        if self.shape == "fixed":
            low = high = typical
        elif self.shape == "uniform":
            typical = (low + high) / 2 if typical is _NOT_GIVEN else typical
        elif self.shape == "normal":
            if (deviation := self.deviation or 0.0) <= 0:
                raise ScenarioError([("deviation", f"got {deviation:g}; allowed: above 0")])
            low = typical - CUT * deviation if low is _NOT_GIVEN else low
            high = typical + CUT * deviation if high is _NOT_GIVEN else high
        else:
            if not 1 < (factor := self.factor or 0.0) <= GREATEST_FACTOR or typical <= 0:
                raise ScenarioError(
                    f"got typical {typical:g} and factor {factor:g}; allowed: above 0, and above 1 and at most "
                    f"{GREATEST_FACTOR:g}"
                )
            low = typical / factor**CUT if low is _NOT_GIVEN else low
            high = typical * factor**CUT if high is _NOT_GIVEN else high
            if low <= 0:
                raise ScenarioError([("low", f"got {low:g}; allowed for a lognormal spread: above 0")])
        for name, value in (("low", low), ("high", high), ("typical", typical)):
            object.__setattr__(self, name, float(value))

    @classmethod
    def read(cls, table: Mapping[str, Any], reader: Callable[[Any], float]) -> Self:
        """Read a spread from the table that stands in a scenario in place of a number.

        Parameters
        ----------
        table : mapping
            Attributes by name; numbers as the field takes them, so text with a unit where the field has one.
        reader : callable
            What reads a number of the field.

        Returns
        -------
        Spread

        Raises
        ------
        ScenarioError
            If it is no table, a key is unknown or a value is not allowed.
        """
        if not isinstance(table, Mapping):
            raise ScenarioError(f"got {table!r}; allowed: a table, such as {{'kind': 'unknown', 'low': 1, 'high': 2}}")
        names = [field.name for field in dataclasses.fields(cls)]
        values: dict[str, Any] = {}
        for key, value in table.items():
            if key not in names:
                raise ScenarioError([(str(key), f"unknown key of a spread; known: {', '.join(names)}")])
            if key == "factor" and not is_number(value):
                raise ScenarioError([(key, f"got {value!r}; allowed: a plain number above 1")])
            if key == "deviation" and reader is read_friction and isinstance(value, str):
                text = f'got "{value}"; allowed: a plain number, of the coefficient; or give low and high'
                raise ScenarioError([(key, text)])
            try:
                values[key] = reader(value) if key in _NUMBERS and value is not None else value
            except ScenarioError as error:
                raise ScenarioError([(key, what) for _, what in error.problems]) from None
        if "kind" not in values:
            raise ScenarioError([("kind", 'missing; write "varies" (from fill to fill) or "unknown" (not measured)')])
        return cls(**values)

    def table(self) -> dict[str, Any]:
        """Write the spread as the table that a scenario holds."""
        left_out = ("low", "high") if self.shape == "fixed" else ()
        values = dataclasses.asdict(self).items()
        return {name: value for name, value in values if value not in (None, "") and name not in left_out}

    def quantile(self, share: float) -> float:
        """Give the value below which a share of them lies.

        Parameters
        ----------
        share : float
            From 0 to 1 [-].

        Returns
        -------
        float
            [unit of the field]

        Raises
        ------
        ScenarioError
            If the share is no number from 0 to 1.
        """
        if not is_number(share) or not 0 <= share <= 1:
            raise ScenarioError([("share", f"got {share!r}; allowed: from 0 to 1")])
        if self.shape == "fixed":
            return self.typical
        if self.shape == "uniform":
            value = self.low + share * (self.high - self.low)
        elif self.shape == "normal":
            value = self.typical + (self.deviation or 0.0) * self._cut_quantile(share, self.low, self.high)
        else:
            width = math.log(self.factor or 0.0)
            value = self.typical * math.exp(width * self._cut_quantile(share, self.low, self.high))
        return min(max(value, self.low), self.high)

    def _cut_quantile(self, share: float, low: float, high: float) -> float:
        """Give a quantile of the standard normal distribution between the cuts."""
        # The cuts lie on both sides of the middle, so neither is where the distribution function is 1 to all digits.
        below, above = float(ndtr(self._standardized(low))), float(ndtr(self._standardized(high)))
        return float(ndtri(below + share * (above - below)))

    def _standardized(self, value: float) -> float:
        if self.shape == "lognormal":
            return math.log(value / self.typical) / math.log(self.factor or 0.0)
        return (value - self.typical) / (self.deviation or 0.0)

    def screened(self) -> Spread:
        """Give the spread that draws an unknown for screening: at its low end, at its high end, or between."""
        if self.shape == "fixed":
            return self
        low, high, typical = self.low, self.high, self.typical
        return ScreeningSpread(kind="varies", low=low, high=high, typical=typical, per="fill", origin=self.origin)


class ScreeningSpread(Spread):
    """Draws of an unknown that lean to its ends: a quarter at each, and half of them evenly between."""

    def quantile(self, share: float) -> float:
        """Give the value below which a share of the draws lies, as `Spread.quantile`."""
        return super().quantile(min(max(2.0 * share - 0.5, 0.0), 1.0))


class StandIn(Spread):
    """An unknown that stands in for what was not measured; another stand-in or a measurement replaces it."""


def is_spread(value: Any) -> bool:
    """Tell whether a value given for a number is a spread, as an object or as a table.

    Parameters
    ----------
    value : object
        What was given.

    Returns
    -------
    bool
        True for any table, even one that no spread can be read from.
    """
    return isinstance(value, (Spread, Mapping))
