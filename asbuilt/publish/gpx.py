"""The joints and gaps as waypoints of a GPX 1.1 file, for a receiver in the hand: WGS 84, and nothing but places.

Element order and content follow the published GPX 1.1 schema (`wpt`: ele, time, name, cmt, desc, src, link, sym,
type; `metadata`: name, desc, then time). There is no `ele`: what was recorded may be a crown, an invert or an antenna,
above any datum. The file is plain ASCII: other characters are written as references.
"""

import re
from datetime import UTC
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import pandas as pd
import shapely

from asbuilt.as_built import AsBuilt, Title
from asbuilt.cautions import CAUTIONS
from asbuilt.crs import Crossing, geographic
from asbuilt.publish.in_wgs84 import in_wgs84, in_words
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several

NAME = "joints.gpx"
_ROOT = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="asbuilt">'
# Control characters, halves of pairs, and what is no character at all: XML cannot hold them, or no reader shows them.
_UNSAID = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_REPLACED = "What XML cannot hold, or no reader shows, is written by its number, such as [U+0007]."
_BRIEF = "An estimate, not a utility locate."
_JOINT_COLUMNS = [
    "joint_id", "line", "station", "offset_m", "radius95_m", "fusion_verdict", "position_verdict", "placed_by",
    "decision",
]  # fmt: skip
_GAP_COLUMNS = [
    "gap_id", "line", "from_station", "to_station", "missing_records", "missing_low", "missing_high", "decision",
]  # fmt: skip


def write_gpx(as_built: AsBuilt, path: Path) -> None:
    """Write placed joints in the line and both ends of each gap. The same record gives the same bytes.

    Raises FrameError where WGS 84 cannot be reached with a known accuracy: `as_built.wgs84` is None then.
    """
    joints, gaps = _placed(as_built.tables["joints"]), as_built.tables["gaps"]
    ends = _ends(gaps, as_built.crs_wkt)
    longitude, latitude, way = in_wgs84(np.concatenate([joints[["longitude", "latitude"]], ends]), as_built)
    one_line = len(as_built.tables["alignment"]) < 2
    unit = as_built.title.length_unit
    points = pd.concat([_of_joints(joints, unit, way=way, one_line=one_line), _of_gaps(gaps, one_line=one_line)])
    many = f"{several(len(joints), 'placed joint')} and both ends of {several(len(gaps), 'gap')}"
    path.write_bytes(as_gpx(points, np.column_stack([longitude, latitude]), title=as_built.title, way=way, many=many))


def as_gpx(points: pd.DataFrame, lonlat: np.ndarray, *, title: Title, way: Crossing, many: str) -> bytes:
    """Return a GPX file of points in WGS 84, longitude and latitude in degrees of shape (n, 2).

    `points` has text columns name, desc, src, type, and time, whole elements or empty; `many` says how many of what
    there are, `way` how they came to WGS 84.
    """
    longitude, latitude = lonlat.T
    texts = [_said(column) for column in (points["name"], points["desc"], points["src"])]
    places = zip(_degrees(latitude), _degrees(longitude), points["time"], *texts, points["type"], strict=True)
    replaced = any(_UNSAID.search(text) for column in ("name", "desc") for text in points[column])
    head = _metadata(title, f"{many}. Places are in {in_words(way)}.", replaced=replaced)
    body = "".join(
        f'<wpt lat="{north}" lon="{east}">{time}<name>{name}</name><desc>{desc}</desc><src>{src}</src>'
        f"<type>{kind}</type></wpt>\n"
        for north, east, time, name, desc, src, kind in places
    )
    text = f'<?xml version="1.0" encoding="UTF-8"?>\n{_ROOT}\n{head}\n{body}</gpx>\n'
    return text.encode("ascii", "xmlcharrefreplace")


def _placed(joints: pd.DataFrame) -> pd.DataFrame:
    there = joints["in_line"].astype(bool) & joints["latitude"].notna() & joints["longitude"].notna()
    return joints[there]


def _ends(gaps: pd.DataFrame, crs_wkt: str) -> np.ndarray:
    """Return longitude and latitude of the ends of gaps, both of one after the other, shape (2 g, 2)."""
    lines = geographic(gaps["geometry"].to_numpy(dtype=object), crs_wkt)
    ends = np.stack([shapely.get_point(lines, 0), shapely.get_point(lines, -1)], axis=1).ravel()
    return np.column_stack([shapely.get_x(ends), shapely.get_y(ends)])


def _of_joints(joints: pd.DataFrame, unit: LengthUnit, *, way: Crossing, one_line: bool) -> pd.DataFrame:
    adds = f" and {unit.text(way.accuracy_m, 1)} more for WGS 84" if way.accuracy_m else ""
    said = [
        f"{_on(line, one_line)}{station}; offset {_offset(offset, unit)}; 95 % radius {_length(radius, unit)}{adds};"
        f" fusion {fusion}, position {position}.{_decided(decision)} {_BRIEF}"
        for _, line, station, offset, radius, fusion, position, _, decision in joints[_JOINT_COLUMNS].itertuples(
            index=False
        )
    ]
    src = "placed by " + joints["placed_by"]
    columns = {"name": joints["joint_id"], "src": src, "time": times(joints["fused_at"])}
    return pd.DataFrame(columns).assign(desc=said, type="joint")


def _of_gaps(gaps: pd.DataFrame, *, one_line: bool) -> pd.DataFrame:
    names, said = [], []
    for gap, line, low, high, missing, least, most, decision in gaps[_GAP_COLUMNS].itertuples(index=False):
        names += [f"gap {gap} begins", f"gap {gap} ends"]
        bounds = f" ({least} to {most} with 95 %)" if least != most else ""
        count = f"{several(missing, 'missing record')}{bounds}, which is no proof of a missing joint"
        text = f"{_on(line, one_line)}{low} to {high}; {count}.{_decided(decision)} {_BRIEF}"
        said += [text, text]
    columns = {"name": names, "src": "", "time": "", "desc": said, "type": "gap"}
    return pd.DataFrame(columns, index=range(len(names))).assign(src="likeliest number, from the length of a stick")


def _decided(decision: str) -> str:
    return f" Decision: {decision}." if decision else ""


def _on(line: str, one_line: bool) -> str:
    return "" if one_line else f"{line} "


def _length(metres: float, unit: LengthUnit) -> str:
    return "not known" if np.isnan(metres) else unit.text(metres)


def _offset(metres: float, unit: LengthUnit) -> str:
    """Write an offset with its side, looking towards increasing chainage.

    >>> _offset(-0.3, LengthUnit()), _offset(0.001, LengthUnit()), _offset(float("nan"), LengthUnit())
    ('0.30 m L', '0.00 m', 'not known')
    """
    if np.isnan(metres):
        return "not known"
    text = unit.text(abs(metres))
    return text if float(text.split()[0]) == 0 else f"{text} {'R' if metres > 0 else 'L'}"


def times(fused_at: pd.Series) -> list[str]:
    """Return the element `time` in UTC to the second; empty where no time is known."""
    seconds = fused_at.dt.tz_convert(None).to_numpy("datetime64[s]")
    return ["" if text == "NaT" else f"<time>{text}Z</time>" for text in np.datetime_as_string(seconds).tolist()]


def _degrees(values: np.ndarray) -> list[str]:
    """Write degrees to the millimetre; the schema knows no longitude of +180.

    >>> _degrees(np.array([-42.5, 179.9999999999]))
    ['-42.50000000', '-180.00000000']
    """
    rounded = values.round(8) + 0.0
    return [f"{value:.8f}" for value in np.where(rounded >= 180.0, rounded - 360.0, rounded).tolist()]


def _said(texts: pd.Series) -> list[str]:
    return [escape(_UNSAID.sub(_by_number, text)) for text in texts]


def _by_number(found: re.Match[str]) -> str:
    return f"[U+{ord(found[0]):04X}]"


def _metadata(title: Title, first: str, *, replaced: bool) -> str:
    desc = [first, "Elevations are left out.", *([_REPLACED] if replaced else []), *CAUTIONS]
    name, told = _said(pd.Series([f"{title.name}, revision {title.revision}", " ".join(desc)], dtype=object))
    stamp = title.as_of.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return f"<metadata><name>{name}</name><desc>{told}</desc><time>{stamp}</time></metadata>"
