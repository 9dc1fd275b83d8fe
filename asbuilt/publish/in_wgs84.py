"""Places of the record in WGS 84, by the one operation that serves the lines: for files that know no other frame."""

import numpy as np
import pyproj
import shapely

from asbuilt.as_built import AsBuilt
from asbuilt.crs import Crossing, Frame, area_of, geographic, to_base
from asbuilt.receivers import epoch_of, to_wgs84


def in_wgs84(lonlat: np.ndarray, as_built: AsBuilt) -> tuple[np.ndarray, np.ndarray, Crossing]:
    """Bring longitude and latitude of the base frame, degrees of shape (n, 2), to WGS 84, and say how.

    A joint far off does not choose another operation. Raises FrameError where WGS 84 cannot be reached with a known
    accuracy: `as_built.wgs84` is None then.
    """
    of = Frame("", pyproj.CRS.from_wkt(as_built.crs_wkt))
    vertices = as_built.tables["alignment_vertices"]
    area = area_of(*to_base(vertices["easting"].to_numpy(float), vertices["northing"].to_numpy(float), of=of))
    longitude, latitude = lonlat.astype(float).T.copy()
    return to_wgs84(longitude, latitude, of=of, epoch=epoch_of(as_built.title.as_of), area=area)


def geometries_in_wgs84(geometries: np.ndarray, as_built: AsBuilt) -> np.ndarray:
    """Return shapely geometries of the route's CRS with longitude and latitude in WGS 84, degrees; None stays."""
    there = geographic(geometries, as_built.crs_wkt)
    longitude, latitude, _ = in_wgs84(shapely.get_coordinates(there), as_built)
    return np.asarray(shapely.set_coordinates(there.copy(), np.column_stack([longitude, latitude])), dtype=object)


def way_to_wgs84(as_built: AsBuilt) -> str:
    """Say how places came to WGS 84, and how good that is."""
    vertices = as_built.tables["alignment_vertices"].iloc[:1]
    of = Frame("", pyproj.CRS.from_wkt(as_built.crs_wkt))
    lonlat = np.column_stack(to_base(*vertices[["easting", "northing"]].to_numpy(float).T.copy(), of=of))
    return in_words(in_wgs84(lonlat, as_built)[2])


def in_words(way: Crossing) -> str:
    """Say a way to WGS 84 in words that end a sentence."""
    if way.operation == "none needed":
        return f"WGS 84, a name that covers realisations up to {way.accuracy_m:g} m apart"
    return f"WGS 84, brought from {way.origin} by '{way.operation}', good to {way.accuracy_m:g} m"
