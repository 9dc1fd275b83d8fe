"""decisions.csv: what a named person decided, in one of five words, about one joint, gap, source row or finding.

A row that does not say which, what, who or when is left out with its reason: it must not close anything. Whether what
it names exists, and whether the decision still holds, is judged later.
"""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from asbuilt.read.rows import NO_RECORD
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.settings import Settings

POSITION_CONFIRMED = "position confirmed"
ASKS_FOR_WORK = ("repair", "cut out and re-make")  # an item stays open until a record shows the work, or it is accepted
ASKS = (*ASKS_FOR_WORK, "more information")
WORDS = ("accept as is", *ASKS_FOR_WORK, POSITION_CONFIRMED, "more information")
ABOUT = ("joint_id", "gap_id", "row_id", "finding_id")  # a row names exactly one
_TEXTS = (*ABOUT, "decision", "name", "role", "revision", "reason", "reference", "basis")
_FILLED_IN = ("decision", "name", "role", "reason", "reference")  # with date: what a ready-to-fill list leaves empty
_STATED: Mapping[str, object] = {
    **dict.fromkeys((name for name in _TEXTS if name != "reason"), object),
    "because": object,  # on the way `reason` is why a row is left out
    "date": object,
    "source_file": object,
    "sheet": object,
    "source_row": "int64",
}
_UNFILLED = "not filled in"
_FORMULA = ("=", "+", "-", "@")  # before which a list that we print has an apostrophe


@dataclass(frozen=True)
class Decisions:
    """The decisions as stated. `rows` has joint_id, gap_id, row_id, finding_id, decision, name, role, revision, reason,
    reference and basis, texts, None where not stated; date in ISO 8601; source_file, sheet and source_row.

    `set_aside` has each row that was left out, with source_file, sheet, source_row, cells and reason; `notes` what was
    found and used as found, and how many rows are not filled in.
    """

    rows: pd.DataFrame
    notes: tuple[str, ...]
    set_aside: pd.DataFrame


def read_decisions(settings: Settings) -> Decisions:
    """Read the decisions of the route; empty where there is no file. Raises InputError with all problems of files."""
    parts = read_side(settings, settings.decisions, lambda table: _decisions(table, settings))
    rows, set_aside = parted(joined(parts, _STATED), _STATED)
    unfilled = (set_aside["reason"] == _UNFILLED).to_numpy(bool)
    notes = [note for part in parts for note in part.notes]
    for file, count in set_aside[unfilled].groupby("source_file", sort=False).size().items():
        notes.append(f"{file}: not filled in, and no decision yet: {count} of its rows")
    return Decisions(
        rows.rename(columns={"because": "reason"}), tuple(notes), set_aside[~unfilled].reset_index(drop=True)
    )


def refused(decisions: Decisions) -> pd.DataFrame:
    """Return the rows left out that were meant as decisions: no heading that stands again, and no total."""
    return decisions.set_aside[~decisions.set_aside["reason"].isin(NO_RECORD)]


def _decisions(table: SideTable, settings: Settings) -> SidePart:
    for name, what in (("decision", "what was decided"), ("name", "who decided"), ("date", "when that was")):
        table.need(name, what)
    texts = {name: table.texts(name) for name in _TEXTS}
    texts |= {name: _without_apostrophe(texts[name]) for name in ABOUT}
    days, unread = _days(table, settings)
    reason = table.rows.why_not.copy()
    for i in map(int, np.flatnonzero(reason == "")):
        row = {name: values[i] for name, values in texts.items()} | {"date": days[i]}
        reason[i] = _why_not(row, unread.get(i, ""), table)
    words = [_word(text) for text in texts["decision"]]
    return table.part({**texts, "decision": words, "because": texts["reason"], "date": days}, reason)


def _word(text: str | None) -> str | None:
    return text.casefold() if text else None


def _without_apostrophe(names: np.ndarray) -> np.ndarray:
    """Take off the apostrophe that keeps a spreadsheet from running a name as a formula."""
    guarded = [name is not None and name[:1] == "'" and name[1:2] in _FORMULA for name in names]
    return np.array([name[1:] if g else name for name, g in zip(names, guarded, strict=True)], dtype=object)


def _days(table: SideTable, settings: Settings) -> tuple[np.ndarray, dict[int, str]]:
    """Return the day of each decision as ISO text, None where there is none; and what of which row cannot be read."""
    zone = settings.route.timezone or ZoneInfo("UTC")
    utc = table.moments("date", zone=zone, clock=None)
    table.notes[:] = [note for note in table.notes if "without a time of day" not in note]
    unread = table.faults.pop(_column(table, "date"), {})
    local = pd.Series(utc).dt.tz_localize("UTC").dt.tz_convert(zone)
    days = local.dt.strftime("%Y-%m-%d").astype(object).where(local.notna(), None).to_numpy(object)
    return days, unread


def _column(table: SideTable, name: str) -> str:
    return f"column {table.found.uses[name].heading}"


def _why_not(row: Mapping[str, str | None], unread: str, table: SideTable) -> str:
    """Return why a row is no decision: the column, what was found, what to do; empty where it is one."""
    if not unread and not any(row[name] for name in (*_FILLED_IN, "date")):
        return _UNFILLED
    named = [name for name in ABOUT if row[name]]
    if len(named) != 1:
        found = f"it names {' and '.join(named)}" if named else "it names nothing that was decided on"
        return f"{found}; name exactly one of {', '.join(ABOUT)}"
    if fault := _not_a_word(row["decision"], _column(table, "decision")):
        return fault
    if not row["name"]:
        return f"{_column(table, 'name')}: nobody is named; say who decided"
    if unread or not row["date"]:
        return f"{_column(table, 'date')}: {unread or 'no date is stated'}; write the day as 2026-03-25"
    return ""


def _not_a_word(decision: str | None, column: str) -> str:
    if decision and decision.casefold() in WORDS:
        return ""
    near = difflib.get_close_matches((decision or "").casefold(), WORDS, n=1)
    do = f"did you mean {near[0]}?" if near else f"write one of {', '.join(WORDS)}"
    return f"{column}: {f'{decision!r} is none of the words' if decision else 'nothing is decided'}; {do}"
