"""The design alignment from its file: one continuous line in the working frame, or a refusal that names the break."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from pyproj.aoi import AreaOfInterest

from asbuilt import crs
from asbuilt.alignment import MeasuredLine
from asbuilt.crs import Crossing, Frame
from asbuilt.errors import AlignmentError, Problem
from asbuilt.read.cells import metres_of
from asbuilt.read.polylines import Polyline, read_polyline
from asbuilt.settings import AlignmentSource, Settings
from asbuilt.stationing import Stationing, equation_faults

_ASTRAY = 6.0  # degrees outside the area that a frame is made for: the numbers are not in this frame
_SAME_PLACE = 1e-6  # in the frame's unit: below what any design file means by two points


@dataclass(frozen=True)
class Design:
    """One design line, measured in the working frame. `z` is the design level of each vertex, metres, NaN: none."""

    source: AlignmentSource
    line: MeasuredLine
    z: np.ndarray
    stationing: Stationing

    @property
    def name(self) -> str:
        """Name of the line."""
        return self.source.line

    @property
    def start_m(self) -> float:
        """Chainage of the first vertex."""
        return float(self.line.measure[0])

    @property
    def end_m(self) -> float:
        """Chainage of the last vertex."""
        return float(self.line.measure[-1])


@dataclass(frozen=True)
class Designs:
    """All lines of the route, the working frame they fix, the area they span in degrees, and what was found."""

    lines: tuple[Design, ...]
    frame: Frame
    area: AreaOfInterest
    crossings: tuple[Crossing, ...]
    notes: tuple[str, ...]

    def stations(self, line: pd.Series, chainage_m: pd.Series) -> np.ndarray:
        """Return the label of each chainage on its line, shape (n,); empty where there is none."""
        labels = np.full(len(line), "", dtype=object)
        for design in self.lines:
            here = (line == design.name).to_numpy()
            labels[here] = design.stationing.labels(chainage_m[here].to_numpy(float))
        return labels

    @property
    def pipe_factor(self) -> float:
        """Return how much chainage a metre of pipe makes, the mean over all lines.

        A pipe lies on the slope of the design where levels are known, and on the ellipsoid; chainage may be counted
        in the grid or on the level. What the height of the ground takes off in the grid is not known, and small.
        """
        length = np.array([design.end_m - design.start_m for design in self.lines])
        return float(np.average([self._factor(design) for design in self.lines], weights=length))

    def _factor(self, design: Design) -> float:
        kind = design.source.length
        level = 1.0 if kind == "slope" or np.isnan(design.z).any() else _level_share(design)
        return level * crs.grid_scale(*design.line.xy.T.copy(), of=self.frame) if kind == "grid" else level

    def accuracy_m(self, origins: np.ndarray) -> np.ndarray:
        """Return how far the lines may lie off for fixes that came from the frames `origins`, shape (n,).

        It is what the way of the design file into the route's frame adds; where a fix came the same way the error
        is shared. The worst line counts for all.
        """
        worst = np.zeros(len(origins))
        for crossing in self.crossings:
            worst = np.maximum(worst, np.where(origins == crossing.origin, 0.0, crossing.accuracy_m))
        return worst


def _level_share(design: Design) -> float:
    """Return the level length of a line over its length on the slope."""
    level = np.diff(design.line.measure)
    return float(level.sum() / np.hypot(level, np.diff(design.z)).sum())


def read_alignments(settings: Settings) -> Designs:
    """Read every alignment. Raises AlignmentError with the problems of all files, or FrameError."""
    found: list[tuple[AlignmentSource, Polyline, Frame]] = []
    problems: list[Problem] = []
    for source in settings.alignment:
        try:
            found.append((source, *_with_frame(source, settings)))
        except AlignmentError as error:
            problems += error.problems
    if problems:
        raise AlignmentError(problems)
    places = [_degrees(source, polyline, origin) for source, polyline, origin in found]
    longitude, latitude = (np.concatenate([p[i] for p in places]) for i in (0, 1))
    frame = crs.working_frame(settings.route.crs, longitude, latitude)
    area = crs.area_of(longitude, latitude)
    brought = [_brought(polyline, origin, frame, area) for _, polyline, origin in found]
    lines = [_design(s, p, frame=frame, settings=settings) for (s, _, _), (p, _) in zip(found, brought, strict=True)]
    notes = [f"{s.file}: {n}" for s, p, _ in found for n in p.notes] + [n for _, repeated in lines for n in repeated]
    crossings = tuple(dict.fromkeys(c for _, c in brought))
    notes += [f"{s.file}: {n}" for (s, _, _), (_, c) in zip(found, brought, strict=True) for n in c.notes("the line")]
    return Designs(tuple(design for design, _ in lines), frame, area, crossings, tuple(notes))


def _with_frame(source: AlignmentSource, settings: Settings) -> tuple[Polyline, Frame]:
    polyline = read_polyline(Path(settings.folder / source.file), source)
    asked = source.crs or polyline.crs or settings.route.crs
    origin = crs.frame(asked, where=f"{source.file}, crs")
    stated = crs.frame(polyline.crs, where=source.file) if source.crs and polyline.crs else origin
    if not stated.crs.equals(origin.crs, ignore_axis_order=True):
        raise AlignmentError(
            Problem(source.file, f"the file says {stated.label}, route.toml says {origin.label}", "make them agree")
        )
    if polyline.is_angle is not None and polyline.is_angle != origin.is_geographic:
        kind = "latitude and longitude" if polyline.is_angle else "easting and northing"
        raise AlignmentError(
            Problem(
                source.file,
                f"its columns are {kind}, and {origin.label} has none",
                "say crs in its [[alignment]] table",
            )
        )
    if not origin.is_geographic and abs(metres_of(polyline.unit) / origin.metres_per_unit - 1) > 1e-5:
        what = f"its columns are in {polyline.unit}, and crs is {origin.label}"
        raise AlignmentError(Problem(source.file, what, "say the crs of the file in its [[alignment]] table"))
    return polyline, origin


def _degrees(source: AlignmentSource, polyline: Polyline, origin: Frame) -> tuple[np.ndarray, np.ndarray]:
    """Return longitude and latitude. Raises AlignmentError where the frame cannot be the one of these numbers."""
    x, y = polyline.xy[:, 0].copy(), polyline.xy[:, 1].copy()
    longitude, latitude = (x, y) if origin.is_geographic else crs.to_base(x, y, of=origin)
    used = origin.crs.area_of_use
    west, south, east, north = used.bounds if used and used.west < used.east else (-180.0, -90.0, 180.0, 90.0)
    near = (abs(longitude - (west + east) / 2) <= (east - west) / 2 + _ASTRAY) & (np.abs(latitude) <= 90)
    near &= (latitude >= south - _ASTRAY) & (latitude <= north + _ASTRAY)
    if not near.all():
        at = int(np.flatnonzero(~near)[0])
        what = f"vertex {at + 1} ({x[at]:.9g}, {y[at]:.9g}) is not where {origin.label} is used"
        raise AlignmentError(Problem(source.file, what, "check the frame of the file and the order of its axes"))
    return longitude, latitude


def _brought(polyline: Polyline, origin: Frame, frame: Frame, area: AreaOfInterest) -> tuple[Polyline, Crossing]:
    x, y, crossing = crs.transform(
        polyline.xy[:, 0].copy(), polyline.xy[:, 1].copy(), origin=origin, target=frame, area=area
    )
    # of a layer levels are in the unit of its frame; a CSV has said its own and was read in metres
    z_m = polyline.z * (1.0 if polyline.is_angle is not None or origin.is_geographic else origin.metres_per_unit)
    return Polyline(np.column_stack([x, y]), z_m, polyline.crs, polyline.is_angle, polyline.notes), crossing


def _design(
    source: AlignmentSource, polyline: Polyline, *, frame: Frame, settings: Settings
) -> tuple[Design, tuple[str, ...]]:
    xy, z = (polyline.xy[::-1], polyline.z[::-1]) if source.reverse else (polyline.xy, polyline.z)
    if not np.isfinite(xy).all():
        at = int(np.flatnonzero(~np.isfinite(xy).all(axis=1))[0]) + 1
        raise AlignmentError(
            Problem(source.file, f"vertex {at} is not a finite position in {frame.label}", "mend the file")
        )
    new = np.concatenate([[True], np.abs(np.diff(xy, axis=0)).max(axis=1) > _SAME_PLACE])
    xy, z = xy[new], z[new]
    if len(xy) < 2:
        raise AlignmentError(Problem(source.file, "all its points are one place", "a line needs two different points"))
    lengths = _leg_lengths_m(xy, z, source=source, frame=frame)
    line = MeasuredLine(xy, source.start + np.concatenate([[0.0], np.cumsum(lengths)]))
    design = Design(source, line, z, source.stationing(settings.route))
    faults = equation_faults(source.start, float(lengths.sum()), design.stationing.equations)
    if faults:
        do = "correct the equations of this line"
        raise AlignmentError([Problem(f"route.toml: alignment {source.line}, equations", f, do) for f in faults])
    dropped = int((~new).sum())
    return design, (f"{source.file}: {dropped} repeated points were left out",) if dropped else ()


def _leg_lengths_m(xy: np.ndarray, z: np.ndarray, *, source: AlignmentSource, frame: Frame) -> np.ndarray:
    """Return the length of each leg, metres, of the kind that the route file asks for."""
    plan = np.hypot(*np.diff(xy, axis=0).T) * frame.metres_per_unit
    if source.length == "ground":
        return plan * source.ground_factor
    if source.length == "geodesic":
        return crs.geodesic_lengths_m(xy[:, 0].copy(), xy[:, 1].copy(), of=frame)
    if source.length == "slope":
        if np.isnan(z).any():
            at = int(np.flatnonzero(np.isnan(z))[0]) + 1
            do = 'give each vertex its level, or ask for length = "grid"'
            raise AlignmentError(Problem(source.file, f'length = "slope", and vertex {at} has no level', do))
        return np.hypot(plan, np.diff(z))
    return plan
