"""One description of a pressure-launched-rocket pad and its sequence: checked, simulated, proved, exported.

The rooms and the direction of their imports are listed in DEVELOPERS.md.
"""

__version__ = "0.1.0"
