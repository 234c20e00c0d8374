"""Decisions, one function each, and the comparison of containers."""

from colsim.advice.comparison import Comparison, compare_containers
from colsim.advice.decision import Decision, Option, Status
from colsim.advice.spacer import find_spacer

__all__ = ["Comparison", "Decision", "Option", "Status", "compare_containers", "find_spacer"]
