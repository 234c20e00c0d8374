"""Rigid bodies: scenes, engines, and the turning of the rotor."""
