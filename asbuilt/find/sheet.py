"""The locate sheet of one joint: one page that a crew takes along, readable in grey, with room for what was found."""

import io
from itertools import pairwise
from typing import Any

import pypdf
import segno

from asbuilt.as_built import Title
from asbuilt.cautions import CAUTIONS, IN_SHORT, ON_SITE
from asbuilt.errors import InputError, Problem
from asbuilt.find.answer import JointAnswer
from asbuilt.find.frames import geo
from asbuilt.find.record import Record
from asbuilt.find.sheet_map import detail_data, map_data
from asbuilt.find.told import (
    box_texts,
    crossing_text,
    length,
    place_pairs,
    point_text,
    record_pairs,
)
from asbuilt.publish.typeset import typeset

PAPERS = {"A4": "a4", "Letter": "us-letter"}
_MAP_MM, _DETAIL_MM = 108.0, 72.0  # wide
_DETAIL_HIGH = 0.37  # of the map's height
# The longest text in characters, and the height of the map in millimetres: in turn, until all is on one page.
_FITS = ((400, 92.0), (400, 80.0), (160, 80.0), (90, 72.0), (50, 72.0))
_LEFT_OUT = ("search box", "made", "kind")
_TORN = 24  # characters from which a mark may be torn, for a line has to end somewhere
_QUIET = 4  # modules around the code, by ISO/IEC 18004 (from memory)


def locate_sheet(of: Record, joint: JointAnswer, *, paper: str) -> bytes:
    """Return the PDF, PDF/A and tagged, one page of A4 or Letter. The same record gives the same bytes.

    Raises InputError for a joint without a place: there is nowhere to send anybody.
    """
    if joint.place is None:
        what = "it has no place: there is nowhere to send anybody"
        raise InputError(Problem(f"joint {joint.joint_id}", what, "look at its reasons in the joint log"))
    for longest, high in _FITS:
        data = sheet_data(of, joint, paper=paper, longest=longest, map_mm=high)
        made = typeset("locate.typ", data, moment=of.title.as_of)
        if len(pypdf.PdfReader(io.BytesIO(made)).pages) == 1:
            return made
    raise RuntimeError("the locate sheet does not fit on one page")


def sheet_data(of: Record, joint: JointAnswer, *, paper: str, longest: int, map_mm: float = 92.0) -> dict[str, Any]:
    """Return what the sheet says; a text longer than `longest` characters is cut, and says so. `map_mm`: its height."""
    title, wgs84 = of.title, joint.wgs84.place if joint.wgs84 else None
    address = geo(wgs84) if wgs84 else ""
    where = [pair for pair in place_pairs(joint, title) if pair[0] not in _LEFT_OUT and pair[1] != address]
    left_out = _LEFT_OUT if joint.photos else (*_LEFT_OUT, "photo")  # nobody can look at it
    record = [pair for pair in record_pairs(joint, title.length_unit) if pair[0] not in left_out]
    return {
        "paper": PAPERS[paper],
        "head": {"name": title.name, "revision": title.revision, "as_of": f"{title.as_of:%Y-%m-%d %H:%M %Z}".strip()},
        "date": [title.as_of.year, title.as_of.month, title.as_of.day],
        "caution": IN_SHORT,
        "joint": joint.joint_id,
        "address": address,
        "code": code(address) if address else [],
        "quiet": _QUIET,
        "map": map_data(of, joint, (_MAP_MM, map_mm)),
        "detail": detail_data(of, joint, (_DETAIL_MM, _DETAIL_HIGH * map_mm)),
        "where": _cut(where, longest),
        "box": _cut([("", text) for text in box_texts(joint.boxes, title.length_unit)], longest),
        "neighbours": _neighbours(joint, title, longest),
        "ties": _ties(joint, title),
        "crossing": crossing_text(joint) if joint.ties else "The record has no fixed features near this joint.",
        "points": [point_text(point, title.length_unit) for point in joint.points],
        "levels": list(joint.levels),
        "reaches": [text[:longest] for text in joint.reaches],
        "record": _cut([*record, ("made", _made(joint))], longest),
        "cautions": [*ON_SITE, *CAUTIONS],
        "frames": _frames(title),
    }


def _made(joint: JointAnswer) -> str:
    v = joint.values
    return ", ".join(str(v[name]) for name in ("kind", "fused_local", "machine", "operator") if v[name])


def _cut(pairs: list[tuple[str, str]], longest: int) -> list[list[str]]:
    return [[name, text if len(text) <= longest else f"{text[:longest]} ... (cut)"] for name, text in pairs]


def _neighbours(joint: JointAnswer, title: Title, longest: int) -> list[list[str]]:
    unit = title.length_unit
    return [
        [n.joint_id, f"{length(n.distance_m, unit)} {n.way}", n.station, _kept(n.marks[:longest])]
        for n in joint.neighbours
    ]


def _kept(marks: str) -> str:
    """Keep each mark on one line: `operator op 5` is not torn before the 5."""
    return ", ".join(part.replace(" ", "\u00a0") if len(part) < _TORN else part for part in marks.split(", "))


def _ties(joint: JointAnswer, title: Title) -> list[list[str]]:
    rows = []
    for number, tie in enumerate(joint.ties, start=1):
        what = f"{tie.feature}{f', {tie.description}' if tie.description else ''}"
        true = "" if tie.true_bearing_deg is None else f"{tie.true_bearing_deg:.1f}°"
        away = length(tie.distance_m, title.length_unit)
        rows.append([str(number), what[:80], away, true, f"{tie.bearing_deg:.1f}°"])
    return rows


def _frames(title: Title) -> list[str]:
    return [title.crs, title.base_crs, "WGS 84", "other:"]


def code(text: str) -> list[list[int]]:
    """Return a QR code (ISO/IEC 18004) as its dark runs: row, first column, how many, without the quiet zone.

    >>> runs = code("geo:-42.8522910,149.2274812")
    >>> runs[0]
    [0, 0, 7]
    """
    runs = []
    for row, modules in enumerate(segno.make_qr(text, error="m").matrix):
        line = "".join("1" if dark else "0" for dark in modules)
        at = 0
        for part in _runs(line):
            if part[0] == "1":
                runs.append([row, at, len(part)])
            at += len(part)
    return runs


def _runs(line: str) -> list[str]:
    """Cut a text where its characters change.

    >>> _runs("1101")
    ['11', '0', '1']
    """
    cuts = [0, *(i for i in range(1, len(line)) if line[i] != line[i - 1]), len(line)]
    return [line[a:b] for a, b in pairwise(cuts)]
