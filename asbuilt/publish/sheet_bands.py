"""What runs below the plan of a strip on one straight axis: stations, joints with their numbers, gaps, strings, tests.

All lengths are millimetres of the sheet; bands count from the top of their own box.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.publish.strips import Strip
from asbuilt.sentence import several
from asbuilt.stationing import Stationing

AXIS_MM, SIGNS_MM, LABELS_MM, LANE_MM = 5.0, 9.5, 12.0, 4.4
_PER_LETTER, _LEAST, _MOST = 1.25, 9.0, 40.0  # height of a number that stands upright
_APART, _STATIONS_APART = 2.6, 17.0  # two numbers nearer than this cannot be read: upright ones, stations
_LETTER = 1.0  # width of a letter of a station or on a bar, measured on a sheet and rounded up
_SAME_M = 0.005


@dataclass(frozen=True)
class Bands:
    """How high the bands are, for all sheets alike: the numbers of joints, and lanes of strings and of tests."""

    labels: float
    strings: int
    tests: int

    @property
    def height(self) -> float:
        """Height of all bands together."""
        return LABELS_MM + self.labels + LANE_MM * (1 + self.strings + self.tests)


def bands(frames: Mapping[str, pd.DataFrame]) -> Bands:
    """Return the heights that hold every number and every lane of the record."""
    joints = frames["joints"]
    longest = int(joints.loc[joints["in_line"].astype(bool), "joint_id"].str.len().max()) if len(joints) else 0
    lanes = [int(max(lanes_of(frames[name]), default=-1)) + 1 for name in ("strings", "test_sections")]
    return Bands(float(np.clip(longest * _PER_LETTER, _LEAST, _MOST)), *(max(n, 1) for n in lanes))


def lanes_of(reaches: pd.DataFrame) -> np.ndarray:
    """Return the lane of each reach, so that none lies on another, shape (n,); -1 where it has no place."""
    lane = np.full(len(reaches), -1)
    low, high = (reaches[f"{end}_chainage_m"].to_numpy(float) for end in ("from", "to"))
    line = reaches["line"].to_numpy(object)
    ends: dict[object, list[float]] = {}
    for i in np.argsort(np.where(np.isfinite(low), low, np.inf), kind="stable"):
        if np.isfinite(low[i]):
            taken = ends.setdefault(line[i], [])
            free = next((n for n, end in enumerate(taken) if end <= low[i] + _SAME_M), len(taken))
            taken[free : free + 1] = [high[i]]
            lane[i] = free
    return lane


def axis_marks(marks: pd.DataFrame, strip: Strip, stationing: Stationing) -> list[dict[str, Any]]:
    """Return the chainage marks of the strip: x, what is written where there is room, and whether it is a main one."""
    here = marks[marks["chainage_m"].between(strip.low - 1e-6, strip.high + 1e-6)]
    here = here.sort_values("chainage_m", kind="stable")
    breaks, x = stationing.breaks_m, strip.along(here["chainage_m"].to_numpy(float))
    main = (here["rank"] >= 2).to_numpy(bool)
    says = []
    for at, station in zip(here["chainage_m"], here["station"], strict=True):
        is_jump = bool(len(breaks)) and bool(np.min(np.abs(breaks - at)) < _SAME_M)
        ahead = f" back = {stationing.labels(np.array([at + 1e-6]))[0]} ahead" if is_jump else ""
        says.append(f"{station}{ahead}")
    wide = np.maximum([_LETTER * len(text) for text in says], _STATIONS_APART)
    rows = zip(x, says, main, _with_room(x, main, wide), strict=True)
    return [{"x": _mm(at), "says": text if fits else "", "main": bool(is_main)} for at, text, is_main, fits in rows]


def numbered(joints: pd.DataFrame, strip: Strip) -> list[dict[str, Any]]:
    """Return the joints of the strip on its axis: x, both verdicts, and the number where there is room for it.

    `joints` are in order of chainage. A joint that stands out (`loud`) keeps its number where two come too near.
    """
    here = joints[joints["chainage_m"].between(strip.low, strip.high)]
    x, loud = strip.along(here["chainage_m"].to_numpy(float)), here["loud"].to_numpy(bool)
    shown = _with_room(x, loud, np.full(len(x), _APART))
    rows = zip(x, here["fusion_verdict"], here["position_verdict"], here["joint_id"], loud, shown, strict=True)
    return [
        {"x": _mm(at), "fusion": fusion, "position": position, "says": name if fits else "", "loud": bool(out)}
        for at, fusion, position, name, out, fits in rows
    ]


def _with_room(x: np.ndarray, loud: np.ndarray, wide: np.ndarray) -> np.ndarray:
    """Return which of some places get a label, loud ones first, none on another; `wide` is the width of each label."""
    shown = np.zeros(len(x), dtype=bool)
    for wanted in (True, False):
        for i in np.flatnonzero(loud == wanted):
            shown[i] = bool((np.abs(x[shown] - x[i]) >= (wide[shown] + wide[i]) / 2).all())
    return shown


def lane_bars(reaches: pd.DataFrame, strip: Strip, says: pd.Series) -> list[dict[str, Any]]:
    """Return reaches of the strip as bars: from and to in millimetres, lane, text, and which ends are its own.

    A reach is named where it begins, and on each further strip on whose bar there is room for that; where its name
    would run into the next bar it is `unsaid`.
    """
    low, high = (reaches[f"{end}_chainage_m"].to_numpy(float) for end in ("from", "to"))
    lane = lanes_of(reaches)
    here = np.flatnonzero((low < strip.high) & (high > strip.low) & (lane >= 0))
    start, end = strip.along(np.maximum(low, strip.low)), strip.along(np.minimum(high, strip.high))
    edge, out = float(strip.along(np.array(strip.high))) + strip.edge, []
    for i in here:
        after = start[here[(lane[here] == lane[i]) & (start[here] > start[i])]]
        wide, begins = _LETTER * len(says.iloc[i]) + 1.6, bool(low[i] >= strip.low)
        fits = wide <= min(after, default=edge) - start[i]
        is_named = fits and (begins or wide <= end[i] - start[i])
        told = {"says": says.iloc[i] if is_named else "", "unsaid": says.iloc[i] if begins and not fits else ""}
        ends = {"begins": begins, "ends": bool(high[i] <= strip.high)}
        out.append({"from": _mm(start[i]), "to": _mm(end[i]), "lane": int(lane[i]), **told, **ends})
    return out


def gap_bars(gaps: pd.DataFrame, strip: Strip) -> list[dict[str, Any]]:
    """Return the gaps of the strip as bars in one lane, each with its missing records."""
    says = pd.Series([several(int(n), "missing record") for n in gaps["missing_records"]], dtype=object)
    return lane_bars(gaps, strip, says)


def string_bars(strings: pd.DataFrame, strip: Strip) -> list[dict[str, Any]]:
    """Return the strings of the strip as bars, each with its name and how it was laid."""
    says = strings["string"] + (", " + strings["method"]).where(strings["method"] != "", "")
    return lane_bars(strings, strip, says)


def section_bars(sections: pd.DataFrame, strip: Strip) -> list[dict[str, Any]]:
    """Return the test sections of the strip as bars, each with its result as recorded and its day."""
    result = sections["result"].where(sections["result"] != "", "no result stated")
    says = sections["section"] + " " + result + (" " + sections["tested_on"]).where(sections["tested_on"] != "", "")
    return lane_bars(sections, strip, says)


def _mm(value: Any) -> float:
    return round(float(value), 3)
