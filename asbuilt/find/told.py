"""An answer in words: for a terminal, and cell by cell for the sheet."""

from collections.abc import Iterator
from functools import partial
from math import isfinite

from asbuilt.as_built import Title
from asbuilt.cautions import IN_SHORT
from asbuilt.find.answer import Answer, JointAnswer, Near, NothingFound, PlaceAnswer, Point
from asbuilt.find.boxes import HOLDS, Box, up
from asbuilt.find.frames import Coordinates, InWgs84, coordinates, geo
from asbuilt.find.surroundings import CROSSES_WELL, finding_text, side, size_text
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.second.plain import plain_text
from asbuilt.sentence import several, some

_WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
SHORT_CAUTIONS = (
    IN_SHORT,
    "Positions are estimates with the stated method and 95 % radius, computed unless placed by survey; other services"
    " are not shown. If marks and neighbours do not match, stop. Local codes and licensed practice govern.",
)
_COPY = ": in the map (joint_map.html) and in the GeoPackage (table photos)"
_OWN_RECEIVER = "The error of your own receiver is in none of these: allow for it."
Pairs = list[tuple[str, str]]


def said(answer: Answer, title: Title) -> list[str]:
    """Return an answer as lines of text, its cautions last."""
    if isinstance(answer, NothingFound):
        return not_found(answer)
    lines = joint_lines(answer, title) if isinstance(answer, JointAnswer) else place_lines(answer, title)
    return [plain_text(line) for line in (*lines, *(f"Caution: {text}" for text in SHORT_CAUTIONS))]


def not_found(answer: NothingFound) -> list[str]:
    """Return what is said where nothing was found."""
    like = f"Did you mean {', '.join(answer.like)}?" if answer.like else ""
    return [plain_text(text) for text in (f"{answer.said}.", like) if text]


def _block(pairs: Pairs) -> Iterator[str]:
    last = ""
    for name, text in pairs:
        yield f"  {name if name != last else '':<16} {text}"
        last = name


def joint_lines(answer: JointAnswer, title: Title) -> list[str]:
    """Return all of one joint."""
    gone = "" if answer.values["in_line"] else " (not in line: cut out, or a trial)"
    head = f"Joint {answer.joint_id}{gone}: {title.name}, revision {title.revision}, as of {title.as_of:%Y-%m-%d}"
    told = [f"Note: {answer.said}"] if answer.said else []
    if answer.place is None:
        pairs = [
            ("place", f"not placed: {answer.values['reasons'] or 'see the joint log'}"),
            *record_pairs(answer, title.length_unit),
        ]
        return [head, *told, *_block(pairs)]
    return [
        head,
        *told,
        *_block([*place_pairs(answer, title), *around_pairs(answer, title), *record_pairs(answer, title.length_unit)]),
    ]


# ---- where -----------------------------------------------------------------------------------------------------------


def place_pairs(answer: JointAnswer, title: Title) -> Pairs:
    """Return where a placed joint is, in every frame, and how sure that is."""
    unit, v = title.length_unit, answer.values
    radius = v["radius95_m"]
    how = f"{v['placed_by']}{' (surveyed)' if v['placed_by'] == 'survey' else ' (computed, not surveyed)'}"
    pairs = [
        (
            "station",
            f"{v['station']} on line {answer.line}; {title.length_kind} lengths, stations of {title.station_length}",
        ),
        ("offset", _offset(v["offset_m"], unit)),
        ("placed by", f"{how}; 95 % radius {length(radius, unit) if radius is not None else 'not known'}"),
    ]
    pairs += [("position", coordinates(place)) for place in (answer.place, answer.base) if place]
    pairs += wgs84_pairs(answer.wgs84, unit)
    pairs += [("also", f"{coordinates(answer.other)}{_good_to(answer.other, unit)}")] if answer.other else []
    return pairs + [("search box", text) for text in box_texts(answer.boxes, unit)]


def _offset(offset_m: float | None, unit: LengthUnit) -> str:
    if offset_m is None:
        return "not known: no fix says how far off the line it lies"
    return f"{side(offset_m, unit)} of the alignment, looking towards increasing chainage"


def wgs84_pairs(found: InWgs84 | None, unit: LengthUnit) -> Pairs:
    """Return a place as a receiver in the hand shows it, with the address; or why it cannot be told."""
    if found is None:
        return []
    if found.place is None:
        return [("WGS 84", f"cannot be told with a known accuracy: {found.why_not}")]
    return [("WGS 84", coordinates(found.place) + _good_to(found.place, unit)), ("WGS 84", geo(found.place))]


def _good_to(place: Coordinates, unit: LengthUnit) -> str:
    if not place.accuracy_m:
        return ": the same datum, nothing is lost"
    way = f" by '{place.operation}'" if place.operation not in ("", "none needed") else ""
    better = f"; {place.better}" if place.better else ""
    return f": brought over{way}, good to {length(place.accuracy_m, unit)}{better}"


def length(metres: float, unit: LengthUnit, decimals: int = 2) -> str:
    """Write a length in the project's unit, and in metres beside it where that is another one.

    >>> length(3.048, METRE), length(3.048, LengthUnit("ft", 0.3048), 1)
    ('3.05 m', '10.0 ft (3.0 m)')
    """
    own = unit.text(metres, decimals)
    return own if unit == METRE else f"{own} ({METRE.text(metres, decimals)})"


def box_texts(boxes: tuple[Box, ...], unit: LengthUnit) -> list[str]:
    """Return the boxes in words, the reasons last."""
    if not boxes:
        return ["none: how sure the place is was not recorded"]
    told = [text for box in boxes for text in _box_texts(box, unit, several_legs=len(boxes) > 1)]
    wide = any(box.wgs84_along_m is not None for box in boxes)
    return [*told, *([_OWN_RECEIVER] if wide else []), HOLDS]


def _box_texts(box: Box, unit: LengthUnit, *, several_legs: bool) -> Iterator[str]:
    leg = "" if box.probability is None else f", probability {box.probability:.2g}"
    yield f"{'on one leg, ' if several_legs else ''}about {box.station}{leg}: " + sides(box.along_m, box.across_m, unit)
    if box.wgs84_along_m is not None and box.wgs84_across_m is not None:
        yield f"with a receiver in WGS 84: {sides(box.wgs84_along_m, box.wgs84_across_m, unit)}"
    inside = f"{several(len(box.others_inside), 'other joint')} inside"
    yield f"{inside}{': ' + some(box.others_inside) if box.others_inside else ''}; {box.basis}"


def sides(along_m: float, across_m: float, unit: LengthUnit) -> str:
    """Write a box by its half sides, which are rounded up in the project's unit, too.

    >>> sides(0.4, 0.5, LengthUnit("ft", 0.3048))
    '± 1.4 ft (0.4 m) along and ± 1.7 ft (0.5 m) across the line'
    """
    own = [unit.text(up(half / unit.metres) * unit.metres, 1) for half in (along_m, across_m)]
    also = ["" if unit == METRE else f" ({METRE.text(half, 1)})" for half in (along_m, across_m)]
    return f"± {own[0]}{also[0]} along and ± {own[1]}{also[1]} across the line"


# ---- around ----------------------------------------------------------------------------------------------------------


def around_pairs(answer: JointAnswer, title: Title) -> Pairs:
    """Return neighbours, ties, points that can be told in the field, levels and reaches."""
    unit = title.length_unit
    pairs = [
        (n.way, f"{n.joint_id} at {n.station}, {length(n.distance_m, unit)} {_WAYS[n.way]} the line: {n.marks}")
        for n in answer.neighbours
    ]
    pairs += [("ties", text) for text in tie_texts(answer, unit)]
    pairs += [("from", point_text(point, unit)) for point in answer.points]
    pairs += [("heights", text) for text in answer.levels]
    return pairs + [("lies in", text) for text in answer.reaches]


_WAYS = {"back": "back along", "ahead": "ahead along"}


def point_text(point: Point, unit: LengthUnit) -> str:
    """Say how far the joint is from a point that can be told in the field, along the line."""
    way = {"back": "ahead", "ahead": "back"}[point.way]
    return f"{length(point.distance_m, unit)} {way} of {point.what}, along the line from {point.station}"


def tie_texts(answer: JointAnswer, unit: LengthUnit) -> list[str]:
    """Return the ties in words, nearest first, and whether they cross well."""
    if not answer.ties:
        return ["none: the record has no fixed features near this joint"]
    told = []
    for tie in answer.ties:
        true = f"{tie.true_bearing_deg:.1f}° true, " if tie.true_bearing_deg is not None else ""
        what = f" ({tie.description})" if tie.description else ""
        told.append(f"{length(tie.distance_m, unit)} from {tie.feature}{what}, at {true}{tie.bearing_deg:.1f}° grid")
    return [*told, crossing_text(answer)]


def crossing_text(answer: JointAnswer) -> str:
    """Say how well the ties fix the point."""
    few = "" if len(answer.ties) >= 3 else f"only {several(len(answer.ties), 'tie')}: three were better; "
    if answer.crossing_deg is None:
        return f"{few}one tie alone fixes no point"
    low, high = CROSSES_WELL
    well = low <= answer.crossing_deg <= high
    word = "which fixes the point well" if well else f"weak: a good one is from {low:g}° to {high:g}°"
    return f"{few}two of them cross at {answer.crossing_deg:.0f}°, {word}"


# ---- record ----------------------------------------------------------------------------------------------------------


def record_pairs(answer: JointAnswer, unit: LengthUnit) -> Pairs:
    """Return what the record says of a joint: when, pipe, procedure, verdicts, decision, other opinions."""
    v, of_pipe = answer.values, partial(size_text, unit=unit)
    pipe = (("outside_diameter_mm", "OD", of_pipe), ("wall_mm", "wall", of_pipe), ("dr", "DR", "{:g}".format))
    size = [f"{label} {write(v[name])}" for name, label, write in pipe if v[name] is not None and isfinite(v[name])]
    made = ", ".join(filter(None, (v["fused_local"], _with("machine", v["machine"]), _with("operator", v["operator"]))))
    pipes = " and ".join(filter(None, (v["pipe_a"], v["pipe_b"])))
    photo = v["photo"] and v["photo"] + _COPY * bool(answer.photos)
    told = [
        ("made", made or "not recorded"),
        ("pipe", ", ".join(filter(None, (*size, v["material"], _with("pipes", pipes)))) or "not recorded"),
        ("kind", f"{v['kind']}{'' if v['in_line'] else ': not in line, see the reasons'}"),
        ("fusion verdict", f"{v['fusion_verdict']}: {v['recorded_n']} of {v['procedure_n']} quantities recorded"),
        ("position verdict", v["position_verdict"]), ("outstanding", answer.outstanding),
        *(("finding", finding_text(finding)) for finding in answer.findings),
        ("reasons", v["reasons"]), ("decision", v["decision"]), ("photo", photo), ("remarks", v["remarks"]),
    ]  # fmt: skip
    return [(name, str(text)) for name, text in told if text] + [("opinions", text) for text in answer.opinions]


def _with(what: str, text: str | None) -> str:
    return f"{what} {text}" if text else ""


# ---- a place ---------------------------------------------------------------------------------------------------------


def place_lines(answer: PlaceAnswer, title: Title) -> list[str]:
    """Return the joints nearest to a place, and which of them it may be."""
    unit = title.length_unit
    head = f"{answer.asked} ({answer.form}): {title.name}, revision {title.revision}, as of {title.as_of:%Y-%m-%d}"
    where = f"{answer.station} on line {answer.line}"
    where += f", {side(answer.offset_m, unit)}" if answer.form != "station" else ""
    beyond = f", {unit.text(abs(answer.beyond_m))} beyond its end" if answer.beyond_m else ""
    pairs = [("place", where + beyond), ("position", coordinates(answer.place)), ("position", coordinates(answer.base))]
    pairs += wgs84_pairs(answer.wgs84, unit)
    pairs += [("also", f"{coordinates(answer.other)}{_good_to(answer.other, unit)}")] if answer.other else []
    if answer.form != "station":
        pairs += [("beside", text) for text in beside_texts(answer, unit)]
        pairs += [("tell apart", text) for text in apart_texts(answer, unit)]
    pairs += [("joint", near_text(near, unit)) for near in answer.near] or [("joint", "none is placed on this line")]
    return [head, *_block(pairs)]


def beside_texts(answer: PlaceAnswer, unit: LengthUnit) -> list[str]:
    """Say which joint one stands beside at a position, as far as that can be told."""
    there = answer.inside
    if not there:
        word = "no joint: the position lies in no search box of this record"
    elif len(there) == 1:
        word = f"joint {there[0]}, by this record: the position lies in its search box, and in no other's"
    else:
        names = some(there, most=12)
        word = f"one of {len(there)} joints, {names}: which of them, nobody can tell from this position"
    sure = answer.place.accuracy_m
    way = f"the way from its frame is good to {length(sure, unit)}" if sure else "its frame is that of the record"
    own = (
        f"its own 95 % radius of {length(answer.uncertainty_m, unit)} is in this"
        if answer.uncertainty_m is not None
        else 'the error of the receiver is not in this: tell it with --accuracy "5 m"'
    )
    return [word, f"{way}, which is in this; {own}"]


def apart_texts(answer: PlaceAnswer, unit: LengthUnit) -> list[str]:
    """Say what tells apart the joints that a position may be, a line each; nothing where it is one at most."""
    told = []
    for near in (near for near in answer.near if near.marks or near.points):
        nearest = min(near.points, key=lambda point: point.distance_m, default=None)
        from_there = f"; {point_text(nearest, unit)}" if nearest else ""
        told.append(f"{near.joint_id}: {near.marks or 'no mark recorded'}{from_there}")
    do = "lay bare as many as it takes, and compare print line, bead and what is around with these"
    return [*told, do] if told else []


def near_text(near: Near, unit: LengthUnit) -> str:
    """Write one joint of the list."""
    if near.difference_m is None:
        along = f"on line {near.line}"
    else:
        along = f"{length(abs(near.difference_m), unit)} {'ahead' if near.difference_m >= 0 else 'back'} along the line"
    wind = _WINDS[round(near.bearing_deg / 45) % 8]
    away = f"{length(near.distance_m, unit)} away at {near.bearing_deg:05.1f}° true ({wind})"
    radius = f"; 95 % radius {length(near.radius95_m, unit)}" if near.radius95_m is not None else ""
    inside = "; the position lies in its search box" if near.inside else ""
    return f"{near.joint_id} at {near.station}, {away}, {along}{radius}{inside}"
