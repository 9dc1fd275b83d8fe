"""The cells of the joint log before they are written: what fits a sheet, how a value is shown, how wide a column is."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd

from asbuilt import look, tables
from asbuilt.domains import DOMAINS
from asbuilt.tables import Column

DECIMALS = {"m": 3, "mm": 2, "°": 8, "MPa": 4}
MOST_ROWS = 1_048_576  # of a sheet, by ECMA-376 as its common readers implement it (from memory)
MOST_CHARACTERS = 32_767  # of a cell, likewise
_MOST_OF = {"window_checks": 100_000}  # a sheet that people still open with ease (the writers' judgement, no source)
TOO_LONG = "[longer than a cell may be: see asbuilt.gpkg]"
WORDS = ("Table", "Column", "Heading", "Unit", "Kind of value", "Meaning", "What it may hold")
WIDEST = 60
_NARROWEST, _SIGN = 7, 4  # a sign stands before a verdict, which may be bold
_USUAL = 0.95  # a column is as wide as this share of its cells asks for


def fitting(frame: pd.DataFrame, table: tables.Table, most: int) -> tuple[pd.DataFrame, str]:
    """Return at most `most` rows, and a sentence about those that are left out; empty where none is.

    Where some have to go, it is all rows in window: the sheet is read for the others.
    """
    most = min(most, _MOST_OF.get(table.name, most))
    if len(frame) <= most:
        return frame, ""
    worth = frame[frame["verdict"] != look.IN_WINDOW] if "verdict" in frame else frame
    kept = worth.iloc[: most - 1]  # the last row says so
    lost, beyond = len(frame) - len(kept), len(worth) - len(kept)
    what = "left out here" if "verdict" not in frame else f"left out here, {beyond:,} of them not in window"
    return kept, f"{lost:,} more: {what}. All are in the table {table.name} of asbuilt.gpkg."


def cells(values: pd.Series, column: Column) -> list[Any]:
    """Return one column as plain values: text, numbers, times without a zone (they are UTC), None where there is
    nothing."""
    if column.kind == "time":
        return [None if pd.isna(v) else v.to_pydatetime().replace(tzinfo=None) for v in values]
    if column.kind == "real":
        rounded = values.round(decimals(column))
        return rounded.astype(object).where(np.isfinite(rounded), None).tolist()
    if column.kind == "boolean":
        return values.map({True: "yes", False: "no"}).astype(object).where(values.notna(), None).tolist()
    if column.kind == "integer":
        return values.astype(object).where(values.notna(), None).tolist()
    fits = values.where(values.str.len() <= MOST_CHARACTERS, TOO_LONG).astype(object)
    return fits.where(fits != "", None).tolist()


def decimals(column: Column) -> int:
    """Return to how many decimals a number of the column is written."""
    return DECIMALS.get(column.unit, 4)


def width(values: Sequence[Any], column: Column) -> float:
    """Return the width of a column, in characters, from what it holds and from the longest word of its heading."""
    lengths = [len(text) for text in map(_shown, values) if text] if column.kind != "time" else [16]
    usual = 1.0 if column.domain else _USUAL  # of a closed list every word fits
    asked = float(np.quantile(lengths, usual)) if lengths else 0.0
    asked += _SIGN if column.domain == "verdict" else 0
    heading = max(map(len, column.heading.split()))
    return float(min(max(asked + 2, heading + 3, _NARROWEST), WIDEST))


def _shown(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) and abs(value) < 1e5 else str(value)


def words() -> Iterator[tuple[str, ...]]:
    """Yield the rows of the dictionary: each table, then its columns."""
    for table in tables.ALL:
        yield table.name, "", "", "", table.geometry.lower() or "table", table.says, ""
        for column in table.columns:
            held = DOMAINS[column.domain].say() if column.domain else ""
            yield table.name, column.name, column.heading, column.unit, column.kind, column.says, held
