"""A line cut into strips that lie flat on a sheet at a true scale: where each begins and ends, and how it is turned."""

from dataclasses import dataclass

import numpy as np
import shapely

from asbuilt.alignment import MeasuredLine, bearing_deg, locate, reaches

_SHRINK = 0.97  # a strip that does not fit is made so much shorter, until it does
_SHORTEST = 0.02  # of the width of a sheet: a bend sharper than any pipe's


@dataclass(frozen=True)
class Scale:
    """How many millimetres of the sheet one unit of the working frame has, and one metre of chainage."""

    mm_per_unit: float
    mm_per_m: float


@dataclass(frozen=True)
class Strip:
    """A stretch of a line, low to high (chainage in metres), and its way to the sheet: turned by `angle` (radians,
    counter-clockwise) about `origin` (working frame), which comes to lie at `at` (millimetres, y downwards). `edge` is
    left free at both sides."""

    low: float
    high: float
    origin: np.ndarray
    angle: float
    at: np.ndarray
    scale: Scale
    edge: float

    def on_sheet(self, xy: np.ndarray) -> np.ndarray:
        """Return positions of the working frame in millimetres of the sheet, both of shape (n, 2)."""
        turned = (np.asarray(xy, dtype=float) - self.origin) @ _turn(self.angle).T
        return np.asarray(turned * self.scale.mm_per_unit * (1, -1) + self.at)

    def off_sheet(self, mm: np.ndarray) -> np.ndarray:
        """Return positions on the sheet in the working frame, both of shape (n, 2)."""
        turned = (np.asarray(mm, dtype=float) - self.at) * (1, -1) / self.scale.mm_per_unit
        return np.asarray(turned @ _turn(self.angle) + self.origin)

    def along(self, chainage_m: np.ndarray) -> np.ndarray:
        """Return where a chainage stands on a straight axis that begins with the strip, millimetres."""
        return np.asarray((np.asarray(chainage_m, dtype=float) - self.low) * self.scale.mm_per_m + self.edge)

    @property
    def north_deg(self) -> float:
        """Where grid north points on the sheet, degrees clockwise from upwards."""
        return float(np.degrees(-self.angle)) % 360.0


def _turn(angle: float) -> np.ndarray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def strips(line: MeasuredLine, scale: Scale, *, width: float, height: float, edge: float) -> list[Strip]:
    """Cut a line into strips that fit into a box of width x height millimetres, `edge` left free at both sides.

    Each strip is turned so that its ends lie level; it begins where the one before ends.
    """
    found, low, end = [], float(line.measure[0]), float(line.measure[-1])
    room = width - 2 * edge
    while low < end:
        high = min(low + room / scale.mm_per_m, end)
        while not _fits(line, (low, high), scale, (room, height)) and high - low > _SHORTEST * room / scale.mm_per_m:
            high = low + _SHRINK * (high - low)
        found.append(_strip(line, (low, high), scale, height=height, edge=edge))
        low = high
    return found


def _turned(line: MeasuredLine, ends: tuple[float, float]) -> tuple[np.ndarray, np.ndarray, float]:
    """Return a stretch turned level about its first point, that point, and the angle."""
    xy = shapely.get_coordinates(reaches(line, *(np.array([end]) for end in ends))[0])
    way = xy[-1] - xy[0]
    # a stretch that returns to its start has no direction: then that of its first leg serves
    bearing = float(bearing_deg(line, np.array([ends[0]]))[0])
    angle = -np.arctan2(way[1], way[0]) if np.hypot(*way) > 0 else np.radians(bearing - 90.0)
    return (xy - xy[0]) @ _turn(angle).T, xy[0], float(angle)


def _fits(line: MeasuredLine, ends: tuple[float, float], scale: Scale, room: tuple[float, float]) -> bool:
    size = np.ptp(_turned(line, ends)[0], axis=0) * scale.mm_per_unit
    return bool((size <= np.array(room) + 1e-6).all())


def _strip(line: MeasuredLine, ends: tuple[float, float], scale: Scale, *, height: float, edge: float) -> Strip:
    turned, origin, angle = _turned(line, ends)
    left, (below, above) = turned[:, 0].min(), (turned[:, 1].min(), turned[:, 1].max())
    at = np.array([edge - left * scale.mm_per_unit, height / 2 + (below + above) / 2 * scale.mm_per_unit])
    return Strip(ends[0], ends[1], origin, angle, at, scale, edge)


def crossways(line: MeasuredLine, chainage_m: np.ndarray, strip: Strip, half: np.ndarray | float) -> np.ndarray:
    """Return strokes across the line at some chainages as x0, y0, x1, y1 in millimetres, shape (n, 4); `half` long to
    each side."""
    at = strip.on_sheet(locate(line, chainage_m))
    bearing = np.radians(bearing_deg(line, chainage_m)) - strip.angle
    side = np.column_stack([np.cos(bearing), np.sin(bearing)]) * np.reshape(half, (-1, 1))
    return np.hstack([at - side, at + side])
