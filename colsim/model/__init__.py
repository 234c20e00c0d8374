"""What the user measures."""

from colsim.model.catalogue import CATALOGUE
from colsim.model.column import Column, Liner
from colsim.model.container import Container
from colsim.model.loading import Loading, Target
from colsim.model.rotor import Rotor
from colsim.model.scenario import Scenario

__all__ = ["CATALOGUE", "Column", "Container", "Liner", "Loading", "Rotor", "Scenario", "Target"]
