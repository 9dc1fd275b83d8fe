"""What each source row is: a joint, a duplicate, superseded, a trial, or set aside; and the id it is known by."""

from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.fields import FIELDS
from asbuilt.judge.replacements import replacements
from asbuilt.outcome import DUPLICATE, JOINT, KEPT, SET_ASIDE, SUPERSEDED, TRIAL
from asbuilt.sentence import some

_PRESSURE_KINDS = [f"{f.name}_kind" for f in FIELDS.values() if f.is_pressure]
_STATED = [f.stored for f in FIELDS.values() if f.kind in ("text", "number") and f.name not in ("joint", "accuracy")]
_COMPARED = [*_STATED, *_PRESSURE_KINDS, "sd_m", "fused_at", "started_at", "easting", "northing"]
_GROUP_LIMIT = 200  # rows under one number beyond this are compared with the first ones only


@dataclass(frozen=True)
class Lineage:
    """`rows` has outcome, joint_id, repeats, remakes, number_open and reasons, same index; `statements` the groups.

    `repeats` is the index of the row that a duplicate repeats, `remakes` that of the row that a re-made joint takes out
    of the line. `number_open` marks joints about whose number somebody
    has to decide: it stands on several differing records, or what they replace is not clear.
    """

    rows: pd.DataFrame
    statements: tuple[str, ...]


def lineage(rows: pd.DataFrame, zone: ZoneInfo) -> Lineage:
    """Tell what each row (of `read.records`) is.

    A row repeats another where it states nothing that the other does not state alike, a time or a position among
    it. Differing rows under one number are all kept, with a finding on each.
    """
    outcome = np.where(rows["why_not"] != "", SET_ASIDE, np.where(rows["kind"] == "trial", TRIAL, JOINT)).astype(object)
    found = pd.DataFrame({"outcome": outcome, "number_open": False}, index=rows.index)
    for name in ("repeats", "remakes"):
        found[name] = pd.array([pd.NA] * len(rows), dtype="Int64")
    for again, fuller in _duplicates(rows[found["outcome"] != SET_ASIDE]):
        found.loc[again, "outcome"] = DUPLICATE
        found.loc[again, "repeats"] = fuller
    kept = found["outcome"].isin([JOINT, TRIAL])
    found["joint_id"] = _joint_ids(rows[kept], zone).reindex(rows.index)
    repeats = found["repeats"].dropna().astype(int)
    found.loc[repeats.index, "joint_id"] = found.loc[repeats, "joint_id"].to_numpy()
    reasons: dict[int, list[str]] = {int(i): [] for i in rows.index}
    for i, first in zip(map(int, repeats.index), repeats, strict=True):
        reasons[i].append(f"says the same again as {_place(rows, first)}")
    statements = (*_supersede(rows, found, reasons), *_shared_numbers(rows, found, reasons))
    told = pd.Series({i: tuple(r) for i, r in reasons.items()}, dtype=object)
    return Lineage(found.assign(reasons=told), statements)


def _place(rows: pd.DataFrame, i: int) -> str:
    file, sheet, row = (rows[name].iloc[i] for name in ("source_file", "sheet", "source_row"))
    return f"{file} sheet {sheet} row {row}" if sheet else f"{file} row {row}"


def _duplicates(rows: pd.DataFrame) -> Iterator[tuple[int, int]]:
    """Yield (again, fuller) for each row that says nothing more than a fuller one, or an earlier one as full."""
    compared = rows[["joint", *_COMPARED]].copy()
    compared[["easting", "northing"]] = compared[["easting", "northing"]].round(3)
    for kind in _PRESSURE_KINDS:  # the kind of a pressure that was not recorded says nothing
        compared[kind] = compared[kind].where(compared[f"{kind.removesuffix('_kind')}_mpa"].notna(), None)
    for _, group in compared[compared.duplicated("joint", keep=False)].groupby("joint", sort=False):
        values = group[_COMPARED].astype(object)
        stated, cells = values.notna().to_numpy(), values.to_numpy()
        fullest: list[int] = []
        for i in np.argsort(-stated.sum(axis=1), kind="stable"):
            same = next((j for j in fullest[:_GROUP_LIMIT] if _says_no_more(cells, stated, i, j)), None)
            if same is None:
                fullest.append(int(i))
            else:
                yield group.index[i], group.index[same]


def _says_no_more(cells: np.ndarray, stated: np.ndarray, i: int, j: int) -> bool:
    """Whether row i states nothing that row j does not state alike, a time or a position among it."""
    if (stated[i] & ~stated[j]).any() or not stated[i][-4:].any():
        return False
    return all(a == b for a, b in zip(cells[i, stated[i]], cells[j, stated[i]], strict=True))


def _joint_ids(rows: pd.DataFrame, zone: ZoneInfo) -> pd.Series:
    """Return the id of each row: its number where that is unique, else number/machine/date, else with a count."""
    number = rows["joint"].astype(object)
    local = rows["fused_at"].dt.tz_localize("UTC").dt.tz_convert(zone).dt.strftime("%Y-%m-%d")
    longer = (
        number
        + "/"
        + rows["machine"].fillna("no machine").astype(object)
        + "/"
        + local.fillna("no date").astype(object)
    )
    ids = number.where(~number.duplicated(keep=False), longer)
    order = rows.assign(id=ids).sort_values(["id", "fused_at", "source_file", "source_row"], kind="stable")
    count = order.groupby("id").cumcount().reindex(rows.index)
    return ids.where(count == 0, ids + "/" + (count + 1).astype(str))


def _supersede(rows: pd.DataFrame, found: pd.DataFrame, reasons: dict[int, list[str]]) -> list[str]:
    """A joint that names what it replaces takes the other out of the line; the other stays, linked."""
    joints = rows.assign(joint_id=found["joint_id"])[found["outcome"] == JOINT]
    replaced = replacements(joints[["joint", "joint_id", "replaces", "fused_at"]])
    ids = dict(zip(map(int, joints.index), joints["joint_id"].astype(str), strict=True))
    for new, old in replaced.links.items():
        found.loc[old, "outcome"] = SUPERSEDED
        found.loc[new, "remakes"] = old
        reasons[old].append(f"cut out and replaced by {ids[new]}")
        reasons[new].append(f"replaces {ids[old]}")
    for i, why in replaced.unclear.items():
        found.loc[i, "number_open"] = True
        reasons[i].append(why)
    count = len(replaced.unclear)
    names = some(found.loc[list(replaced.unclear), "joint_id"].to_list())
    return [f"What {count} joints replace is not clear ({names}): nothing was taken out for them."] if count else []


def _shared_numbers(rows: pd.DataFrame, found: pd.DataFrame, reasons: dict[int, list[str]]) -> list[str]:
    """Differing records under one number: each says so, and those in line wait for somebody to tell them apart."""
    kept = rows[found["outcome"].isin(KEPT)]
    open_numbers = []
    for _, group in kept[kept.duplicated("joint", keep=False)].groupby("joint", sort=False):
        number = str(group["joint"].iloc[0])
        names = some(found.loc[group.index, "joint_id"].to_list())
        for i in map(int, group.index):
            reasons[i].append(f"number {number} stands on {len(group)} differing records: {names}")
        in_line = group.index[found.loc[group.index, "outcome"] == JOINT]
        if len(in_line) > 1:
            found.loc[in_line, "number_open"] = True
            open_numbers.append(number)
    if not open_numbers:
        return []
    return [f"Numbers that stand on several differing records: {some(open_numbers)}. All of them are kept."]
