"""Closed forms of plain numbers, one subject a module."""
