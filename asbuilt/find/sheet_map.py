"""The small map of a locate sheet, in millimetres of its box: y runs down, grid north is up, at a true scale."""

from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from asbuilt.alignment import bearing_deg
from asbuilt.find.answer import JointAnswer, Tie
from asbuilt.find.boxes import corners
from asbuilt.find.record import Record
from asbuilt.quantities import LengthUnit

# One to so many; with feet those that are whole feet to the inch.
_SCALES: Mapping[str, tuple[int, ...]] = {
    "m": (20, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000),
    "ft": (24, 60, 120, 240, 360, 480, 600, 1200, 2400, 6000),
}
_NEIGHBOUR_M, _TIE_M, _BOX_M = 20.0, 40.0, 40.0  # farther than these nothing makes the map smaller
_ARC_MM, _ROUND, _EDGE_MM = 7.0, 2, 4.0
_WORD_MM, _WORD_WIDE_MM, _WORD_HIGH_MM = 5.5, 10.0, 3.2
_ARROW_MM, _CLEAR_MM = np.array([4.5, 7.5]), 9.0  # middle of the north arrow from the edges; room that is enough
_FAR, _OWN_FAR = (1.0, -1.0, 1.7, -1.7), (1.6, -1.6, 2.4, -2.4, 3.2, -3.2)  # of words beside the line, right first
_BARS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)


def map_data(of: Record, joint: JointAnswer, size: tuple[float, float]) -> dict[str, Any]:
    """Return what the map draws: ink by pens, marks with their words, scale and bar. The joint has a place."""
    unit = of.title.length_unit
    scale = _scale(_far(joint), unit, min(size))
    view = _View(of, joint, size, 1000.0 / scale * of.frame.metres_per_unit)
    features = view.features()
    drawn = {**_drawn(view, scale, unit), "joints": view.joints(features), "features": features}
    return {**drawn, "says": _says(drawn, joint), "north": view.corner(drawn)}


def _says(drawn: Mapping[str, Any], joint: JointAnswer) -> list[str]:
    """Say what the map shows, and nothing that this one does not."""
    inked = {ink["pen"] for ink in drawn["ink"] if ink["paths"]}
    said = {
        f"Scale {drawn['scale']} where printed at full size: measure the bar. Grid north is up. Ring with a cross: this"
        " joint": True,
        "small rings: its neighbours": any(not one["own"] for one in drawn["joints"]),
        "thick outline: search box" + "es, one on each leg" * (len(joint.boxes) > 1): "box" in inked,
        "dashed: with a receiver in WGS 84": "wide" in inked,
        "numbered squares: ties below": any(one["inside"] for one in drawn["features"]),
        "a number at the edge: a tie beyond it": any(not one["inside"] for one in drawn["features"]),
        "dotted arcs: a tape from each tie": "arc" in inked,
    }
    return [text for text, is_there in said.items() if is_there]


def detail_data(of: Record, joint: JointAnswer, size: tuple[float, float]) -> dict[str, Any] | None:
    """Return a map of the search box and the arcs of the ties alone, at a scale that shows them; None where the small
    map does so already."""
    unit = of.title.length_unit
    if not joint.boxes:
        return None
    box = joint.boxes[0]
    scale = _scale([float(np.hypot(box.along_m, box.across_m))], unit, min(size))
    if scale * 2 > _scale(_far(joint), unit, 90.0):
        return None
    return _drawn(_View(of, joint, size, 1000.0 / scale * of.frame.metres_per_unit), scale, unit)


def _drawn(view: "_View", scale: int, unit: LengthUnit) -> dict[str, Any]:
    width, height = (float(v) for v in view.size)
    return {
        "width": width,
        "height": height,
        "ink": [{"pen": pen, "paths": found} for pen, found in view.paths.items()],
        "scale": scale_text(scale, unit),
        "bar": _bar(scale, unit, width / 2.2),
    }


def _far(joint: JointAnswer) -> list[float]:
    """How far the map has to reach for a neighbour on each side, the box, and three ties, in metres."""
    beside = sorted(n.distance_m for n in joint.neighbours)[:2]
    far = [min(d, _NEIGHBOUR_M) for d in beside] + [min(t.distance_m, _TIE_M) for t in joint.ties[:3]]
    boxes = [max(b.wgs84_along_m or b.along_m, b.wgs84_across_m or b.across_m) for b in joint.boxes[:1]]
    return [*far, *(min(half, _BOX_M) for half in boxes)]


def _scale(far_m: list[float], unit: LengthUnit, side_mm: float) -> int:
    """Return the largest scale at which so much is seen on each side of the middle."""
    least = max(far_m, default=_NEIGHBOUR_M) * 1000.0 / (side_mm / 2 - _EDGE_MM)
    scales = _SCALES.get(unit.name, _SCALES["m"])
    return next((scale for scale in scales if scale >= least), scales[-1])


def scale_text(scale: int, unit: LengthUnit) -> str:
    """Write a scale.

    >>> scale_text(500, LengthUnit()), scale_text(240, LengthUnit("ft", 0.3048))
    ('1:500', '1:240, 1 in = 20 ft')
    """
    return f"1:{scale}" + (f", 1 in = {scale / 12:g} ft" if unit.name == "ft" else "")


def _bar(scale: int, unit: LengthUnit, most_mm: float) -> dict[str, Any]:
    """Return the longest bar of a round length that has room."""
    mm = [(n, n * unit.metres * 1000.0 / scale) for n in _BARS]
    length, wide = [one for one in mm if one[1] <= most_mm][-1]
    return {"mm": round(wide, 3), "says": f"{length:g} {unit.name}"}


class _View:
    """The box of the map about one joint."""

    def __init__(self, of: Record, joint: JointAnswer, size: tuple[float, float], mm_per_unit: float) -> None:
        if joint.place is None:
            raise ValueError("a joint without a place has no map")
        self.of, self.joint, self.size, self.mm = of, joint, np.array(size), mm_per_unit
        self.middle = np.array([joint.place.x, joint.place.y])
        self.frame = shapely.box(0.0, 0.0, *size)

    @cached_property
    def paths(self) -> dict[str, list[list[float]]]:
        """What is drawn by each pen."""
        joint, metres = self.joint, self.of.frame.metres_per_unit
        wide = [box for box in joint.boxes if box.wgs84_along_m is not None]
        found = {
            "line": self.line(),
            "box": [self.closed(corners(box, metres)) for box in joint.boxes],
            "wide": [self.closed(corners(box, metres, in_wgs84=True)) for box in wide],
            "tie": [self.path(self.seen(self.tie(tie))) for tie in joint.ties],
            "arc": [self.path(self.arc(tie)) for tie in joint.ties],
        }
        return {pen: [path for path in paths if len(path) > 2] for pen, paths in found.items()}

    @cached_property
    def ink(self) -> Any:
        """The same as one geometry."""
        return shapely.union_all(
            [shapely.linestrings(np.reshape(p, (-1, 2))) for ps in self.paths.values() for p in ps]
        )

    def on_sheet(self, xy: np.ndarray) -> np.ndarray:
        """Return places of the project's frame in millimetres, shape (n, 2)."""
        return np.asarray(self.size / 2 + (xy - self.middle) * self.mm * [1.0, -1.0])

    def path(self, at: np.ndarray) -> list[float]:
        """Return a path as x, y, x, y ..."""
        return [float(v) for v in at.round(_ROUND).ravel()]

    def closed(self, xy: np.ndarray) -> list[float]:
        """Return an outline."""
        return self.path(self.on_sheet(np.vstack([xy, xy[:1]])))

    def line(self) -> list[list[float]]:
        """Return all lines as far as the box shows them."""
        ways = [self.of.line(name).way.xy for name in self._lines_near()]
        seen = [shapely.intersection(shapely.linestrings(self.on_sheet(xy)), self.frame) for xy in ways]
        parts = shapely.get_parts(np.array(seen, dtype=object))
        return [self.path(shapely.get_coordinates(part)) for part in parts if shapely.get_dimensions(part) == 1]

    def _lines_near(self) -> list[str]:
        return sorted({self.joint.line, *(box.line for box in self.joint.boxes)})

    def tie(self, tie: Tie) -> np.ndarray:
        """Return the way from a feature to the joint, shape (2, 2)."""
        return self.on_sheet(np.array([[tie.easting, tie.northing], self.middle]))

    def seen(self, way: np.ndarray) -> np.ndarray:
        """Return the part of a way that the box shows."""
        return np.asarray(shapely.get_coordinates(shapely.intersection(shapely.linestrings(way), self.frame)))

    def arc(self, tie: Tie) -> np.ndarray:
        """Return the arc of a tape about a feature, where it passes through the joint."""
        spoke = self.tie(tie)
        radius = float(np.hypot(*(spoke[1] - spoke[0])))
        half = min(_ARC_MM / max(radius, 1e-6), np.pi / 2)
        turn = np.arctan2(*(spoke[1] - spoke[0])[::-1]) + np.linspace(-half, half, 25)
        return np.asarray(spoke[0] + radius * np.column_stack([np.cos(turn), np.sin(turn)]))

    def joints(self, features: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Return the joint and its neighbours with their ids. Words stand beside the line, where there is room, and on
        nothing that is drawn if they can; where there is no room there are none: `at` is None."""
        rows = self.of.between(self.joint.line, *self._stretch())
        xy = self.on_sheet(rows[["easting", "northing"]].to_numpy(float))
        turn = np.radians(bearing_deg(self.of.line(self.joint.line).way, rows["chainage_m"].to_numpy(float)))
        aside = np.column_stack([np.cos(turn), np.sin(turn)])
        own = (rows["joint_id"] == self.joint.joint_id).to_numpy(bool)
        taken = [np.array([one["x"], one["y"]]) for one in features]
        words: dict[int, list[float]] = {}
        for i in sorted(range(len(xy)), key=lambda i: float(np.hypot(*(xy[i] - self.size / 2)))):
            spots = [xy[i] + far * aside[i] * _WORD_MM for far in (_OWN_FAR if own[i] else _FAR)]
            free = [spot for spot in spots if self._has_room(spot, taken)]
            free.sort(key=self._crosses)  # of those that cross nothing, or all something, the first stays so
            if free:
                taken.append(free[0])
                words[i] = self.path(free[0])
        inside = np.asarray(((xy > 1) & (xy < self.size - 1)).all(axis=1))
        names = rows["joint_id"].astype(str).to_numpy(object)
        return [
            {"x": float(x), "y": float(y), "says": names[i], "own": bool(own[i]), "at": words.get(i)}
            for i, (x, y) in enumerate(xy.round(_ROUND).tolist())
            if inside[i]
        ]

    def _crosses(self, spot: np.ndarray) -> bool:
        """Whether a word would stand on something that is drawn."""
        half = np.array([_WORD_WIDE_MM, _WORD_HIGH_MM]) / 2
        return bool(shapely.intersects(shapely.box(*(spot - half), *(spot + half)), self.ink))

    def _has_room(self, spot: np.ndarray, taken: list[np.ndarray]) -> bool:
        """Whether a word has room beside others, and in the box."""
        apart = all(abs(spot[0] - x) > _WORD_WIDE_MM or abs(spot[1] - y) > _WORD_HIGH_MM for x, y in taken)
        return apart and bool(((spot > 4) & (spot < self.size - 4)).all())

    def corner(self, drawn: Mapping[str, Any]) -> list[float]:
        """Return the middle of the north arrow: in the corner that is farthest from what is drawn, the upper right
        where several are as free."""
        words = [one["at"] for one in drawn["joints"] if one["at"]]
        marks = [(one["x"], one["y"]) for one in (*drawn["joints"], *drawn["features"])]
        ink = shapely.union_all(
            [self.ink, *(shapely.Point(at).buffer(_WORD_MM) for at in words), *map(shapely.Point, marks)]
        )
        wide, high = self.size - _ARROW_MM
        spots = [(x, y) for y in (_ARROW_MM[1], high) for x in (wide, _ARROW_MM[0])]
        best = max(spots, key=lambda spot: min(float(shapely.distance(shapely.Point(spot), ink)), _CLEAR_MM))
        return [round(float(v), _ROUND) for v in best]

    def _stretch(self) -> tuple[float, float]:
        at, reach = float(self.joint.values["chainage_m"]), float(np.hypot(*self.size)) / 1000.0
        reach *= 1000.0 / self.mm * self.of.frame.metres_per_unit
        return at - reach, at + reach

    def features(self) -> list[dict[str, Any]]:
        """Return features with their numbers in the list of ties; one beyond the box stands where its way leaves it."""
        found = []
        for number, tie in enumerate(self.joint.ties, start=1):
            spot, seen = self.tie(tie)[0], self.seen(self.tie(tie))
            inside = bool(((spot > 1) & (spot < self.size - 1)).all())
            at = spot if inside else seen[0] if len(seen) else spot
            at = np.clip(at, 3.0, self.size - 3.0)
            found.append(
                {
                    "x": round(float(at[0]), _ROUND),
                    "y": round(float(at[1]), _ROUND),
                    "inside": inside,
                    "says": str(number),
                }
            )
        return found
