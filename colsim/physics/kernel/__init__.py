"""The time step of the compiled engine, in the order of its phases.

`world` holds what a step reads and writes, `bodies` moves it, `finding` lists what touches, `stiffening` applies the
law of contact, `solving` finds the impulses, `looking` puts the phases together and is what an engine calls.
"""
