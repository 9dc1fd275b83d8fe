"""[pipe] and [place]: what is laid, and how far its lengths may be trusted."""

from pydantic import Field

from asbuilt.settings.parts import Finite, Part, PositiveMetres, PositiveMillimetres


class Placing(Part):
    """[place]: how far lengths may be trusted when joints are placed by them."""

    stick_sd: PositiveMetres | None = None  # how much laid sticks differ
    scale_sd: float = Field(default=0.003, gt=0, lt=0.1)  # how much longer or shorter than its tally a string may be
    tie_in: PositiveMetres | None = None  # the longest pipe that may stand at a tie-in


class Pipe(Part):
    """[pipe]: what is laid. A stated wall outranks outside diameter / DR."""

    outside_diameter: PositiveMillimetres | None = None
    wall: PositiveMillimetres | None = None
    dr: Finite | None = Field(default=None, gt=1)
    stick: PositiveMetres
    material: str = ""
