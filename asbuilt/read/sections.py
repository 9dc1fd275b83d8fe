"""Where the line was tested and with what result, as recorded: reaches between two places on a line.

A place is a chainage with its unit (a distance along the line, before chainage equations) or a station label, which
is read with them. A result is shown in the record's own word: nothing here says whether a test is good.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from asbuilt.read.alignments import Designs
from asbuilt.read.cells import Read
from asbuilt.read.reaches import (
    Rows,
    chainages,
    days_of,
    labelled,
    lines_of,
    set_aside_beyond,
    set_aside_unstated,
)
from asbuilt.read.side_tables import SidePart, SideTable, joined, parted, read_side
from asbuilt.settings import Settings

SECTIONS: Mapping[str, object] = {
    "section": object,
    "line": object,
    "from_chainage_m": "float64",
    "to_chainage_m": "float64",
    "tested_on": object,
    "result": object,
    "reference": object,
    "source_file": object,
    "sheet": object,
    "source_row": "int64",
}


@dataclass(frozen=True)
class Sections:
    """The test sections. `rows` has the columns `SECTIONS`: chainages in metres before equations, tested_on an ISO
    date; None: not stated. `set_aside` as for the tally: each row left out, with its reason."""

    rows: pd.DataFrame
    notes: tuple[str, ...]
    set_aside: pd.DataFrame


def read_sections(settings: Settings, designs: Designs) -> Sections:
    """Read the test sections of the route; empty where there is no file.

    Raises InputError with the problems of all files, such as a station that is nowhere on the line, or twice.
    """
    parts = read_side(settings, settings.tests, partial(_sections, settings=settings, designs=designs))
    rows, set_aside = parted(joined(parts, SECTIONS), SECTIONS)
    return Sections(rows, tuple(n for p in parts for n in p.notes), set_aside)


def _sections(table: SideTable, *, settings: Settings, designs: Designs) -> SidePart:
    for name, what in (("from", "where a section begins"), ("to", "where it ends"), ("result", "the result of a test")):
        table.need(name, what)
    reason = table.rows.why_not.copy()
    lines = lines_of(table, designs, reason)
    ends = chainages(table, ("from", "to"), lines, settings)
    _set_aside(table, ends, lines, reason=reason, settings=settings)
    columns: dict[str, object] = {f"{name}_chainage_m": read.values for name, read in ends.items()}
    columns |= {"line": [of.name if of else None for of in lines], "tested_on": days_of(table, settings)}
    columns |= {name: _said(table, name) for name in ("section", "result")}
    return table.part({**columns, "reference": table.texts("reference")}, reason)


def _set_aside(
    table: SideTable, ends: Mapping[str, Read], lines: Rows, *, reason: np.ndarray, settings: Settings
) -> None:
    """Say in `reason` why rows cannot be used: an end that is not stated, the wrong way round, or off the line."""
    set_aside_unstated(table, ends, reason)
    low, high = (ends[name].values for name in ("from", "to"))
    for i in map(int, np.flatnonzero((reason == "") & ~(low < high))):
        first, last = labelled(lines[i], low[i], high[i])
        reason[i] = f"it is from {first} to {last}: the lower chainage has to come first"
    set_aside_beyond(table, ends, lines, reason=reason, settings=settings)


def _said(table: SideTable, name: str) -> np.ndarray:
    """Return a field as texts; where nothing stands the row is kept without it, and that is told."""
    words = table.texts(name)
    use = table.found.uses.get(name)
    for i in np.flatnonzero(pd.isna(words)):
        table.fault(int(i), f"column {use.heading}" if use else name, f"no {name} is stated")
    return words
