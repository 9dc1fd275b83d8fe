"""The working frame, what was brought into it and how, and how sure that is: the only room that transforms.

An operation is taken only where its accuracy is stated: ballpark ones, unknown accuracies and missing grid files
are refused. PROJ ignores `only_best` where `always_xy` is asked for (measured with PROJ 9.5.1), so the operation is
picked here from all that it offers for the route's area, and axes are put in order by hand. Heights are never
transformed: frames are cut down to their two horizontal axes.
"""

import re
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyogrio
import pyproj
import shapely
from pyproj.aoi import AreaOfInterest
from pyproj.database import get_database_metadata, query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError
from pyproj.transformer import TransformerGroup

from asbuilt.errors import FrameError, Problem

pyproj.network.set_network_enabled(active=False)  # the same input gives the same bytes, with or without a network

# A grid made for measuring stays within one part in a thousand. This lets a line run over the edge of its zone, and
# refuses the next zone but one, and maps of the world.
_DISTORTED = 0.0025


@dataclass(frozen=True)
class Frame:
    """A horizontal coordinate frame and the name it was asked for by."""

    asked: str
    crs: pyproj.CRS

    @property
    def label(self) -> str:
        """Code, name and unit, for people."""
        code = self.crs.to_authority(min_confidence=100)
        unit = "" if self.is_geographic else f" ({self.crs.axis_info[0].unit_name})"
        return f"{':'.join(code)}, {self.crs.name}{unit}" if code else f"{self.crs.name}{unit}"

    @property
    def is_geographic(self) -> bool:
        """Whether positions in it are latitude and longitude."""
        return bool(self.crs.is_geographic)

    @property
    def metres_per_unit(self) -> float:
        """Length of the frame's unit in metres (projected frames)."""
        return float(self.crs.axis_info[0].unit_conversion_factor)

    @property
    def base(self) -> "Frame":
        """The frame of latitude and longitude that this one is projected from."""
        geodetic = (self.crs.geodetic_crs or self.crs).to_2d()
        return Frame(geodetic.name, geodetic)

    @property
    def ensemble_accuracy_m(self) -> float:
        """How far apart the realisations are that the frame's name covers; 0 where it names one realisation."""
        datum = (self.crs.geodetic_crs or self.crs).datum
        ensemble = datum.to_json_dict() if datum else {}
        return float(ensemble.get("accuracy", 0.0))


@dataclass(frozen=True)
class Crossing:
    """How positions were brought from one frame to another. `accuracy_m` is what the register states.

    `better` names a more accurate operation and the grid file that it would need; empty where there is none.
    """

    origin: str
    target: str
    operation: str
    accuracy_m: float
    better: str = ""

    def notes(self, what: str) -> tuple[str, ...]:
        """Say what the way adds to the error of what was brought, if it adds anything."""
        if not self.accuracy_m:
            return ()
        way = f"{what} came from {self.origin} to {self.target} by an operation good to {self.accuracy_m:g} m"
        better = f"; {self.better}" if self.better else ""
        return (f"{way}, which is added to the error of every fix{better}",)


def frame(text: str, *, where: str) -> Frame:
    """Return the horizontal frame that `text` names (a code, WKT or PROJ string). Raises FrameError."""
    try:
        crs = pyproj.CRS.from_user_input(text)
    except CRSError as error:
        raise FrameError(
            Problem(where, f"{text!r} names no coordinate frame", 'give a code such as "EPSG:7855"')
        ) from error
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs
    found = Frame(text, horizontal.to_2d())
    if {a.direction.lower() for a in found.crs.axis_info} != {"north", "east"}:
        directions = " and ".join(a.direction for a in found.crs.axis_info)
        do = "use a frame with axes to east and north"
        raise FrameError(Problem(where, f"{found.label} has axes to {directions or 'nowhere'}", do))
    return found


def heights(text: str, *, where: str) -> str:
    """Return code and name of what `text` says heights are in: a vertical frame, a compound one (its vertical part), or
    a geographic one with three axes (then above its ellipsoid). Raises FrameError for anything else."""
    try:
        crs = pyproj.CRS.from_user_input(text)
    except CRSError:
        crs = None
    parts = [part for part in (crs.sub_crs_list or [crs]) if part.is_vertical] if crs else []
    if crs and not parts and crs.is_geographic and len(crs.axis_info) == 3:
        return f"{text}, above the ellipsoid of {crs.name}"
    if not parts:
        raise FrameError(Problem(where, f"{text!r} names no frame of heights", 'give a code such as "EPSG:5711"'))
    code = parts[0].to_authority(min_confidence=100)
    return f"{':'.join(code)}, {parts[0].name}" if code else str(parts[0].name)


def working_frame(text: str, longitude: np.ndarray, latitude: np.ndarray) -> Frame:
    """Return the frame all results are in. Raises FrameError for one that is not projected.

    The positions (degrees, any shape) say which UTM zone would serve.
    """
    found = frame(text, where="route.crs")
    if not found.crs.is_projected:
        serves = " or ".join(_zones(found, longitude, latitude)) or "a UTM zone"
        raise FrameError(Problem("route.crs", f"{found.label} is not projected", f"lengths need a plane: {serves}"))
    scale = _worst_scale(found, longitude, latitude)
    if abs(scale - 1) > _DISTORTED:
        what = f"lengths in {found.label} are {scale:.4f} times true at the route"
        serves = " or ".join(_zones(found.base, longitude, latitude)) or "a UTM zone"
        raise FrameError(Problem("route.crs", what, f"take a frame made for measuring there: {serves}"))
    return found


def _zones(of: Frame, longitude: np.ndarray, latitude: np.ndarray) -> list[str]:
    """Return the transverse Mercator zones of the frame's own datum that hold the middle of the positions."""
    x, y = float(np.mean(longitude)), float(np.mean(latitude))
    place = AreaOfInterest(x, y, x, y)
    for datum in (of.crs.name, "WGS 84"):
        known = query_crs_info("EPSG", PJType.PROJECTED_CRS, area_of_interest=place, contains=True)
        name = re.compile(rf"{re.escape(datum)} / (UTM|MGA) zone \d+[NS]?")
        found = [f'"EPSG:{info.code}" ({info.name})' for info in known if name.fullmatch(info.name)]
        if found:
            return list(dict.fromkeys(found))[:2]
    return []


def _worst_scale(of: Frame, longitude: np.ndarray, latitude: np.ndarray) -> float:
    """Return the point scale farthest from one at the middle of the positions."""
    factors = pyproj.Proj(of.crs).get_factors(float(np.mean(longitude)), float(np.mean(latitude)))
    scales = (float(factors.meridional_scale), float(factors.parallel_scale))
    return max(scales, key=lambda scale: abs(scale - 1))


def grid_scale(easting: np.ndarray, northing: np.ndarray, *, of: Frame) -> float:
    """Return how long a metre of the ellipsoid is in the grid, the mean over positions in its unit, shape (n,)."""
    longitude, latitude = to_base(easting, northing, of=of)
    factors = pyproj.Proj(of.crs).get_factors(longitude, latitude)
    return float(np.mean((np.asarray(factors.meridional_scale) + np.asarray(factors.parallel_scale)) / 2))


def transform(
    x: np.ndarray,
    y: np.ndarray,
    *,
    origin: Frame,
    target: Frame,
    area: AreaOfInterest | None = None,
    epoch: float | None = None,
) -> tuple[np.ndarray, np.ndarray, Crossing]:
    """Bring positions into `target`; x is easting or longitude, y northing or latitude, float64 of shape (n,).

    `area` is the route's, so that a stray position cannot choose the operation. `epoch` (decimal year) is that of the
    positions, for frames that drift. NaN goes in and comes out, and a position that has no place in the target
    comes out as NaN. Raises FrameError where no operation of known accuracy serves, where it depends on the date
    and there is no epoch, or where not one position has a place.
    """
    if origin.crs.equals(target.crs, ignore_axis_order=True):
        return x.copy(), y.copy(), Crossing(origin.label, target.label, "none needed", 0.0)
    finite = np.isfinite(x) & np.isfinite(y)
    out = np.full((2, x.size), np.nan)
    if not finite.any():
        return out[0], out[1], Crossing(origin.label, target.label, "no position to bring", 0.0)
    used, better = _operation(origin, target, area)
    if epoch is None and "t_epoch" in used.definition:
        what = f"'{used.description}' depends on the date, and none is known for the positions"
        do = "give the records their times, or name a frame that does not drift"
        raise FrameError(Problem(f"{origin.label} to {target.label}", what, do))
    first, second = _in_axis_order(np.stack([x[finite], y[finite]]), origin)
    when = np.full(first.size, np.inf if epoch is None else epoch)
    there = used.transform(first, second, np.zeros(first.size), when, errcheck=False)[:2]
    out[:, finite] = _in_axis_order(np.stack(there), target)
    out[:, ~np.isfinite(out).all(axis=0)] = np.nan
    if np.isnan(out).all():
        what = f"({x[finite][0]:.9g}, {y[finite][0]:.9g}) has no place in {target.label}, nor has any other position"
        raise FrameError(Problem(origin.label, what, "check the frame of the source and the order of its axes"))
    return out[0], out[1], Crossing(origin.label, target.label, used.description, float(used.accuracy), better)


def _operation(origin: Frame, target: Frame, area: AreaOfInterest | None) -> tuple[pyproj.Transformer, str]:
    """Return the most accurate operation that can be had here, and what a better one would need.

    Those without a stated accuracy, and ballpark ones, do not count. Raises FrameError where none is left.
    """
    offered, absent = _offered(origin, target, area)
    used = min((t for t in offered if t.accuracy >= 0), key=lambda t: t.accuracy, default=None)
    lost = [o for o in absent if used is None or 0 <= o.accuracy < used.accuracy]
    grids = [grid.short_name for o in lost[:1] for grid in o.grids if not grid.available]
    needs = f"'{lost[0].name}' ({lost[0].accuracy:g} m) needs the grid file {' and '.join(grids)}" if grids else ""
    if used is None:
        what = "there is no operation of known accuracy" + (f": {needs}, which is not installed" if needs else "")
        do = (
            "name the frame the positions were corrected to, or a route CRS on the same datum or a newer realisation of"
            " it (for NAD83: NAD83(2011)), or install the grid file of the better operation"
        )
        raise FrameError(Problem(f"{origin.label} to {target.label}", what, do))
    return used, needs


def _offered(origin: Frame, target: Frame, area: AreaOfInterest | None) -> tuple[list[pyproj.Transformer], list[Any]]:
    """Return the operations that are at hand, and those that want a file."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # it warns of a missing grid: said, and in every output
        try:
            group = TransformerGroup(
                origin.crs,
                target.crs,
                always_xy=False,
                allow_ballpark=False,
                area_of_interest=area,  # type: ignore[arg-type] # the stub means the same class
            )
        except IndexError:  # of the library itself, where there is none at all (pyproj 3.7.2: PZ-90.02 to WGS 84)
            return [], []
    return group.transformers, group.unavailable_operations


def area_of(longitude: np.ndarray, latitude: np.ndarray) -> AreaOfInterest:
    """Return the area that the positions span, in degrees."""
    return AreaOfInterest(float(longitude.min()), float(latitude.min()), float(longitude.max()), float(latitude.max()))


def _in_axis_order(xy: np.ndarray, of: Frame) -> np.ndarray:
    return xy[::-1] if of.crs.axis_info[0].direction.lower() == "north" else xy


def to_base(easting: np.ndarray, northing: np.ndarray, *, of: Frame) -> tuple[np.ndarray, np.ndarray]:
    """Return longitude and latitude (degrees) of positions in a projected frame, in its own base frame; NaN stays."""
    longitude, latitude, _ = transform(easting, northing, origin=of, target=of.base)
    return longitude, latitude


def geographic(geometries: np.ndarray, crs_wkt: str) -> np.ndarray:
    """Return shapely geometries with longitude and latitude in the base frame of the frame `crs_wkt`; None stays."""
    of = Frame("", pyproj.CRS.from_wkt(crs_wkt))
    return shapely.transform(geometries, lambda xy: np.column_stack(to_base(xy[:, 0].copy(), xy[:, 1].copy(), of=of)))


def geodesic_lengths_m(x: np.ndarray, y: np.ndarray, *, of: Frame) -> np.ndarray:
    """Return the length on the ellipsoid of each leg between successive vertices, metres, shape (n - 1,)."""
    longitude, latitude = to_base(x, y, of=of)
    geod = of.crs.get_geod()
    if geod is None:
        raise FrameError(Problem(of.label, "it has no ellipsoid", 'ask for length = "grid"'))
    return np.asarray(geod.line_lengths(longitude, latitude))


def geodesics(start: np.ndarray, end: np.ndarray, *, of: Frame) -> tuple[np.ndarray, np.ndarray]:
    """Return azimuth at the start (degrees from true north, 0 to 360) and length (metres) of the shortest way from each

    position to the other one on the ellipsoid; positions of shape (n, 2) in the projected frame `of`, results (n,).
    """
    geod = of.crs.get_geod()
    if geod is None:
        raise FrameError(Problem(of.label, "it has no ellipsoid", "take a frame of the EPSG register"))
    ends = [to_base(xy[:, 0].copy(), xy[:, 1].copy(), of=of) for xy in (start, end)]
    azimuth, _, length = geod.inv(*ends[0], *ends[1])
    return np.asarray(azimuth) % 360.0, np.asarray(length)


def versions() -> dict[str, str]:
    """Return the versions that decide what a code means; the reader of files carries a second register of its own."""
    return {
        "PROJ": pyproj.proj_version_str,
        "EPSG register": get_database_metadata("EPSG.VERSION") or "not stated",
        "GDAL (files)": pyogrio.__gdal_version_string__,
    }
