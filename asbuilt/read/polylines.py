"""One continuous polyline from a file, in the file's own frame: layers of lines, or a CSV of points in order."""

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from shapely.errors import ShapelyError

from asbuilt.errors import AlignmentError, NotBuiltError, Problem
from asbuilt.read.cells import Read, angles, decimal_sign, numbers
from asbuilt.read.headings import Layout, layout
from asbuilt.read.rows import SourceRows, source_rows
from asbuilt.read.sheets import TEXT_ENDINGS, frame_of, read_sheets
from asbuilt.settings import AlignmentSource, RecordSource

LAYER_ENDINGS = (".gpkg", ".geojson", ".json", ".shp", ".kml")
_CLOSES = 1e-3  # metres (or 1e-8 degrees): parts that end where the next begins are one line


@dataclass(frozen=True)
class Polyline:
    """Vertices (n, 2) as easting, northing or longitude, latitude; levels (n,), NaN: none; the frame the file names.

    `is_angle` says what the columns of a CSV were, whose levels are in metres; None where the file's own frame decides,
    then levels are in its unit.
    """

    xy: np.ndarray
    z: np.ndarray
    crs: str
    is_angle: bool | None
    notes: tuple[str, ...] = ()
    unit: str = ""  # what the headings of a CSV say of easting and northing


def read_polyline(path: Path, source: AlignmentSource) -> Polyline:
    """Read one line. Raises AlignmentError, or NotBuiltError for a kind of file that is not read."""
    ending = path.suffix.lower()
    if ending in TEXT_ENDINGS:
        return _from_points(path, source)
    if ending in LAYER_ENDINGS:
        return _from_layer(path, source)
    do = f"save it as one of {', '.join((*LAYER_ENDINGS, *TEXT_ENDINGS))}"
    raise NotBuiltError(Problem(source.file, f"alignments in {ending or 'a file without ending'} are not read", do))


def _from_layer(path: Path, source: AlignmentSource) -> Polyline:
    try:
        names = [str(name) for name, kind in pyogrio.list_layers(path) if kind is not None]
        layer = source.layer or (names[0] if len(names) == 1 else "")
        if layer not in names:
            do = f"say layer = one of {', '.join(names)}"
            raise AlignmentError(Problem(source.file, f"which layer holds the line is not clear ({layer!r})", do))
        with np.errstate(invalid="ignore"):  # what is not finite is told below
            frame = pyogrio.read_dataframe(path, layer=layer, columns=[])
    except (DataSourceError, DataLayerError, ShapelyError) as error:
        raise AlignmentError(
            Problem(source.file, f"cannot be read ({str(error).strip()})", "export it anew")
        ) from error
    geometries = frame.geometry.to_numpy()
    is_line = np.isin(shapely.get_type_id(geometries), [1, 2, 5])  # LineString, LinearRing, MultiLineString
    parts = [p for p in shapely.get_parts(geometries[is_line]) if not p.is_empty]
    notes = (f"{int((~is_line).sum())} features that are no lines were left out",) if not is_line.all() else ()
    text = frame_of(path, frame.crs.to_string() if frame.crs else "", source.crs)
    coordinates = [shapely.get_coordinates(p, include_z=True) for p in parts]
    xyz, joined = _one_line(
        coordinates, source.file, tolerance=1e-8 if frame.crs and frame.crs.is_geographic else _CLOSES
    )
    return Polyline(xyz[:, :2], xyz[:, 2], text, None, (*notes, *joined))


def _one_line(parts: list[np.ndarray], file: str, *, tolerance: float) -> tuple[np.ndarray, tuple[str, ...]]:
    """Join parts that follow on one another; else let the merge of the library put them in order; else refuse."""
    if not parts:
        raise AlignmentError(Problem(file, "there is no line in it", "name the layer that holds the line"))
    for part in parts:
        if not np.isfinite(part[:, :2]).all():
            at = int(np.flatnonzero(~np.isfinite(part[:, :2]).all(axis=1))[0]) + 1
            raise AlignmentError(Problem(file, f"vertex {at} is not finite", "mend the file"))
    _refuse_repeated(parts, file)
    breaks = [float(np.hypot(*(b[0, :2] - a[-1, :2]))) for a, b in pairwise(parts)]
    if all(size <= tolerance for size in breaks):
        return np.concatenate(parts), ()
    merged = shapely.line_merge(shapely.multilinestrings([shapely.linestrings(p) for p in parts]))
    if merged.geom_type == "LineString":
        note = f"its {len(parts)} parts were put in order, starting with the first"
        whole = shapely.get_coordinates(merged, include_z=True)
        forward = np.hypot(*(whole[0, :2] - parts[0][0, :2])) <= np.hypot(*(whole[-1, :2] - parts[0][0, :2]))
        return (whole if forward else whole[::-1]), (note,)
    at = int(np.argmax(np.array(breaks) > tolerance))
    x, y = parts[at][-1, :2]
    end = f"part {at + 1} ends at ({x:.9g}, {y:.9g})"
    what = f"the line is broken: {end}, and part {at + 2} begins {breaks[at]:.3f} units away"
    raise AlignmentError(Problem(file, what, "draw one continuous line, or name each line in its own [[alignment]]"))


def _refuse_repeated(parts: list[np.ndarray], file: str) -> None:
    """A part that is drawn twice would be joined to itself: there and back again."""
    drawn: dict[bytes, int] = {}
    for i, part in enumerate(parts, start=1):
        way = min(part[:, :2].tobytes(), part[::-1, :2].tobytes())
        if drawn.setdefault(way, i) != i:
            raise AlignmentError(Problem(file, f"part {i} is drawn on part {drawn[way]}", "draw each part once"))


def _from_points(path: Path, source: AlignmentSource) -> Polyline:
    sheet = read_sheets(path, source.file, RecordSource(files=(source.file,)))[0]
    asked = RecordSource(files=(source.file,))
    found = layout(sheet, asked)
    names = ("longitude", "latitude"), ("easting", "northing")
    pair = next((p for p in names if found and set(p) <= set(found.uses)), None)
    if found is None or pair is None:
        do = "head two columns easting and northing, or latitude and longitude"
        raise AlignmentError(Problem(source.file, "no two columns are positions", do))
    rows = source_rows(sheet, found)
    columns = [rows.of(found.uses[name]) for name in pair]
    decimal = decimal_sign(columns).replace("?", "") or "."
    read = [_axis(name, cells, decimal) for name, cells in zip(pair, columns, strict=True)]
    level = _levels(rows, found, decimal)
    wrong = [(name, _missing_too(column)) for name, column in zip(pair, read, strict=True)]
    faults = [
        Problem(
            f"{source.file} row {rows.number[i]}, column {found.uses[name].columns[0].heading}", what, "mend the row"
        )
        for name, by_row in [*wrong, ("elevation", level.faults)]
        for i, what in sorted(by_row.items())
    ]
    if faults:
        raise AlignmentError(faults)
    if not len(rows.cells):
        raise AlignmentError(Problem(source.file, "there is no point below the heading", "a line needs two points"))
    xy = np.column_stack([column.values for column in read])
    notes = tuple(n.removeprefix(f"{sheet.where}: ") for n in found.notes if "could be elevation" in n)
    return Polyline(xy, level.values, "", pair[0] == "longitude", notes, found.uses[pair[0]].unit)


def _levels(rows: SourceRows, found: Layout, decimal: str) -> Read:
    use = found.uses.get("elevation")
    if use is None:
        return Read(np.full(len(rows.cells), np.nan), {})
    return numbers(rows.of(use), decimal=decimal, from_unit=use.unit, to_unit="m")


def _axis(name: str, cells: list[object], decimal: str) -> Read:
    if name in ("easting", "northing"):
        return numbers(cells, decimal=decimal, from_unit="", to_unit="")
    letters, limit = ("NS", 90.0) if name == "latitude" else ("EW", 180.0)
    return angles(cells, decimal=decimal, letters=letters, limit=limit)


def _missing_too(column: Read) -> dict[int, str]:
    return {int(i): "there is no number" for i in np.flatnonzero(np.isnan(column.values))} | column.faults
