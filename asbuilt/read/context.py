"""What lies around the line, from files of others (roads, parcels, other assets), for the map to draw behind it."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from shapely.errors import ShapelyError

from asbuilt import crs
from asbuilt.as_built import Context
from asbuilt.crs import Crossing, Frame
from asbuilt.errors import FrameError, InputError, Problem
from asbuilt.read.alignments import Designs
from asbuilt.read.sheets import frame_of
from asbuilt.sentence import several
from asbuilt.settings import ContextSource, Settings

_ENDINGS = (".gpkg", ".geojson", ".json", ".shp")
_WITHIN_M = 500.0
_FINEST_M = 0.1
_COARSEST_M = 12.8  # farther off than that, a road no longer helps to find a line
_MOST_VERTICES = 200_000  # of all layers together: what a phone draws without stuttering (the writers' judgement)


@dataclass(frozen=True)
class Surroundings:
    """The layers that the map draws behind the line, how they came into the route's frame, and what was found."""

    layers: tuple[Context, ...] = ()
    crossings: tuple[Crossing, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Layer:
    """One layer in hand: single parts, the number of the feature that each is of, the text of each feature."""

    source: ContextSource
    parts: np.ndarray
    feature: np.ndarray
    text: np.ndarray
    left_out: tuple[str, ...]
    crossing: Crossing


def read_context(settings: Settings, designs: Designs) -> Surroundings:
    """Read the layers of [[context]]. Raises InputError with the problems of all files."""
    found: list[_Layer] = []
    problems: list[Problem] = []
    for source in settings.context:
        try:
            found.append(_near(source, Path(settings.folder / source.file), designs))
        except InputError as error:
            problems += error.problems
        except FrameError as error:
            do = "save the layer in the frame of the route, or leave it out"
            problems += [Problem(f"{source.where}, {p.where}", p.found, do) for p in error.problems]
    if problems:
        raise InputError(problems)
    thin, tolerance_m = _thinned([layer.parts for layer in found], designs.frame.metres_per_unit)
    layers = [
        Context(layer.source.title, layer.source.where, parts, _labels(layer))
        for layer, parts in zip(found, thin, strict=True)
        if len(parts)
    ]
    notes = [_note(layer) for layer in found]
    if tolerance_m > _FINEST_M:
        notes.append(
            f"context: its outlines were simplified by up to {tolerance_m:g} m, so that no more than"
            f" {_MOST_VERTICES:,} vertices remain for the map"
        )
    return Surroundings(tuple(layers), tuple(dict.fromkeys(layer.crossing for layer in found)), tuple(notes))


def _near(source: ContextSource, path: Path, designs: Designs) -> _Layer:
    """Return what of a layer lies around the lines, in the route's frame. Raises InputError or FrameError."""
    geometry, text, stated = _features(path, source)
    origin = _origin(source, stated)
    is_blank = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    told = np.flatnonzero(~is_blank)
    parts, feature = _exploded(shapely.force_2d(geometry[told]), told)
    box = _box(designs)
    close = _may_reach(parts, box, origin=origin, designs=designs)
    moved, crossing = _brought(parts[close], origin, designs)
    parts, feature = _exploded(_clipped(moved, box), feature[close])
    far, blank = len(np.setdiff1d(told, feature)), int(is_blank.sum())
    left_out = (
        *([f"{several(far, 'feature')} farther than {_WITHIN_M:g} m from the lines left out"] if far else []),
        *([f"{several(blank, 'feature')} without a place left out"] if blank else []),
    )
    return _Layer(source, parts, feature, text, left_out, replace(crossing, accuracy_m=_accuracy_m(origin, crossing)))


def _features(path: Path, source: ContextSource) -> tuple[np.ndarray, np.ndarray, str]:
    """Return geometries and texts of all features, shape (n,), and the frame that the file names."""
    if path.suffix.lower() not in _ENDINGS:
        what = f"layers in {path.suffix.lower() or 'a file without ending'} are not read"
        raise InputError(Problem(source.file, what, f"save it as one of {', '.join(_ENDINGS)}"))
    try:
        layer = _layer_name(path, source)
        columns = [str(name) for name in pyogrio.read_info(path, layer=layer)["fields"]]
        if source.label and source.label not in columns:
            do = f"say label = one of {', '.join(columns)}" if columns else "leave label out: it has no columns"
            raise InputError(Problem(source.where, f"there is no column {source.label!r}", do))
        asked = [source.label] if source.label else []
        frame = pyogrio.read_dataframe(path, layer=layer, columns=asked, on_invalid="ignore")
    except (DataSourceError, DataLayerError, ShapelyError) as error:
        raise InputError(Problem(source.file, f"cannot be read ({str(error).strip()})", "export it anew")) from error
    stated = frame_of(path, frame.crs.to_string() if frame.crs else "", source.crs)
    text = _texts(frame[source.label]) if source.label else np.full(len(frame), "", dtype=object)
    return frame.geometry.to_numpy(dtype=object), text, stated


def _layer_name(path: Path, source: ContextSource) -> str:
    names = [str(name) for name, kind in pyogrio.list_layers(path) if kind is not None]
    layer = source.layer or (names[0] if len(names) == 1 else "")
    if layer not in names:
        what = f"there is no layer {layer!r}" if layer else "it is not clear which layer is meant"
        do = f"say layer = one of {', '.join(names)}" if names else "name a file that holds features with a place"
        raise InputError(Problem(source.file, what, do))
    return layer


def _texts(values: pd.Series) -> np.ndarray:
    """Return each value as text: nothing as "", a whole number without its point."""
    there = values.astype(object).where(values.notna(), "").tolist()
    told = [str(int(v)) if isinstance(v, float) and v.is_integer() else str(v).strip() for v in there]
    return np.array(told, dtype=object)


def _origin(source: ContextSource, stated: str) -> Frame:
    """Return the frame of a layer: what the file names, or what route.toml says where the file names none."""
    if not stated and not source.crs:
        do = 'say crs = "..." in its [[context]] table'
        raise InputError(Problem(source.where, "the file names no coordinate frame", do))
    origin = crs.frame(source.crs or stated, where=f"{source.where}, crs")
    named = crs.frame(stated, where=source.where) if stated else origin
    if not named.crs.equals(origin.crs, ignore_axis_order=True):
        what = f"the file says {named.label}, route.toml says {origin.label}"
        raise InputError(Problem(source.where, what, "make them agree"))
    return origin


def _exploded(geometry: np.ndarray, feature: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the single parts of geometries, without empty ones, and what `feature` says of each; shapes (p,)."""
    while True:
        geometry, at = shapely.get_parts(geometry, return_index=True)
        feature = feature[at]
        if not (shapely.get_type_id(geometry) >= shapely.GeometryType.MULTIPOINT).any():
            break
    there = ~shapely.is_empty(geometry)
    return geometry[there], feature[there]


def _box(designs: Designs) -> np.ndarray:
    """Return west, south, east and north of what lies around the lines, in the unit of the route's frame."""
    xy = np.concatenate([design.line.xy for design in designs.lines])
    reach = _WITHIN_M / designs.frame.metres_per_unit
    return np.concatenate([xy.min(axis=0) - reach, xy.max(axis=0) + reach])


def _may_reach(parts: np.ndarray, box: np.ndarray, *, origin: Frame, designs: Designs) -> np.ndarray:
    """Return which parts may reach into the box, shape (p,): a whole country need not be brought over for one line."""
    edge = shapely.get_coordinates(shapely.segmentize(shapely.box(*box), (box[2:] - box[:2]).min() / 8))
    try:
        x, y, _ = crs.transform(
            edge[:, 0].copy(), edge[:, 1].copy(), origin=designs.frame, target=origin, area=designs.area
        )
    except FrameError:  # there is no way back: the way there is told when it is taken
        return np.ones(len(parts), dtype=bool)
    if not np.isfinite(x).all():
        return np.ones(len(parts), dtype=bool)
    hair_x, hair_y = np.ptp(x) / 50, np.ptp(y) / 50  # the edge bends a little between its vertices
    west, south, east, north = shapely.bounds(parts).T if len(parts) else np.empty((4, 0))
    return (
        (west <= x.max() + hair_x) & (east >= x.min() - hair_x)
        & (south <= y.max() + hair_y) & (north >= y.min() - hair_y)
    )  # fmt: skip


def _brought(parts: np.ndarray, origin: Frame, designs: Designs) -> tuple[np.ndarray, Crossing]:
    """Return the parts in the route's frame; None for one that has no place there whole."""
    xy, at = shapely.get_coordinates(parts, return_index=True)
    x, y, crossing = crs.transform(
        xy[:, 0].copy(), xy[:, 1].copy(), origin=origin, target=designs.frame, area=designs.area
    )
    is_lost = ~(np.isfinite(x) & np.isfinite(y))
    moved = shapely.set_coordinates(parts.copy(), np.where(is_lost[:, None], 0.0, np.column_stack([x, y])))
    moved[at[is_lost]] = None
    return moved, crossing


def _accuracy_m(origin: Frame, crossing: Crossing) -> float:
    """Return how well the places are known: by the way, and by what the name of their frame covers."""
    return max(crossing.accuracy_m, origin.ensemble_accuracy_m)


def _clipped(parts: np.ndarray, box: np.ndarray) -> np.ndarray:
    """Return what of the parts lies in the box; most lie in it whole, and are left as they are."""
    limits = shapely.bounds(parts)
    is_cut = ~((limits[:, :2] >= box[:2]) & (limits[:, 2:] <= box[2:])).all(axis=1)
    cut = parts[is_cut]
    cut = np.where(shapely.is_valid(cut), cut, shapely.make_valid(cut))  # a crossed outline cannot be cut
    parts[is_cut] = shapely.clip_by_rect(cut, *box)
    return parts


def _thinned(layers: list[np.ndarray], metres_per_unit: float) -> tuple[list[np.ndarray], float]:
    """Return the layers simplified, and by how many metres at most: by twice as many until they fit."""
    tolerance_m = _FINEST_M
    while True:
        thin = [shapely.simplify(parts, tolerance_m / metres_per_unit) for parts in layers]
        many = int(sum(shapely.get_num_coordinates(parts).sum() for parts in thin))
        if many <= _MOST_VERTICES:
            return thin, tolerance_m
        if tolerance_m >= _COARSEST_M:
            what = f"{many:,} vertices remain around the lines though outlines were simplified by {tolerance_m:g} m"
            do = f"give layers that have at most {_MOST_VERTICES:,} there, without small features"
            raise InputError(Problem("context", what, do))
        tolerance_m *= 2


def _labels(layer: _Layer) -> np.ndarray:
    """Return the text beside each part, shape (p,): a feature of several parts has it once, at its largest."""
    if not len(layer.parts):
        return np.array([], dtype=object)
    order = np.lexsort([-shapely.length(layer.parts), layer.feature])
    first = order[np.unique(layer.feature[order], return_index=True)[1]]
    out = np.full(len(layer.parts), "", dtype=object)
    out[first] = layer.text[layer.feature[first]]
    return out


def _note(layer: _Layer) -> str:
    """Say what was drawn and what was not, and how it came into the route's frame."""
    many = len(np.unique(layer.feature))
    drawn = f"{several(many, 'feature')} drawn behind the line as {layer.source.title!r}"
    if not many:
        drawn = f"nothing to draw as {layer.source.title!r}: check its frame, or leave it out"
    way = f"brought from {layer.crossing.origin} by '{layer.crossing.operation}'"
    if layer.crossing.operation == "none needed":
        way = "in the frame of the route"
    good = f", good to {layer.crossing.accuracy_m:g} m" if layer.crossing.accuracy_m else ""
    return f"{layer.source.where}: {'; '.join((drawn, *layer.left_out, way + good))}"
