"""What the user measures."""

from colsim.model.catalogue import CATALOGUE
from colsim.model.column import Column, Liner
from colsim.model.container import Container
from colsim.model.loading import Layer, Loading, Target
from colsim.model.rotor import Rotor
from colsim.model.scenario import Scenario
from colsim.model.spread import Spread

__all__ = ["CATALOGUE", "Column", "Container", "Layer", "Liner", "Loading", "Rotor", "Scenario", "Spread", "Target"]
