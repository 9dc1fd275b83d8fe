"""Checks of the copies: log, workbook, map and waypoints against the tables of the GeoPackage, cell by cell."""

import re
from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from asbuilt import map_tables, tables
from asbuilt.as_built import Shift
from asbuilt.errors import InputError, Problem
from asbuilt.publish import gpx, joint_log, webmap
from asbuilt.publish.log_cells import MOST_CHARACTERS, MOST_ROWS, TOO_LONG, decimals, fitting
from asbuilt.second.check import Seen, differing, unequal
from asbuilt.second.handed_over import HandedOver
from asbuilt.sentence import several
from asbuilt.tables import Column, Table

# Half of the last digit that the map writes, and a little, by the end of the name.
_MAP_DIGIT: Mapping[str, float] = {
    "_m": 5.1e-4,
    "latitude": 5.1e-8,
    "longitude": 5.1e-8,
    "easting": 5.1e-4,
    "northing": 5.1e-4,
}
_MAP_VALUES = frozenset({"value", "low", "high"})
_OTHER_MAP, _VALUE = 5.1e-7, 5.1e-10
_A_SECOND = 1.0
_GPX_DEGREE = 5.1e-9
_BY_A_PLANE_M = 0.05  # the shift in the page is a plane fitted to the way that the waypoints took
_METRES_PER_DEGREE = 111_200.0
_FUSION = frozenset(column.name for column in tables.FUSION_VALUES)


# ---- the joint log ---------------------------------------------------------------------------------------------------


def log_agrees(out: HandedOver) -> Seen:
    """Look whether joint_log.csv says of every joint what the GeoPackage says, in every column."""
    joints = out.table("joints")
    faults = _columns(out.log, joints, tables.JOINTS, where=joint_log.CSV_NAME)
    return Seen(f"{several(len(joints), 'joint')}, {len(tables.JOINTS.columns)} columns", tuple(faults))


def workbook_agrees(out: HandedOver) -> Seen:
    """Look whether the sheets of joint_log.xlsx say what the tables of the GeoPackage say."""
    faults: list[str] = []
    for name, table in joint_log.SHEETS:
        where = f"{joint_log.WORKBOOK_NAME} sheet {name}"
        if name not in out.workbook:
            faults.append(f"{where} is not there")
            continue
        told = out.workbook[name]
        ours, cut = fitting(out.table(table.name), table, MOST_ROWS - 1)
        told = told[:-1] if cut else told  # its last row says how many more there are
        faults += _columns(told, ours.reset_index(drop=True), table, where=where)
    return Seen(f"{len(joint_log.SHEETS)} sheets", tuple(faults))


def _columns(log: pd.DataFrame, ours: pd.DataFrame, table: Table, *, where: str) -> list[str]:
    """Compare under the headings that people read. Of another length, nothing else is compared."""
    if len(log) != len(ours):
        return [f"{where} has {several(len(log), 'row')}, the table {table.name} {len(ours):,}"]
    ids = ours[table.names[0]] if table.names[0] != "source_file" else ours["source_row"].astype(str)
    faults = []
    for column in table.columns:
        if list(log.columns).count(column.heading) != 1:
            faults.append(f"{where} has no one column {column.heading!r}")
        else:
            wrong = _unlike(ours[column.name], log[column.heading], column)
            faults += differing(ids, wrong, f"{where} and the GeoPackage differ in {column.heading}")
    return faults


def _unlike(ours: pd.Series, told: pd.Series, column: Column) -> np.ndarray:
    if column.kind == "time":
        return _other_time(ours, told)
    if column.kind == "boolean":
        words = {"True": "True", "yes": "True", "False": "False", "no": "False"}
        return unequal(ours.astype(object).map({True: "True", False: "False"}), told.map(words), 0.0)
    if column.kind in ("real", "integer"):
        return unequal(ours, told, 0.51 * 10.0 ** -decimals(column) if column.kind == "real" else 0.0)
    plain = told.astype(str)
    guarded = plain.str.startswith("'") & ~ours.str.startswith("'")  # what a spreadsheet would run
    long = (ours.str.len() > MOST_CHARACTERS).to_numpy() & (plain == TOO_LONG).to_numpy()
    return unequal(ours, plain.where(~guarded, plain.str.slice(1)), 0.0) & ~long


def _other_time(ours: pd.Series, told: pd.Series) -> np.ndarray:
    theirs = pd.to_datetime(told.where(told != "", None), utc=True, errors="coerce")
    apart = (ours - theirs).dt.total_seconds().abs().to_numpy(float)
    odd = (told != "").to_numpy() & theirs.isna().to_numpy()
    return np.where(ours.isna() | theirs.isna(), ours.isna() != theirs.isna(), apart >= _A_SECOND) | odd


# ---- the map ---------------------------------------------------------------------------------------------------------


def map_agrees(out: HandedOver) -> Seen:
    """Look whether the map carries the same joints, gaps, findings, reaches and rows set aside, in every column."""
    records = out.table("records")
    rows = {"set_aside": records[records["outstanding"].fillna(False).astype(bool)].reset_index(drop=True)}
    faults = []
    for part in ("joints", "gaps", "strings", "test_sections", "findings", "set_aside", "marks"):
        ours = rows[part] if part in rows else out.table(map_tables.TABLES[part].name)
        faults += _part(out.page.table(part), ours, part)
    return Seen(
        f"{several(len(out.table('joints')), 'joint')}, {several(len(out.table('gaps')), 'gap')}", tuple(faults)
    )


def _part(told: pd.DataFrame, ours: pd.DataFrame, part: str) -> list[str]:
    where = f"{webmap.NAME}, {part.replace('_', ' ')}"
    if len(told) != len(ours):
        return [f"{where} has {several(len(told), 'row')}, the GeoPackage {len(ours):,}"]
    ids = ours[ours.columns[0]]
    shared = [name for name in map_tables.TABLES[part].names if name in ours.columns]
    return [
        fault
        for name in shared
        for fault in differing(
            ids, _not_in_page(ours, told[name], name), f"{where} and the GeoPackage differ in {name}"
        )
    ]


def _not_in_page(ours: pd.DataFrame, told: pd.Series, name: str) -> np.ndarray:
    """Return where the page says something else; it leaves out what it says in another place."""
    values = ours[name]
    if values.dtype.kind not in "fb" and not isinstance(values.dtype, (pd.Int64Dtype, pd.BooleanDtype)):
        values = values.where(values.str.strip() != "", "")
    wrong = unequal(values, told, _map_digit(name))
    if name == "joint":
        wrong &= ~(told.isna() & (values == ours["joint_id"])).to_numpy()
    return wrong & ~(told.isna().to_numpy() & (name in _FUSION))  # what a check says already stands with the check


def _map_digit(name: str) -> float:
    if name in _MAP_VALUES:
        return _VALUE
    return next((digit for end, digit in _MAP_DIGIT.items() if name.endswith(end)), _OTHER_MAP)


def map_checks_agree(out: HandedOver) -> Seen:
    """Look whether the map carries the checks of every joint with their limits, values and verdicts."""
    told, limits = out.page.table("checks"), out.page.table("limits")
    joints, checks = out.table("joints"), out.table("window_checks")
    at = (
        pd.Index(joints["joint_id"]).get_indexer(checks["joint_id"])
        if joints["joint_id"].is_unique
        else np.full(len(checks), -1)
    )
    if len(told) != len(checks) or (at < 0).any():
        what = f"the map has {several(len(told), 'check')}, the GeoPackage {len(checks):,}, each of a joint"
        return Seen("checks", (what,))
    ours = checks.iloc[np.argsort(at, kind="stable")].reset_index(drop=True)
    number = pd.to_numeric(told["limit"], errors="coerce").to_numpy(float)
    if not ((number >= 0) & (number < len(limits))).all():
        return Seen("checks", ("a check of the map has no limits",))
    told = told.join(limits.iloc[number.astype(int)].reset_index(drop=True))
    counts = np.asarray(out.page.document["checks"]["counts"]) != np.bincount(at, minlength=len(joints))
    faults = differing(joints["joint_id"], counts, "it has another number of checks in the map")
    for name in ("check", "verdict", "value", "low", "high", "unit", "required", "cause"):
        faults += differing(
            ours["joint_id"],
            _not_in_page(ours, told[name], name),
            f"a check differs in {name} between map and GeoPackage",
        )
    return Seen(f"{several(len(ours), 'check')}", tuple(faults))


# ---- waypoints -------------------------------------------------------------------------------------------------------


def waypoints_agree(out: HandedOver) -> Seen:
    """Look whether every placed joint in line is a waypoint, and stands where the shift that the map states puts it."""
    if gpx.NAME not in out.names and gpx.NAME not in out.text:
        return Seen(gpx.NAME, not_looked=f"no {gpx.NAME}: WGS 84 cannot be reached")
    points, shift = out.waypoints, _shift(out)
    joints = out.table("joints")
    joints = joints[joints["in_line"].fillna(False).astype(bool) & joints["latitude"].notna()].reset_index(drop=True)
    of_joints = np.array(points.kind, dtype=object) == "joint"
    names = [name for name, is_joint in zip(points.name, of_joints, strict=True) if is_joint]
    if len(names) != len(joints):
        return Seen(
            gpx.NAME, (f"it has {several(len(names), 'joint')}, the GeoPackage {len(joints):,} in line with a place",)
        )
    other = np.array(
        [_spoken(name) != _spoken(ours) for name, ours in zip(names, joints["joint_id"], strict=True)], dtype=bool
    )
    faults = differing(names, other, "the waypoint is of another joint")
    east, north = shift.applied(joints["longitude"].to_numpy(float), joints["latitude"].to_numpy(float))
    apart = points.lonlat[of_joints] - np.column_stack([east, north])
    apart = (apart + 180.0) % 360.0 - 180.0
    apart[:, 0] *= np.cos(np.radians(north))
    within = _GPX_DEGREE + _BY_A_PLANE_M / _METRES_PER_DEGREE
    faults += differing(names, ~(np.abs(apart) <= within).all(axis=1), "the waypoint is elsewhere than the joint")
    faults += list(_said(joints, [d for d, is_joint in zip(points.desc, of_joints, strict=True) if is_joint]))
    gaps = [name for name, kind in zip(points.name, points.kind, strict=True) if kind == "gap"]
    faults += [] if len(gaps) == 2 * len(out.table("gaps")) else [f"it has {len(gaps):,} ends of gaps, not two a gap"]
    return Seen(f"{several(len(points.name), 'waypoint')}", tuple(faults))


def _spoken(name: str) -> str:
    """Return a name without what XML cannot hold; the file has its number in place of each such character."""
    return re.sub(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]|\[U\+[0-9A-F]{4}\]", "", name)


def _said(joints: pd.DataFrame, desc: list[str]) -> Iterator[str]:
    """Each waypoint says its station and both verdicts."""
    columns = joints[["station", "fusion_verdict", "position_verdict"]].itertuples(index=False)
    wrong = np.array([
        f"{station};" not in text or f"fusion {fusion}, position {place}." not in text
        for text, (station, fusion, place) in zip(desc, columns, strict=True)
    ], dtype=bool)  # fmt: skip
    yield from differing(joints["joint_id"], wrong, "the waypoint says another station or verdict")


def _shift(out: HandedOver) -> Shift:
    told = out.page.document["shift"]
    try:
        parts = {name: tuple(float(x) for x in told[name]) for name in ("origin", "latitude", "longitude")}
        if [len(p) for p in parts.values()] != [2, 3, 3]:
            raise ValueError("its length")
    except (TypeError, KeyError, ValueError) as error:
        raise InputError(
            Problem(webmap.NAME, f"it states no shift to WGS 84 ({error})", "build the hand-over again")
        ) from error
    return Shift("", "", 0.0, residual_m=0.0, **parts)  # type: ignore[arg-type]
