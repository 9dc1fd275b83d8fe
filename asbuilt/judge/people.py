"""Whether each joint's operator was qualified that day, for its method and size, and its machine in calibration.

The lists say it (people.csv, machines.csv). Who is not in them cannot be told and is one finding, as is each whose
validity ran out: a list may be wrong, too.
"""

from collections.abc import Iterator
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.judge.added import Added, is_required, no_checks, worded_checks
from asbuilt.judge.entries import JUDGED, METHODS, best_entries, local_days, method_of, methods_of
from asbuilt.judge.phrases import Subject, cause_of, findings_of, listed_as
from asbuilt.judge.validity import NO, US_RULE, YES, last_days
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.outcome import JOINT, SUPERSEDED, TRIAL
from asbuilt.read.people import Listing
from asbuilt.settings import Settings, plain

_US_LIMIT = (
    "49 CFR 192.285(c) also asks for qualification anew after a production joint was found unacceptable by testing:"
    " that is not judged here."
)


def judge_operators(
    rows: pd.DataFrame, outside_diameter_mm: np.ndarray, *, people: Listing, settings: Settings, zone: ZoneInfo
) -> Added:
    """Judge whether each row's operator was qualified on its day, for its method and its size, shape (rows,).

    `rows` are of `read.records` with outcome; `zone` is that of the route. A record without a method is butt fusion.
    What no row of the list states (sizes, methods) is not judged, and said. The cause of a check names who it was and
    what the list says of him, also where that is in window.
    """
    if not people.is_given:
        return _unjudged(people, "operators were qualified on the day of each joint")
    source, listed = settings.people, people.rows
    start, end = (listed[name].to_numpy("datetime64[D]") for name in ("valid_from", "valid_to"))
    end = last_days(start, end, by_us_rule=source.rule is not None, months=source.valid_for)
    entries = _entries(people, "operator", start, end)
    low, high = listed["size_from_mm"].to_numpy(float), listed["size_to_mm"].to_numpy(float)
    if not np.isnan([low, high]).all():
        entries = entries.assign(low=low, high=high)
    if listed["method"].notna().any():
        entries["methods"] = listed["method"].fillna("").map(methods_of).astype(object)
    asked = _asked(rows, "operator", zone).assign(diameter=outside_diameter_mm)
    of = Subject("operator", "qualified", "qualification", people.file, US_RULE if source.rule else "")
    said = (*_left_open(people), *((_US_LIMIT,) if source.rule else ()))
    return _judged(asked, entries, of, settings=settings, statements=said)


def judge_machines(rows: pd.DataFrame, *, machines: Listing, settings: Settings, zone: ZoneInfo) -> Added:
    """Judge whether each row's machine was in calibration on its day; else as `judge_operators`."""
    if not machines.is_given:
        return _unjudged(machines, "machines were in calibration on the day of each joint")
    start, end = (machines.rows[name].to_numpy("datetime64[D]") for name in ("calibrated", "valid_to"))
    end = last_days(start, end, months=settings.machines.valid_for)
    entries = _entries(machines, "machine", start, end)
    of = Subject("machine", "calibrated", "calibration", machines.file)
    return _judged(_asked(rows, "machine", zone), entries, of, settings=settings, statements=())


def _unjudged(listing: Listing, what: str) -> Added:
    return Added(no_checks(), statements=(f"There is no {listing.file}: whether {what} was not judged.",))


def _left_open(people: Listing) -> Iterator[str]:
    for name, columns in (("size", ["size_from_mm", "size_to_mm"]), ("method", ["method"])):
        if len(people.rows) and people.rows[columns].isna().all(axis=None):
            yield f"{people.file} states no {name} for anybody: operators were judged without regard to it."


def _entries(listing: Listing, check: str, start: np.ndarray, end: np.ndarray) -> pd.DataFrame:
    """Return the rows of a list as `best_entries` takes them, for any size and method."""
    rows = listing.rows
    places = zip(rows["source_file"], rows["sheet"], rows["source_row"], strict=True)
    table = {
        "key": rows[check].map(plain).astype(object),
        "listed": rows[check],
        "place": [f"{file} sheet {sheet} row {n}" if sheet else f"{file} row {n}" for file, sheet, n in places],
        "start": start.astype("datetime64[s]"),
        "end": end.astype("datetime64[s]"),
        "low": -np.inf,
        "high": np.inf,
        "methods": pd.Series([frozenset({"all"})] * len(rows), index=rows.index, dtype=object),
    }
    return pd.DataFrame(table, index=rows.index)


def _asked(rows: pd.DataFrame, check: str, zone: ZoneInfo) -> pd.DataFrame:
    key = rows[check].map(lambda name: plain(name) if isinstance(name, str) else "").astype(object)
    methods = rows["method"].fillna("").map(method_of).astype(object)
    table = {"key": key, "name": rows[check], "day": local_days(rows, zone), "diameter": np.nan, "method": methods}
    return pd.DataFrame({**table, "outcome": rows["outcome"]}, index=rows.index)


def _judged(
    asked: pd.DataFrame, entries: pd.DataFrame, of: Subject, *, settings: Settings, statements: tuple[str, ...]
) -> Added:
    told = asked.join(best_entries(asked, entries))
    status = told["status"].to_numpy(float)
    verdict = np.select([status == YES, status == NO], [IN_WINDOW, OUT_OF_WINDOW], CANNOT_TELL).astype(object)
    cause = np.array([f"{of.file} does not list {of.check} {name}" for name in asked["name"]], dtype=object)
    listed = ~np.isnan(status)
    fits = np.flatnonzero(status == YES)
    cause[fits] = [listed_as(row, of) for row in told.iloc[fits].itertuples(index=False)]
    unlike = np.flatnonzero(listed & (status != YES))
    cause[unlike] = [cause_of(row, of) for row in told.iloc[unlike].itertuples(index=False)]
    for these, word, why in _without(asked, of):
        verdict[these], cause[these] = word, why
    told = told.assign(cause=cause, verdict=verdict)
    judged = asked["outcome"].isin((JOINT, SUPERSEDED)) & np.isin(verdict, [OUT_OF_WINDOW, CANNOT_TELL])
    source = (told["place"].astype(object).fillna(of.file) + (f"; {of.rule}" if of.rule else "")).to_numpy(object)
    said = {"source": source, "status": "read" if of.rule else "project", "cause": cause}
    required = is_required(of.check, settings, by_default=True)
    checks = worded_checks(asked.index, of.check, verdict=verdict, required=required, **said)
    return Added(checks, tuple(findings_of(told[judged], entries, of)), statements)


def _without(asked: pd.DataFrame, of: Subject) -> Iterator[tuple[np.ndarray, str, str]]:
    """Yield the rows that no entry can decide, later ones outranking earlier ones: mask, verdict, cause."""
    yield (asked["key"] == "").to_numpy(), NOT_RECORDED, f"no {of.check} is named"
    others = [name for name in METHODS if name not in JUDGED]
    yield asked["method"].isin(others).to_numpy(), NO_WINDOW, "neither butt fusion nor electrofusion: not judged"
    yield (asked["outcome"] == TRIAL).to_numpy(), NO_WINDOW, "a trial joint: not judged"
