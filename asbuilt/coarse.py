"""Places on a grid: the line is drawn anew through grid points, and everything stands on that line at a round chainage.

What is shown is made of round values alone, so that no figure gives away more than the grid does. Reaches are rounded
outwards: what lies in them still does.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyproj
import shapely

from asbuilt.as_built import AsBuilt
from asbuilt.crs import Frame, to_base
from asbuilt.errors import Problem, SettingsError
from asbuilt.judge.completeness import uncovered_m
from asbuilt.receivers import reach_wgs84
from asbuilt.stationing import Stationing, label

_STATION = re.compile(r"(?<![\w.+])(-?)(\d+)\+(\d+(?:\.\d+)?)(?![\w+])")
_COORDINATE = re.compile(r"(?<![\w.])-?(?:\d+\.\d{4,}|\d{6,}(?:\.\d+)?)(?!\w)")
_REACHES = ("gaps", "strings", "test_sections", "pipes", "runs")
_TEXTS = {"joints": ("reasons",), "gaps": ("evidence",), "records": ("reason",), "strings": ("reasons",),
          "findings": ("statement", "proposal"), "completeness": ("says",),
          "decisions": ("said",), "window_checks": ("cause",)}  # fmt: skip


@dataclass(frozen=True)
class _Path:
    """One line through grid points: `chainage_m`, shape (n,), rises; `xy`, shape (n, 2), is in the frame's unit."""

    chainage_m: np.ndarray
    xy: np.ndarray
    stationing: Stationing

    def at(self, chainage_m: np.ndarray) -> np.ndarray:
        """Return the places of chainages, shape (m, 2); NaN stays."""
        return np.column_stack([np.interp(chainage_m, self.chainage_m, axis) for axis in self.xy.T])

    def between(self, low_m: float, high_m: float) -> shapely.LineString | None:
        """Return the path from one chainage to another; None where there is nothing between them."""
        if not high_m > low_m:
            return None
        inside = self.chainage_m[(self.chainage_m > low_m) & (self.chainage_m < high_m)]
        return shapely.LineString(self.at(np.array([low_m, *inside, high_m])))


def coarsened(as_built: AsBuilt, grid_m: float) -> AsBuilt:
    """Return the record with its places on a grid of `grid_m` metres. Raises SettingsError for a line too short."""
    of = Frame("", pyproj.CRS.from_wkt(as_built.crs_wkt))
    paths = _paths(as_built, grid_m, of.metres_per_unit)
    frames = dict(as_built.tables)
    frames["joints"] = _joints(frames["joints"], paths, grid_m, of)
    frames["positions"] = _positions(frames["positions"], paths, grid_m, of)
    frames |= {name: _reach(frames[name], paths, grid_m) for name in _REACHES}
    frames["alignment"] = _alignment(frames["alignment"], paths)
    frames["alignment_vertices"] = _vertices(frames["alignment_vertices"], paths)
    frames["chainage_marks"] = _marks(frames["chainage_marks"], paths, grid_m)
    frames["ties"] = frames["ties"].iloc[:0]
    said = _Texts(as_built, grid_m)
    for name, columns in _TEXTS.items():
        frames[name] = frames[name].assign(**{c: frames[name][c].map(said.rounded) for c in columns})
    lengths = _lengths(frames, anything=as_built.counts.covered_m > 0)
    frames["build_info"] = _counted(frames["build_info"], lengths)
    shift, way = reach_wgs84([path.xy for path in paths.values()], of=of, moment=as_built.title.as_of)
    frames["build_info"] = said.told(frames["build_info"], way)
    return replace(
        as_built,
        tables=frames,
        title=replace(as_built.title, wgs84=way),
        wgs84=shift,
        context=(),
        statements=tuple(map(said.rounded, as_built.statements)),
        notes=tuple(map(said.rounded, as_built.notes)),
        of_decisions=tuple(map(said.rounded, as_built.of_decisions)),
        counts=replace(as_built.counts, length_m=lengths["length_m"], covered_m=lengths["covered_m"]),
    )


def _lengths(frames: Mapping[str, pd.DataFrame], *, anything: bool) -> dict[str, float]:
    """Return the length of the lines and what of it is covered, both by what is shown."""
    lines, gaps = frames["alignment"], frames["gaps"]
    ends = lines[["line", "start_chainage_m", "end_chainage_m"]].itertuples(index=False)
    length_m = float(lines["length_m"].sum())
    bare_m = sum(uncovered_m(gaps[gaps["line"] == line], low, high) for line, low, high in ends)
    return {"length_m": length_m, "covered_m": length_m - float(bare_m) if anything else 0.0}


def _counted(info: pd.DataFrame, lengths: Mapping[str, float]) -> pd.DataFrame:
    value = info["value"]
    for name, length_m in lengths.items():
        value = value.mask((info["topic"] == "count") & (info["name"] == name), f"{length_m:.3f}")
    return info.assign(value=value)


def _paths(as_built: AsBuilt, grid_m: float, metres_per_unit: float) -> Mapping[str, _Path]:
    found = {}
    for line, vertices in as_built.tables["alignment_vertices"].groupby("line", sort=False):
        xy, at = vertices[["easting", "northing"]].to_numpy(float), vertices["chainage_m"].to_numpy(float)
        path = _path(xy, at, grid_m, grid_m / metres_per_unit)
        if path is None:
            do = f"ask for a finer grid than {grid_m:g} m"
            raise SettingsError(Problem("--coarsen", f"the line {line} is too short for it", do))
        found[str(line)] = replace(path, stationing=as_built.stationing.get(str(line), Stationing()))
    return found


def _path(xy: np.ndarray, chainage_m: np.ndarray, grid_m: float, grid: float) -> _Path | None:
    """Draw a line anew through the grid points nearest to it at round chainages; None: there is but one of them."""
    low, high = math.floor(chainage_m[0] / grid_m), math.ceil(chainage_m[-1] / grid_m)
    at = np.arange(low, high + 1) * grid_m
    there = np.column_stack([np.interp(at, chainage_m, axis) for axis in xy.T])
    snapped = np.round(there / grid) * grid
    new = np.append(True, (np.diff(snapped, axis=0) != 0).any(axis=1))
    new[-1] = True
    if len(new) > 2 and (snapped[new][-1] == snapped[new][-2]).all():  # the end stands for the point before it, too
        new[np.flatnonzero(new)[-2]] = False
    return _Path(at[new], snapped[new], Stationing()) if len(np.unique(snapped, axis=0)) > 1 else None


# ---- tables ----------------------------------------------------------------------------------------------------------


def _near(values: pd.Series, grid_m: float) -> np.ndarray:
    return np.round(values.to_numpy(float) / grid_m) * grid_m + 0.0


def _of_lines(lines: pd.Series, chainage_m: np.ndarray, paths: Mapping[str, _Path]) -> tuple[np.ndarray, np.ndarray]:
    """Return places, shape (n, 2), and labels of chainages, each on its line."""
    xy, labels = np.full((len(lines), 2), np.nan), np.full(len(lines), "", dtype=object)
    for line, path in paths.items():
        here = (lines == line).to_numpy()
        xy[here], labels[here] = path.at(chainage_m[here]), path.stationing.labels(chainage_m[here])
    xy[np.isnan(chainage_m)] = np.nan
    return xy, labels


def _points(xy: np.ndarray) -> np.ndarray:
    out = np.full(len(xy), None, dtype=object)
    there = np.isfinite(xy).all(axis=1)
    out[there] = shapely.points(xy[there])
    return out


def _joints(joints: pd.DataFrame, paths: Mapping[str, _Path], grid_m: float, of: Frame) -> pd.DataFrame:
    """Put joints on the line at round chainages. The 95 % radius grows by the farthest that any was moved."""
    at = _near(joints["chainage_m"], grid_m)
    xy, labels = _of_lines(joints["line"], at, paths)
    moved = np.hypot(*(joints[["easting", "northing"]].to_numpy(float) - xy).T) * of.metres_per_unit
    farthest = math.ceil(np.nanmax(moved, initial=0.0) / grid_m * 2) / 2 * grid_m
    longitude, latitude = to_base(xy[:, 0].copy(), xy[:, 1].copy(), of=of)
    return joints.assign(
        chainage_m=at, station=labels, easting=xy[:, 0], northing=xy[:, 1], longitude=longitude, latitude=latitude,
        geometry=_points(xy), elevation_m=np.nan, fix_chainage_m=_near(joints["fix_chainage_m"], grid_m),
        radius95_m=joints["radius95_m"] + farthest, chainage_sd_m=np.hypot(joints["chainage_sd_m"], grid_m / 12**0.5),
    )  # fmt: skip


def _positions(positions: pd.DataFrame, paths: Mapping[str, _Path], grid_m: float, of: Frame) -> pd.DataFrame:
    at, grid = _near(positions["chainage_m"], grid_m), grid_m / of.metres_per_unit
    xy = np.round(positions[["easting", "northing"]].to_numpy(float) / grid) * grid
    labels = _of_lines(positions["line"], at, paths)[1]
    return positions.assign(
        chainage_m=at, station=labels, easting=xy[:, 0], northing=xy[:, 1], geometry=_points(xy),
        elevation_m=np.nan, ground_m=np.nan, radius95_m=positions["radius95_m"] + grid_m,
    )  # fmt: skip


def _reach(frame: pd.DataFrame, paths: Mapping[str, _Path], grid_m: float) -> pd.DataFrame:
    """Round reaches outwards, and draw them on the new line."""
    low = np.floor(frame["from_chainage_m"].to_numpy(float) / grid_m) * grid_m
    high = np.ceil(frame["to_chainage_m"].to_numpy(float) / grid_m) * grid_m
    columns = {"from_chainage_m": low, "to_chainage_m": high, "length_m": high - low}
    columns["from_station"], columns["to_station"] = (_of_lines(frame["line"], end, paths)[1] for end in (low, high))
    ends = zip(frame["line"], low, high, strict=True)
    columns["geometry"] = np.array(
        [paths[line].between(a, b) if line in paths else None for line, a, b in ends] + [None]
    )
    columns["geometry"] = columns["geometry"][:-1]
    return frame.assign(**{name: values for name, values in columns.items() if name in frame})


def _alignment(frame: pd.DataFrame, paths: Mapping[str, _Path]) -> pd.DataFrame:
    of = [paths[line] for line in frame["line"]]
    ends = np.array([[path.chainage_m[0], path.chainage_m[-1]] for path in of])
    labels = np.array([path.stationing.labels(end) for path, end in zip(of, ends, strict=True)])
    return frame.assign(
        start_chainage_m=ends[:, 0], end_chainage_m=ends[:, 1], length_m=ends[:, 1] - ends[:, 0],
        start_station=labels[:, 0], end_station=labels[:, 1], geometry=[shapely.LineString(p.xy) for p in of],
        vertices_n=pd.array([len(p.xy) for p in of], dtype="Int64"),
    )  # fmt: skip


def _vertices(frame: pd.DataFrame, paths: Mapping[str, _Path]) -> pd.DataFrame:
    parts = [
        pd.DataFrame({
            "line": line, "vertex": range(1, len(path.xy) + 1), "chainage_m": path.chainage_m,
            "easting": path.xy[:, 0], "northing": path.xy[:, 1], "elevation_m": np.nan,
        })
        for line, path in paths.items()
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True).astype(frame.dtypes.to_dict())


def _marks(frame: pd.DataFrame, paths: Mapping[str, _Path], grid_m: float) -> pd.DataFrame:
    at = _near(frame["chainage_m"], grid_m)
    xy, labels = _of_lines(frame["line"], at, paths)
    out = frame.assign(chainage_m=at, station=labels, geometry=_points(xy))
    return out.drop_duplicates(["line", "chainage_m"]).reset_index(drop=True)


class _Texts:
    """Rounds stations in sentences, and takes coordinates out of them."""

    def __init__(self, as_built: AsBuilt, grid_m: float) -> None:
        first = next(iter(as_built.stationing.values()), Stationing())
        self.length = round(first.station_length_m / first.metres_per_unit)
        self.grid, self.decimals = grid_m / first.metres_per_unit, first.decimals

    def told(self, info: pd.DataFrame, way: str) -> pd.DataFrame:
        """Return build_info with its statements rounded, and the way to WGS 84 of the new line."""
        said, is_way = info["topic"] == "statement", (info["topic"] == "title") & (info["name"] == "wgs84")
        return info.assign(value=info["value"].mask(said, info["value"].map(self.rounded)).mask(is_way, way))

    def rounded(self, text: str) -> str:
        """Return the text without anything finer than the grid."""
        return _STATION.sub(self._station, _COORDINATE.sub("[a coordinate]", text))

    def _station(self, found: re.Match[str]) -> str:
        value = (int(found[2]) * self.length + float(found[3])) * (-1 if found[1] else 1)
        return label(round(value / self.grid) * self.grid, station_length=self.length, decimals=self.decimals)
