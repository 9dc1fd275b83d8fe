"""A sheet of signs as SLD 1.0 (OGC 02-070), for programs that do not read QML.

The standard names few shapes: a diamond is a square on its corner, a bar a small square, and rings are circles with a
broken stroke. Sizes are in pixels of 0.28 mm, as the standard has them. A value of a filter is a text there, which
programs compare with a boolean each in its own way (measured with QGIS 3.22: no row is equal to 'true' once
the filter is left to SQLite): no row is left out by one, and what is not in line is crossed out on top.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from xml.etree.ElementTree import Element, SubElement, tostring

from asbuilt.publish.gpkg_signs import FAR, Label, Mark, Rule, Sheet, Stroke

_NAMES = {
    "xmlns": "http://www.opengis.net/sld",
    "xmlns:ogc": "http://www.opengis.net/ogc",
    "version": "1.0.0",
}
_PIXEL_MM = 0.28
_KNOWN = {"diamond": "square", "square": "square", "bar": "square", "triangle": "triangle", "cross": "cross"}
_DASHES = {"broken ring": (0.17, 0.08), "arcs": (0.18, 0.32)}  # shares of the circle: drawn, left out
_STARTS = {"broken ring": 0.21, "arcs": 0.09}


def sld(sheet: Sheet) -> str:
    """Return the style as a document. Of marks that overlap, those of later rules lie on top."""
    root = Element("StyledLayerDescriptor", _NAMES)
    layer = SubElement(root, "NamedLayer")
    SubElement(layer, "Name").text = sheet.table
    style = SubElement(SubElement(layer, "UserStyle"), "FeatureTypeStyle")
    rules = sorted(sheet.rules, key=lambda rule: any(value is False for value in rule.where.values()))
    for rule in (part for whole in rules for part in _near_and_far(whole)):
        element = _rule(style, rule)
        for part in rule.draw:
            _line(element, part) if isinstance(part, Stroke) else _point(element, part)
    for label in sheet.labels:
        _text(_rule(style, Rule("label", (), label.where, label.nearer)), label)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode")


def _near_and_far(rule: Rule) -> tuple[Rule, ...]:
    """Return two rules where a mark has two sizes: what follows the scale is one rule for each range of it."""
    mark = rule.draw[0]
    if isinstance(mark, Stroke) or mark.far_mm in (0.0, mark.size_mm):
        return (rule,)
    far = replace(mark, size_mm=mark.far_mm)
    return (replace(rule, nearer=FAR), replace(rule, title=f"{rule.title}, far", draw=(far,), farther=FAR))


def _rule(style: Element, said: Rule) -> Element:
    rule = SubElement(style, "Rule")
    SubElement(rule, "Title").text = said.title
    where = {column: value for column, value in said.where.items() if value is not True}
    if where:
        parent = SubElement(rule, "ogc:Filter")
        parent = SubElement(parent, "ogc:And") if len(where) > 1 else parent
        for column, value in where.items():
            equal = SubElement(parent, "ogc:PropertyIsEqualTo")
            SubElement(equal, "ogc:PropertyName").text = column
            SubElement(equal, "ogc:Literal").text = str(value).lower() if isinstance(value, bool) else str(value)
    if said.farther:
        SubElement(rule, "MinScaleDenominator").text = str(said.farther)
    if said.nearer:
        SubElement(rule, "MaxScaleDenominator").text = str(said.nearer)
    return rule


def _point(rule: Element, mark: Mark) -> None:
    graphic = SubElement(SubElement(rule, "PointSymbolizer"), "Graphic")
    drawn = SubElement(graphic, "Mark")
    SubElement(drawn, "WellKnownName").text = _KNOWN.get(mark.shape, "circle")
    empty = {"fill": "#FFFFFF", "fill-opacity": "0"}  # some programs fill a mark that has no Fill with black
    _parameters(SubElement(drawn, "Fill"), {"fill": mark.fill} if mark.fill else empty)
    _parameters(SubElement(drawn, "Stroke"), {"stroke": mark.line, "stroke-width": _px(mark.width_mm)} | _dash(mark))
    SubElement(graphic, "Size").text = _px(mark.size_mm * (0.5 if mark.shape == "bar" else 1.0))
    if mark.shape == "diamond":
        SubElement(graphic, "Rotation").text = "45"


def _dash(mark: Mark) -> dict[str, str]:
    if mark.shape not in _DASHES:
        return {}
    around = math.pi * mark.size_mm
    dash = " ".join(_px(share * around) for share in _DASHES[mark.shape])
    return {"stroke-dasharray": dash, "stroke-dashoffset": _px(_STARTS[mark.shape] * around)}


def _line(rule: Element, stroke: Stroke) -> None:
    symbolizer = SubElement(rule, "LineSymbolizer")
    dash = {"stroke-dasharray": " ".join(map(_px, stroke.dash_mm))} if stroke.dash_mm else {}
    said = {"stroke": stroke.colour, "stroke-width": _px(stroke.width_mm), "stroke-linecap": "butt"} | dash
    _parameters(SubElement(symbolizer, "Stroke"), said)


def _text(rule: Element, label: Label) -> None:
    symbolizer = SubElement(rule, "TextSymbolizer")
    text = SubElement(symbolizer, "Label")
    for number, column in enumerate(label.columns):
        if number:
            SubElement(text, "ogc:Literal").text = " / "
        SubElement(text, "ogc:PropertyName").text = column
    weight = "bold" if label.bold else "normal"
    _parameters(SubElement(symbolizer, "Font"), {"font-size": f"{label.size_pt:g}", "font-weight": weight})
    _parameters(SubElement(symbolizer, "Fill"), {"fill": label.colour})


def _parameters(parent: Element, values: Mapping[str, str]) -> None:
    for name, value in values.items():
        SubElement(parent, "CssParameter", name=name).text = value


def _px(mm: float) -> str:
    return f"{mm / _PIXEL_MM:.2f}"
