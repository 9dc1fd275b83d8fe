"""What the page of the map says without its scripts, escaped."""

import html
from collections.abc import Mapping
from dataclasses import dataclass

from asbuilt import look
from asbuilt.as_built import AsBuilt, Title
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.gpx import NAME as GPX_NAME
from asbuilt.sentence import several, summary

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
_PLACED_SAYS = {
    "survey": "measured on the pipe",
    "fix": "by the recorded fix",
    "fix+tally": "by fixes and pipe lengths",
    "tally": "inferred from pipe lengths alone",
}


_TAPE_SAYS = (
    "On the whole line above the tape, fusion rises, the worst highest; position hangs below; gaps are hatched;"
    " the bracket holds what the tape shows. A grey sleeve on the map, a bar on the tape: made on the day that is"
    " shown."
)


@dataclass(frozen=True)
class Words:
    """The parts of the page by name, escaped; and what stands at the head of each sheet of paper, plain."""

    parts: Mapping[str, str]
    running_head: str


def map_words(as_built: AsBuilt) -> Words:
    """Return what the page says without its scripts."""
    title = as_built.title
    issue = f"Revision {title.revision}, as of {_date(title)}"
    parts = {
        "title": escaped(f"{title.name}, joint map, {title.revision}"),
        "route": escaped(title.name),
        "issue": escaped(issue),
        "at_once": f"<p>{at_once(as_built)}</p>",
        "title_block": _pairs(_title_block(title)),
        "station_example": "12+34" if title.station_length.startswith("100 ") else "1+250",
        "first_caution": escaped(CAUTIONS[0]),
        "counts": "".join(f"<p>{escaped(text)}</p>" for text in summary(as_built)),
        "statements": _list("Said once for many joints", as_built.statements) + _list("Used as found", as_built.notes),
        "outstanding": str(as_built.counts.outstanding),
        "key": _key(as_built),
        "cautions": "".join(f"<li>{escaped(text)}</li>" for text in CAUTIONS),
        "network": _network(as_built),
        "gpx_name": GPX_NAME,
        "base_crs": escaped(title.base_crs),
        "coordinates": escaped(coordinates(as_built)),
    }
    return Words(parts, f"{title.name}. {issue}")


def escaped(text: str) -> str:
    """Return text as HTML, for element and attribute alike."""
    return html.escape(text, quote=True)


def _date(title: Title) -> str:
    """Return the as-of with the month as a word, for it is read in every country."""
    at = title.as_of
    zone = f"{at:%z}"
    return f"{at.day} {_MONTHS[at.month - 1]} {at:%Y %H:%M} (UTC{zone[:3]}:{zone[3:5]})"


# ---- what is seen at once --------------------------------------------------------------------------------------------


def at_once(as_built: AsBuilt) -> str:
    """Return the one sentence with the counts, each verdict with its sign (drawn by the scripts as on the map)."""
    counts, unit = as_built.counts, as_built.title.length_unit
    said = [v for v in look.IN_ORDER if counts.fusion.get(v) or v in look.IN_ORDER[:4]]
    fusion = ", ".join(_counted("fusion", v, f"{counts.fusion.get(v, 0):,} {v}") for v in said)
    gaps = f"{several(counts.gaps, 'gap')} with {several(counts.missing_records, 'missing record')}"
    covered = f"{counts.covered_m / unit.metres:,.0f} of {counts.length_m / unit.metres:,.0f} {unit.name} covered"
    return (
        f"{several(counts.joints, 'joint')}: {fusion}; {_counted('gap', '', gaps)}, {counts.unplaced:,} unplaced;"
        f" {covered}."
    )


def _counted(kind: str, value: str, words: str) -> str:
    return f'<span class="counted">{_sign(kind, value)}{escaped(words)}</span>'


def _sign(kind: str, value: str) -> str:
    return f'<span class="sign" data-{kind}="{escaped(value)}"></span>'


# ---- key -------------------------------------------------------------------------------------------------------------


def _key(as_built: AsBuilt) -> str:
    """Return what the signs mean beyond fusion, which the sentence at the head shows, with counts."""
    joints = as_built.tables["joints"]
    in_line = joints["in_line"].fillna(True).astype(bool)
    placed, position = joints.loc[in_line, "placed_by"].value_counts(), as_built.counts.position
    rows = {
        "Position": [
            _entry("position", verdict, f"{verdict} ({says})", position.get(verdict, 0))
            for verdict, says in _POSITION_SAYS.items()
            if verdict != look.NO_WINDOW or position.get(verdict, 0)
        ],
        "Placed": [
            _entry("placed", by, says, int(placed.get(by, 0))) for by, says in _PLACED_SAYS.items() if by in placed
        ],
        "Also": [
            *([_entry("out-of-line", "out", "cut out or trial, in no count", int((~in_line).sum()))]
              if not in_line.all() else []),
            *(f"<li>Behind: {escaped(layer.title)}</li>" for layer in as_built.context),
        ],
        "Tape": [f"<li><span>{escaped(_TAPE_SAYS)}</span></li>"],
    }  # fmt: skip
    return "".join(f"<div><h2>{name}</h2><ul>{''.join(items)}</ul></div>" for name, items in rows.items() if items)


def _entry(kind: str, value: str, words: str, count: int) -> str:
    return f"<li>{_sign(kind, value)}<span>{escaped(words)} <b>{count:,}</b></span></li>"


# ---- the rest --------------------------------------------------------------------------------------------------------


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
    return "".join(f"<div><dt>{escaped(name)}</dt><dd>{escaped(text)}</dd></div>" for name, text in said.items())


def _list(heading: str, texts: tuple[str, ...]) -> str:
    items = "".join(f"<li>{escaped(text)}</li>" for text in texts)
    return f"<h3>{escaped(heading)}</h3><ul>{items}</ul>" if texts else ""


def _network(as_built: AsBuilt) -> str:
    """Say what a background costs, and whose it is; without one the page says nothing, for it asks nobody."""
    tiles = as_built.tiles
    if tiles is None:
        return ""
    return f'<section class="network"><p>{escaped(tiles.say())} Background: {escaped(tiles.attribution)}.</p></section>'


def coordinates(as_built: AsBuilt) -> str:
    """Return a line of text for each placed joint in the line: id, station, latitude, longitude, 95 % radius."""
    joints = as_built.tables["joints"]
    rows = joints[joints["in_line"].fillna(True).astype(bool) & joints["latitude"].notna()]
    unit = as_built.title.length_unit
    return "\n".join(
        f"{name}  {station}  {north:.7f}, {east:.7f}"
        + (f"  {radius / unit.metres:.2f} {unit.name}" if radius >= 0 else "")
        for name, station, north, east, radius in zip(
            rows["joint_id"], rows["station"], rows["latitude"], rows["longitude"], rows["radius95_m"], strict=True
        )
    )
