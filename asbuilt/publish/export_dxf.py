"""DXF for drawing programs: release 2010, in the route's CRS and its unit, one layer a verdict. Made by ezdxf, which is
asked for only here: unlike a vector driver it writes the table of layers, their colours and the unit of the drawing.
"""

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from asbuilt import look
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.publish.export_layers import Layer
from asbuilt.sentence import several

if TYPE_CHECKING:
    from ezdxf.document import Drawing

NAME = "record.dxf"
_UNITS: Mapping[str, int] = {
    "metre": 6,
    "foot": 2,
    "US survey foot": 21,
}  # $INSUNITS of the DXF reference (from memory)
_HEIGHT_M, _ROUND_M = 2.0, 0.5
_ALIGNMENT, _GAPS, _STATIONS, _WORDS = "ALIGNMENT", "GAPS IN THE RECORD", "STATIONS", "WORDS"
_DATES = re.compile(r"(\$TDU?(?:CREATE|UPDATE)\n *40\n)[^\n]*")


def write_dxf(layers: Sequence[Layer], as_built: AsBuilt, folder: Path) -> None:
    """Write joints as points with their ids, gaps, alignments and stations. The same record gives the same bytes."""
    import ezdxf  # noqa: PLC0415 - an extra: whoever asks for no DXF needs no library for it

    crs = pyproj.CRS.from_wkt(as_built.crs_wkt)
    with _without_a_clock(ezdxf):
        drawing = ezdxf.new("R2010", setup=True)
        _prepare(drawing, crs)
        metres = float(crs.axis_info[0].unit_conversion_factor)
        by_name = {layer.name: layer.frame for layer in layers}
        _joints(drawing.modelspace(), by_name["joints"], metres)
        _lines(drawing.modelspace(), by_name, metres)
        _stations(drawing.modelspace(), by_name["chainage_marks"], metres)
        _words(drawing.modelspace(), by_name["alignment"], as_built, metres)
        text = io.StringIO()
        drawing.write(text)
    dated = _DATES.sub(rf"\g<1>{_julian(as_built.title.as_of)}", text.getvalue())
    (folder / NAME).write_text(dated, encoding="utf-8", newline="\r\n")


@contextmanager
def _without_a_clock(library: Any) -> Iterator[None]:
    """Have the library write neither the time nor random ids; that is a switch of the whole library, put back after."""
    before = library.options.write_fixed_meta_data_for_testing
    library.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        library.options.write_fixed_meta_data_for_testing = before


def _julian(moment: datetime) -> str:
    """Return the Julian date of a moment as its own clock has it, as the format counts days.

    >>> _julian(datetime(2000, 1, 1, 12))
    '2451545.000000'
    """
    days = moment.toordinal() + 1721424.5 + (moment.hour * 3600 + moment.minute * 60 + moment.second) / 86400
    return f"{days:.6f}"


def _prepare(drawing: "Drawing", crs: pyproj.CRS) -> None:
    drawing.header["$INSUNITS"] = _UNITS.get(crs.axis_info[0].unit_name, 0)
    drawing.header["$MEASUREMENT"] = 0 if "foot" in crs.axis_info[0].unit_name else 1
    drawing.header["$PDMODE"], drawing.header["$PDSIZE"] = 34, 1.0  # a point is seen: a circle with a cross in it
    for verdict, drawn in look.FUSION.items():
        drawing.layers.add(
            layer_of(verdict), true_color=_rgb(drawn.line if verdict == look.NOT_RECORDED else drawn.fill)
        )
    drawing.layers.add(_ALIGNMENT, true_color=_rgb(look.LINE))
    drawing.layers.add(_GAPS, true_color=_rgb(look.GAP), linetype="DASHED")
    for name in (_STATIONS, _WORDS):
        drawing.layers.add(name, true_color=_rgb(look.LINE))


def layer_of(verdict: str) -> str:
    """Return the name of the layer that holds the joints of a fusion verdict.

    >>> layer_of("out of window")
    'JOINTS FUSION OUT OF WINDOW'
    """
    return f"JOINTS FUSION {verdict.upper()}"


def _rgb(colour: str) -> int:
    return int(colour[1:], 16)


def _plain(text: str) -> str:
    """Return a text as it is read: no line breaks, and no character that the format takes for a sign of its own.

    >>> _plain("a%%d^J\\nb")
    'a% %d^ J b'
    """
    return (
        "".join(c if c.isprintable() else " " for c in text)
        .replace("%%", "% %")
        .replace("^", "^ ")
        .replace("\\U+", "\\ U+")
    )


def _joints(space: Any, joints: Any, metres: float) -> None:
    height, aside = _HEIGHT_M / metres, _ROUND_M / metres
    columns = ["joint_id", "fusion_verdict", "geometry"]
    for name, verdict, point in joints[columns].itertuples(index=False):
        if point is not None:
            how = {"layer": layer_of(verdict)}
            space.add_point((point.x, point.y), dxfattribs=how)
            space.add_text(_plain(name), height=height, dxfattribs=how | {"insert": (point.x + aside, point.y + aside)})


def _lines(space: Any, by_name: Mapping[str, Any], metres: float) -> None:
    for line in by_name["alignment"]["geometry"]:
        space.add_lwpolyline(shapely.get_coordinates(line).tolist(), dxfattribs={"layer": _ALIGNMENT})
    gaps = by_name["gaps"]
    for line, missing in zip(gaps["geometry"], gaps["missing_records"], strict=True):
        how = {"layer": _GAPS, "const_width": _ROUND_M / metres}
        space.add_lwpolyline(shapely.get_coordinates(line).tolist(), dxfattribs=how)
        middle = line.interpolate(0.5, normalized=True)
        place = {"layer": _GAPS, "insert": (middle.x, middle.y - 2 * _HEIGHT_M / metres)}
        space.add_text(several(int(missing), "missing record"), height=_HEIGHT_M / metres, dxfattribs=place)


def _stations(space: Any, marks: Any, metres: float) -> None:
    how = {"layer": _STATIONS}
    for station, point in zip(marks["station"], marks["geometry"], strict=True):
        space.add_circle((point.x, point.y), _ROUND_M / metres, dxfattribs=how)
        place = how | {"insert": (point.x + _ROUND_M / metres, point.y - 1.5 * _HEIGHT_M / metres)}
        space.add_text(_plain(station), height=_HEIGHT_M / metres, dxfattribs=place)


def _words(space: Any, alignment: Any, as_built: AsBuilt, metres: float) -> None:
    """Say above the drawing what it is, in which frame, and the cautions, one line each."""
    title = as_built.title
    low, top = (
        np.min([line.bounds[0] for line in alignment["geometry"]]),
        max(line.bounds[3] for line in alignment["geometry"]),
    )
    lines = [f"{title.name}, revision {title.revision}, as of {title.as_of:%Y-%m-%d %H:%M}", title.crs, *CAUTIONS]
    for number, text in enumerate(reversed(lines), start=5):
        place = (float(low), float(top + number * 2 * _HEIGHT_M / metres))
        space.add_text(_plain(text), height=_HEIGHT_M / metres, dxfattribs={"layer": _WORDS, "insert": place})
