"""Rows of small tables, one after the other, for what is said of each."""

from collections.abc import Iterator
from typing import Any

import pandas as pd


def each(frame: pd.DataFrame) -> Iterator[Any]:
    """Return the rows of a table, their values by the names of the columns."""
    return iter(frame.itertuples(index=False))
