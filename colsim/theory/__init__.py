"""Closed forms of plain numbers, one subject a module."""

from colsim.theory import nip, packing

__all__ = ["nip", "packing", "pocket"]
