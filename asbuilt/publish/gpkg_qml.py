"""A sheet of signs as QML, the style that desktop programs of the QGIS family keep in `layer_styles`.

Only old and plain elements of it are written, so that old and new versions read it; signs that it has no word for are
small SVG pictures inside the style itself. Properties are the flat `prop` elements, which every version since 2 reads.
"""

import base64
import math
from collections.abc import Iterable, Mapping
from xml.etree.ElementTree import Element, SubElement, tostring

from asbuilt.publish.gpkg_signs import FAR, PAPER, Label, Mark, Rule, Sheet, Stroke
from asbuilt.tables import Column

_HEAD = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
_NATIVE = {"disc": "circle", "diamond": "diamond", "triangle": "triangle", "square": "square", "cross": "cross2"}
_SCALE = {"diamond": 1.25, "triangle": 1.2, "square": 0.95}  # so that the shapes look equally heavy
_ARCS = {  # in half turns from the right, clockwise
    "ring": ((0.0, 0.999), (1.0, 1.999)),
    "broken ring": ((0.08, 0.42), (0.58, 0.92), (1.08, 1.42), (1.58, 1.92)),
    "arcs": ((-0.18, 0.18), (0.82, 1.18)),
    "struck circle": ((0.0, 0.999), (1.0, 1.999)),
}
_BESIDE = {"placement": "6", "predefinedPositionOrder": "TR,R,BR,TL,L,BL", "dist": "3.4", "distUnits": "MM"}
_ALONG = {"placement": "2", "dist": "3", "distUnits": "MM"} | {
    "overrunDistance": "30",  # a gap is often shorter than its label
    "overrunDistanceUnit": "MM",
}
_GEOMETRY = {Mark: "0", Stroke: "1"}


def qml(sheet: Sheet, columns: Iterable[Column] = ()) -> str:
    """Return the style as a document: rules by value and scale, labels, and headings for the columns."""
    root = Element("qgis", version="3.16.0", styleCategories="Symbology|Labeling|Fields")
    renderer = SubElement(
        root, "renderer-v2", type="RuleRenderer", symbollevels="1", enableorderby="0", forceraster="0"
    )
    rules, symbols = SubElement(renderer, "rules", key="rules"), SubElement(renderer, "symbols")
    for title, drawn, expression, nearer in (part for rule in sheet.rules for part in _parts(rule)):
        number = str(len(symbols))
        of_rule = {"key": f"rule {number}", "symbol": number, "label": title} | _bounds(expression, nearer)
        SubElement(rules, "rule", of_rule)
        _symbol(symbols, number, drawn)
    if sheet.labels:
        _labels(SubElement(root, "labeling", type="rule-based"), sheet.labels, _place(sheet.rules[0].draw[0]))
    headings = SubElement(root, "aliases")
    for place, column in enumerate(columns, start=1):  # the number of the row comes first
        SubElement(headings, "alias", field=column.name, index=str(place), name=column.heading)
    SubElement(root, "blendMode").text = "0"
    SubElement(root, "layerGeometryType").text = _GEOMETRY[type(sheet.rules[0].draw[0])]
    return _HEAD + tostring(root, encoding="unicode")


def _bounds(expression: str, nearer: int) -> dict[str, str]:
    filtered = {"filter": expression} if expression else {}
    return filtered | ({"scalemindenom": "1", "scalemaxdenom": str(nearer)} if nearer else {})


def _parts(rule: Rule) -> Iterable[tuple[str, tuple[Mark | Stroke, ...], str, int]]:
    """Yield what is drawn with its expression: a line that is short on the screen is a band about its middle."""
    where = condition(rule.where)
    if not rule.least_mm:
        yield rule.title, rule.draw, where, rule.nearer
        return
    shown = '"length_m" * 1000 / coalesce(@map_scale, 1)'  # a program that tells no scale draws the band
    band = rule.draw[0]
    yield rule.title, rule.draw, f"{where} AND {shown} >= {rule.least_mm:g}", rule.nearer
    if isinstance(band, Stroke):
        stub = Mark("band", rule.least_mm, band.colour, band.colour, band.width_mm)
        yield f"{rule.title}, short", (stub,), f"{where} AND {shown} < {rule.least_mm:g}", rule.nearer


def condition(where: Mapping[str, str | bool | int]) -> str:
    """Return the values as an expression.

    >>> condition({"in_line": True, "kind": "tie-in", "rank": 2})
    '"in_line" = true AND "kind" = \\'tie-in\\' AND "rank" = 2'
    """
    return " AND ".join(f'"{column}" = {_literal(value)}' for column, value in where.items())


def _literal(value: str | bool | int) -> str:
    if isinstance(value, str):
        return "'" + value.replace("'", "''") + "'"
    return str(value).lower()


# ---- symbols ---------------------------------------------------------------------------------------------------------


def _symbol(parent: Element, name: str, drawn: tuple[Mark | Stroke, ...]) -> None:
    along = isinstance(drawn[0], Stroke) or drawn[0].shape == "band"
    symbol = SubElement(parent, "symbol", name=name, type="line" if along else "marker", alpha="1")
    for part in drawn:
        if isinstance(part, Stroke):
            _layer(symbol, "SimpleLine", _stroke(part))
        elif part.shape == "band":
            line = _layer(symbol, "MarkerLine", {"placement": "centralpoint", "rotate": "1"})
            inner = SubElement(line, "symbol", name=f"@{name}@0", type="marker", alpha="1")
            _layer(inner, "SvgMarker", {"name": _picture(_band(part)), "size": f"{part.size_mm:g}", "size_unit": "MM"})
        else:
            layer = _layer(symbol, *_mark(part), level=part.level)
            if part.far_mm not in (0.0, part.size_mm):
                _sized(layer, part)


def _layer(symbol: Element, kind: str, properties: Mapping[str, str], *, level: int = 0) -> Element:
    layer = SubElement(symbol, "layer", {"class": kind, "enabled": "1", "locked": "0", "pass": str(level)})
    for key, value in properties.items():
        SubElement(layer, "prop", k=key, v=value)
    return layer


def _sized(layer: Element, mark: Mark) -> None:
    """Let the size of a mark follow the scale."""
    scale = _SCALE.get(mark.shape, 1.0)
    near, far = mark.size_mm * scale, mark.far_mm * scale
    sizes = (
        {"size": (near, far)}
        if mark.shape != "bar"
        else {"width": (1.2 * near, 1.2 * far), "height": (near / 2, far / 2)}
    )
    top = SubElement(SubElement(layer, "data_defined_properties"), "Option", type="Map")
    SubElement(top, "Option", name="name", value="", type="QString")
    properties = SubElement(top, "Option", name="properties", type="Map")
    for name, (at_hand, far_off) in sizes.items():
        entry = SubElement(properties, "Option", name=name, type="Map")
        SubElement(entry, "Option", name="active", value="true", type="bool")
        expression = f"if(@map_scale > {FAR}, {far_off:g}, {at_hand:g})"
        SubElement(entry, "Option", name="expression", value=expression, type="QString")
        SubElement(entry, "Option", name="type", value="3", type="int")
    SubElement(top, "Option", name="type", value="collection", type="QString")


def _stroke(stroke: Stroke) -> Mapping[str, str]:
    dash = ";".join(f"{part:g}" for part in stroke.dash_mm)
    dashed = {"use_custom_dash": "1", "customdash": dash, "customdash_unit": "MM"} if dash else {}
    beside = {"offset": f"{-stroke.beside_mm:g}", "offset_unit": "MM"}
    width = {"line_color": _rgb(stroke.colour), "line_width": f"{stroke.width_mm:g}", "line_width_unit": "MM"}
    return {"line_style": "solid", "capstyle": "flat", "joinstyle": "round"} | width | dashed | beside


def _mark(mark: Mark) -> tuple[str, Mapping[str, str]]:
    size = {"size": f"{mark.size_mm * _SCALE.get(mark.shape, 1.0):g}", "size_unit": "MM"}
    line = {"outline_color": _rgb(mark.line), "outline_width": f"{mark.width_mm:g}", "outline_width_unit": "MM"}
    fill = {"color": _rgb(mark.fill) if mark.fill else "255,255,255,0"}
    if mark.shape == "bar":
        sides = {"symbol_width": f"{1.2 * mark.size_mm:g}", "symbol_height": f"{0.5 * mark.size_mm:g}"}
        units = {"symbol_width_unit": "MM", "symbol_height_unit": "MM"}
        return "EllipseMarker", {"symbol_name": "rectangle"} | sides | units | fill | line
    if mark.shape in _ARCS:
        return "SvgMarker", {"name": _picture(_ring(mark))} | size
    return "SimpleMarker", {"name": _NATIVE[mark.shape]} | size | fill | line


def _rgb(colour: str) -> str:
    """Return #RRGGBB as three numbers and full cover.

    >>> _rgb("#5AB4AC")
    '90,180,172,255'
    """
    return ",".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5)) + ",255"


# ---- small pictures --------------------------------------------------------------------------------------------------


def _picture(body: str) -> str:
    text = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-50 -50 100 100" width="100" height="100">{body}</svg>'
    return "base64:" + base64.b64encode(text.encode()).decode()


def _ring(mark: Mark) -> str:
    """Return arcs of a circle; the picture is 100 wide and drawn `size_mm` wide."""
    width = 100 * mark.width_mm / mark.size_mm
    r = 50 - width / 2
    paths = "".join(_arc(r, start, end) for start, end in _ARCS[mark.shape])
    if mark.shape == "struck circle":
        paths += f"M{-0.7 * r:.1f} {0.7 * r:.1f}L{0.7 * r:.1f} {-0.7 * r:.1f}"
    return f'<path fill="none" stroke="{mark.line}" stroke-width="{width:.2f}" d="{paths}"/>'


def _arc(r: float, start: float, end: float) -> str:
    (x0, y0), (x1, y1) = ((r * math.cos(math.pi * at), r * math.sin(math.pi * at)) for at in (start, end))
    return f"M{x0:.2f} {y0:.2f}A{r:.2f} {r:.2f} 0 0 1 {x1:.2f} {y1:.2f}"


def _band(mark: Mark) -> str:
    """Return three strokes across the line, as a short stretch of the hatched band."""
    half = min(50.0, 50 * mark.width_mm / mark.size_mm)
    bars = "".join(f"M{x} {-half:.1f}V{half:.1f}" for x in (-32, 0, 32))
    return f'<path fill="none" stroke="{mark.fill}" stroke-width="16" d="{bars}"/>'


# ---- labels ----------------------------------------------------------------------------------------------------------


def _place(drawn: Mark | Stroke) -> Mapping[str, str]:
    """Return where labels stand: beside a point, or along a line on that side of it where it is drawn."""
    if isinstance(drawn, Mark):
        return _BESIDE
    return _ALONG | {"placementFlags": "10" if drawn.beside_mm >= 0 else "12"}


def _labels(labeling: Element, labels: Iterable[Label], place: Mapping[str, str]) -> None:
    rules = SubElement(labeling, "rules", key="labels")
    for number, label in enumerate(labels):
        of_rule = {"key": f"label {number}"} | _bounds(condition(label.where), label.nearer)
        settings = SubElement(SubElement(rules, "rule", of_rule), "settings", calloutType="simple")
        style = {"fontSize": f"{label.size_pt:g}", "fontSizeUnit": "Point", "fontWeight": "75" if label.bold else "50"}
        text = {"fieldName": text_of(label.columns), "isExpression": "1", "textColor": _rgb(label.colour)}
        element = SubElement(settings, "text-style", text | style | {"textOpacity": "1"})
        buffer = {"bufferDraw": "1", "bufferSize": "0.7", "bufferSizeUnits": "MM", "bufferColor": _rgb(PAPER)}
        SubElement(element, "text-buffer", buffer | {"bufferOpacity": "1"})
        SubElement(settings, "placement", dict(place))
        SubElement(settings, "rendering", drawLabels="1", scaleVisibility="0", obstacle="1")


def text_of(columns: Iterable[str]) -> str:
    """Return the expression of a label's text.

    >>> text_of(["gap_id"]), text_of(["a", "b"])
    ('"gap_id"', 'concat_ws(\\' / \\', "a", "b")')
    """
    names = [f'"{column}"' for column in columns]
    return names[0] if len(names) == 1 else f"concat_ws(' / ', {', '.join(names)})"
