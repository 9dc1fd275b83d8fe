"""What placing found about many joints at once: strings that were moved, orders not used, fixes unlike their word."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from asbuilt.place.placing import Placement
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several, some

_TELLING = 20  # so many joints in line have to show it before a receiver's word on its accuracy is doubted
_CLOSES_M, _CLOSES = 2.0, 0.01  # metres, or share of the pipes: what closes so well needs no word
_NO_ROOM, _OVERLAP = 0.25, 3  # of a stick; so many joints are no chance
_UNLIKE = 1.5  # times as much as stated, or as little


def placements(rows: pd.DataFrame, placement: Placement, unit: LengthUnit, *, stick_m: float) -> tuple[str, ...]:
    """Return one statement for each string that was moved, each order that is not used, each source unlike its word.

    `rows` are the joints in line with joint_id, machine, source_file, fused_at, string and what `place` adds, station
    of the fix among it (fix_station).
    """
    return (
        *placement.unclear,
        *_moved(rows, unit, stick_m),
        *_blunders(rows, unit),
        *_overlaps(rows, unit, stick_m),
        *_orderless(rows),
        *_unlike_their_word(rows, placement.noise),
    )


def _moved(rows: pd.DataFrame, unit: LengthUnit, stick_m: float) -> Iterator[str]:
    """Say of each group of joints fused at one place where the machine stood, and what places them or is wanted."""
    stays = rows[rows["stays"].eq(True)].sort_values(["machine", "fused_at", "source_row"])
    if stays.empty:
        return
    apart = (stays["fix_chainage_m"].diff().abs() > stick_m / 2) | (stays["machine"] != stays["machine"].shift())
    for _, group in stays.groupby(np.cumsum(apart.to_numpy())):
        unplaced = int((group["placed_by"] == "unplaced").sum())
        what = _wanted(group, unplaced, unit, stick_m) if unplaced else _lie(rows, group, unit)
        yield f"{_who(group)} fused at one place{_where(group)} and moved: {what}"


def _who(group: pd.DataFrame) -> str:
    first, last = group["joint_id"].iloc[[0, -1]]
    return f"{len(group)} joints ({first} to {last}) were" if len(group) > 1 else f"Joint {first} was"


def _where(group: pd.DataFrame) -> str:
    return f" at {group['fix_station'].iloc[0]}" if group["fix_station"].iloc[0] else ""


def _lie(rows: pd.DataFrame, group: pd.DataFrame, unit: LengthUnit) -> str:
    at = group["chainage_m"]
    low, high = (group["station"].iloc[i] for i in (at.argmin(), at.argmax()))
    where = f"between {low} and {high}" if len(group) > 1 else f"at {low}"
    return f"placed by the pipes {where}, not surveyed.{_closure(rows, group, unit)}"


def _wanted(group: pd.DataFrame, unplaced: int, unit: LengthUnit, stick_m: float) -> str:
    length = unit.text(len(group) * stick_m, 0)
    return (
        f"{'all' if unplaced == len(group) else unplaced} unplaced: nothing ties this string of some {length} to"
        " the line. Pipe serials that meet those of its tie-ins place it, a [[string]] in route.toml with its tie_ins"
        " (or from and to) and first_fused, or as-laid shots on two of its joints."
    )


def _blunders(rows: pd.DataFrame, unit: LengthUnit) -> Iterator[str]:
    """Name the fixes that are not used for they suit neither the order nor the pipes, the farthest first."""
    odd = rows[rows["blunder"].eq(True) & ~rows["surveyed"].eq(True)]
    if odd.empty:
        return
    along, across = odd["fix_chainage_m"] - odd["chainage_m"], odd["fix_offset_m"]
    away = ((along**2 + across**2) ** 0.5).sort_values(ascending=False)
    ids = odd["joint_id"].loc[away.index]
    named = [f"{joint} ({unit.text(far, 0)} off)" for joint, far in zip(ids, away, strict=True)]
    yield (
        f"{several(len(odd), 'fix is', 'fixes are')} not used, for neither the order of the work nor the pipes allow a"
        f" joint there: {some(named)}. The neighbours place {'its joint' if len(odd) == 1 else 'their joints'}."
    )


def _overlaps(rows: pd.DataFrame, unit: LengthUnit, stick_m: float) -> Iterator[str]:
    """Say where joints of two runs lie so near to one another that no pipe has room between them."""
    line = rows[rows["chainage_m"].notna() & (rows["kind"] != "fitting") & rows["replaces"].isna()]
    line = line.sort_values(["line", "chainage_m"])
    near = (line["chainage_m"].diff() < _NO_ROOM * stick_m) & (line["line"] == line["line"].shift())
    near &= (line["piece"] != line["piece"].shift()) & (line["placed_by"].isin(("tally", "fix+tally")))
    if near.sum() < _OVERLAP:
        return
    at = np.flatnonzero(near)
    first, last = line["joint_id"].iloc[at[0] - 1], line["joint_id"].iloc[at[-1]]
    yield (
        f"{int(near.sum())} joints between {first} and {last} lie within {unit.text(_NO_ROOM * stick_m, 1)} of joints"
        " of another run, where no pipe has room: one of the two runs lies elsewhere, or was recorded twice."
    )


def _closure(rows: pd.DataFrame, group: pd.DataFrame, unit: LengthUnit) -> str:
    """Say where the pipes of a string do not fill the room between the joints that close it."""
    within = rows.index.isin(group.index)
    steps = rows[(within & (rows["row_before"] >= 0)) | rows["row_before"].isin(group.index)]
    ends = rows.loc[sorted({*steps.index, *steps["row_before"].astype(int)} - set(group.index))]
    if len(ends) != 2:
        return ""
    room, pipes = float(np.ptp(ends["chainage_m"])), float(steps["pipe_m"].sum())
    if abs(room - pipes) < max(_CLOSES_M, _CLOSES * pipes):
        return ""
    first, last = ends["joint_id"]
    which = "a short pipe is among them" if room < pipes else "a record may be missing"
    return (
        f" Their {several(len(steps), 'pipe')} come to {unit.text(pipes, 1)}, and {unit.text(room, 1)} lie between"
        f" {first} and {last}: {which}, or a length is wrong; lengths by pipe or as-laid shots would tell."
    )


def _orderless(rows: pd.DataFrame) -> Iterator[str]:
    for machine, group in rows[rows["orderless"].eq(True)].groupby("machine", sort=True):
        yield (
            f"{len(group)} joints of machine {machine}: the times of their records do not run along the line, so their"
            " order is not used and each stands where its own fix puts it."
        )


def _unlike_their_word(rows: pd.DataFrame, noise: pd.DataFrame) -> Iterator[str]:
    counts = rows[rows["placed_by"] == "fix+tally"].groupby(["source_file", rows["machine"].fillna("")]).size()
    for (file, machine), factor in zip(noise.index, noise["factor"], strict=True):
        if counts.get((file, machine), 0) >= _TELLING and not 1 / _UNLIKE <= factor <= _UNLIKE:
            whose = f"{file}, machine {machine}" if machine else str(file)
            what = f"{factor:.1f} times as much as" if factor > 1 else f"{factor:.1f} of what"
            how = "the wider figure is used throughout" if factor > 1 else "offsets are still judged by what is stated"
            yield f"The fixes of {whose} scatter {what} they state, by the run of their neighbours: {how}."
