"""The joint log as plain CSV, and beside it what its columns are.

That is by the W3C's "Metadata Vocabulary for Tabular Data" (Recommendation of 2015), under the name that it looks for.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from asbuilt import tables
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.domains import DOMAINS, Words
from asbuilt.publish.joint_log import CSV_NAME
from asbuilt.publish.log_cells import decimals
from asbuilt.tables import Column

METADATA_NAME = f"{CSV_NAME}-metadata.json"
_RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_GUARDED = "A text that a spreadsheet would run as a formula has an apostrophe in front."
_DATATYPES: dict[str, Any] = {
    "text": "string",
    "real": "double",
    "integer": "integer",
    "boolean": {"base": "boolean", "format": "True|False"},
    "time": {"base": "dateTime", "format": "yyyy-MM-ddTHH:mm:ssX"},
}


def write_csv(as_built: AsBuilt, path: Path) -> None:
    """Write the joints as CSV: UTF-8 with a mark, commas, headings with units, times in UTC as ISO 8601.

    A text that a spreadsheet would run as a formula gets an apostrophe in front.
    """
    frame = as_built.tables["joints"].drop(columns="geometry")
    out = pd.DataFrame({c.heading: _csv_column(frame[c.name], c) for c in tables.JOINTS.columns})
    out.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


def _csv_column(values: pd.Series, column: Column) -> pd.Series:
    if column.kind == "text":
        risky = values.str.startswith(_RUNS_AS_FORMULA)
        return values.where(~risky, "'" + values)
    if column.kind == "time":
        return values.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    if column.kind == "real":
        return values.round(decimals(column))
    return values


def write_metadata(as_built: AsBuilt, path: Path) -> None:
    """Write the metadata of the CSV as JSON: each column with its name, heading, kind, unit, bounds and meaning."""
    text = json.dumps(metadata(as_built), ensure_ascii=False, indent=1)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def metadata(as_built: AsBuilt) -> dict[str, Any]:
    """Return the document. Prefixes `dc` and `schema` are of the initial context of RDFa, which the standard takes."""
    title = as_built.title
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": CSV_NAME,
        "dc:title": f"{title.name}: joint log, revision {title.revision}",
        "dc:date": title.as_of.isoformat(),
        "dc:description": f"{tables.JOINTS.says} {_GUARDED} Easting and northing are in {title.crs}, latitude and"
        f" longitude in {title.base_crs}; lengths are {title.length_kind}.",
        "dc:accessRights": " ".join(CAUTIONS),
        "dialect": {"encoding": "utf-8", "delimiter": ",", "quoteChar": '"', "doubleQuote": True, "header": True,
                    "headerRowCount": 1, "lineTerminators": ["\r\n"], "trim": False},
        "tableSchema": {"columns": [_described(column) for column in tables.JOINTS.columns], "primaryKey": "joint_id"},
    }  # fmt: skip


def _described(column: Column) -> dict[str, Any]:
    says = {"name": column.name, "titles": column.heading, "dc:description": column.says}
    unit = {"schema:unitText": column.unit} if column.unit else {}
    return says | unit | {"datatype": _datatype(column)} | ({"required": True} if column.name == "joint_id" else {})


def _datatype(column: Column) -> Any:
    """Return the standard's name of the kind of value, with what the values may be where that is a closed list."""
    plain = _DATATYPES[column.kind]
    if not column.domain:
        return plain
    domain = DOMAINS[column.domain]
    if isinstance(domain, Words):
        return {"base": plain, "format": "|".join(word.replace("+", r"\+") for word in domain.meanings)}
    bounds = {"minimum": domain.low, "maximum": domain.high}
    return {"base": plain} | {name: value for name, value in bounds.items() if np.isfinite(value)}
