"""Turns the fusion records of a polyethylene pipeline into one installed line.

The journey of one joint record is read in `asbuilt.build`; the rooms it passes are drawn in DEVELOPERS.md.
"""

__version__ = "0.1.0"
