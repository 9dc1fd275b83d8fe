"""What was asked for: a joint, a place on a line, or a position, and how the words were understood."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

import numpy as np

from asbuilt import crs
from asbuilt.crs import Frame
from asbuilt.errors import FrameError, InputError, Problem
from asbuilt.find.names import Named, named
from asbuilt.find.record import Record
from asbuilt.find.typed import Typed, UnclearError, typed
from asbuilt.quantities import METRE, METRES_PER_FOOT, UnitError, quantity
from asbuilt.stationing import Stationing, parse_label

_STATION = re.compile(r"(?:(?:station|sta\.?)\s+)?([+-]?\d+\+\d+(?:\.\d+)?)", re.IGNORECASE)
_CHAINAGE = re.compile(r"(?:(?:chainage|ch\.?)\s+)?([+-]?\d+(?:\.\d+)?)\s*(m|km|ft)?", re.IGNORECASE)
_WORD = re.compile(r"(?:chainage|ch\.?)\s", re.IGNORECASE)
_HAIR_M = 1e-6
_SHOWN = 8


@dataclass(frozen=True)
class AskedJoint:
    """A joint. `said` tells how the words were understood where they are not its id."""

    text: str
    joint_id: str
    said: str = ""


@dataclass(frozen=True)
class AskedPlace:
    """A place on a line, by its chainage before equations."""

    text: str
    line: str
    chainage_m: float


@dataclass(frozen=True)
class AskedPosition:
    """A position in a frame: `x` to the east, `y` to the north, in its unit.

    `uncertainty_m` is its 95 % radius, NaN: not told.
    """

    text: str
    x: float
    y: float
    frame: Frame
    form: str
    uncertainty_m: float


@dataclass(frozen=True)
class NotFound:
    """No joint has this name. `like` are joints that may be meant, `do` what can be written."""

    text: str
    like: tuple[str, ...]
    said: str
    do: str


Asked = AskedJoint | AskedPlace | AskedPosition | NotFound


def asked(text: str, of: Record, *, frame: str = "", line: str = "") -> Asked:
    """Return what a text asks for. `frame` is a code for positions that name none, `line` the line of a chainage.

    A joint's own id comes first, whatever it looks like. Raises InputError where a position or station is not clear,
    has no place or several; FrameError for a frame that is not known.
    """
    text = " ".join(text.split())
    if line and line not in of.line_names:
        do = f"name one of {', '.join(of.line_names)}"
        raise InputError(Problem("--line", f"there is no line {line!r}", do))
    if of.has(text):
        return AskedJoint(text, text)
    if position := _position(text, frame):
        return position
    if place := _place(text, of, line):
        return place
    return _joint(text, named(text, of.names), of)


def refuse_pieces(texts: Sequence[str], missing: Sequence[bool], of: Record, *, frame: str, line: str) -> None:
    """Raise InputError where texts that were not found are the pieces of one, which a space has cut in the shell."""
    runs = [" ".join(texts), *(" ".join(t for t, _ in run) for lost, run in _runs(texts, missing) if lost)]
    for whole in runs if any(missing) else []:
        try:
            found = whole not in texts and not isinstance(asked(whole, of, frame=frame, line=line), NotFound)
        except (InputError, FrameError):
            found = False  # the pieces are no clearer as one text
        if found:
            what = f"it came as {len(whole.split())} texts, and each is looked for by itself"
            raise InputError(Problem(whole, what, f'put it in quotes: "{whole}"'))


def _runs(texts: Sequence[str], missing: Sequence[bool]) -> Iterator[tuple[bool, Iterator[tuple[str, bool]]]]:
    return groupby(zip(texts, missing, strict=True), key=itemgetter(1))


def _joint(text: str, found: Named, of: Record) -> AskedJoint | NotFound:
    if found.sure and len(found.ids) == 1:
        said = "" if found.how == "the id" else f"{text!r} was taken for joint {found.ids[0]}: it is {found.how}"
        return AskedJoint(text, found.ids[0], said)
    if found.sure and found.ids:
        rest = len(found.ids) - _SHOWN
        shown = f", of which {_SHOWN} are shown" if rest > 0 else ""
        told = f"{text!r} is {found.how} of {len(found.ids):,} joints{shown}"
        return NotFound(text, found.ids[:_SHOWN], told, "Write one of them, or more of it")
    return NotFound(text, found.ids, f"there is no joint, station or position {text!r}", _forms(of))


def _forms(of: Record) -> str:
    """Say what can be written, in the unit of the route."""
    station, chainage = ("1+250", "1250 m") if of.title.length_unit == METRE else ("12+50", "1250 ft")
    position = '"-42.85229, 149.22748"'
    told = f'Write a joint\'s id or a part of it; a station such as {station}, or a chainage such as "{chainage}"; or a'
    return f"{told} position such as {position}, in quotes where a space is in it. The map finds crews and people, too"


# ---- positions -------------------------------------------------------------------------------------------------------


def _position(text: str, frame: str) -> AskedPosition | None:
    try:
        found = typed(text, framed=bool(frame))
    except UnclearError as error:
        raise InputError(Problem(repr(text), str(error), error.do)) from error
    if found is None:
        return None
    code = found.crs or frame
    if not code and not found.in_degrees:
        do = f'name the frame: --crs EPSG:..., or "EPSG:... {found.x:.12g} {found.y:.12g}"'
        raise InputError(Problem(repr(text), "two plain numbers without a frame are no position", do))
    where = crs.frame(code or "EPSG:4326", where=repr(text) if found.crs else "--crs")
    x, y = _in_order(found, where, text)
    return AskedPosition(text, x, y, where, found.form, found.uncertainty_m)


def _in_order(found: Typed, frame: Frame, text: str) -> tuple[float, float]:
    """Return x and y; two plain numbers in a geographic frame are latitude and longitude."""
    if found.in_degrees and not frame.is_geographic:
        what = f"it is in degrees, and {frame.label} is not"
        raise InputError(Problem(repr(text), what, "name the geographic frame, or leave it out for WGS 84"))
    if found.form == "geo: address" and frame.crs.to_epsg() != 4326:
        raise InputError(Problem(repr(text), "a geo: address is WGS 84 (RFC 5870)", "leave the frame out"))
    if found.in_degrees or not frame.is_geographic:
        return found.x, found.y
    if abs(found.x) > 90 or abs(found.y) > 180:
        raise InputError(Problem(repr(text), "it is no latitude and longitude", "write the latitude first"))
    return found.y, found.x


# ---- places on a line ------------------------------------------------------------------------------------------------


def _place(text: str, of: Record, line: str) -> AskedPlace | None:
    label, length = _STATION.fullmatch(text), _CHAINAGE.fullmatch(text)
    if label:
        return _one(text, label[1], _with_station(label[1], of, line), of)
    if length and (length[2] or _WORD.match(text)):
        value_m = _metres(f"{length[1]} {length[2] or ''}".strip(), text, of)
        return _one(text, length[0], _within(of, line, [value_m]), of)
    return None


def _metres(length: str, text: str, of: Record) -> float:
    """Return a length in metres; a foot is the project's own."""
    number, _, unit = length.partition(" ")
    if unit.lower() == "ft":
        foot = METRES_PER_FOOT["international"] if of.title.length_unit == METRE else of.title.length_unit.metres
        return float(number) * foot
    try:
        return quantity(length, "m")
    except UnitError as error:
        raise InputError(Problem(repr(text), str(error), 'write a chainage with its unit, such as "1250 m"')) from error


def _lines(of: Record, line: str) -> list[str]:
    return [line] if line else of.line_names


def _within(of: Record, line: str, values_m: list[float]) -> list[tuple[str, float]]:
    """Return line and chainage of those that lie on a line."""
    found = []
    for name in _lines(of, line):
        measure = of.line(name).way.measure
        inside = [v for v in values_m if measure[0] - _HAIR_M <= v <= measure[-1] + _HAIR_M]
        found += [(name, float(np.clip(v, measure[0], measure[-1]))) for v in inside]
    return found


def _with_station(label: str, of: Record, line: str) -> list[tuple[str, float]]:
    if not of.stationings:
        do = 'give the chainage before equations, such as "1250 m", or a joint or position'
        raise InputError(Problem(repr(label), "this hand-over does not say how its stations are counted", do))
    found = []
    for name in _lines(of, line):
        if stationing := of.stationings.get(name):
            at = stationing.chainages_m(_stated_m(label, stationing))
            apart = [a for i, a in enumerate(at) if not i or a - at[i - 1] > _HAIR_M]
            found += _within(of, name, apart)
    return found


def _stated_m(label: str, stationing: Stationing) -> float:
    unit = stationing.metres_per_unit
    try:
        return parse_label(label, station_length=round(stationing.station_length_m / unit)) * unit
    except ValueError as error:
        raise InputError(Problem(repr(label), str(error), "check the station")) from error


def _one(text: str, what: str, found: list[tuple[str, float]], of: Record) -> AskedPlace:
    if len(found) == 1:
        return AskedPlace(text, *found[0])
    if not found:
        raise InputError(Problem(repr(text), f"no line has {what}: {_reach(of)}", "write a station of these"))
    lines = len({name for name, _ in found}) > 1
    ways = [f'"{at:.3f} m"{f" with --line {name}" if lines else ""}' for name, at in found]
    what = f"{what} stands at {len(found)} places"
    raise InputError(Problem(repr(text), what, f"write its chainage before equations: {' or '.join(ways)}"))


def _reach(of: Record) -> str:
    """Say which stations there are on each line, hole by hole."""
    told = []
    for name in of.line_names[:_SHOWN]:
        ends = of.line(name).way.measure[[0, -1]]
        stationing = of.stationings.get(name, Stationing())
        breaks = stationing.breaks_m
        low = stationing.labels(np.concatenate([ends[:1], breaks + 2 * _HAIR_M]))
        high = stationing.labels(np.concatenate([breaks, ends[1:]]))
        told.append(f"{name} has {' and '.join(f'{a} to {b}' for a, b in zip(low, high, strict=True))}")
    return "; ".join(told)
