"""What is said of a joint whose operator or machine is not as listed, and once of all joints that share it."""

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from asbuilt.judge.finding import Finding
from asbuilt.judge.validity import ANY_METHOD, NO, QUESTIONS
from asbuilt.sentence import several

_UNLIKE = {"size": "Of another size", "method": "By another method"}


@dataclass(frozen=True)
class Subject:
    """Whom a list is about: the field of the record, what the list says of it (as an adjective and as a noun), the

    file, and a rule on its days.
    """

    check: str
    listed_as: str
    holds: str
    file: str
    rule: str = ""


def cause_of(row: Any, of: Subject) -> str:
    """Return why a joint is out, or cannot be told, by every question that makes it so.

    `row` has name, day, diameter, method of the joint, and what `best_entries` returns.
    """
    phrases = {"day": _day, "size": _size, "method": _method}
    return "; ".join(phrases[q](row, of) for q in QUESTIONS if getattr(row, f"on_{q}") == row.status)


def listed_as(row: Any, of: Subject) -> str:
    """Return who made a joint in window, and what the list says of him; `row` as in `cause_of`."""
    name = " ".join(row.name.split())
    if of.check == "machine":
        return f"{name}, {of.listed_as} until {row.end:%Y-%m-%d}"
    return f"{name}, listed {period(row.start, row.end)}"


def _day(row: Any, of: Subject) -> str:
    if row.on_day == NO:
        return f"{_bound(row, of)}, the joint was made on {row.day:%Y-%m-%d}"
    if pd.isna(row.day):
        return "the joint has no date that can be used"
    bounds = [word for word, day in (("from when", row.start), ("until when", row.end)) if pd.isna(day)]
    return f"{row.place} does not say {' and '.join(bounds)} {of.check} {row.name} is {of.listed_as}"


def _bound(row: Any, of: Subject) -> str:
    """Say which bound of an entry a day lies beyond: that it ended is said, and not hidden in a period."""
    methods = frozenset(row.methods)
    what = "" if not methods or methods & ANY_METHOD else f" for {' and '.join(sorted(methods))}"
    whose = row.name if of.check == "machine" else f"{of.check} {row.name}"
    word, day = ("ended", row.end) if row.day > row.end else ("began", row.start)
    return f"{of.holds} of {whose}{what} {word} on {day:%Y-%m-%d}"


def _size(row: Any, of: Subject) -> str:
    if row.on_size == NO:
        listed = f"{of.check} {row.name} is listed for {sizes(row.low, row.high)}"
        return f"{listed}, the pipe has {row.diameter:.1f} mm"
    if pd.isna(row.diameter):
        return "the outside diameter of the pipe is not known"
    return f"{row.place} does not say for which sizes {of.check} {row.name} is {of.listed_as}"


def _method(row: Any, of: Subject) -> str:
    listed = ", ".join(sorted(row.methods))
    if row.on_method == NO:
        return f"{of.check} {row.name} is listed for {listed}, the joint is {row.method}"
    if not listed:
        return f"{row.place} does not say for which method {of.check} {row.name} is {of.listed_as}"
    return f"{row.place} lists {of.check} {row.name} for {listed}: whether that is {row.method} cannot be told"


def period(start: pd.Timestamp, end: pd.Timestamp) -> str:
    """Write first and last day.

    >>> period(pd.Timestamp("2026-01-02"), pd.NaT)
    'from 2026-01-02 to an unstated day'
    """
    first, last = ("an unstated day" if pd.isna(day) else f"{day:%Y-%m-%d}" for day in (start, end))
    return f"from {first} to {last}"


def sizes(low: float, high: float) -> str:
    """Write a range of outside diameters.

    >>> sizes(63.0, 250.0), sizes(float("nan"), 250.0)
    ('63.0 to 250.0 mm', 'up to 250.0 mm')
    """
    if pd.isna(low):
        return f"up to {high:.1f} mm"
    return f"{low:.1f} mm and up" if pd.isna(high) else f"{low:.1f} to {high:.1f} mm"


def findings_of(joints: pd.DataFrame, entries: pd.DataFrame, of: Subject) -> Iterator[Finding]:
    """Yield one finding for each name and each thing that is wrong with it.

    `joints` are those not in window, with key, name, day, diameter, method, cause and what `best_entries` returns.
    """
    for key, own in joints.groupby("key", sort=True):
        unlisted = own["status"].isna()
        if unlisted.any():
            yield _finding(own[unlisted], f"{_who(own, of)} is not in {of.file}{_near(str(key), entries)}", of)
        out = own[own["status"] == NO]
        first = pd.Series("", index=out.index)
        for question in reversed(QUESTIONS):
            first[out[f"on_{question}"] == NO] = question
        yield from _other_days(out[first == "day"], entries, of)
        for question, members in out[first != "day"].groupby(first, sort=True):
            yield _unlike(members, str(question), of)
        for cause, members in own[~unlisted & (own["status"] != NO)].groupby("cause", sort=True):
            yield _finding(members, f"{_who(own, of)}: {cause}", of)


def _who(own: pd.DataFrame, of: Subject) -> str:
    return f"{of.check.capitalize()} {own['name'].iloc[0]}"


def _near(key: str, entries: pd.DataFrame) -> str:
    """Name the entry that may mean the same: another number is another person or machine."""
    alike = [name for name in entries["key"] if re.findall(r"\d+", name) == re.findall(r"\d+", key)]
    near = difflib.get_close_matches(key, alike, n=1, cutoff=0.6)
    listed = entries.loc[entries["key"] == near[0], "listed"].iloc[0] if near else ""
    return f" (the nearest name in it is {listed!r})" if near else ""


def _finding(joints: pd.DataFrame, what: str, of: Subject) -> Finding:
    statement = f"{what}. Cannot be judged: {several(len(joints), 'joint')}{made(joints['day'])}."
    return Finding(statement, joints.index.to_numpy(), of.check)


def _other_days(joints: pd.DataFrame, entries: pd.DataFrame, of: Subject) -> Iterator[Finding]:
    """Yield one finding for each bound of an entry that joints of one name lie beyond."""
    name = joints["name"].iloc[0] if len(joints) else ""  # of all the ways in which it is written the first
    bounds = pd.Series(
        [_bound(row, of) for row in joints.assign(name=name).itertuples()], index=joints.index, dtype=object
    )
    for bound, members in joints.groupby(bounds, sort=True):
        is_after = bool((members["day"] > members["end"]).all())
        were = f"{several(len(members), 'joint')} {'was' if len(members) == 1 else 'were'}"
        count = f"{were} made {'after' if is_after else 'before'} it{made(members['day'])}."
        more = f" The last day follows from {of.rule}." if of.rule and is_after else ""
        more += "" if is_after else _lapsed(members, entries)
        text = str(bound)
        yield Finding(f"{text[0].upper()}{text[1:]}; {count}{more}", members.index.to_numpy(), of.check)


def _lapsed(joints: pd.DataFrame, entries: pd.DataFrame) -> str:
    """Say when the entry before ended: joints between two entries were made after a lapse, not before a start."""
    same = (entries["key"] == joints["key"].iloc[0]) & entries["methods"].map(joints["methods"].iloc[0].__eq__)
    ends = entries.loc[same & (entries["end"] < joints["day"].min()), "end"]
    return "" if ends.empty else f" The one before it ended on {ends.max():%Y-%m-%d}."


def _unlike(joints: pd.DataFrame, question: str, of: Subject) -> Finding:
    """Return what the entries that fit these joints best say, and how many joints are otherwise."""
    said = {
        "size": lambda e: f"for {sizes(e.low, e.high)}",
        "method": lambda e: f"for {', '.join(sorted(e.methods)) or 'no method that is stated'}",
    }[question]
    entries = joints.drop_duplicates("place").sort_values(["start", "place"]).itertuples()
    listed = " and ".join(dict.fromkeys(said(entry) for entry in entries))
    shown = {"size": joints["diameter"].map("{:.1f} mm".format), "method": joints["method"]}.get(question)
    these = "" if shown is None else f" ({', '.join(sorted(set(shown)))})"
    count = f"{_UNLIKE[question]}: {several(len(joints), 'joint')}{these}{made(joints['day'])}."
    return Finding(f"{_who(joints, of)} is listed {listed}. {count}", joints.index.to_numpy(), of.check)


def made(days: pd.Series) -> str:
    """Write when joints were made: first and last day.

    >>> made(pd.Series(pd.to_datetime(["2026-03-02", "2026-03-05"])))
    ', from 2026-03-02 to 2026-03-05'
    """
    known = days.dropna()
    if known.empty:
        return ", without a date"
    first, last = known.min(), known.max()
    return f", on {first:%Y-%m-%d}" if first == last else f", from {first:%Y-%m-%d} to {last:%Y-%m-%d}"
