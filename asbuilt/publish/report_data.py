"""What the report says, as one document of plain lists, dicts and text: its shape, and how it is made of the record."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from asbuilt import look
from asbuilt.as_built import AsBuilt, Title
from asbuilt.cautions import CAUTIONS, IN_SHORT
from asbuilt.outstanding import gaps_that_count, joints_that_stand_out
from asbuilt.progress.chart import chart_on_paper, described
from asbuilt.progress.figures import assumptions, figures
from asbuilt.progress.rows import Table
from asbuilt.progress.said import LAST_DAYS, day_table, left_tables, plan_tables, quiet_lines, stage_table
from asbuilt.publish.report_ledger import decided_cells, decided_says, elsewhere, ledger
from asbuilt.publish.report_tables import (
    capital,
    completeness_cells,
    crew_cells,
    datum_says,
    decision_cells,
    error_cells,
    frame_cells,
    procedure_cells,
    radius_cells,
    source_cells,
    untold_says,
    version_text,
)
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several

# The document, part by part; `report_tables` says which cells its tables have.
PARTS: Mapping[str, str] = {
    "paper": "a4 or us-letter",
    "head": "name, revision, as_of of the record, in words",
    "date": "year, month, day",
    "look": "fill, line and shape of each fusion verdict",
    "caution": "one line for the foot of each page",
    "cautions": "all of them",
    "title_block": "pairs of name and text",
    "answer": "the answers of the first page: complete, outstanding, decided (cells), decided_says, sure, datum",
    "rows": "outcome and number of source rows, which add up; then their total",
    "verdicts": "number of joints by verdict: rows of verdict, fusion, position; then the total",
    "ledger": "one a line: line, length, rows as `report_ledger.ROWS` states",
    "elsewhere": "rows without a chainage, of the same shape",
    "decisions": "cells", "completeness": "cells", "radii": "cells", "errors": "cells", "operators": "cells",
    "machines": "cells", "procedure": "cells", "frame": "cells", "sources": "cells",
    "procedure_name": "name and edition of the procedure",
    "progress": "how the line came along: `_progress`; nothing where no schedule is known",
    "since": "what changed since an earlier hand-over, in sentences; none where none was named",
    "statements": "what was found of many joints at once", "notes": "how the files were read",
    "versions": "what this was made with",
}  # fmt: skip


def report_data(as_built: AsBuilt) -> dict[str, Any]:
    """Return the document. Raises ValueError where it has not the stated shape, which is a fault of ours."""
    counts = as_built.counts
    document = {
        **on_every_page(as_built),
        "paper": {"A4": "a4", "Letter": "us-letter"}[as_built.form.paper],
        "cautions": list(CAUTIONS),
        "title_block": _title_block(as_built.title),
        "answer": _answer(as_built),
        "rows": _source_rows(as_built),
        "verdicts": _verdicts(as_built),
        "ledger": ledger(as_built),
        "elsewhere": elsewhere(as_built),
        "decisions": decision_cells(as_built),
        "completeness": completeness_cells(as_built),
        "radii": radius_cells(as_built),
        "errors": error_cells(as_built),
        "operators": crew_cells(as_built, "operator") if counts.joints else [],
        "machines": crew_cells(as_built, "machine") if counts.joints else [],
        "procedure": procedure_cells(as_built),
        "procedure_name": as_built.title.procedure,
        "frame": frame_cells(as_built),
        "sources": source_cells(as_built),
        "progress": _progress(as_built) if as_built.schedule and counts.joints else {},
        "since": list(as_built.since),
        "statements": list(as_built.statements),
        "notes": list(as_built.notes),
        "versions": version_text(as_built),
    }
    if set(document) != set(PARTS):
        raise ValueError(f"the document of the report: {sorted(set(document) ^ set(PARTS))} stated or made alone")
    return document


def on_every_page(as_built: AsBuilt) -> dict[str, Any]:
    """Return the parts that every document on paper has: head, date, look and caution."""
    title = as_built.title
    return {
        "head": {"name": title.name, "revision": title.revision, "as_of": moment(title)},
        "date": [title.as_of.year, title.as_of.month, title.as_of.day],
        "look": {verdict: {"fill": k.fill, "line": k.line, "shape": k.shape} for verdict, k in look.FUSION.items()},
        "caution": f"{IN_SHORT} Positions are estimates; decisions belong to the responsible engineer.",
    }


def moment(title: Title) -> str:
    """Return the as-of time with its offset, as it is read in every country."""
    zone = f"{title.as_of:%z}"
    return f"{title.as_of:%Y-%m-%d %H:%M} (UTC{zone[:3]}:{zone[3:5]})"


def _title_block(title: Title) -> list[list[str]]:
    said = [
        ["Line", title.name],
        ["Owner", title.owner],
        ["Contractor", title.contractor],
        ["Contract", title.contract],
        ["Revision", title.revision],
        ["As of", moment(title)],
        ["Procedure", title.procedure],
    ]
    return [pair for pair in said if pair[1].strip()]


# ---- the first page --------------------------------------------------------------------------------------------------


def _answer(as_built: AsBuilt) -> dict[str, Any]:
    return {
        "complete": _complete(as_built),
        "outstanding": _outstanding(as_built),
        "decided": decided_cells(as_built),
        "decided_says": decided_says(as_built),
        "sure": [*_sure(as_built), *untold_says(as_built.tables["joints"])],
        "datum": [as_built.title.crs, *datum_says(as_built)],
    }


def _complete(as_built: AsBuilt) -> list[str]:
    """Say in a headline and a sentence whether records run from end to end, and what of the line they cover."""
    counts, unit, gaps = as_built.counts, as_built.title.length_unit, as_built.tables["gaps"]
    pending = gaps[gaps["kind"] == "not yet recorded"]["length_m"].sum()
    length, covered = (f"{x / unit.metres:,.1f} {unit.name}" for x in (counts.length_m, counts.covered_m))
    gaps_say = f"{several(counts.gaps, 'gap')} with {several(counts.missing_records, 'missing record')}"
    parts = [
        *([gaps_say] if counts.gaps else []),
        *([f"{several(counts.unplaced, 'joint')} without a place"] if counts.unplaced else []),
        *([f"{unit.text(pending, 1)} not yet recorded"] if pending > 0 else []),
    ]
    if not counts.joints:
        parts = ["no joint is recorded"]
    head = f"Not end to end: {', '.join(parts)}." if parts else "Records run from end to end without a gap."
    shown = f"{several(counts.joints, 'joint')} recorded; {covered} of {length} lie between recorded joints."
    return [head, f"{shown} A missing record is no proof of a missing joint.", *_measured(as_built)]


_MEASURES = 8  # on the first page


def _measured(as_built: AsBuilt) -> list[str]:
    """Say of all lines together what was tested, as recorded, and which strings are closed."""
    measures, unit = as_built.tables["completeness"], as_built.title.length_unit
    rest = measures[~measures["measure"].isin(("joints recorded", "length between recorded joints", "pipe used"))]
    sums = rest.groupby(["measure", "unit"], sort=False)[["value", "of"]].sum()
    told = [
        f"{measure} {_amount(value, kind, unit)} of {_amount(of, kind, unit)}"
        for (measure, kind), value, of in zip(sums.index, sums["value"], sums["of"], strict=True)
    ]
    more = [f"and {len(told) - _MEASURES} more under Completeness"] if len(told) > _MEASURES else []
    return [f"{capital('; '.join([*told[:_MEASURES], *more]))}."] if told else []


def _amount(value: float, kind: str, unit: LengthUnit) -> str:
    return f"{value / unit.metres:,.1f} {unit.name}" if kind == "m" else f"{value:,.0f}"


def _outstanding(as_built: AsBuilt) -> list[list[str]]:
    """Return rows of what, how many, closed by a decision, outstanding: each item in one row, the total last."""
    frames = as_built.tables
    kinds = {
        "joints that stand out": frames["joints"][joints_that_stand_out(frames["joints"])],
        "gaps with missing records": frames["gaps"][gaps_that_count(frames["gaps"])],
        "findings about one joint or several": frames["findings"],
        "source rows set aside": frames["records"][frames["records"]["outstanding"].astype(bool)],
    }
    many = np.array([[len(rows), int(rows["closed"].fillna(False).astype(bool).sum())] for rows in kinds.values()])
    table = np.column_stack([many, many[:, 0] - many[:, 1]])
    named = zip([*kinds, "together"], [*table.tolist(), table.sum(axis=0).tolist()], strict=True)
    return [[name, *(f"{n:,}" for n in row)] for name, row in named]


def _sure(as_built: AsBuilt) -> list[str]:
    """Say how the joints were placed, how far each may be off, and whether a survey has tested that."""
    said = [
        f"{row[1]} {row[0]}" + (f": 95 % radius {row[2]} median, {row[3]} largest" if row[2] != "-" else "")
        for row in radius_cells(as_built)
    ]
    checked = as_built.tables["accuracy"]
    checked = checked[checked["comparison"] == "fixes against as-laid shots"]
    if checked.empty:
        return [*said, "No as-laid shot stands beside a fix: no survey has tested these positions."]
    row, unit = checked.iloc[0], as_built.title.length_unit
    radius = "" if pd.isna(row["radius95_m"]) else f", 95 % radius {unit.text(row['radius95_m'])} by NSSDA"
    test = f"Fixes tested at {several(int(row['joints_n']), 'as-laid shot')}: RMSE {unit.text(row['rmse_r_m'])} in plan"
    return [*said, f"{test}{radius}."]


def _source_rows(as_built: AsBuilt) -> list[list[str]]:
    counts = as_built.counts
    names = ("joints", "duplicates", "superseded", "trials", "set_aside")
    rows = [[name.replace("_", " "), f"{getattr(counts, name):,}"] for name in names]
    return [*rows, ["source rows", f"{counts.rows:,}"]]


def _verdicts(as_built: AsBuilt) -> list[list[str]]:
    fusion, position = as_built.counts.fusion, as_built.counts.position
    shown = [v for v in look.IN_ORDER if v != look.NO_WINDOW or fusion.get(v) or position.get(v)]
    rows = [[verdict, f"{fusion.get(verdict, 0):,}", f"{position.get(verdict, 0):,}"] for verdict in shown]
    return [*rows, ["joints", f"{sum(fusion.values()):,}", f"{sum(position.values()):,}"]]


# ---- progress --------------------------------------------------------------------------------------------------------


def _progress(as_built: AsBuilt) -> dict[str, Any]:
    """Return the chapter: stages with what to know of each, the chart as SVG and in words, the tables of plan and of
    what is left, the last days with those without a joint, and what the figures assume."""
    found = figures(as_built)
    return {
        "stages": _plain(stage_table(found)),
        "says": found.stages["says"].tolist(),
        "chart": chart_on_paper(found),
        "alt": described(found),
        "tables": [_plain(table) for table in (*plan_tables(found), *left_tables(found))],
        "days": _plain(day_table(found, last=LAST_DAYS)),
        "quiet": quiet_lines(found, last=LAST_DAYS),
        "assumptions": assumptions(found),
    }


def _plain(table: Table) -> dict[str, Any]:
    """Return a table of progress as plain data; each heading is a list of its lines."""
    heads = [head.split("\n") for head in table.head]
    return {"title": table.title, "head": heads, "rows": table.rows, "words": table.words, "notes": table.notes}
