"""Stretches of a line where joints must exist and no record does, between neighbours and at both ends."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from asbuilt.quantities import METRE, LengthUnit
from asbuilt.window import ASSUMED_SD_M, TWO_SIDED_95

# One spacing in two hundred is longer than a stick by so much from noise alone (normal, one side, 0.5 %): with
# hundreds of spacings on a line the usual 1.96 would cry gap at a dozen of them.
_RARE = 2.5758
_SURE = 4.0  # standard deviations: what noise does to one spacing in thirty thousand
_LONGER = 0.1  # of a stick: how much longer than stated one may be, with a fitting or a slope in it


@dataclass(frozen=True)
class LineEnds:
    """What is known of a line besides its joints. Chainages in metres."""

    name: str
    start_m: float
    end_m: float
    first_joint: bool
    last_joint: bool
    complete: bool
    unit: LengthUnit = METRE


@dataclass(frozen=True)
class Spacings:
    """Neighbours along a line: `index` of the joints (n,), chainage and its sd (n,), sd of each spacing (n - 1,)."""

    index: np.ndarray
    ids: np.ndarray
    at: np.ndarray
    sd: np.ndarray
    spread: np.ndarray


def find_gaps(
    joints: pd.DataFrame, ends: LineEnds, *, stick_m: float, hiding: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return the gaps of one line, in the columns of tables.GAPS without stations, unplaced_here and geometry.

    `joints` are the placed joints in line: joint_id, chainage_m, chainage_sd_m, row_before, step_sd_m; any order.
    `hiding` says between which joints missing records hide (`place.brackets`, by the index of the joints). Besides
    the columns of the table: `before` and `after`, index of the joints between which records are likeliest missing.
    """
    joints = joints.sort_values(["chainage_m", "joint_id"], kind="stable")
    near = _spacings(joints)
    between = pd.DataFrame(_between(near, stick_m, ends.unit))
    if len(between):
        between = _bracketed(between, near, ends, hiding)
    parts = [pd.DataFrame(_start(near, ends, stick_m)), between, pd.DataFrame(_end(near, ends, stick_m))]
    return pd.concat([p for p in parts if len(p)] or parts[:1], ignore_index=True)


def _spacings(joints: pd.DataFrame) -> Spacings:
    """Within a piece the spread of a step is known; elsewhere two neighbours err by themselves."""
    sd = np.nan_to_num(joints["chainage_sd_m"].to_numpy(float), nan=ASSUMED_SD_M)
    spread = np.hypot(sd[:-1], sd[1:])
    index = joints.index.to_numpy()
    if "row_before" in joints:
        before, step = joints["row_before"].to_numpy(), joints["step_sd_m"].to_numpy(float)
        spread = np.where(before[1:] == index[:-1], step[1:], spread)
        spread = np.where(before[:-1] == index[1:], step[:-1], spread)
    return Spacings(index, joints["joint_id"].to_numpy(object), joints["chainage_m"].to_numpy(float), sd, spread)


def _row(line: str, low: float, high: float, first: str, last: str, **found: object) -> dict[str, object]:
    gap_id = f"{first or line + ' start'}--{last or line + ' end'}"
    place = {"line": line, "from_chainage_m": low, "to_chainage_m": high, "length_m": high - low}
    place |= {"joints_within": 0, "before": -1, "after": -1}
    return {"gap_id": gap_id, **place, "from_joint": first, "to_joint": last, "decision": "", **found}


def _between(near: Spacings, stick_m: float, unit: LengthUnit) -> list[dict[str, object]]:
    """Return each spacing that holds missing records: its number, how many, and the bounds of that."""
    spacing, spread = np.diff(near.at), near.spread
    sticks = np.floor(spacing / stick_m + 0.5)
    likely = np.where(spacing - stick_m > _RARE * spread, sticks - 1, 0)
    missing = np.maximum(likely, _needed(spacing - _SURE * spread, stick_m))
    missing = np.minimum(missing, _less_a_displaced_neighbour(spacing, near.sd, stick_m))
    found = []
    for i in np.flatnonzero(missing >= 1):
        low = max(0, int(_needed(spacing[i] - TWO_SIDED_95 * spread[i], stick_m)))
        high = int(np.floor((spacing[i] + TWO_SIDED_95 * spread[i]) / stick_m + 0.5)) - 1
        text = f"{unit.text(spacing[i], 1)} between neighbours, sticks of {unit.short(stick_m)}"
        counts = {"missing_records": int(missing[i]), "missing_low": min(low, int(missing[i]))}
        counts["missing_high"] = max(high, int(missing[i]))
        found.append({"first": i, "last": i + 1, "at": i, **counts, "evidence": text})
    return found


def _bracketed(between: pd.DataFrame, near: Spacings, ends: LineEnds, hiding: pd.DataFrame | None) -> pd.DataFrame:
    """Widen each spacing to the reach that holds its missing records with 95 %; those that overlap are one gap."""
    if hiding is not None and len(hiding):
        place = pd.Series(np.arange(len(near.index)), index=near.index)
        told = hiding[hiding[["first", "last"]].isin(near.index).all(axis=1)]
        ends_at = np.sort(np.column_stack([place[told["first"]], place[told["last"]]]), axis=1)
        for (low, high), (_, row) in zip(ends_at, told.iterrows(), strict=True):
            inside = (between["at"] >= low) & (between["at"] < high)
            between.loc[inside, "first"] = np.minimum(between.loc[inside, "first"], low)
            between.loc[inside, "last"] = np.maximum(between.loc[inside, "last"], high)
            if inside.sum() == 1:
                between.loc[inside, "missing_low"] = min(row["low"], between.loc[inside, "missing_low"].iloc[0])
                between.loc[inside, "missing_high"] = max(row["high"], between.loc[inside, "missing_high"].iloc[0])
    return pd.DataFrame([_gap(group, near, ends) for group in _overlapping(between)])


def _overlapping(between: pd.DataFrame) -> list[pd.DataFrame]:
    """Part the spacings into groups whose reaches share more than a joint."""
    reach = np.maximum.accumulate(between["last"].to_numpy())
    new = np.concatenate([[True], between["first"].to_numpy()[1:] >= reach[:-1]])
    return [group for _, group in between.groupby(np.cumsum(new))]


def _gap(group: pd.DataFrame, near: Spacings, ends: LineEnds) -> dict[str, object]:
    first, last = int(group["first"].min()), int(group["last"].max())
    counts = {name: int(group[name].sum()) for name in ("missing_records", "missing_low", "missing_high")}
    at = int(group["at"].iloc[0])
    text = "; ".join(group["evidence"])
    within = last - first - len(group)
    if within:
        text += f"; which of the spacings from {near.ids[first]} to {near.ids[last]} it is no fix can tell"
    how = {"kind": "between joints", "evidence": text, "joints_within": within}
    how |= {"before": near.index[at], "after": near.index[at + 1]}
    return _row(ends.name, near.at[first], near.at[last], near.ids[first], near.ids[last], **(counts | how))


def _needed(reach: np.ndarray | float, stick_m: float) -> np.ndarray:
    """Return how many joints a reach needs at the least: sticks may be cut, and are never much longer than stated."""
    return np.maximum(np.ceil(reach / stick_m - _LONGER) - 1, 0)


def _less_a_displaced_neighbour(spacing: np.ndarray, sd: np.ndarray, stick_m: float) -> np.ndarray:
    """Return how many records are missing in each spacing if a neighbour is displaced by the noise of its fix.

    One bad fix makes a long and a short spacing side by side: the two together then tell, if the short one is short
    by no more than the noise explains.
    """
    missing = np.full(len(spacing), np.inf)
    for shift, shared in ((-1, sd[:-1]), (1, sd[1:])):
        beside = np.full(len(spacing), np.nan)
        if shift < 0:
            beside[1:] = spacing[:-1]
        else:
            beside[:-1] = spacing[1:]
        short = stick_m - beside
        explained = (short > 0.25 * stick_m) & (short <= 3.3 * shared)
        together = np.rint((spacing + beside) / stick_m) - 2
        missing = np.where(explained, np.minimum(missing, together), missing)
    return missing


def _start(near: Spacings, ends: LineEnds, stick_m: float) -> list[dict[str, object]]:
    at, sd, ids = near.at, near.sd, near.ids
    if not len(at):
        whole: dict[str, object] = {"kind": "before the first joint", "evidence": "no joint of this line has a place"}
        length = ends.end_m - ends.start_m
        missing = int(max(np.floor(length / stick_m + 0.5) - 1, _needed(length, stick_m)))
        counts = _open(ends, missing + ends.first_joint + ends.last_joint, 0.0, stick_m)
        return [_row(ends.name, ends.start_m, ends.end_m, "", "", **(whole | counts))]
    return _at_end(ends, (ends.start_m, at[0]), ("", ids[0]), sd=sd[0], stick_m=stick_m, has_joint=ends.first_joint)


def _end(near: Spacings, ends: LineEnds, stick_m: float) -> list[dict[str, object]]:
    at, sd, ids = near.at, near.sd, near.ids
    if not len(at):
        return []
    return _at_end(ends, (at[-1], ends.end_m), (ids[-1], ""), sd=sd[-1], stick_m=stick_m, has_joint=ends.last_joint)


def _at_end(
    ends: LineEnds, reach: tuple[float, float], joints: tuple[str, str], *, sd: float, stick_m: float, has_joint: bool
) -> list[dict[str, object]]:
    """Between an end and the joint next to it lies one stick, or none where a joint stands at the end."""
    length = reach[1] - reach[0]
    expected = 0.0 if has_joint else stick_m
    likely = np.floor((length - expected) / stick_m + 0.5) if length - expected > _RARE * sd else 0.0
    missing = int(
        max(likely, _needed(length - _SURE * sd, stick_m) + (has_joint and length > stick_m * _LONGER + _SURE * sd))
    )
    if missing < 1:
        return []
    kind = "after the last joint" if joints[0] else "before the first joint"
    where = "the last joint and the end" if joints[0] else "the start and the first joint"
    text = f"{ends.unit.text(length, 1)} between {where} of the line, sticks of {ends.unit.short(stick_m)}"
    counts = _open(ends, missing, sd, stick_m)
    found = {"kind": kind, "evidence": text} | counts
    return [_row(ends.name, reach[0], reach[1], joints[0], joints[1], **found)]


def _open(ends: LineEnds, missing: int, sd: float, stick_m: float) -> dict[str, object]:
    """An unfinished line misses no record at its open ends: they are not made yet."""
    if not ends.complete:
        return {"kind": "not yet recorded", "missing_records": 0, "missing_low": 0, "missing_high": 0}
    slack = int(np.rint(TWO_SIDED_95 * sd / stick_m))
    return {"missing_records": missing, "missing_low": max(0, missing - slack), "missing_high": missing + slack}
