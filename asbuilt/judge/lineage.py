"""What each source row is: a joint, a duplicate, superseded, a trial, or set aside; and the id it is known by."""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.fields import FIELDS

JOINT, DUPLICATE, SUPERSEDED, TRIAL, SET_ASIDE = "joint", "duplicate", "superseded", "trial", "set aside"
OUTCOMES = (JOINT, DUPLICATE, SUPERSEDED, TRIAL, SET_ASIDE)

_STATED = [f.stored for f in FIELDS.values() if f.kind in ("text", "number") and f.name not in ("joint", "accuracy")]
_COMPARED = [*_STATED, "sd_m", "fused_at", "started_at", "easting", "northing"]
_GROUP_LIMIT = 200  # rows under one number beyond this are compared whole, not pair by pair


def lineage(rows: pd.DataFrame, zone: ZoneInfo) -> pd.DataFrame:
    """Return outcome, joint_id, reasons (tuple of texts) and repeats (index of the row that a duplicate repeats).

    Same index as `rows` (of `read.records`). A row repeats another where every value that both state is the same,
    a time or a position among them. Differing rows under one number are all kept, with a finding on each.
    """
    outcome = np.where(rows["why_not"] != "", SET_ASIDE, np.where(rows["kind"] == "trial", TRIAL, JOINT)).astype(object)
    found = pd.DataFrame(
        {"outcome": outcome, "repeats": pd.array([pd.NA] * len(rows), dtype="Int64")}, index=rows.index
    )
    for later, earlier in _duplicates(rows[found["outcome"] != SET_ASIDE]):
        found.loc[later, "outcome"] = DUPLICATE
        found.loc[later, "repeats"] = earlier
    kept = found["outcome"].isin([JOINT, TRIAL])
    ids = _joint_ids(rows[kept], zone)
    found["joint_id"] = ids.reindex(rows.index)
    repeats = found["repeats"].dropna().astype(int)
    found.loc[repeats.index, "joint_id"] = found.loc[repeats, "joint_id"].to_numpy()
    reasons: dict[int, list[str]] = {int(i): [] for i in rows.index}
    _mark_superseded(rows, found, reasons)
    for i, first in zip(map(int, repeats.index), repeats, strict=True):
        reasons[i].append(f"says the same again as {_place(rows, first)}")
    _mark_shared_numbers(rows, found, reasons)
    return found.assign(reasons=pd.Series({i: tuple(r) for i, r in reasons.items()}, dtype=object))


def _place(rows: pd.DataFrame, i: int) -> str:
    file, sheet, row = (rows[name].iloc[i] for name in ("source_file", "sheet", "source_row"))
    return f"{file} sheet {sheet} row {row}" if sheet else f"{file} row {row}"


def _duplicates(rows: pd.DataFrame) -> Iterator[tuple[int, int]]:
    """Yield (later, earlier) for each row that repeats an earlier one."""
    compared = rows[["joint", *_COMPARED]].copy()
    compared[["easting", "northing"]] = compared[["easting", "northing"]].round(3)
    for _, group in compared[compared.duplicated("joint", keep=False)].groupby("joint", sort=False):
        values = group[_COMPARED].astype(object)
        stated, cells = values.notna().to_numpy(), values.to_numpy()
        first: list[int] = []
        for i in range(len(group)):
            same = next((j for j in first[:_GROUP_LIMIT] if _says_the_same(cells, stated, i, j)), None)
            if same is None:
                first.append(i)
            else:
                yield group.index[i], group.index[same]


def _says_the_same(cells: np.ndarray, stated: np.ndarray, i: int, j: int) -> bool:
    both = stated[i] & stated[j]
    if not both[-4:].any():  # neither a time nor a position in common: too little to call it the same
        return False
    return all(a == b for a, b in zip(cells[i, both], cells[j, both], strict=True))


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


def _mark_superseded(rows: pd.DataFrame, found: pd.DataFrame, reasons: dict[int, list[str]]) -> None:
    """A row that names what it replaces takes the other out of the line; the other stays, linked."""
    kept = found["outcome"].isin([JOINT, TRIAL])
    for i in rows.index[kept & rows["replaces"].notna()]:
        asked = rows.loc[i, "replaces"]
        others = rows.index[kept & ((rows["joint"] == asked) | (found["joint_id"] == asked)) & (rows.index != i)]
        if len(others) == 1:
            found.loc[others[0], "outcome"] = SUPERSEDED
            reasons[others[0]].append(f"cut out and replaced by {found.loc[i, 'joint_id']}")
            reasons[i].append(f"replaces {found.loc[others[0], 'joint_id']}")
        elif len(others):
            names = ", ".join(found.loc[others, "joint_id"])
            reasons[i].append(f"says it replaces {asked!r}, which may be any of {names}: name one of these")
        else:
            reasons[i].append(f"says it replaces {asked!r}, and no record has that number")


def _mark_shared_numbers(rows: pd.DataFrame, found: pd.DataFrame, reasons: dict[int, list[str]]) -> None:
    kept = rows[found["outcome"].isin([JOINT, TRIAL, SUPERSEDED])]
    for number, group in kept[kept.duplicated("joint", keep=False)].groupby("joint", sort=False):
        ids = ", ".join(found.loc[group.index, "joint_id"])
        for i in map(int, group.index):
            reasons[i].append(f"number {number} stands on {len(group)} differing records: {ids}")
