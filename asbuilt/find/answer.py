"""What a search answers: plain values, stated once, for the terminal, for programs and for the sheet alike."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from asbuilt.find.boxes import Box
from asbuilt.find.frames import Coordinates, InWgs84


@dataclass(frozen=True)
class Neighbour:
    """A joint beside the one asked for: `way` is back or ahead, `distance_m` along the line, from the positions."""

    joint_id: str
    way: str
    distance_m: float
    station: str
    marks: str


@dataclass(frozen=True)
class Tie:
    """A fixed feature: bearings from it to the joint in degrees from grid north and true north, distance in plan."""

    feature: str
    description: str
    bearing_deg: float
    true_bearing_deg: float | None
    distance_m: float
    easting: float
    northing: float


@dataclass(frozen=True)
class Point:
    """A point that can be told in the field: what it is, where, and how far it is along the line from the joint."""

    what: str
    way: str
    distance_m: float
    station: str


@dataclass(frozen=True)
class Concern:
    """A finding that concerns the joint, one of `joints_n`; `closed`: by a decision, which `decision` tells."""

    finding_id: str
    joints_n: int
    statement: str
    decision: str
    closed: bool


@dataclass(frozen=True)
class JointAnswer:
    """All that is known of one joint. `values` are its columns as the table `joints` has them; without a place
    `place`, `base` and `line` say nothing. `outstanding` says by what it is that, `findings` are those that concern
    it. `crossing_deg` is the best angle at which two ties meet; `photos` are those that the hand-over has copies of."""

    asked: str
    said: str
    joint_id: str
    values: Mapping[str, Any]
    line: str
    outstanding: str
    findings: tuple[Concern, ...] = ()
    place: Coordinates | None = None
    base: Coordinates | None = None
    wgs84: InWgs84 | None = None
    other: Coordinates | None = None
    boxes: tuple[Box, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()
    ties: tuple[Tie, ...] = ()
    crossing_deg: float | None = None
    points: tuple[Point, ...] = ()
    levels: tuple[str, ...] = ()
    reaches: tuple[str, ...] = ()
    opinions: tuple[str, ...] = ()
    photos: tuple[str, ...] = ()


@dataclass(frozen=True)
class Near:
    """A joint near the place asked for: distance on the ellipsoid and bearing from true north, from there to the joint.

    `difference_m` is how much more chainage it has, None on another line; `inside`: the place lies in its box. `marks`
    and `points` tell it from others when it is laid bare; they are told where the place lies in the box of several."""

    joint_id: str
    line: str
    station: str
    distance_m: float
    bearing_deg: float
    difference_m: float | None
    radius95_m: float | None
    inside: bool | None
    marks: str = ""
    points: tuple[Point, ...] = ()


@dataclass(frozen=True)
class PlaceAnswer:
    """A place on a line or a position, and the joints nearest to it. `offset_m` is + right / - left of the line, 0 on
    it; `uncertainty_m` is the 95 % radius of the position as far as it was told, None: it was not. `inside` are all
    joints in whose search box a position lies, nearest first, also those that are not listed."""

    asked: str
    form: str
    line: str
    station: str
    chainage_m: float
    offset_m: float
    beyond_m: float
    place: Coordinates
    base: Coordinates
    wgs84: InWgs84
    other: Coordinates | None
    uncertainty_m: float | None
    near: tuple[Near, ...]
    inside: tuple[str, ...] = ()


@dataclass(frozen=True)
class NothingFound:
    """No joint has this name; `like` are joints that may be meant, `do` what can be written."""

    asked: str
    said: str
    like: tuple[str, ...]
    do: str


Answer = JointAnswer | PlaceAnswer | NothingFound
