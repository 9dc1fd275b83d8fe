"""Joints that were found as waypoints (GPX 1.1), and as marks with their search boxes (KML, OGC 12-007r2): WGS 84."""

import re
import xml.etree.ElementTree as ET  # writes alone: nothing of others is parsed here
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from asbuilt import crs
from asbuilt.as_built import Title
from asbuilt.cautions import CAUTIONS, IN_SHORT
from asbuilt.crs import Crossing
from asbuilt.errors import InputError, Problem
from asbuilt.find.answer import Answer, JointAnswer, PlaceAnswer
from asbuilt.find.asked import AskedJoint
from asbuilt.find.boxes import Box, corners
from asbuilt.find.frames import Coordinates, in_wgs84
from asbuilt.find.record import Record
from asbuilt.find.search import joint_answer
from asbuilt.find.told import sides
from asbuilt.publish.gpx import as_gpx, times
from asbuilt.sentence import several

# Control characters, halves of pairs, and what is no character at all: XML cannot hold them, or no reader shows them.
_UNSAID = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_KML = "http://www.opengis.net/kml/2.2"


def found_joints(of: Record, answers: Sequence[Answer]) -> list[JointAnswer]:
    """Return the joints of the answers, each once: those asked for, and of a place those that are listed.

    Raises InputError where one of them has no place in WGS 84: a file that lacks one would not tell.
    """
    asked = [a for a in answers if isinstance(a, JointAnswer)]
    named = {n.joint_id for a in answers if isinstance(a, PlaceAnswer) for n in a.near} - {a.joint_id for a in asked}
    found = {a.joint_id: a for a in [*asked, *(joint_answer(of, AskedJoint(name, name)) for name in sorted(named))]}
    for one in found.values():
        if one.wgs84 is None or one.wgs84.place is None:
            why = one.wgs84.why_not if one.wgs84 else "it has no place at all"
            raise InputError(Problem(f"joint {one.joint_id}", f"it has no place in WGS 84: {why}", "leave it out"))
    return list(found.values())


def gpx(joints: Sequence[JointAnswer], title: Title) -> bytes:
    """Return the waypoints; each tells its search box with a receiver in WGS 84."""
    made = pd.Series([j.values["fused_at"] for j in joints], dtype=object)
    points = pd.DataFrame(
        {
            "name": [j.joint_id for j in joints],
            "desc": [_told(j, title) for j in joints],
            "src": [f"placed by {j.values['placed_by']}" for j in joints],
            "time": times(pd.to_datetime(made, utc=True)),
            "type": "joint",
        }
    )
    there = [place for j in joints if (place := _there(j))]
    lonlat = np.array([[place.x, place.y] for place in there])
    worst = max(there, key=lambda place: place.accuracy_m)
    way = Crossing(title.base_crs, worst.frame, worst.operation, worst.accuracy_m, worst.better)
    return as_gpx(
        points,
        lonlat,
        title=title,
        way=way,
        many=several(len(joints), "joint that was asked for", "joints that were asked for"),
    )


def _there(joint: JointAnswer) -> Coordinates | None:
    return joint.wgs84.place if joint.wgs84 else None


def _told(joint: JointAnswer, title: Title) -> str:
    boxes = "; ".join(_box_said(box, title) for box in joint.boxes) or "search box not known"
    v = joint.values
    verdicts = f"fusion {v['fusion_verdict']}, position {v['position_verdict']}"
    return f"{joint.line} {v['station']}; {boxes}; {verdicts}. An estimate. {IN_SHORT}"


def _box_said(box: Box, title: Title) -> str:
    leg = "" if box.probability is None else f", probability {box.probability:.2g}"
    along, across = box.wgs84_along_m, box.wgs84_across_m
    return (
        f"search box about {box.station}{leg}: {sides(along or box.along_m, across or box.across_m, title.length_unit)}"
    )


# ---- KML -------------------------------------------------------------------------------------------------------------


def kml(of: Record, joints: Iterable[JointAnswer]) -> bytes:
    """Return the joints as points, and their search boxes with a receiver in WGS 84 as outlines."""
    ET.register_namespace("", _KML)
    root = ET.Element(f"{{{_KML}}}kml")
    document = _under(root, "Document")
    _under(document, "name", f"Joints found: {of.title.name}, revision {of.title.revision}")
    _under(document, "description", " ".join(CAUTIONS))
    for joint in joints:
        _marks(_under(document, "Folder"), joint, of)
    return bytes(ET.tostring(root, encoding="UTF-8", xml_declaration=True))


def _under(parent: ET.Element, name: str, text: str = "") -> ET.Element:
    element = ET.SubElement(parent, f"{{{_KML}}}{name}")
    element.text = _UNSAID.sub(lambda found: f"[U+{ord(found[0]):04X}]", text) or None
    return element


def _marks(folder: ET.Element, joint: JointAnswer, of: Record) -> None:
    place = _there(joint)
    _under(folder, "name", f"Joint {joint.joint_id}")
    if place:
        mark = _under(folder, "Placemark")
        _under(mark, "name", joint.joint_id)
        _under(mark, "description", _told(joint, of.title))
        _under(_under(mark, "Point"), "coordinates", f"{place.x:.8f},{place.y:.8f}")
    for box in joint.boxes:
        mark = _under(folder, "Placemark")
        _under(mark, "name", _box_said(box, of.title))
        ring = _under(_under(_under(mark, "Polygon"), "outerBoundaryIs"), "LinearRing")
        _under(ring, "coordinates", _outline(of, box))


def _outline(of: Record, box: Box) -> str:
    """Counter-clockwise and closed, as the format has it."""
    xy = corners(box, of.frame.metres_per_unit, in_wgs84=box.wgs84_along_m is not None)[::-1]
    longitude, latitude = crs.to_base(*xy.T.copy(), of=of.frame)
    line = of.line(box.line)
    found = [
        in_wgs84(of, line, Coordinates("", True, *lonlat)).place for lonlat in zip(longitude, latitude, strict=True)
    ]
    there = [place for place in found if place]
    return " ".join(f"{place.x:.8f},{place.y:.8f}" for place in [*there, *there[:1]])
