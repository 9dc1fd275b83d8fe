"""Joints that were found when the pipe was laid bare again: how far from where they would be placed without that.

The route is placed once more without the as-found measurements, so that what was found is compared with what the
record alone says.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.alignment import distance, locate, project
from asbuilt.judge.finding import Finding
from asbuilt.outcome import JOINT, SUPERSEDED
from asbuilt.place.route import placed, with_line_accuracy
from asbuilt.place.shots import for_want_of_a_frame, less_sure, less_sure_text, rows_of
from asbuilt.quantities import LengthUnit
from asbuilt.read.alignments import Designs
from asbuilt.read.beside import Sides
from asbuilt.sentence import several, some
from asbuilt.settings import Settings
from asbuilt.window import RADIUS_95

KIND = "as found"
MOVED_M = 0.01  # along the line: joints that moved by no more are not counted among those that moved
_FAR = -2 * np.log(0.001)  # chi-square of two degrees of freedom, 99.9 % quantile: one true record in a thousand


@dataclass(frozen=True)
class FoundAgain:
    """What is said of joints that were found: `reasons` of each row (a tuple of texts on the index of the rows),
    `statements` and `findings` of all together; `time` when each was found, UTC, shape (n,)."""

    reasons: pd.Series
    statements: tuple[str, ...]
    findings: tuple[Finding, ...]
    time: np.ndarray

    def later_than(self, moment: datetime) -> tuple[str, ...]:
        """Say how many measurements are later than the moment that all outputs speak of."""
        limit = pd.Timestamp(moment).tz_convert("UTC").tz_localize(None).to_datetime64()
        late = int((self.time > limit).sum())
        what = f"{several(late, 'as-found measurement is', 'as-found measurements are')} later than the as-of time"
        return (f"{what}, {moment:%Y-%m-%d}, and used all the same: state a later as_of in [route].",) if late else ()


def found_again(
    recorded: pd.DataFrame, rows: pd.DataFrame, designs: Designs, sides: Sides, *, settings: Settings
) -> FoundAgain:
    """Compare where joints were found with where they would be placed without that.

    `recorded` are the source rows with lineage, `rows` the same with their place, on one index. A joint that was found
    farther off than both errors allow (chi-square of both axes, 99.9 %) is a finding, as is one that was cut out.
    """
    reasons = pd.Series([()] * len(rows), index=rows.index, dtype=object)
    measured = with_line_accuracy(sides.found.rows, designs)
    at = rows_of(rows[_may_lie(rows)], measured)[0] if len(measured) else np.array([], dtype=np.int64)
    if not (at >= 0).any():
        return FoundAgain(reasons, (), (), measured["time"].to_numpy())
    before = placed(recorded, designs, replace(sides, found=sides.found.left_out()), settings=settings)[0]
    label = rows.index[_may_lie(rows)].to_numpy()[at[at >= 0]]
    what = measured[at >= 0].reset_index(drop=True), rows.loc[label], before.loc[label]
    seen = _compared(*what, designs, reach_m=settings.window.position.reach)
    unit = settings.route.length_unit
    for i, text in zip(seen["row"], _texts(seen, unit), strict=True):
        reasons[i] = (*reasons[i], text)
    findings = tuple(_findings(seen, unit))
    return FoundAgain(reasons, _statements(seen, rows, before, unit), findings, measured["time"].to_numpy())


def _may_lie(rows: pd.DataFrame) -> np.ndarray:
    return rows["outcome"].isin([JOINT, SUPERSEDED]).to_numpy()


def _compared(
    measured: pd.DataFrame, rows: pd.DataFrame, before: pd.DataFrame, designs: Designs, *, reach_m: float
) -> pd.DataFrame:
    """Return the measurements with joint_id, row (label), line and station where they lie, how far they lie from the

    place `before` (apart_m; along_m + ahead, across_m + right; NaN: it was unplaced), the radius_m it had there,
    whether that is `far` beyond both errors, whether the measurement is `weak`: less sure than the record alone, and
    whether it is `astray`: off_m is beyond the reach of its line.
    """
    line = before["line"].fillna(rows["line"]).to_numpy(object)
    at, off = _projected(measured, line, designs)
    per_unit = designs.frame.metres_per_unit
    surveyed = (before["placed_by"] == "survey").to_numpy()
    xy = _on_line(before, designs)
    xy[surveyed] = before.loc[surveyed, ["easting", "northing"]].to_numpy(float)
    apart = np.hypot(*(measured[["easting", "northing"]].to_numpy(float) - xy).T) * per_unit
    lay = np.where(surveyed, before["offset_m"].to_numpy(float), 0.0)
    astray = np.abs(off) > reach_m  # NaN is not
    apart[astray] = np.nan
    radius = before["radius95_m"].to_numpy(float)
    own = np.hypot(measured["sd_m"].to_numpy(float), measured["frame_accuracy_m"].to_numpy(float))
    far = apart**2 > _FAR * ((radius / RADIUS_95) ** 2 + own**2)  # NaN is not far
    names = ("joint_id", "placed_by", "as_found", "strange_m", "outcome", "record_radius95_m")
    kept = {name: rows[name].to_numpy() for name in names}
    return measured.drop(columns="joint").assign(
        **kept,
        row=rows.index.to_numpy(),
        station=designs.stations(pd.Series(line), pd.Series(at)),
        apart_m=apart,
        off_m=off,
        astray=astray,
        along_m=at - before["chainage_m"].to_numpy(float),
        across_m=off - lay,
        radius_m=radius,
        far=far | ((rows["strange_m"] > 0) & rows["as_found"].eq(True)).to_numpy(),
        weak=less_sure(measured, rows["record_radius95_m"].to_numpy(float)),
    )


def _on_line(rows: pd.DataFrame, designs: Designs) -> np.ndarray:
    """Return the point of the alignment at the chainage of each row, shape (n, 2); NaN: unplaced."""
    xy = np.full((len(rows), 2), np.nan)
    for design in designs.lines:
        here = (rows["line"] == design.name).to_numpy()
        xy[here] = locate(design.line, rows.loc[here, "chainage_m"].to_numpy(float))
    return xy


def _projected(measured: pd.DataFrame, line: np.ndarray, designs: Designs) -> tuple[np.ndarray, np.ndarray]:
    """Return chainage and offset (m) of each measurement on its line, NaN where it has none."""
    xy = measured[["easting", "northing"]].to_numpy(float)
    at, off = np.full(len(xy), np.nan), np.full(len(xy), np.nan)
    for design in designs.lines:
        here = np.flatnonzero((line == design.name) & np.isfinite(xy).all(axis=1))
        if not len(here):
            continue
        reach = distance(design.line, xy[here]) * (1 + 1e-9) + 1e-9
        found = project(design.line, xy[here], reach=reach)
        point, one = np.unique(found.point, return_index=True)
        at[here[point]] = found.measure[one]
        off[here[point]] = found.offset[one] * designs.frame.metres_per_unit
    return at, off


def _texts(seen: pd.DataFrame, unit: LengthUnit) -> Iterator[str]:
    """Yield for each measurement what a reader of its joint has to know."""
    row: Any
    for row in seen.itertuples():
        who = f" by {row.name}" if row.name else ""
        text = f"found{f' on {row.day}' if row.day else ''}{who}{f' at {row.station}' if row.station else ''}"
        text += f"; {_difference(row, unit)}" if np.isfinite(row.apart_m) else ""
        unplaced = np.isfinite(row.easting) and not (np.isfinite(row.apart_m) or row.astray)
        text += "; it was unplaced before" if unplaced else ""
        text += f"; it lies {unit.text(abs(row.off_m), 0)} off the line and is not used" if row.astray else ""
        text += f"; {deep}" if (deep := _height(row, unit)) else ""
        if row.wants:
            text += f"; shown and not placed by it, for want of a {row.wants}"
        elif row.weak:
            text += f"; {_weak(row, unit)}"
        elif row.far:
            text += "; no error explains that: another joint may have been found, or the record is wrong"
            text += "" if row.placed_by == "survey" else ", and it places nothing"
        yield text


def _weak(row: Any, unit: LengthUnit) -> str:
    sure = less_sure_text(row, row.record_radius95_m, unit)
    text = f"less sure than the record alone, {sure}: shown, places nothing"
    by_frame = for_want_of_a_frame(row, row.record_radius95_m)
    return f"{text}; name the frame of the corrections as crs in [found]" if by_frame else text


def _height(row: Any, unit: LengthUnit) -> str:
    """Say how deep the pipe was found, and at which level, as far as that is stated."""
    deep = f"depth {unit.text(row.depth_m)} from the ground" if np.isfinite(row.depth_m) else ""
    of = row.elevation_of or "of what is not stated"
    level = f"level {unit.text(row.elevation_m)} ({of})" if np.isfinite(row.elevation_m) else ""
    return ", ".join(filter(None, (deep, level)))


def _difference(row: Any, unit: LengthUnit) -> str:
    along, across, radius = row.along_m, row.across_m, row.radius_m
    parts = f"{unit.text(abs(along))} {'ahead' if along >= 0 else 'back'}"
    parts += f", {unit.text(abs(across))} {'right' if across >= 0 else 'left'}"
    sure = f"its 95 % radius was {unit.text(radius)}" if np.isfinite(radius) else "no radius was known"
    return f"{unit.text(row.apart_m)} from where it was placed before ({parts}; {sure})"


def _findings(seen: pd.DataFrame, unit: LengthUnit) -> Iterator[Finding]:
    """Yield what somebody has to look into: joints that were found where they cannot be, or should not be at all."""
    unused = seen["as_found"].eq(True) & (seen["placed_by"] != "survey")
    far = seen[(seen["far"] | unused) & (seen["outcome"] == JOINT)].drop_duplicates("row", keep="last")
    if len(far):
        named = [
            f"{joint} ({unit.text(apart, 1)} off)" if np.isfinite(apart) else str(joint)
            for joint, apart in zip(far["joint_id"], far["apart_m"], strict=True)
        ]
        yield Finding(
            f"{several(len(far), 'joint was', 'joints were')} found farther from the place of the record than the"
            f" errors of both allow (chi-square, 99.9 %), or cannot be brought together with what lies around:"
            f" {some(named)}. Either another joint was found, or the record is wrong: compare number, print line and"
            " the joints on both sides.",
            far["row"].to_numpy(),
            KIND,
        )
    gone = seen[seen["outcome"] == SUPERSEDED].drop_duplicates("row")
    if len(gone):
        yield Finding(
            f"Found in the ground, though by the record cut out and replaced: {some(list(gone['joint_id']))}.",
            gone["row"].to_numpy(),
            KIND,
        )


def _statements(seen: pd.DataFrame, rows: pd.DataFrame, before: pd.DataFrame, unit: LengthUnit) -> tuple[str, ...]:
    """Say how far what was found lies from the record, and what else moved because of it."""
    known = seen[np.isfinite(seen["apart_m"])]
    what = f"{several(seen['row'].nunique(), 'joint was', 'joints were')} found again"
    if len(known):
        low, middle, high = (unit.text(v) for v in known["apart_m"].quantile([0, 0.5, 1]))
        within = int((known["apart_m"] <= known["radius_m"]).sum())
        range_ = f"{low} to {high} (median {middle})" if len(known) > 1 else high
        what += f", {range_} from where the record alone puts {'them' if len(known) > 1 else 'it'}; {within} of"
        what += f" {several(len(known), 'measurement')} within the 95 % radius"
    moved = (rows["chainage_m"] - before["chainage_m"]).abs()
    others = moved[~moved.index.isin(seen["row"]) & (moved > MOVED_M).to_numpy()]
    if len(others):
        more = f"moved along the line by more than {MOVED_M * 1000:g} mm"
        what += f". {several(len(others), 'other joint')} {more}, {unit.text(others.max())} at most"
    return (f"{what}.",)
