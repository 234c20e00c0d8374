"""Decisions, one function each."""

from colsim.advice.decision import Decision, Option, Status
from colsim.advice.spacer import find_spacer

__all__ = ["Decision", "Option", "Status", "find_spacer"]
