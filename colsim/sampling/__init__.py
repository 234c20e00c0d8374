"""One fill, and many."""

from colsim.sampling.fills import Fills
from colsim.sampling.many_fills import simulate_fills
from colsim.sampling.one_fill import SEEN_FROM_OUTSIDE, Fill, Outcome, Replay, Vend, replay, simulate_fill

__all__ = [
    "SEEN_FROM_OUTSIDE",
    "Fill",
    "Fills",
    "Outcome",
    "Replay",
    "Vend",
    "replay",
    "simulate_fill",
    "simulate_fills",
]
