"""The search itself: from what was asked for to one answer each."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd

from asbuilt import crs
from asbuilt.alignment import distance, project
from asbuilt.crs import Frame
from asbuilt.errors import FrameError, InputError, Problem
from asbuilt.find.answer import Answer, JointAnswer, Near, NothingFound, PlaceAnswer
from asbuilt.find.asked import AskedJoint, AskedPlace, AskedPosition, NotFound, asked, refuse_pieces
from asbuilt.find.boxes import boxes, foot, inside
from asbuilt.find.frames import Coordinates, from_frame, in_frame, in_project, in_wgs84
from asbuilt.find.heights import levels
from asbuilt.find.record import Line, Record
from asbuilt.find.surroundings import (
    concerns,
    crossing_deg,
    neighbours,
    outstanding_by,
    photos,
    points,
    reaches,
    side,
    ties,
    told_apart,
)
from asbuilt.window import RADIUS_95

_OWN_COLUMNS = ("geometry",)
_LOOKED_AT = 200  # joints about a position of which each is asked whether its search box holds it


@dataclass(frozen=True)
class Wanted:
    """How to answer: the frame of positions that name none, a further frame to answer in, the line of a chainage, how
    many joints are listed, and the 95 % radius of the receiver in metres (NaN: not told)."""

    frame: str = ""
    to: str = ""
    line: str = ""
    nearest: int = 3
    accuracy_m: float = float("nan")


def find(of: Record, texts: Sequence[str], wanted: Wanted) -> list[Answer]:
    """Return one answer for each text. Raises as `asked` and `refuse_pieces`, and FrameError where the further frame
    cannot be reached."""
    target = crs.frame(wanted.to, where="--to") if wanted.to else None
    answers = [_answer(of, text, wanted, target) for text in texts]
    missing = [isinstance(answer, NothingFound) for answer in answers]
    refuse_pieces(texts, missing, of, frame=wanted.frame, line=wanted.line)
    return answers


def _answer(of: Record, text: str, wanted: Wanted, target: Frame | None) -> Answer:
    what = asked(text, of, frame=wanted.frame, line=wanted.line)
    if isinstance(what, NotFound):
        return NothingFound(what.text, what.said, what.like, what.do)
    if isinstance(what, AskedJoint):
        return joint_answer(of, what, target)
    return _of_place(of, what, wanted, target) if isinstance(what, AskedPlace) else _near(of, what, wanted, target)


# ---- a joint ---------------------------------------------------------------------------------------------------------


def joint_answer(of: Record, what: AskedJoint, target: Frame | None = None) -> JointAnswer:
    """Return all that is known of one joint. Raises FrameError where `target` cannot be reached well enough."""
    joint = of.rows("joints", "joint_id", what.joint_id).iloc[0]
    if joint[["chainage_m", "easting", "northing"]].isna().any():
        return _placeless(of, what, joint)
    line = of.line(str(joint["line"]))
    place, base = in_project(of, float(joint["easting"]), float(joint["northing"]))
    wgs84 = in_wgs84(of, line, base)
    positions = of.rows("positions", "joint_id", what.joint_id)
    tied, found = ties(of, joint), concerns(of, what.joint_id)
    return JointAnswer(
        asked=what.text,
        said=what.said,
        joint_id=what.joint_id,
        values=_values(joint),
        line=line.name,
        outstanding=outstanding_by(joint, found),
        findings=found,
        place=place,
        base=base,
        wgs84=wgs84,
        other=in_frame(of, line, place, target) if target else None,
        boxes=tuple(boxes(of, joint, positions, wgs84.place.accuracy_m if wgs84.place else None)),
        neighbours=neighbours(of, joint),
        ties=tied,
        crossing_deg=crossing_deg(tied),
        points=points(of, line, joint),
        levels=levels(of, joint, positions),
        reaches=reaches(of, joint),
        opinions=_opinions(of, positions),
        photos=photos(of, what.joint_id),
    )


def _placeless(of: Record, what: AskedJoint, joint: pd.Series) -> JointAnswer:
    found = concerns(of, what.joint_id)
    return JointAnswer(
        asked=what.text,
        said=what.said,
        joint_id=what.joint_id,
        values=_values(joint),
        line=str(joint["line"]),
        outstanding=outstanding_by(joint, found),
        findings=found,
        opinions=_opinions(of, of.rows("positions", "joint_id", what.joint_id)),
        photos=photos(of, what.joint_id),
    )


def _values(joint: pd.Series) -> dict[str, Any]:
    """The columns as plain values; nothing is None or an empty text."""
    plain = joint.drop(list(_OWN_COLUMNS)).astype(object)
    plain = plain.where(plain.notna(), None)
    return {
        str(name): value.isoformat() if isinstance(value, pd.Timestamp) else getattr(value, "item", lambda v=value: v)()
        for name, value in plain.items()
    }


def _opinions(of: Record, positions: pd.DataFrame) -> tuple[str, ...]:
    """Every opinion but those that the point and the boxes are made of."""
    unit, told = of.title.length_unit, []
    for row in positions[~positions["method"].isin(("adjusted", "projection"))].to_dict("records"):
        chance = row["probability"]
        if row["method"] == "alternative leg" and not chance > 0.001:
            continue
        at = row["station"] or "no place on the line"
        off = f", offset {side(row['offset_m'], unit)}" if isfinite(row["offset_m"]) else ""
        radius = f", 95 % radius {unit.text(row['radius95_m'])}" if isfinite(row["radius95_m"]) else ""
        share = f", probability {chance:.3g}" if isfinite(chance) else ""
        when = f" on {day}" if (day := of.day(row["seen_at"])) else ""
        told.append(f"{row['method']}{when}: {at}{off}{radius}{share} ({row['source']})")
    return tuple(told)


# ---- a place on a line, and a position -------------------------------------------------------------------------------


def _of_place(of: Record, what: AskedPlace, wanted: Wanted, target: Frame | None) -> PlaceAnswer:
    line = of.line(what.line)
    xy = foot(line, what.chainage_m)
    place, base = in_project(of, float(xy[0]), float(xy[1]))
    both = [of.beside(line.name, what.chainage_m, count=wanted.nearest, ahead=way) for way in (False, True)]
    rows = pd.concat(both, ignore_index=True)
    rows = rows.iloc[np.argsort(np.abs(rows["chainage_m"] - what.chainage_m), kind="stable")[: wanted.nearest]]
    return PlaceAnswer(
        asked=what.text,
        form="station",
        line=line.name,
        station=of.station(line.name, what.chainage_m),
        chainage_m=what.chainage_m,
        offset_m=0.0,
        beyond_m=0.0,
        place=place,
        base=base,
        wgs84=in_wgs84(of, line, base),
        other=in_frame(of, line, place, target) if target else None,
        uncertainty_m=None,
        near=_listed(of, rows, place, on=(line, what.chainage_m), sd_m=None),
    )


def _near(of: Record, what: AskedPosition, wanted: Wanted, target: Frame | None) -> PlaceAnswer:
    place = from_frame(of, what.x, what.y, origin=what.frame)
    if not np.isfinite([place.x, place.y]).all():
        raise FrameError(Problem(repr(what.text), f"it has no place in {of.frame.label}", "check the position"))
    here, rows = np.array([[place.x, place.y]]), of.near(place.x, place.y, count=max(wanted.nearest, _LOOKED_AT))
    if rows.empty:
        raise InputError(Problem(str(of.folder), "no joint has a place", "look at the joint log"))
    # the nearest joint may be on another line than the position
    line = min(map(of.line, of.line_names), key=lambda line: float(distance(line.way, here)[0]))
    chainage, offset, beyond = _foot(of, line, here)
    base = in_project(of, place.x, place.y)[1]
    radius = wanted.accuracy_m if isfinite(wanted.accuracy_m) else what.uncertainty_m
    known = isfinite(radius)
    sd = float(np.hypot(radius / RADIUS_95 if known else 0.0, place.accuracy_m))
    return PlaceAnswer(
        asked=what.text,
        form=f"{what.form} in {what.frame.label}",
        line=line.name,
        station=of.station(line.name, chainage),
        chainage_m=chainage,
        offset_m=offset,
        beyond_m=beyond,
        place=place,
        base=base,
        wgs84=in_wgs84(of, line, base),
        other=in_frame(of, line, place, target) if target else None,
        uncertainty_m=radius if known else None,
        near=_listed(of, rows.head(wanted.nearest), place, on=(line, chainage), sd_m=sd),
        inside=tuple(str(row["joint_id"]) for _, row in rows.iterrows() if inside(of, row, here[0], sd)),
    )


def _foot(of: Record, line: Line, xy: np.ndarray) -> tuple[float, float, float]:
    """Return chainage and offset of the nearest point of a line, and how far past an end it is, in metres."""
    away = distance(line.way, xy)
    found = project(line.way, xy, reach=away * (1 + 1e-9) + 1e-6)
    unit = of.frame.metres_per_unit
    return float(found.measure[0] - found.beyond[0]), float(found.offset[0] * unit), float(found.beyond[0])


def _listed(
    of: Record, rows: pd.DataFrame, place: Coordinates, *, on: tuple[Line, float], sd_m: float | None
) -> tuple[Near, ...]:
    """Return the joints with distance and bearing on the ellipsoid, nearest first; `sd_m` is that of the position, in
    one axis, None where the place is exact."""
    if rows.empty:
        return ()
    line, chainage = on
    here = np.array([[place.x, place.y]])
    bearing, away = crs.geodesics(
        np.repeat(here, len(rows), axis=0), rows[["easting", "northing"]].to_numpy(float), of=of.frame
    )
    found = [
        Near(
            joint_id=str(row["joint_id"]),
            line=str(row["line"]),
            station=str(row["station"]),
            distance_m=float(metres),
            bearing_deg=float(turn),
            difference_m=float(row["chainage_m"]) - chainage if row["line"] == line.name else None,
            radius95_m=float(row["radius95_m"]) if isfinite(row["radius95_m"]) else None,
            inside=None if sd_m is None else inside(of, row, here[0], sd_m),
        )
        for (_, row), metres, turn in zip(rows.iterrows(), away, bearing, strict=True)
    ]
    if sum(near.inside is True for near in found) > 1:
        told = zip(found, rows.iterrows(), strict=True)
        found = [told_apart(of, near, row) if near.inside else near for near, (_, row) in told]
    return tuple(sorted(found, key=lambda near: near.distance_m) if sd_m is not None else found)
