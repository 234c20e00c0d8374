"""Plots; they draw numbers that other rooms return."""

from colsim.pictures.column_picture import plot_column
from colsim.pictures.comparison_picture import plot_comparison
from colsim.pictures.count_picture import plot_count
from colsim.pictures.risk_picture import plot_risk
from colsim.pictures.squeeze_picture import plot_squeeze

__all__ = ["plot_column", "plot_comparison", "plot_count", "plot_risk", "plot_squeeze"]
