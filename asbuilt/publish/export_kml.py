"""KML by OGC 12-007r2 (2.3): WGS 84; a verdict is told by a character of its shape and its colour, without any icon."""

import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import shapely

from asbuilt import look
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.export_layers import Layer, plain
from asbuilt.publish.in_wgs84 import geometries_in_wgs84, way_to_wgs84

NAME = "record.kml"
_ROOT = '<kml xmlns="http://www.opengis.net/kml/2.2" version="2.3">'  # 2.3 kept the namespace of 2.2
_UNSAID = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")  # no characters of XML
_TITLES: Mapping[str, str] = {
    "joints": "Joints", "gaps": "Gaps", "alignment": "Alignment", "chainage_marks": "Stations",
}  # fmt: skip
_LINES: Mapping[str, tuple[str, float]] = {"gaps": (look.GAP, 6), "alignment": (look.LINE, 2)}


def write_kml(layers: Iterable[Layer], as_built: AsBuilt, folder: Path) -> None:
    """Write all layers as folders of one file. A joint without a place has no geometry."""
    title = as_built.title
    says = " ".join([f"Places are in {way_to_wgs84(as_built)}.", *CAUTIONS])
    head = f"<name>{_text(f'{title.name}, revision {title.revision}')}</name><description>{_text(says)}</description>"
    body = "".join(_folder(layer, as_built) for layer in layers)
    text = f'<?xml version="1.0" encoding="UTF-8"?>\n{_ROOT}<Document>{head}\n{_styles()}{body}</Document></kml>\n'
    (folder / NAME).write_text(text, encoding="utf-8", newline="\n")


def _text(value: Any) -> str:
    """Return a value as text of XML; what XML cannot hold is written by its number."""
    return escape(_UNSAID.sub(lambda found: f"[U+{ord(found[0]):04X}]", str(value)))


def _styles() -> str:
    """Every verdict has a style with its colour; the shape is the character before the name."""
    parts = [
        f'<Style id="{verdict.replace(" ", "_")}"><IconStyle><scale>0</scale></IconStyle>'
        f"<LabelStyle><color>{_colour(drawn.fill)}</color></LabelStyle></Style>\n"
        for verdict, drawn in look.FUSION.items()
    ]
    parts += [
        f'<Style id="{name}"><LineStyle><color>{_colour(colour)}</color><width>{width:g}</width></LineStyle></Style>\n'
        for name, (colour, width) in _LINES.items()
    ]
    plain_label = '<Style id="chainage_marks"><IconStyle><scale>0</scale></IconStyle></Style>\n'
    return "".join([*parts, plain_label])


def _colour(text: str) -> str:
    """Return a colour as the format has it: alpha, blue, green, red.

    >>> _colour("#8C510A")
    'ff0a518c'
    """
    return f"ff{text[5:7]}{text[3:5]}{text[1:3]}".lower()


def _folder(layer: Layer, as_built: AsBuilt) -> str:
    shapes = geometries_in_wgs84(layer.geometry, as_built)
    heads = _joint_heads(layer) if layer.name == "joints" else _other_heads(layer)
    rows = zip(*layer.values(), strict=True)
    marks = "".join(
        f"<Placemark>{head}{_data(layer, row)}{_geometry(shape)}</Placemark>\n"
        for head, row, shape in zip(heads, rows, shapes, strict=True)
    )
    return f"<Folder><name>{_TITLES[layer.name]}</name>\n{marks}</Folder>\n"


def _joint_heads(layer: Layer) -> Iterator[str]:
    """Yield name with its sign, what is said, time and style of each joint, in the order that the schema has."""
    when = plain(layer.frame["fused_at"], layer.table.columns[layer.table.names.index("fused_at")])
    columns = ["joint_id", "station", "fusion_verdict", "position_verdict"]
    for (name, station, fusion, position), time in zip(layer.frame[columns].itertuples(index=False), when, strict=True):
        stamp = f"<TimeStamp><when>{time}</when></TimeStamp>" if time else ""
        said = (
            f"{station or 'without a place'}; fusion {fusion}, position {position}. An estimate, not a utility locate."
        )
        yield (
            f"<name>{look.SIGNS[fusion][0]} {_text(name)}</name><description>{_text(said)}</description>{stamp}"
            f"<styleUrl>#{fusion.replace(' ', '_')}</styleUrl>"
        )


def _other_heads(layer: Layer) -> Iterator[str]:
    named = "station" if layer.name == "chainage_marks" else layer.table.names[0]
    for name in layer.frame[named]:
        yield f"<name>{_text(name)}</name><styleUrl>#{layer.name}</styleUrl>"


def _data(layer: Layer, row: tuple[Any, ...]) -> str:
    pairs = zip(layer.names.values(), layer.columns, row, strict=True)
    data = "".join(
        f'<Data name="{_attribute(name)}"><displayName>{_text(column.heading)}</displayName>'
        f"<value>{_text(str(value).lower() if isinstance(value, bool) else value)}</value></Data>"
        for name, column, value in pairs
        if value is not None
    )
    return f"<ExtendedData>{data}</ExtendedData>" if data else ""


def _attribute(text: str) -> str:
    return _text(text).replace('"', "&quot;")


def _geometry(shape: Any) -> str:
    if shape is None:
        return ""
    places = " ".join(f"{east:.8f},{north:.8f}" for east, north in shapely.get_coordinates(shape).tolist())
    inside = f"<coordinates>{places}</coordinates>"
    return (
        f"<Point>{inside}</Point>"
        if shape.geom_type == "Point"
        else f"<LineString><tessellate>1</tessellate>{inside}</LineString>"
    )
