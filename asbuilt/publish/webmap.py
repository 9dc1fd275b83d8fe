"""The interactive map: one file that opens from a phone's storage, loads nothing and sends nothing.

folium makes the map, Leaflet (in `assets/leaflet`) moves it, and our own scripts (`assets/map`) draw the record on one
canvas and show it in the page. Text of the record enters the page in two ways only: escaped as HTML, or packed in one
document that the scripts show as text. A policy in the page lets nothing run but the scripts that were written here.
"""

import base64
import hashlib
import json
import re
import zlib
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import folium
import numpy as np

from asbuilt.as_built import AsBuilt
from asbuilt.publish.map_data import map_data
from asbuilt.publish.map_photos import map_photos
from asbuilt.publish.map_words import escaped, map_words
from asbuilt.publish.scripts import joined

NAME = "joint_map.html"

_STYLES = ("page", "plan", "tape", "card", "photo", "list", "paper")
_FAST = 6  # of the nine levels of packing: a tenth of the time of the last, for a fiftieth more


def write_map(as_built: AsBuilt, path: Path) -> None:
    """Write the interactive map of the record to `path`: one HTML file. The same record gives the same bytes."""
    path.write_text(page(as_built), encoding="utf-8", newline="\n")


def page(as_built: AsBuilt) -> str:
    """Return the page as text."""
    record = map_data(as_built)
    division, folium_script = _folium_map(record["lines"])
    scripts = {
        "leaflet": _asset("leaflet/leaflet.js"),
        "folium": folium_script,
        "ours": joined("main", lambda name: _asset(f"map/{name}.js")),
    }
    words = map_words(as_built)
    style = _asset("leaflet/leaflet.css") + "".join(_asset(f"map/{name}.css") for name in _STYLES)
    style = _filled(style, {"running_head": _css_text(words.running_head)})
    parts = {
        **words.parts,
        **scripts,
        "policy": escaped(_policy(scripts.values(), style, _pictures(as_built))),
        "style": style,
        "map": division,
        "record": packed(record),
        "photos": map_photos(as_built),
        "licence": "Leaflet 1.9.4 is carried in this page under the following licence.\n\n" + _asset("leaflet/LICENSE"),
    }  # fmt: skip
    return _filled(_asset("map/page.html"), parts)


def packed(document: Mapping[str, Any]) -> str:
    """Return a document as JSON, deflated (RFC 1950), in base64: nothing in it can end the element it stands in."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return base64.b64encode(zlib.compress(text.encode(), _FAST)).decode()


def unpacked(text: str) -> dict[str, Any]:
    """Return the document that `packed` wrote.

    >>> unpacked(packed({"a": "</script>"}))
    {'a': '</script>'}
    """
    return dict(json.loads(zlib.decompress(base64.b64decode(text))))


def _asset(name: str) -> str:
    return (files("asbuilt") / "assets" / name).read_text(encoding="utf-8")


def _filled(template: str, parts: Mapping[str, str]) -> str:
    """Put the parts in their places, in one pass: what was put in is never read as a template."""
    return re.sub(r"\{\{ (\w+) \}\}", lambda place: parts[place[1]], template)


def _css_text(text: str) -> str:
    r"""Return a text as a style sheet quotes it.

    >>> print(_css_text('a "b" </style>'))
    "a \22 b\22  \3c /style\3e "
    """
    return '"' + re.sub(r'["\\<>&\x00-\x1f]', lambda found: f"\\{ord(found[0]):x} ", text) + '"'


def _policy(scripts: Iterable[str], style: str, pictures: str) -> str:
    """Return a Content-Security-Policy under which only these scripts and this style count, and no pictures but these
    are shown."""
    allowed = " ".join(f"'sha256-{_digest(script)}'" for script in scripts)
    shown = f" img-src {pictures};" if pictures else ""
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'sha256-{_digest(style)}';{shown}"
        " base-uri 'none'; form-action 'none'"
    )


def _pictures(as_built: AsBuilt) -> str:
    """Return where pictures may come from: a background that the route file names, and what the page carries itself:
    photos, and the empty picture that Leaflet gives a tile when it lets it go."""
    background = [f"https://{as_built.tiles.host}"] if as_built.tiles else []
    carried = ["data:"] if as_built.tiles or any(photo.jpeg for photo in as_built.photos) else []
    return " ".join([*background, *carried])


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _folium_map(lines: list[dict[str, Any]]) -> tuple[str, str]:
    """Return the map's element and the script that makes it. folium's own head loads from the network: left out."""
    spots = np.array([xy for line in lines for xy in line["path"]], dtype="float64").reshape(-1, 2)
    centre = ((spots.min(axis=0) + spots.max(axis=0)) / 2).round(7).tolist() if len(spots) else [0.0, 0.0]
    made = folium.Map(
        centre, tiles=None, prefer_canvas=True, zoom_control=False, attribution_control=False,
        max_zoom=23, zoom_snap=0.25, zoom_start=12,
    )  # fmt: skip
    made.default_js, made.default_css = [], []
    made._id = "of_joints"  # folium draws a random one, and the same record must give the same bytes
    made.render()
    figure: Any = made.get_root()
    return figure.html.render().strip(), figure.script.render().strip()
