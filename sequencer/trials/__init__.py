"""Trials: many runs of one pad, with its tolerances drawn; what comes out how often, and what drives it.

The runs are the simulation's own, one by one (`alone`) or side by side as numpy lanes (`together`).
"""
