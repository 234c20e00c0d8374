"""Decisions, one function each, the comparison of containers, and sweeps over any input."""

from colsim.advice.advice import Advice, advise
from colsim.advice.compare import compare_containers
from colsim.advice.comparison import Comparison
from colsim.advice.count import find_count
from colsim.advice.decision import Decision, Option, Status
from colsim.advice.spacer import find_spacer
from colsim.advice.sweep import Point, Sweep, simulate_sweep

__all__ = [
    "Advice",
    "Comparison",
    "Decision",
    "Option",
    "Point",
    "Status",
    "Sweep",
    "advise",
    "compare_containers",
    "find_count",
    "find_spacer",
    "simulate_sweep",
]
