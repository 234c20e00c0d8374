"""Run the command line as ``python -m colsim``."""

from colsim.cli import main

main()
