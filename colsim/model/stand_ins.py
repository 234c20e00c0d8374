"""Plain words for what cannot be measured on site, each an unknown range with where it comes from.

Published frictions of one pair differ by a factor of two to four, so a word gives a range, never a number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Literal

from colsim.model.spread import StandIn

__all__ = [
    "ANY_STIFFNESS",
    "ANY_WALL_THICKNESS",
    "BODY_SHARE",
    "CAN_BODY",
    "CARBONATION",
    "CREEP_EXPONENT",
    "END_STIFFNESS",
    "FRICTION_OF_CONTAINERS",
    "FRICTION_ON_LINER",
    "FRICTION_ON_WALL",
    "HEADSPACE",
    "LIFTED_EDGE",
    "MODULUS",
    "MOTOR_TORQUE",
    "SET_FRACTION",
    "WALL_THICKNESS",
    "Drink",
    "LinerCondition",
    "Motor",
    "Surface",
    "WallFeel",
    "WallSurface",
    "any_of",
    "wetted",
]

Surface = Literal["bare", "film_label", "paper_label", "sleeve", "can"]
WallSurface = Literal["painted_steel", "zinc_coated_steel", "plastic"]
LinerCondition = Literal["fresh", "dusty", "dried", "lifted"]
Motor = Literal["weak", "normal"]
WallFeel = Literal["crisp", "ordinary", "thin", "very_thin"]
Drink = Literal["still", "light", "cola_like", "very_fizzy"]

_ASSUMED = "assumed"
_POLYESTER = "CRC Materials Handbook table 399: thermoplastic polyester on itself 0.17"
_ON_STEEL = "polyester on steel 0.19 static, 0.25 kinetic (engineering data sheet); 0.2 to 0.4 common practice"
_CAN = "0.2 to 0.5 with lacquered cans, common practice"
_SHEETS = "polyethylene of very high molar mass on polished steel 0.15 to 0.20, ASTM D1894; acetal on steel 0.1 to 0.3"


def _range(low: float, typical: float, high: float, origin: str) -> StandIn:
    return StandIn(kind="unknown", low=low, typical=typical, high=high, origin=origin)


FRICTION_OF_CONTAINERS: Mapping[str, StandIn] = MappingProxyType(
    {
        "bare": _range(0.17, 0.30, 0.60, f"{_POLYESTER}; up to 0.6 for a very clean wall, from memory"),
        "film_label": _range(0.20, 0.30, 0.40, _ASSUMED),
        "paper_label": _range(0.25, 0.35, 0.50, _ASSUMED),
        "sleeve": _range(0.20, 0.30, 0.45, _ASSUMED),
        "can": _range(0.20, 0.30, 0.50, f"{_CAN}; aluminium on itself 0.34 to 0.42 in one handbook"),
    }
)
"""Container on a container of the same surface, dry [-]."""

_STEEL: Mapping[str, StandIn] = {
    "bare": _range(0.19, 0.25, 0.40, _ON_STEEL),
    "film_label": _range(0.20, 0.30, 0.40, _ASSUMED),
    "paper_label": _range(0.25, 0.35, 0.50, _ASSUMED),
    "sleeve": _range(0.20, 0.30, 0.45, _ASSUMED),
    "can": _range(0.20, 0.30, 0.50, _CAN),
}
_PLASTIC: Mapping[str, StandIn] = {
    "bare": _range(0.15, 0.22, 0.35, f"{_POLYESTER}; 0.17 to 0.25 on dry conveyor plastic, a chain maker's rule"),
    "film_label": _range(0.15, 0.25, 0.40, _ASSUMED),
    "paper_label": _range(0.20, 0.30, 0.45, _ASSUMED),
    "sleeve": _range(0.15, 0.25, 0.40, _ASSUMED),
    "can": _range(0.15, 0.22, 0.35, _ASSUMED),
}
FRICTION_ON_WALL: Mapping[str, Mapping[str, StandIn]] = MappingProxyType(
    {"painted_steel": _STEEL, "zinc_coated_steel": _STEEL, "plastic": _PLASTIC}
)
"""Container on a bare wall, dry [-]."""

FRICTION_ON_LINER: Mapping[str, StandIn] = MappingProxyType(
    {
        "fresh": _range(0.08, 0.15, 0.20, _SHEETS),
        "dusty": _range(0.15, 0.22, 0.35, _ASSUMED),
        "dried": _range(0.20, 0.30, 0.50, f"{_ASSUMED}: a dried film of drink, tacky"),
        "lifted": _range(0.10, 0.18, 0.35, f"{_ASSUMED}: any sheet with its edge off the wall"),
    }
)
"""Container on a liner [-]."""

LIFTED_EDGE = _range(1.0, 3.0, 8.0, f"{_ASSUMED}: how far a lifted top edge stands off the wall [mm]")
MOTOR_TORQUE: Mapping[str, StandIn] = MappingProxyType(
    {"weak": _range(5.0, 8.0, 12.0, _ASSUMED), "normal": _range(12.0, 20.0, 40.0, _ASSUMED)}
)
"""Torque at which the motor stalls [N m]."""

WALL_THICKNESS: Mapping[str, StandIn] = MappingProxyType(
    {
        "crisp": _range(0.25, 0.30, 0.35, "sidewall of rigid carbonated bottles, common practice"),
        "ordinary": _range(0.15, 0.20, 0.25, _ASSUMED),
        "thin": _range(0.10, 0.12, 0.15, "sidewall of light water bottles 0.08 to 0.15 mm, common practice"),
        "very_thin": _range(0.06, 0.08, 0.10, _ASSUMED),
    }
)
"""Thickness of the side wall by how it feels to the thumb [mm]."""

ANY_WALL_THICKNESS = _range(0.06, 0.15, 0.35, f"{_ASSUMED}: a soft wall of any feel")
"""Thickness of a side wall of which only the squeeze was tried, or which is known only to hold a still drink [mm]."""

MODULUS = _range(2000.0, 3000.0, 4000.0, "stretched polyester: 2 to 4 GPa along, from memory; sheet 2.7 to 4, handbook")
"""Young's modulus of a soft wall [MPa]. Film reaches 5000, which is left out: a bottle is stretched less."""

HEADSPACE = _range(0.02, 0.04, 0.06, _ASSUMED)
"""Share of a bottle's inside that is gas [-]."""

BODY_SHARE = _range(0.70, 0.85, 0.92, f"{_ASSUMED}: the straight body holds 70 to 92 % of what goes in")
"""Share of a bottle's inside that lies in its straight body [-], from which its length follows."""

CAN_BODY = _range(0.85, 0.90, 0.95, f"{_ASSUMED}: a can is straight over 85 to 95 % of its length")
"""Share of a can's length that is straight [-]."""

ANY_STIFFNESS = _range(20.0, 70.0, 150.0, f"{_ASSUMED}: a firm bottle or can, cold to warm")
"""Stiffness between two boards of a container of which nothing is known but that it is firm [N/mm].

By (pi/2) p L: 100 kPa on 130 mm make 20 N/mm, 300 kPa on 150 mm 71, and 600 kPa on 160 mm 151.
"""

END_STIFFNESS = _range(1.0, 10.0, 100.0, f"{_ASSUMED}: ring and skin alone are the least, held ends are far above")
"""Factor of base, shoulder and ribs on the ring's stiffness [-].

Ends that keep a thin tube of 65 by 130 mm and 0.1 mm wall round make it bear some 2000 times the outside pressure that
the bare ring bears in the same shape of two waves (von Mises), so the high end is no bound.
"""

SET_FRACTION = _range(0.0, 0.5, 1.0, _ASSUMED)
"""Share of a flat that stays when the load is gone [-]; days in the column raise it, by no law that is known here."""

CREEP_EXPONENT = _range(
    0.01,
    0.03,
    0.10,
    f"{_ASSUMED}: filled polyester 0.028 (data sheet: creep modulus 9350 MPa at 1 h, 7690 at 1000 h); drawn film and "
    "fibre 0.01 to 0.03, warm and highly stressed bottles 0.1, from memory",
)
"""Power of time by which the wall of a soft container gets softer [-]; see `colsim.theory.creep`.

Fillers hold creep back (Journal of the Society of Materials Science, Japan 25 (1976) 706, on polycarbonate), and a warm
machine speeds it up, so the range reaches well above the figure of the data sheet. For the 0.1: a bottle of carbonated
drink grows by some 2 to 3 % in a day at 38 deg C, where its quick modulus gives 1 to 1.5 % (from memory).
"""

CARBONATION: Mapping[str, StandIn] = MappingProxyType(
    {
        "still": StandIn(kind="unknown", shape="fixed", typical=0.0, origin="no gas"),
        "light": _range(1.0, 2.0, 2.5, _ASSUMED),
        "cola_like": _range(2.8, 3.5, 4.0, "soft drinks 1.5 to 4 volumes, about 3 common"),
        "very_fizzy": _range(3.5, 4.0, 4.5, _ASSUMED),
    }
)
"""Carbon dioxide in the drink [volumes]."""


def wetted(dry: StandIn) -> StandIn:
    """Give the range of a friction with a film of condensation between.

    Parameters
    ----------
    dry : StandIn
        The dry range.

    Returns
    -------
    StandIn
        A film usually takes off 20 to 50 %, yet a thin one between smooth plastic can hold (both from memory): from
        half the low end to the high end as it is.
    """
    return _range(0.5 * dry.low, 0.75 * dry.typical, dry.high, f"{dry.origin}; wet: less by 20 to 50 %, from memory")


def any_of(ranges: Iterable[StandIn]) -> StandIn:
    """Give the range of a friction of which only the candidates are known: from their least to their greatest.

    Parameters
    ----------
    ranges : iterable of StandIn
        Those of the candidates, one at least.

    Returns
    -------
    StandIn
        Its typical value is their geometric mean; of equal ones that range itself.
    """
    ranges = tuple(ranges)
    if len(set(ranges)) == 1:
        return ranges[0]
    return _range(
        min(each.low for each in ranges),
        math.prod(each.typical for each in ranges) ** (1 / len(ranges)),
        max(each.high for each in ranges),
        f"{_ASSUMED}: between what each has with its like",
    )
