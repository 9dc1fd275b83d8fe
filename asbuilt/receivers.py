"""What a receiver in the hand understands: WGS 84. Phones, GPX files and geo: addresses know no other frame."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest

from asbuilt import crs
from asbuilt.as_built import Shift
from asbuilt.crs import Crossing, Frame
from asbuilt.errors import FrameError, Problem

_FINE = 12  # decimals of the figures of a shift: a ten-thousandth of a millimetre, and the same bytes everywhere


def to_wgs84(
    longitude: np.ndarray,
    latitude: np.ndarray,
    *,
    of: Frame,
    epoch: float | None = None,
    area: AreaOfInterest | None = None,
) -> tuple[np.ndarray, np.ndarray, Crossing]:
    """Return longitude and latitude in WGS 84, degrees of shape (n,), and how that was done.

    They come in the base frame of `of`. WGS 84 is the name of several realisations, so that no way to it is better
    than these lie apart, whatever the register says. `epoch` (decimal year) serves where the way depends on the
    date; `area` (default: that of the positions) picks the operation, as in `crs.transform`. NaN stays. Raises
    FrameError where no operation of known accuracy serves.
    """
    target = crs.frame("EPSG:4326", where="WGS 84")
    known = np.isfinite(longitude) & np.isfinite(latitude)
    here = area or (crs.area_of(longitude[known], latitude[known]) if known.any() else None)
    east, north, way = crs.transform(longitude, latitude, origin=of.base, target=target, area=here, epoch=epoch)
    accuracy_m = max(way.accuracy_m, target.ensemble_accuracy_m)
    return east, north, Crossing(of.base.label, way.target, way.operation, accuracy_m, way.better)


def wgs84_shift(longitude: np.ndarray, latitude: np.ndarray, *, of: Frame, epoch: float | None = None) -> Shift:
    """Return the way to WGS 84 as a plane fitted over positions, degrees of shape (n,), in the base frame of `of`.

    Raises FrameError as `to_wgs84`, and where not one position is known.
    """
    known = np.isfinite(longitude) & np.isfinite(latitude)
    if not known.any():
        raise FrameError(Problem(of.label, "there is no position to fit a shift over", "give the line its vertices"))
    longitude, latitude = longitude[known], latitude[known]
    east, north, way = to_wgs84(longitude, latitude, of=of, epoch=epoch)
    return plane_shift((longitude, latitude), (east, north), way=way)


def plane_shift(here: tuple[np.ndarray, np.ndarray], there: tuple[np.ndarray, np.ndarray], *, way: Crossing) -> Shift:
    """Return the plane that brings longitude and latitude `here` to `there`, by least squares; degrees, shapes (n,).

    `way` says how they were brought. The plane tells its largest residual.
    """
    (longitude, latitude), origin = here, (float(np.mean(here[1]).round(9)), float(np.mean(here[0]).round(9)))
    planes = [_plane(latitude - origin[0], longitude - origin[1], change) for change in _change(here, there)]
    shift = Shift(way.origin, way.operation, way.accuracy_m, origin, planes[1], planes[0], 0.0, way.better)
    off_m = pyproj.Geod(ellps="WGS84").inv(*shift.applied(longitude, latitude), *there)[2]
    return replace(shift, residual_m=float(np.max(off_m).round(6)))


def _change(here: tuple[np.ndarray, np.ndarray], there: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Return by how many degrees longitude and latitude change; over the 180th meridian it is still a little."""
    return (there[0] - here[0] + 180.0) % 360.0 - 180.0, there[1] - here[1]


def _plane(north: np.ndarray, east: np.ndarray, change: np.ndarray) -> tuple[float, float, float]:
    """Return (a, b, c) of a + b north + c east; where the positions leave a slope open, the least one."""
    terms = np.column_stack([np.ones_like(north), north, east])
    a, b, c = np.linalg.lstsq(terms, change, rcond=None)[0].round(_FINE).tolist()
    return a, b, c


def reach_wgs84(lines: Iterable[np.ndarray], *, of: Frame, moment: datetime) -> tuple[Shift | None, str]:
    """Return the shift over the vertices of lines in a projected frame, and a sentence; no way: None and the reason.

    Each line has shape (n, 2).
    """
    xy = np.concatenate(list(lines))
    try:
        shift = wgs84_shift(*crs.to_base(*xy.T.copy(), of=of), of=of, epoch=epoch_of(moment))
    except FrameError as error:
        why = "; ".join(problem.found for problem in error.problems)
        return None, f"Latitude and longitude are {of.base.label}. They cannot be brought to WGS 84, which a phone" + (
            f" shows, with a known accuracy: {why}. How far a phone is off there is not known."
        )
    return shift, shift.say()


def epoch_of(moment: datetime) -> float:
    """Return a moment as a decimal year, by its day.

    >>> epoch_of(datetime(2026, 1, 1)), round(epoch_of(datetime(2026, 7, 2)), 2)
    (2026.0, 2026.5)
    """
    return moment.year + (moment.timetuple().tm_yday - 1) / 365.25
