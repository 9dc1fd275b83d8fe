"""The tables of the report, as text: completeness, accuracy, people and machines, procedure, frame, source files."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.as_built import AsBuilt
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.quantities import LengthUnit
from asbuilt.sentence import several, some
from asbuilt.stationing import Stationing
from asbuilt.window import SURE_OF_LEG

Cells = list[list[str]]

PLACED_SAYS = {
    "survey": "measured on the pipe (as laid, or as found)",
    "fix": "by the recorded fix alone",
    "fix+tally": "by fixes and pipe lengths together",
    "tally": "by pipe lengths alone",
    "unplaced": "without a place",
}
_NO_LIST = "no list was handed in"
_LISTED = {
    IN_WINDOW: "valid on the day", OUT_OF_WINDOW: "not valid on the day", CANNOT_TELL: "cannot tell",
    NOT_RECORDED: "not in the list",
}  # fmt: skip


def completeness_cells(as_built: AsBuilt) -> Cells:
    """Return line, measure, so much of so much, share, and what to know, one row a measure."""
    unit = as_built.title.length_unit
    rows: Iterator[Any] = as_built.tables["completeness"].itertuples(index=False)
    return [[row.line, row.measure, *_amounts(row, unit), row.says] for row in rows]


def _amounts(row: Any, unit: LengthUnit) -> list[str]:
    if row.unit == "m":
        value, of = ("not known" if np.isnan(x) else f"{x / unit.metres:,.2f} {unit.name}" for x in (row.value, row.of))
    else:
        value, of = f"{row.value:,.0f}", f"{row.of:,.0f}"
    share = "" if np.isnan(row.value) or not row.of else f"{_share(row.value / row.of)} %"
    return [value, of, share]


def _share(part: float) -> str:
    """Write a share in per cent; what is not the whole never reads as the whole, nor something as nothing.

    >>> _share(0.9999), _share(1.0), _share(0.00001), _share(0.0)
    ('> 99.9', '100.0', '< 0.1', '0.0')
    """
    if 0 < part < 0.001:
        return "< 0.1"
    return "> 99.9" if 0.999 < part < 1 else f"{100 * part:.1f}"


# ---- accuracy --------------------------------------------------------------------------------------------------------


def radius_cells(as_built: AsBuilt) -> Cells:
    """Return method, joints, median and largest 95 % radius, and what to know, of the places of the joints."""
    unit = as_built.title.length_unit
    return [
        [
            PLACED_SAYS.get(row.method, row.method),
            f"{row.joints_n:,}",
            _length(row.radius95_median_m, unit),
            _length(row.radius95_max_m, unit),
            row.says,
        ]
        for row in _compared(as_built, "radius of places")
    ]


def error_cells(as_built: AsBuilt) -> Cells:
    """Return comparison, number, axes, means, RMSE of the axes and in plan, 95 % radius, rule and what it is worth."""
    unit = as_built.title.length_unit
    return [
        [
            f"{row.comparison}, {PLACED_SAYS[row.method]}" if comparison == "fixes about places" else row.comparison,
            f"{row.joints_n:,}",
            row.axes,
            f"{_length(row.mean_1_m, unit)}, {_length(row.mean_2_m, unit)}",
            f"{_length(row.rmse_1_m, unit)}, {_length(row.rmse_2_m, unit)}",
            _length(row.rmse_r_m, unit),
            _length(row.radius95_m, unit),
            f"{row.rule}; {row.says}",
        ]
        for comparison in ("fixes about places", "fixes against as-laid shots")
        for row in _compared(as_built, comparison)
    ]


def _compared(as_built: AsBuilt, comparison: str) -> Iterator[Any]:
    accuracy = as_built.tables["accuracy"]
    return accuracy[accuracy["comparison"] == comparison].itertuples(index=False)


def _length(metres: float, unit: LengthUnit) -> str:
    return "-" if np.isnan(metres) else unit.text(metres + 0.0 if abs(metres) >= 0.005 else 0.0)


def untold_says(joints: pd.DataFrame) -> list[str]:
    """Say of how many joints in line nobody can tell whether they lie in the window, and why; each by one cause."""
    joints = joints[joints["in_line"].astype(bool)]
    rest = joints[joints["position_verdict"] == CANNOT_TELL]
    if rest.empty:
        return []
    head, told = f"Cannot be told whether in window: {len(rest):,} of {several(len(joints), 'position')}", []
    for why, here in _causes(rest).items():
        now = rest.index.isin(here.index[here.fillna(False).astype(bool)])
        told += [f"{now.sum():,} {why}"] if now.any() else []
        rest = rest[~now]
    return [f"{head}: {'; '.join([*told, *([f'{len(rest):,} by what the joint log says'] if len(rest) else [])])}."]


def _causes(joints: pd.DataFrame) -> dict[str, pd.Series]:
    """Return why nobody can tell, the plainest cause first."""
    by = joints["placed_by"]
    return {
        "without a place": by == "unplaced",
        "placed by pipe lengths alone (fused at one place and moved, or without a usable fix)": by == "tally",
        "whose fix, with its uncertainty, reaches over the edge of the window": joints["reasons"].str.contains(_OVER),
        "that may lie on another leg": joints["leg_probability"] < SURE_OF_LEG,
    }


_OVER = "reaches over the window"  # as judge.places says it


# ---- people and machines ---------------------------------------------------------------------------------------------


def crew_cells(as_built: AsBuilt, column: str) -> Cells:
    """Return name, joints, first and last day, with whom or what, and what the list says: operators or machines."""
    joints, checks = as_built.tables["joints"], as_built.tables["window_checks"]
    joints = joints[joints["in_line"].astype(bool)]
    other = "machine" if column == "operator" else "operator"
    of_list = checks[checks["check"] == column]
    verdict = dict(zip(of_list["joint_id"], of_list["verdict"], strict=True))
    said = [_LISTED.get(verdict.get(name, ""), _NO_LIST) for name in joints["joint_id"]]
    told = joints.assign(day=joints["fused_local"].str[:10], listed=said)
    return [_crew(str(name), of, other) for name, of in told.groupby(column, sort=True)]


def _crew(name: str, joints: pd.DataFrame, other: str) -> list[str]:
    days = sorted(set(joints["day"]) - {""})
    span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}" if days else "no date"
    beside = sorted(set(joints[other]) - {""})
    listed = "; ".join(f"{many:,} {word}" for word, many in joints["listed"].value_counts(sort=True).items())
    return [name or "not recorded", f"{len(joints):,}", span, f"{len(days):,}", ", ".join(beside), listed]


# ---- procedure -------------------------------------------------------------------------------------------------------


def procedure_cells(as_built: AsBuilt) -> Cells:
    """Return quantity, required or not, limits, counts by verdict, source and status: one row a check and limit source.

    The limits are the span over all joints, for they follow wall, size and weather.
    """
    checks, joints = as_built.tables["window_checks"], as_built.tables["joints"]
    kept = checks[checks["joint_id"].isin(joints.loc[joints["in_line"].astype(bool), "joint_id"])]
    kept = kept[~kept["check"].isin(("operator", "machine"))]
    title = f"{as_built.title.procedure}: "
    groups = kept.groupby(["check", "source", "status"], sort=False, observed=True)
    return [
        _check(str(check), of, (str(source).removeprefix(title), str(status))) for (check, source, status), of in groups
    ]


def _check(check: str, of: pd.DataFrame, limit: tuple[str, str]) -> list[str]:
    verdicts = of["verdict"].value_counts()
    words = (IN_WINDOW, OUT_OF_WINDOW, CANNOT_TELL, NOT_RECORDED)
    counts = [f"{verdicts.get(word, 0):,}" for word in words]
    required = "yes" if of["required"].astype(bool).any() else ""
    return [check.replace("_", " "), required, _limits(of), *counts, *limit]


def _limits(of: pd.DataFrame) -> str:
    ends = [_span(of["low"], "from"), _span(of["high"], "to")]
    text = " ".join(end for end in ends if end)
    unit = "".join(of["unit"].iloc[:1])
    return f"{text} {unit}".strip() if text else "no limit"


def _span(values: pd.Series, word: str) -> str:
    low, high = values.min(), values.max()
    if pd.isna(low):
        return ""
    least, most = f"{low:.4g}", f"{high:.4g}"
    return f"{word} {least}" if least == most else f"{word} {least}/{most}"


# ---- frame and sources -----------------------------------------------------------------------------------------------


def frame_cells(as_built: AsBuilt) -> Cells:
    """Return what is measured in which frame, unit and length, as name and text."""
    title = as_built.title
    one = [
        ["Easting, northing", title.crs],
        ["Latitude, longitude", title.base_crs],
        ["WGS 84", title.wgs84],
        ["Chainage", f"distance along the line, a {title.length_kind} length; stored in metres"],
        [
            "Station",
            f"the chainage as written, chainage equations applied; one station is {title.station_length}",
        ],
        ["Offset", "perpendicular to the alignment, R right and L left looking towards increasing chainage"],
        ["Lengths here in", _unit_says(title.length_unit)],
    ]
    return one + [[capital(name), text] for name, text in _info(as_built, "frame") if name not in _SAID]


_SAID = ("working", "latitude and longitude")  # by the title


def _unit_says(unit: LengthUnit) -> str:
    return "metres" if unit.name == "m" else f"feet of {unit.metres:.10f} m"


def datum_says(as_built: AsBuilt) -> list[str]:
    """Say what heights refer to, and where two stations do not make a length."""
    heights = next((text for name, text in frame_cells(as_built) if name == "Heights"), "")
    stated = f"Heights are {heights}." if "stated" in heights else ""
    unknown = "No height datum is stated: levels are as recorded, and refer to nothing named here."
    jumps = [jump for line, of in as_built.stationing.items() for jump in _jumps(line, of)]
    what = "Chainage equation" if len(jumps) == 1 else f"{len(jumps):,} chainage equations"
    across = f"a length across {'it' if len(jumps) == 1 else 'one'} is not the difference of two stations"
    kind = f"Chainage is a {as_built.title.length_kind} length."
    return [stated or unknown, f"{kind} {what} ({some(jumps, 2)}): {across}." if jumps else kind]


def _jumps(line: str, of: Stationing) -> list[str]:
    ends = (of.labels(of.breaks_m + beyond) for beyond in (0.0, 1e-6))
    return [f"line {line} at {back} back = {ahead} ahead" for back, ahead in zip(*ends, strict=True)]


def capital(text: str) -> str:
    """Return the text with its first letter large."""
    return text[:1].upper() + text[1:]


def source_cells(as_built: AsBuilt) -> Cells:
    """Return each file that was read, and its SHA-256."""
    return [[name, text.removeprefix("sha256 ")] for name, text in _info(as_built, "input")]


def version_text(as_built: AsBuilt) -> str:
    """Return what this was made with."""
    return ", ".join(f"{name} {text}" for name, text in _info(as_built, "version"))


def _info(as_built: AsBuilt, topic: str) -> Iterator[tuple[str, str]]:
    info = as_built.tables["build_info"]
    return info.loc[info["topic"] == topic, ["name", "value"]].itertuples(index=False, name=None)


def decision_cells(as_built: AsBuilt) -> Cells:
    """Return every decision that was read: about what, what, who as what, when, on which revision, why, its state."""
    rows = as_built.tables["decisions"].to_dict("records")
    return [
        [
            next(str(row[name]) for name in ("joint_id", "gap_id", "row_id", "finding_id") if row[name]),
            row["decision"],
            _joined(row, "name", "role"),
            row["date"],
            row["revision"],
            _joined(row, "reason", "reference"),
            f"{row['state']}. {row['said']}",
        ]
        for row in rows
    ]


def _joined(row: Mapping[Any, Any], *names: str) -> str:
    return ", ".join(str(row[name]) for name in names if row[name])
