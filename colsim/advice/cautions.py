"""What to mind with the hands in the machine."""

from __future__ import annotations

__all__ = ["CAUTIONS"]

CAUTIONS = (
    "Unplug the machine and keep the plug with you.",
    "Never tilt or rock the machine.",
    "Keep fingers out of the rotor.",
    "Solvents only with the machine unplugged, cool and well aired, no flame or spark near.",
    "No oil or spray on anything that touches a container.",
    "Follow the machine's manual and local codes; leave wiring and refrigeration to licensed people.",
)
"""The usual cautions, a sentence each."""
