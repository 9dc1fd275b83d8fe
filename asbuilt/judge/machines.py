"""The piston area of each machine, as its records and the list state it; and its days without a trial joint."""

from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.judge.derived import PRESSURES
from asbuilt.judge.entries import JUDGED, local_days, method_of
from asbuilt.judge.finding import Finding
from asbuilt.outcome import JOINT, KEPT, SUPERSEDED, TRIAL
from asbuilt.read.people import Listing
from asbuilt.sentence import several
from asbuilt.settings import plain

_SAME = 0.01  # of the area: a hundredth of the pressure at the melt face (our own threshold)
_NAMED = 12  # so many days are named in a sentence, the others counted


@dataclass(frozen=True)
class PistonAreas:
    """`values` (mm², shape (rows,)): the record's, else the list's, else NaN."""

    values: np.ndarray
    findings: tuple[Finding, ...] = ()
    statements: tuple[str, ...] = ()


def piston_areas(rows: pd.DataFrame, *, machines: Listing, zone: ZoneInfo) -> PistonAreas:
    """Return the piston area that each row's gauge pressure acts on: the record's own outranks the list's.

    `rows` are of `read.records` with outcome. A disagreement of more than 1 % is a finding for each machine. Where the
    list has several areas for a machine, that of the entry in force on the day counts, and else none.
    """
    recorded = rows["piston_area_mm2"].to_numpy(float)
    entries = machines.rows[machines.rows["piston_area_mm2"] > 0]
    if entries.empty:
        return PistonAreas(recorded)
    key = rows["machine"].map(lambda name: plain(name) if isinstance(name, str) else "").to_numpy(object)
    listed = _listed(key, local_days(rows, zone), entries)
    kept = rows["outcome"].isin(KEPT).to_numpy()
    table = pd.DataFrame({"key": key, "name": rows["machine"], "recorded": recorded, "listed": listed}, rows.index)
    unlike = kept & (np.abs(recorded - listed) > _SAME * listed)
    fills = kept & np.isnan(recorded) & ~np.isnan(listed) & _has_gauge(rows)
    findings = tuple(_unlike(table[unlike], machines.file))
    said = tuple(_filled(table[fills], machines.file))
    return PistonAreas(np.where(np.isnan(recorded), listed, recorded), findings, said)


def _has_gauge(rows: pd.DataFrame) -> np.ndarray:
    """Whether a pressure is recorded that acts on the piston."""
    gauge = [(rows[f"{name}_kind"] == "gauge") & rows[f"{name}_mpa"].notna() for name in PRESSURES]
    return np.any(gauge, axis=0)


def _listed(key: np.ndarray, day: np.ndarray, entries: pd.DataFrame) -> np.ndarray:
    """Return the area that the list states for the machine of each row on its day; NaN for none, or several."""
    listed = np.full(len(key), np.nan)
    for name, own in entries.groupby(entries["machine"].map(plain)):
        here, areas = np.flatnonzero(key == name), own["piston_area_mm2"].to_numpy(float)
        if np.ptp(areas) <= _SAME * areas.max():
            listed[here] = areas[0]
            continue
        start, end = (own[c].to_numpy("datetime64[s]") for c in ("calibrated", "valid_to"))
        in_force = (start <= day[here, None]) & ~(end < day[here, None])
        least, most = (edge(np.where(in_force, areas, fill), axis=1) for edge, fill in ((np.min, np.inf), (np.max, 0)))
        listed[here] = np.where(in_force.any(axis=1) & (most - least <= _SAME * most), most, np.nan)
    return listed


def _unlike(rows: pd.DataFrame, file: str) -> Iterator[Finding]:
    for _, own in rows.groupby("key", sort=True):
        listed = _areas(own["listed"])
        off = (own["recorded"] / own["listed"] - 1.0).abs().max()
        statement = (
            f"Machine {own['name'].iloc[0]}: {several(len(own), 'record')} with a piston area of"
            f" {_areas(own['recorded'])}, {file} states {listed}. That of the record was used; if the list is right, a"
            f" pressure at the melt face computed from the gauge is off by up to {100 * off:.1f} %."
        )
        yield Finding(statement, own.index.to_numpy(), "machine")


def _filled(rows: pd.DataFrame, file: str) -> Iterator[str]:
    if len(rows):
        each = [f"{own['name'].iloc[0]} {_areas(own['listed'])}" for _, own in rows.groupby("key", sort=True)]
        yield (
            f"The piston area of {file} was used for {several(len(rows), 'joint')} whose record states none:"
            f" {', '.join(each)}."
        )


def _areas(areas: pd.Series) -> str:
    low, high = areas.min(), areas.max()
    return f"{low:,.0f} mm²" if round(low) == round(high) else f"{low:,.0f} to {high:,.0f} mm²"


def days_without_trial(rows: pd.DataFrame, zone: ZoneInfo) -> tuple[Finding, ...]:
    """Return one finding with every machine and local day that has fused joints and no trial or test joint.

    `rows` are of `read.records` with outcome. Whether one is due each day, the contract says (common practice, no
    source). Joints without machine or date are counted apart.
    """
    fused = rows["method"].fillna("").map(method_of).isin(JUDGED)
    table = pd.DataFrame({"machine": rows["machine"], "day": local_days(rows, zone)}, rows.index)
    table = table.assign(key=table["machine"].map(lambda name: plain(name) if isinstance(name, str) else None))
    known = table["key"].notna() & table["day"].notna()
    is_made = rows["outcome"].isin((JOINT, SUPERSEDED)) & fused
    made, trials = table[is_made & known], table[(rows["outcome"] == TRIAL) & known]
    tried = set(zip(trials["key"], trials["day"], strict=True))
    bare = made[[pair not in tried for pair in zip(made["key"], made["day"], strict=True)]]
    if bare.empty:
        return ()
    days = bare.drop_duplicates(["key", "day"]).sort_values(["key", "day"], kind="stable")
    every = several(len(made.drop_duplicates(["key", "day"])), "machine-day")
    left = int((is_made & ~known).sum())
    apart = f" {several(left, 'joint')} without machine or date left out." if left else ""
    statement = (
        f"No trial or test joint of the same machine on the same day: {len(days)} of {every} with joints"
        f" ({_named(days)}). Whether one is due each day, the contract and the procedure say.{apart}"
    )
    return (Finding(statement, bare.index.to_numpy(), "trial"),)


def _named(days: pd.DataFrame) -> str:
    shown = days.head(_NAMED)
    each = [
        f"{own['machine'].iloc[0]} on {', '.join(f'{day:%Y-%m-%d}' for day in own['day'])}"
        for _, own in shown.groupby("key", sort=True)
    ]
    return "; ".join(each) + (f"; and {len(days) - _NAMED} more" if len(days) > _NAMED else "")
