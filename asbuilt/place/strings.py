"""What the route file says of strings that were moved after fusing: links in the pipe, and where their ends lie.

Which end was fused first is never assumed: without that word, or serials that tell it, nothing ties a string to the
joints that close it, for a wrong guess would mirror it with confidence.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from asbuilt.place.links import STATED, Links
from asbuilt.sentence import some
from asbuilt.settings.model import StringSpec

_STATED_SD_M = 0.5  # what a stated chainage of an end is taken to be worth (the writers' judgement)
_MOVED = ("pulled in", "bore")  # fixes of such strings say where they were fused, not where they lie


@dataclass(frozen=True)
class Strings:
    """`links` by position of the rows; `name` of the string of each row (None: none stated).

    `moved` says whether the fix of a row is to be left out. `ends` has row, line, at_m and sd_m of joints whose place
    follows from a stated end. `unclear` says of each string what keeps it from being placed.
    """

    links: Links
    name: np.ndarray
    moved: np.ndarray
    ends: pd.DataFrame
    unclear: tuple[str, ...]


@dataclass(frozen=True)
class StringPipes:
    """Length of a stick, length of each pipe by string and order, and where each line begins and ends (metres)."""

    stick_m: float
    in_string_m: pd.Series
    span_m: Mapping[str, tuple[float, float]]


def strings(rows: pd.DataFrame, specs: Sequence[StringSpec], *, at_m: np.ndarray, pipes: StringPipes) -> Strings:
    """Return what the route file says of the rows.

    `rows` needs joint, joint_id, string, order, machine, fused_at, kind; `at_m` is where the fix of each lies.
    """
    a, b, length, unclear = [], [], [], []
    ends: list[tuple[int, str, float]] = []
    name, moved = np.full(len(rows), None, dtype=object), np.zeros(len(rows), dtype=bool)
    for spec in specs:
        fused = _members(rows, spec)
        if not len(fused):
            unclear += _why_empty(rows, spec)
            continue
        name[fused] = spec.string
        moved[fused] = spec.method in _MOVED
        along, doubts = fused, [*_doubts(rows, spec, fused, pipes)]
        tied = not doubts
        unclear += doubts
        if spec.first_fused == "ahead":
            along = fused[::-1]
        chain, missing = _closed(rows, spec, along, at_m) if tied else (along, ())
        unclear += missing
        a += chain[:-1].tolist()
        b += chain[1:].tolist()
        length += _lengths(chain, fused, spec.string, pipes.in_string_m)
        ends += list(_stated_ends(spec, along, pipes.stick_m)) if tied else []
    links = Links(
        np.array(a, np.int64), np.array(b, np.int64), np.full(len(a), STATED, np.int8), np.array(length, float)
    )
    frame = pd.DataFrame(ends, columns=["row", "line", "at_m"]).assign(sd_m=_STATED_SD_M)
    return Strings(links, name, moved, frame, tuple(unclear))


def _lengths(chain: np.ndarray, fused: np.ndarray, name: str, in_string_m: pd.Series) -> list[float]:
    """Return the length of the pipe between each pair of the chain: joint k of a string joins its pipes k and k + 1.

    So the first pipe lies between the first joint and the end of the string, and the last behind the last joint.
    """
    known = in_string_m[~in_string_m.index.duplicated()].get(name, pd.Series(dtype=float))
    place = {int(row): k for k, row in enumerate(fused, start=1)}
    pairs = [(place.get(int(x)), place.get(int(y))) for x, y in pairwise(chain)]
    orders = [max(x, y) if x and y else (1 if (x or y) == 1 else len(fused) + 1) for x, y in pairs]
    return [float(known.get(float(k), np.nan)) for k in orders]


def _members(rows: pd.DataFrame, spec: StringSpec) -> np.ndarray:
    """Return the rows of a string in the order they were fused, by position."""
    at = np.arange(len(rows))
    ties = np.isin(rows["joint"].to_numpy(object), [t for t in spec.tie_ins if t])
    if spec.joints:
        first, last = (_row_of(rows, joint) for joint in spec.joints)
        if first is None or last is None:
            return at[:0]
        time, machine = rows["fused_at"].to_numpy(), rows["machine"].to_numpy(object)
        here = (machine == machine[first]) & (time >= time[first]) & (time <= time[last]) & ~ties
    else:
        here = (rows["string"].str.strip() == spec.string).fillna(False).to_numpy(bool) & ~ties
    return rows.assign(at=at)[here].sort_values(["order", "fused_at", "at"])["at"].to_numpy(np.int64)


def _row_of(rows: pd.DataFrame, joint: str) -> int | None:
    """Return the one row of a joint, by its id or number; None where there is none, or several."""
    for column in ("joint_id", "joint"):
        found = np.flatnonzero((rows[column].str.strip().str.casefold() == joint.strip().casefold()).to_numpy())
        if len(found) == 1:
            return int(found[0])
    return None


def _doubts(rows: pd.DataFrame, spec: StringSpec, fused: np.ndarray, pipes: StringPipes) -> Iterator[str]:
    """Say what forbids to tie a string to its ends: a word that lacks, an order that is not known, an end nowhere."""
    who = f"string {spec.string}"
    if spec.first_fused is None:
        yield (
            f"{who}: which end was fused first is not stated; unless serial numbers tell it stays unplaced:"
            ' say first_fused = "ahead" or "back" in its [[string]].'
        )
    orderless = rows.iloc[fused][["order", "fused_at"]].isna().all(axis=1)
    if orderless.any():
        ids = rows["joint_id"].iloc[fused][orderless.to_numpy()].to_list()
        yield f"{who}: {some(ids)} has neither a time nor an order in it, so the string stays unplaced."
    spans = [span for name, span in pipes.span_m.items() if spec.line in ("", name)]
    for word, at in (("from", spec.from_m), ("to", spec.to_m)):
        if at is not None and not any(low <= at <= high for low, high in spans):
            yield f"{who}: its {word} lies beyond the ends of the line, so the string stays unplaced."


def _why_empty(rows: pd.DataFrame, spec: StringSpec) -> list[str]:
    """Say why nothing belongs to a string. A bore whose ends are stated needs no joint of its own: it is a reach."""
    if spec.method == "bore" and not spec.joints and spec.from_m is not None and spec.to_m is not None:
        return []
    first, last = (_row_of(rows, joint) for joint in spec.joints or ("", ""))
    if first is not None and last is not None:
        why = f"{spec.joints[1]} was not fused after {spec.joints[0]} by the same machine"  # type: ignore[index]
        return [f"string {spec.string}: {why}: give its first and last joint in the order they were fused."]
    return [f"string {spec.string}: no record belongs to it by its string column or [[string]] joints."]


def _closed(rows: pd.DataFrame, spec: StringSpec, along: np.ndarray, at_m: np.ndarray) -> tuple[np.ndarray, list[str]]:
    """Put the joints that close a string at its ends, back end first.

    Which of the two lies back their own fixes say: a slip in the route file would mirror the string.
    """
    chain, missing = along, []
    back, ahead = (_row_of(rows, joint) if joint else None for joint in (spec.tie_in_back, spec.tie_in_ahead))
    if back is not None and ahead is not None and at_m[back] > at_m[ahead]:
        given = f"{spec.tie_in_back} lies ahead of {spec.tie_in_ahead}"
        return along, [f"string {spec.string}: tie_ins are given back end first, and {given}: put them in order."]
    for joint, behind in ((spec.tie_in_back, True), (spec.tie_in_ahead, False)):
        row = _row_of(rows, joint) if joint else None
        if joint and row is None:
            missing.append(f"string {spec.string}: its tie-in {joint} is no record, or stands on several.")
        elif row is not None:
            chain = np.insert(chain, 0 if behind else len(chain), row)
    return chain, missing


def _stated_ends(spec: StringSpec, along: np.ndarray, stick_m: float) -> Iterator[tuple[int, str, float]]:
    """The first joint of a string lies one pipe behind its end; so does the last one before the other."""
    if spec.from_m is not None:
        yield int(along[0]), spec.line, spec.from_m + stick_m
    if spec.to_m is not None:
        yield int(along[-1]), spec.line, spec.to_m - stick_m
