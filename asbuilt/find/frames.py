"""Places in the frames that a reader may want, each with how it was reached and how sure that is."""

from dataclasses import dataclass

import numpy as np
from pyproj.aoi import AreaOfInterest

from asbuilt import crs
from asbuilt.crs import Frame
from asbuilt.errors import FrameError
from asbuilt.find.record import Line, Record
from asbuilt.receivers import epoch_of, to_wgs84


@dataclass(frozen=True)
class Coordinates:
    """One place in one frame: `x` is longitude or easting, `y` latitude or northing. `accuracy_m` is that of the way
    from the project's frame, 0: none was needed; `operation` names it, `better` what a better one would need."""

    frame: str
    in_degrees: bool
    x: float
    y: float
    accuracy_m: float = 0.0
    operation: str = ""
    better: str = ""


@dataclass(frozen=True)
class InWgs84:
    """A place in WGS 84, or None and why it cannot be told there."""

    place: Coordinates | None
    why_not: str = ""


def area(of: Record, line: Line) -> AreaOfInterest:
    """Return the area of one line, which chooses the operation."""
    if line.name not in of.areas:
        of.areas[line.name] = crs.area_of(*crs.to_base(*line.way.xy.T.copy(), of=of.frame))
    return of.areas[line.name]


def in_project(of: Record, easting: float, northing: float) -> tuple[Coordinates, Coordinates]:
    """Return a place of the project's frame in that and in latitude and longitude of its datum."""
    longitude, latitude = crs.to_base(np.array([easting]), np.array([northing]), of=of.frame)
    base = Coordinates(of.frame.base.label, True, float(longitude[0]), float(latitude[0]))
    return Coordinates(of.frame.label, False, easting, northing), base


def in_wgs84(of: Record, line: Line, base: Coordinates) -> InWgs84:
    """Return a place, longitude and latitude of the project's datum, as a receiver in the hand shows it."""
    here = np.array([base.x]), np.array([base.y])
    try:
        x, y, way = to_wgs84(*here, of=of.frame, epoch=epoch_of(of.title.as_of), area=area(of, line))
    except FrameError as error:
        return InWgs84(None, "; ".join(problem.found for problem in error.problems))
    place = Coordinates(way.target, True, float(x[0]), float(y[0]), way.accuracy_m, way.operation, way.better)
    return InWgs84(place)


def in_frame(of: Record, line: Line, place: Coordinates, target: Frame) -> Coordinates:
    """Return a place of the project's frame in another one. Raises FrameError where no way is known well enough."""
    here, epoch = (np.array([place.x]), np.array([place.y])), epoch_of(of.title.as_of)
    x, y, way = crs.transform(*here, origin=of.frame, target=target, area=area(of, line), epoch=epoch)
    accuracy = _at_best(way.accuracy_m, of.frame, target)
    return Coordinates(
        target.label, target.is_geographic, float(x[0]), float(y[0]), accuracy, way.operation, way.better
    )


def _at_best(accuracy_m: float, *frames: Frame) -> float:
    """No way is better than the realisations lie apart that a frame's name covers, unless nothing was done at all."""
    if frames[0].crs.equals(frames[1].crs, ignore_axis_order=True):
        return accuracy_m
    return max(accuracy_m, *(frame.ensemble_accuracy_m for frame in frames))


def from_frame(of: Record, x: float, y: float, *, origin: Frame) -> Coordinates:
    """Return a position of any frame in the project's; `accuracy_m` is that of the way. Raises FrameError."""
    epoch = epoch_of(of.title.as_of)
    east, north, way = crs.transform(np.array([x]), np.array([y]), origin=origin, target=of.frame, epoch=epoch)
    accuracy = _at_best(way.accuracy_m, origin, of.frame)
    return Coordinates(of.frame.label, False, float(east[0]), float(north[0]), accuracy, way.operation, way.better)


def degrees(value: float, letters: str) -> str:
    """Write an angle with its letter.

    >>> degrees(-42.85229187, "NS"), degrees(149.2, "EW")
    ('42.8522919° S', '149.2000000° E')
    """
    return f"{abs(value):.7f}° {letters[value < 0]}"


def geo(place: Coordinates) -> str:
    """Return the geo: URI of a place in WGS 84 (RFC 5870).

    >>> geo(Coordinates("WGS 84", True, 149.227481234, -42.852291, 3.0))
    'geo:-42.8522910,149.2274812'
    """
    return f"geo:{place.y:.7f},{place.x:.7f}"


def coordinates(place: Coordinates) -> str:
    """Write a place with the name of its frame; latitude and longitude to a centimetre, with the letters."""
    if not place.in_degrees:
        return f"E {place.x:.3f}, N {place.y:.3f} ({place.frame})"
    return f"{degrees(place.y, 'NS')}, {degrees(place.x, 'EW')} ({place.frame})"
