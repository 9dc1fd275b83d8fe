"""The interactive map: one file that opens from a phone's storage, loads nothing and sends nothing.

folium makes the map, Leaflet (in `assets/leaflet`) moves it, and our own scripts draw the record on one canvas and
show it in the page. Text of the record enters the page in two ways only: escaped as HTML, or escaped in one JSON
object that the scripts show as text. A policy in the page lets nothing run but the scripts that were written here.
"""

import base64
import hashlib
import html
import json
import re
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import folium
import numpy as np

from asbuilt import look
from asbuilt.as_built import AsBuilt, Counts, Title
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.map_data import map_data
from asbuilt.sentence import summary

# One script in the order in which the parts lean on each other; they share one scope and leave none to the page.
_SCRIPTS = ("map_record.js", "map_words.js", "map_view.js", "map_draw.js", "map_card.js", "map_lists.js", "map.js")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_POSITION_SAYS = {
    look.IN_WINDOW: "no ring",
    look.OUT_OF_WINDOW: "ring",
    look.CANNOT_TELL: "two arcs, drawn when zoomed in",
    look.NOT_RECORDED: "broken ring",
    look.NO_WINDOW: "no ring",
}

NAME = "joint_map.html"


def write_map(as_built: AsBuilt, path: Path) -> None:
    """Write the interactive map of the record to `path`: one HTML file. The same record gives the same bytes."""
    path.write_text(page(as_built), encoding="utf-8", newline="\n")


def page(as_built: AsBuilt) -> str:
    """Return the page as text."""
    record = map_data(as_built)
    division, folium_script = _folium_map(record["lines"])
    ours = '(function () {\n"use strict";\n' + "\n".join(_asset(name) for name in _SCRIPTS) + "\n})();"
    scripts = {"leaflet": _asset("leaflet/leaflet.js"), "folium": folium_script, "ours": ours}
    style = _asset("leaflet/leaflet.css") + _asset("map.css")
    parts = _words(as_built) | scripts
    return _filled(
        _asset("page.html"),
        parts
        | {
            "policy": _policy(scripts.values(), style),
            "style": style,
            "map": division,
            "record": escaped_json(record),
            "licence": "Leaflet 1.9.4 is carried in this page under the following licence.\n\n"
            + _asset("leaflet/LICENSE"),
        },
    )


def escaped_json(value: Any) -> str:
    r"""Return JSON that cannot end the element it stands in, nor break a line where a script would not.

    >>> print(escaped_json({"a": "</script>&"}))
    {"a":"\u003c/script\u003e\u0026"}
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return re.sub("[<>&\u2028\u2029]", lambda found: f"\\u{ord(found[0]):04x}", text)


def _asset(name: str) -> str:
    return (files("asbuilt") / "assets" / name).read_text(encoding="utf-8")


def _filled(template: str, parts: Mapping[str, str]) -> str:
    """Put the parts in their places, in one pass: what was put in is never read as a template."""
    return re.sub(r"\{\{ (\w+) \}\}", lambda place: parts[place[1]], template)


def _policy(scripts: Iterable[str], style: str) -> str:
    """Return a Content-Security-Policy under which only these scripts and this style count, and nothing loads."""
    allowed = " ".join(f"'sha256-{_digest(script)}'" for script in scripts)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'sha256-{_digest(style)}';"
        " base-uri 'none'; form-action 'none'"
    )


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


def _words(as_built: AsBuilt) -> dict[str, str]:
    """Return what the page says without its scripts, escaped."""
    title, counts = as_built.title, as_built.counts
    issue = f"Revision {title.revision}, as of {_date(title)}"
    return {
        "title": _e(f"{title.name}, joint map, {title.revision}"),
        "route": _e(title.name),
        "issue": _e(issue),
        "title_block": _pairs(_title_block(title)),
        "station_example": "12+34" if title.station_length.startswith("100 ") else "1+250",
        "first_caution": _e(CAUTIONS[0]),
        "counts": "".join(f"<p>{_e(text)}</p>" for text in summary(as_built)),
        "statements": _list("Said once for many joints", as_built.statements) + _list("Used as found", as_built.notes),
        "outstanding": str(counts.outstanding),
        "key": _key(counts, int((~as_built.tables["joints"]["in_line"].fillna(True)).sum())),
        "cautions": "".join(f"<li>{_e(text)}</li>" for text in CAUTIONS),
    }


def _e(text: str) -> str:
    return html.escape(text, quote=True)


def _date(title: Title) -> str:
    """Return the as-of with the month as a word, for it is read in every country."""
    at = title.as_of
    zone = f"{at:%z}"
    return f"{at.day} {_MONTHS[at.month - 1]} {at:%Y %H:%M} (UTC{zone[:3]}:{zone[3:5]})"


def _title_block(title: Title) -> dict[str, str]:
    said = {
        "Owner": title.owner,
        "Contractor": title.contractor,
        "Contract": title.contract,
        "Procedure": title.procedure,
        "Easting, northing": title.crs,
        "Latitude, longitude": title.base_crs,
        "Stations": f"of {title.station_length}, {title.length_kind} length",
    }
    return {name: text for name, text in said.items() if text.strip()}


def _pairs(said: Mapping[str, str]) -> str:
    return "".join(f"<div><dt>{_e(name)}</dt><dd>{_e(text)}</dd></div>" for name, text in said.items())


def _list(heading: str, texts: tuple[str, ...]) -> str:
    items = "".join(f"<li>{_e(text)}</li>" for text in texts)
    return f"<h3>{_e(heading)}</h3><ul>{items}</ul>" if texts else ""


def _key(counts: Counts, out_of_line: int) -> str:
    """Return the key: a sign (drawn by the scripts with the map's own strokes), a word and a count each."""
    fusion = [
        _sign("fusion", verdict, verdict, counts.fusion.get(verdict, 0))
        for verdict in look.FUSION
        if verdict != look.NO_WINDOW or counts.fusion.get(verdict, 0)
    ]
    position = [
        _sign("position", verdict, f"{verdict} ({says})", counts.position.get(verdict, 0))
        for verdict, says in _POSITION_SAYS.items()
        if verdict != look.NO_WINDOW or counts.position.get(verdict, 0)
    ]
    rest = [
        _sign("gap", "gap", "gap in the record", counts.gaps),
        _sign("out-of-line", "out", "cut out or trial, in no count", out_of_line),
    ]
    rows = {"Fusion": fusion, "Position": position, "Also": rest}
    return "".join(f"<div><h2>{name}</h2><ul>{''.join(items)}</ul></div>" for name, items in rows.items())


def _sign(kind: str, value: str, words: str, count: int) -> str:
    return f'<li><span class="sign" data-{kind}="{_e(value)}"></span><span>{_e(words)} <b>{count}</b></span></li>'
