"""What the digits of positions give away: swapped or sign-lost numbers, minutes read as decimals, fixes used again.

The numbers are read once more from the text that the source keeps; nothing is put in their place.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from asbuilt.errors import FrameError
from asbuilt.judge.finding import Finding
from asbuilt.quantities import METRE, LengthUnit
from asbuilt.read.cells import angles, decimal_sign, numbers
from asbuilt.window import ASSUMED_SD_M

Transform = Callable[[np.ndarray], np.ndarray]
Distance = Callable[[np.ndarray], np.ndarray]

_MOST = 0.8  # of the fixes of a file, as in `places`
_LEAST = 3
_DEGREE_M = 111_320.0  # a degree of latitude, within 0.6 % everywhere (WGS 84)
_LOOKED_AT = 50  # texts of a source: enough to see how many decimals it writes
_CHANCE = 0.1  # of the accuracy: then two fixes agree in all digits once in a thousand
_MINUTE = pd.Timedelta(minutes=1)
_BY_HAND = "correct the source: no line of route.toml reads them so"


@dataclass(frozen=True)
class Fit:
    """The one way of reading positions under which they lie in reach: what was done, how many fit, what to write."""

    variant: str
    count: int
    proposal: str


def what_would_fit(recorded: np.ndarray, transform: Transform, *, distance: Distance, reach_m: float) -> Fit | None:
    """Return the single way of reading the numbers under which most of them lie in reach of a line, or None.

    `recorded` has shape (n, 2): longitude and latitude in degrees, or easting and northing, as recorded; they do not
    fit as they stand. `transform` brings such pairs into the working frame (it may raise FrameError: no place there),
    `distance` gives metres to the nearest line. None where no way fits, or several do.
    """
    known = recorded[np.isfinite(recorded).all(axis=1)]
    if not len(known):
        return None
    found = []
    for variant, pairs, proposal in _variants(known):
        count = int((_distances(pairs, transform, distance) <= reach_m).sum())
        if count >= _MOST * len(known):
            found.append(Fit(variant, count, proposal))
    return found[0] if len(found) == 1 else None


def _variants(pairs: np.ndarray) -> Iterator[tuple[str, np.ndarray, str]]:
    swapped = pairs[:, ::-1]
    if np.abs(pairs).max() > 360:  # metres or feet
        yield "swapped", swapped, "swap = true"
        return
    signs = {"longitude": (-1, 1), "latitude": (1, -1), "both": (-1, -1)}
    yield "latitude and longitude swapped", swapped, "swap = true"
    for which, sign in signs.items():
        yield f"the sign of {which} changed", pairs * sign, "sign = true"
        both = f"latitude and longitude swapped and the sign of {which} changed"
        yield both, swapped * sign, "swap = true\nsign = true"
    for name, degrees in _MINUTES.items():
        yield name, degrees(pairs), ""


def _parts(values: np.ndarray, per: float) -> tuple[np.ndarray, np.ndarray]:
    """Cut values into their whole and the rest times `per`; a hair is allowed for digits that a float cannot hold."""
    whole = np.floor(values + 1e-11)
    return whole, np.maximum(values - whole, 0.0) * per


def _of_minutes(values: np.ndarray) -> np.ndarray:
    degrees, minutes = _parts(np.abs(values), 100)
    return np.sign(values) * np.where(minutes < 60, degrees + minutes / 60, np.nan)


def _of_seconds(values: np.ndarray) -> np.ndarray:
    degrees, rest = _parts(np.abs(values), 100)
    minutes, seconds = _parts(rest, 100)
    return np.sign(values) * np.where((minutes < 60) & (seconds < 60), degrees + minutes / 60 + seconds / 3600, np.nan)


def _of_minutes_with_seconds(values: np.ndarray) -> np.ndarray:
    degrees, rest = _parts(np.abs(values), 60)
    minutes, seconds = _parts(rest, 100)
    return np.sign(values) * np.where(seconds < 60, degrees + minutes / 60 + seconds / 3600, np.nan)


_MINUTES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "what stands behind the point of the degrees read as minutes": _of_minutes,
    "what stands behind the point of the degrees read as minutes and seconds": _of_seconds,
    "what stands behind the point of the minutes read as seconds": _of_minutes_with_seconds,
}


def _distances(pairs: np.ndarray, transform: Transform, distance: Distance) -> np.ndarray:
    out = np.full(len(pairs), np.inf)
    is_angle = np.abs(pairs[np.isfinite(pairs)]).max(initial=0.0) <= 360
    fits = np.isfinite(pairs).all(axis=1) & ~(is_angle & (np.abs(pairs[:, 1]) > 90))
    if not fits.any():
        return out
    try:
        there = transform(pairs[fits])
    except FrameError:  # read so, not one position has a place in the working frame
        return out
    placed = np.isfinite(there).all(axis=1)
    at = np.flatnonzero(fits)[placed]
    out[at] = distance(there[placed]) if placed.any() else out[at]
    return out


def frame_findings(
    rows: pd.DataFrame, transform: Callable[[str, np.ndarray], np.ndarray], *, distance: Distance, reach_m: float
) -> tuple[Finding, ...]:
    """Return the files whose positions would fit if they were read otherwise, where most of them do not fit as read.

    `rows` needs source_file, frame_origin, position_recorded, easting and far_m. `transform` takes the frame_origin
    and pairs (n, 2) of longitude and latitude, or easting and northing; the rest is as in `what_would_fit`.
    """
    found = []
    recorded = rows[rows["position_recorded"].fillna("").str.contains(", ", regex=False)]
    lost = recorded["far_m"].notna() | recorded["easting"].isna()
    for (file, origin), fixes in recorded.groupby(["source_file", "frame_origin"], sort=True):
        if len(fixes) < _LEAST or lost[fixes.index].mean() < _MOST:
            continue
        pairs = recorded_pairs(fixes["position_recorded"].to_numpy(object))
        fit = what_would_fit(pairs, partial(transform, str(origin)), distance=distance, reach_m=reach_m)
        if fit:
            lines = " and ".join(fit.proposal.splitlines())
            do = f"write {lines} to have them read so" if lines else _BY_HAND
            statement = (
                f"{file}: {lost[fixes.index].sum()} of {len(fixes)} positions lie far from every line as they are read,"
                f" and {fit.count} would lie in reach with {fit.variant}. If that is so, {do}."
            )
            found.append(Finding(statement, fixes.index.to_numpy(), "frame", fit.proposal))
    return tuple(found)


def recorded_pairs(recorded: np.ndarray) -> np.ndarray:
    """Return the numbers of texts such as "42° 51' 28\\" S, 149.2019" as pairs x, y: the second, then the first.

    Degrees where they are angles, else the source's own unit; NaN where a text holds no two numbers. Shape (n, 2).
    """
    halves = [text.split(", ") if text.count(", ") == 1 else [None, None] for text in recorded]
    first, second = [h[0] for h in halves], [h[1] for h in halves]
    sign = decimal_sign([first, second])[:1].replace("?", "") or "."
    plain = [numbers(cells, decimal=sign, from_unit="", to_unit="").values for cells in (second, first)]
    if np.isfinite(plain).any():
        return np.column_stack(plain)
    for east, north in (("EW", "NS"), ("NS", "EW")):
        read = [
            angles(cells, decimal=sign, letters=letters, limit=360.0).values
            for cells, letters in ((second, east), (first, north))
        ]
        if np.isfinite(read).all(axis=0).any():
            break
    return np.column_stack(read)


def digit_findings(
    rows: pd.DataFrame, *, metres_per_unit: float = 1.0, unit: LengthUnit = METRE
) -> tuple[Finding, ...]:
    """Return, once for each file and machine, fixes that stand on several records, and too few decimals.

    `rows` are joints, without duplicates: source_file, machine, joint, position_recorded, sd_m, fused_at, easting.
    Digits that agree say nothing where the source writes few of them: only what is written to a tenth of the stated
    accuracy counts. `metres_per_unit` is of eastings and northings as recorded, `unit` what lengths are said in.
    """
    fixes = rows[rows["easting"].notna() & rows["position_recorded"].fillna("").str.contains(", ", regex=False)]
    fixes = fixes.assign(again=_again(fixes))
    found: list[Finding] = []
    for (file, machine), own in fixes.groupby([fixes["source_file"], fixes["machine"].fillna("")], sort=True):
        who = f"{file}, machine {machine}" if machine else str(file)
        step_m = _resolution_m(own["position_recorded"].iloc[:_LOOKED_AT], metres_per_unit)
        stated = own["sd_m"].median()
        rounding = step_m / np.sqrt(12)  # standard deviation of what rounding cuts off: evenly spread over one step
        if rounding > stated and len(own) >= _LEAST:
            found.append(
                Finding(
                    f"{who}: {len(own)} positions are written to {unit.short(step_m)}, which is coarser than the"
                    f" accuracy stated for them (one sd {unit.short(stated)}): the last digit alone adds"
                    f" {unit.short(rounding)}.",
                    own.index.to_numpy(),
                    "decimals",
                )
            )
        elif step_m <= _CHANCE * (ASSUMED_SD_M if np.isnan(stated) else stated):
            found += _used_again(own, who)
    return tuple(found)


def _again(fixes: pd.DataFrame) -> pd.Series:
    """Whether the same digits stand on a record of the same file and machine that is a minute older, or more."""
    same = fixes.groupby(["source_file", "machine", "position_recorded"], dropna=False, sort=False)["fused_at"]
    return fixes["fused_at"] - same.transform("min") >= _MINUTE


def _used_again(own: pd.DataFrame, who: str) -> Iterator[Finding]:
    if own["again"].any():
        again = own[own["again"]]
        last = again.iloc[0]
        first = own[own["position_recorded"] == last["position_recorded"]].sort_values("fused_at").iloc[0]
        yield Finding(
            f"{who}: {len(again)} of {len(own)} positions repeat an earlier one in every digit, minutes or more later"
            f" ({last['joint']} has that of {first['joint']}): the receiver gave an old fix again, or somebody wrote it"
            " again. Only the first of each was measured.",
            again.index.to_numpy(),
            "old fix",
        )


_PART = re.compile(r"\d+(?:[.,](\d+))?")


def _resolution_m(texts: pd.Series, metres_per_unit: float) -> float:
    """Return the step of the last digit in metres, of the finer of two coordinates, as most texts have it."""
    halves = [[list(_PART.finditer(half)) for half in text.split(", ")] for text in texts]
    most = max((float(parts[0][0].replace(",", ".")) for pair in halves for parts in pair if parts), default=np.nan)
    is_angle = most <= 360
    return float(np.median([_step_m(pair, metres_per_unit, is_angle) for pair in halves]))


def _step_m(pair: list[list[re.Match[str]]], metres_per_unit: float, is_angle: bool) -> float:
    units = [_DEGREE_M / 60 ** (min(len(parts), 3) - 1) if is_angle else metres_per_unit for parts in pair]
    steps = [unit * 10.0 ** -len(parts[-1][1] or "") for unit, parts in zip(units, pair, strict=True) if parts]
    return min(steps, default=np.nan)
