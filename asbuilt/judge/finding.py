"""What was found about a group of rows: said once, with figures, and never applied by the tool itself."""

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True, eq=False)
class Finding:
    """One statement about many rows. `rows` are labels of the index of the rows, shape (n,).

    `kind` is a short word for what it is about. `proposal` is a line for [records.corrections] of the source, to be
    written there by somebody who has looked into it; empty where no line of route.toml can put it right.
    """

    statement: str
    rows: np.ndarray
    kind: str
    proposal: str = ""


def span(rows: pd.DataFrame) -> str:
    """Name the first and the last source row of each file that the rows (source_file, sheet, source_row) come from.

    >>> span(pd.DataFrame({"source_file": ["a.csv"] * 2, "sheet": "", "source_row": [9, 4]}))
    'a.csv rows 4 to 9'
    """
    ends = rows.groupby(["source_file", "sheet"], sort=True)["source_row"].agg(["min", "max"]).reset_index()
    parts = []
    for file, sheet, low, high in ends.itertuples(index=False):
        where = f"{file} sheet {sheet}" if sheet else str(file)
        parts.append(f"{where} row {low}" if low == high else f"{where} rows {low} to {high}")
    return " and ".join(parts)
