"""The waypoints of joints.gpx read back."""

from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from asbuilt.errors import InputError, Problem
from asbuilt.publish.gpx import NAME
from asbuilt.second.files import text_of

_MOST_BYTES = 1 << 31
_IN = "{http://www.topografix.com/GPX/1/1}"
_AGAIN = "take the hand-over anew from whoever made it"


@dataclass(frozen=True)
class Waypoints:
    """`name`, `kind` and `desc` are texts, `lonlat` degrees of shape (n, 2); `title` and `time` stand at the head."""

    name: list[str]
    kind: list[str]
    desc: list[str]
    lonlat: np.ndarray
    title: str
    time: str


def read_waypoints(folder: Path) -> Waypoints:
    """Return the waypoints. Raises InputError where the file is missing or is no GPX of ours."""
    text = text_of(folder, NAME, _MOST_BYTES)
    if "<!" in text:  # entities can unfold to any length, and a file of ours has none
        raise InputError(Problem(NAME, "it holds a declaration, which no file of ours does", _AGAIN))
    try:
        root = ElementTree.fromstring(text)  # noqa: S314 - without declarations nothing can unfold
        points = root.findall(f"{_IN}wpt")
        lonlat = np.array([[float(p.attrib["lon"]), float(p.attrib["lat"])] for p in points]).reshape(-1, 2)
    except (ElementTree.ParseError, KeyError, ValueError) as error:
        raise InputError(Problem(NAME, f"it is no GPX of ours ({error})", _AGAIN)) from error
    name, kind, desc = ([p.findtext(f"{_IN}{tag}", "") for p in points] for tag in ("name", "type", "desc"))
    title, time = (root.findtext(f"{_IN}metadata/{_IN}{tag}", "") for tag in ("name", "time"))
    return Waypoints(name, kind, desc, lonlat, title, time)
