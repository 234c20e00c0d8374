"""The time step of the compiled engine, a module for each phase.

`world` holds the state, `bodies` moves it, `collision` detects contacts, `stiffness` applies the contact law, `solver`
finds the impulses, `stepping` runs the phases and has the entry points for Python.
"""
