"""The search box: how far along and across the line a crew has to look, and which other joints lie in it."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.alignment import bearing_deg, locate
from asbuilt.find.record import Line, Record
from asbuilt.window import RADIUS_95, TWO_SIDED_95

LEAST_PROBABILITY = 0.05  # of a leg that has a box of its own
HOLDS = (
    "95 % along and 95 % across, each by itself: about 90 % that both hold, where the two are independent. Sides are"
    " rounded up to a decimetre."
)


@dataclass(frozen=True)
class Box:
    """One search box about a point, its sides along and across the line there. `along_m` and `across_m` are half
    sides; those of `wgs84` have the accuracy of the way to a receiver in the hand in them, None where there is no way.
    `bearing_deg` is the grid bearing of the line, `probability` that of the leg, None: no other leg is known.
    """

    line: str
    station: str
    chainage_m: float
    easting: float
    northing: float
    bearing_deg: float
    probability: float | None
    along_m: float
    across_m: float
    wgs84_along_m: float | None
    wgs84_across_m: float | None
    others_inside: tuple[str, ...]
    basis: str


def up(metres: float) -> float:
    """Round up to a decimetre; a hair of arithmetic is no decimetre.

    >>> up(0.31), up(0.3), up(0.0)
    (0.4, 0.3, 0.0)
    """
    return math.ceil(round(metres * 10, 6)) / 10


def widened(half_m: float, accuracy_m: float | None) -> float | None:
    """Return a half side with the accuracy of a way in it, one standard deviation: variances add.

    >>> widened(3.0, 4.0 / 1.959963984540054)
    5.0
    """
    return None if accuracy_m is None else up(math.hypot(half_m, TWO_SIDED_95 * accuracy_m))


def half_sides(joint: pd.Series) -> tuple[float, float, str]:
    """Return half of the box along and across the line in metres, not yet rounded, and what they rest on.

    Across, the point stands on the alignment unless a shot put it elsewhere: the offset that the fix shows has its
    place in the box. No half side is longer than the 95 % radius, which alone holds the joint with 95 %; but where the
    fix lay farther off than that, the box reaches to it all the same: a crew looks where the record points, too. NaN:
    how sure the place is was not recorded.
    """
    radius = float(joint["radius95_m"])
    along = TWO_SIDED_95 * float(joint["chainage_sd_m"])
    off = 0.0 if joint["placed_by"] == "survey" else abs(float(joint["offset_m"]))
    across = off + TWO_SIDED_95 * float(joint["offset_sd_m"])
    if np.isnan(across):
        return along, radius, "along 1.96 sd; across the 95 % radius, for no fix says how far off the line it lies"
    if np.isfinite(radius) and across > radius:
        basis = "across as far as the recorded fix lay" if off > radius else "across the 95 % radius"
        return min(along, radius), max(radius, off), f"along 1.96 sd; {basis}"
    if np.isfinite(radius):
        along = min(along, radius)
    return along, across, f"along 1.96 sd; across {'1.96 sd' if not off else 'offset + 1.96 sd'}"


def boxes(of: Record, joint: pd.Series, positions: pd.DataFrame, accuracy_m: float | None) -> list[Box]:
    """Return the box of a placed joint, and one for each other leg it lies on with more than 5 %."""
    along, across, basis = half_sides(joint)
    if not np.isfinite(along + across):
        return []
    others = _legs(positions)
    known = float(joint["leg_probability"])
    first = _box(of, joint, (along, across), accuracy_m, probability=known if len(others) or known < 1 else None)
    found = [_named(first, of, joint, basis)]
    fix = positions.loc[positions["method"] == "fix", "radius95_m"]
    for leg in others.to_dict("records"):
        sd = float((fix if len(fix) else pd.Series([leg["radius95_m"]])).iloc[0]) / RADIUS_95
        half = TWO_SIDED_95 * sd, abs(float(leg["offset_m"])) + TWO_SIDED_95 * sd
        if np.isfinite(sum(half)):
            box = _box(of, pd.Series(leg), half, accuracy_m, probability=float(leg["probability"]))
            found.append(_named(box, of, joint, "by the fix alone: along 1.96 sd; across offset + 1.96 sd"))
    return found


def _legs(positions: pd.DataFrame) -> pd.DataFrame:
    is_leg = (positions["method"] == "alternative leg") & (positions["probability"] > LEAST_PROBABILITY)
    return positions[is_leg & positions["chainage_m"].notna()]


def _box(
    of: Record, at: pd.Series, half: tuple[float, float], accuracy_m: float | None, *, probability: float | None
) -> Box:
    line, chainage = of.line(str(at["line"])), float(at["chainage_m"])
    here = np.array([chainage])
    along, across = half
    return Box(
        line=line.name,
        station=str(at["station"]) or of.station(line.name, chainage),
        chainage_m=chainage,
        easting=float(at["easting"]),
        northing=float(at["northing"]),
        bearing_deg=float(bearing_deg(line.way, here)[0]),
        probability=probability,
        along_m=up(along),
        across_m=up(across),
        wgs84_along_m=widened(along, accuracy_m),
        wgs84_across_m=widened(across, accuracy_m),
        others_inside=(),
        basis="",
    )


def _named(box: Box, of: Record, joint: pd.Series, basis: str) -> Box:
    inside = of.between(box.line, box.chainage_m - box.along_m, box.chainage_m + box.along_m)["joint_id"]
    others = tuple(str(name) for name in inside if name != joint["joint_id"])
    return Box(**{**box.__dict__, "others_inside": others, "basis": basis})


def corners(box: Box, metres_per_unit: float, *, in_wgs84: bool = False) -> np.ndarray:
    """Return the corners of a box in the project's frame, shape (4, 2), back left first, clockwise.

    Raises ValueError where the box has no sides in WGS 84.
    """
    along, across = (box.wgs84_along_m, box.wgs84_across_m) if in_wgs84 else (box.along_m, box.across_m)
    if along is None or across is None:
        raise ValueError("this box has no sides in WGS 84")
    turn = np.radians(box.bearing_deg)
    ahead, right = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    ways = np.array([[-along, -across], [along, -across], [along, across], [-along, across]]) / metres_per_unit
    return np.array([box.easting, box.northing]) + ways[:, :1] * ahead + ways[:, 1:] * right


def foot(line: Line, chainage_m: float) -> np.ndarray:
    """Return the point of a line at a chainage, shape (2,)."""
    return np.asarray(locate(line.way, np.array([chainage_m]))[0])


def inside(of: Record, joint: pd.Series, xy: np.ndarray, sd_m: float) -> bool | None:
    """Whether a position, shape (2,), lies in the joint's box, which what is known of the position makes wider; None:
    there is no box."""
    along, across, _ = half_sides(joint)
    if not np.isfinite(along + across):
        return None
    turn = np.radians(bearing_deg(of.line(str(joint["line"])).way, np.array([joint["chainage_m"]]))[0])
    east, north = (xy - joint[["easting", "northing"]].to_numpy(float)) * of.frame.metres_per_unit
    ahead, right = east * np.sin(turn) + north * np.cos(turn), east * np.cos(turn) - north * np.sin(turn)
    more = TWO_SIDED_95 * sd_m
    return bool(abs(ahead) <= np.hypot(along, more) and abs(right) <= np.hypot(across, more))
