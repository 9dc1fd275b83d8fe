"""An invented record for the tests of the map: a curved line, joints every 12 m, two gaps, nasty texts."""

import dataclasses
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pyproj
import shapely

from asbuilt import look, tables
from asbuilt.as_built import AsBuilt, Counts, Title
from asbuilt.crs import Frame
from asbuilt.quantities import METRE
from asbuilt.receivers import reach_wgs84
from asbuilt.stationing import ChainageEquation, Stationing

CRS = pyproj.CRS.from_epsg(7855)
FRAME = Frame("EPSG:7855", CRS)
NASTY = (
    "</script><script>document.title='taken'</script>",
    "${1} {{ 7*7 }} {% raw %} {{ record }}",
    "\"double\" 'single' `back`",
    "<img src=x onerror=alert(1)> & <!-- --> ]]>",
    "\u202eright to left\u202c \u05d0\u05d1\u05d2",
    "line\u2028and\u2029paragraph",
)
STICK_M = 12.0
DAYS = (12, 13, 16, 17, 18)  # of March 2026; fourteen joints a day
PLAIN = Stationing()
JUMPING = Stationing(equations=(ChainageEquation(back_m=300, ahead_m=350),))


def invented(joints: int = 60, stationing: Stationing = PLAIN) -> AsBuilt:
    """Return an invented record: a curved line, joints every 12 m, two gaps, one joint without a place, one trial."""
    chainage = np.arange(1, joints + 1) * STICK_M
    line = _line((joints + 1) * STICK_M)
    rng = np.random.default_rng(7)
    kept = np.ones(joints, dtype=bool)
    kept[[joints // 3, joints // 3 + 1, joints // 3 + 2, joints // 2 + 5]] = False
    frames = {"alignment": _alignment(line), "alignment_vertices": _vertices(line)}
    frames["chainage_marks"] = _marks(line, stationing)
    frames["joints"] = _joints(line, chainage[kept], stationing, rng)
    frames["positions"] = _positions(frames["joints"], rng)
    frames["gaps"] = _gaps(line, frames["joints"], stationing)
    frames["window_checks"] = _checks(frames["joints"])
    frames["records"] = _records()
    frames["strings"], frames["test_sections"] = _strings(line), _sections(line)
    done = {t.name: frames.get(t.name, tables.empty(t)) for t in tables.ALL}
    notes, shift = (
        ("Invented note: none.",),
        reach_wgs84([shapely.get_coordinates(line)], of=FRAME, moment=_title().as_of),
    )
    title = dataclasses.replace(_title(), wgs84=shift[1])
    return AsBuilt(title, CRS.to_wkt(), done, _counts(done, line.length), STATEMENTS, notes, wgs84=shift[0])


STATEMENTS = (
    "All fixes of crew A state a 95 % accuracy of 4 m, which the window of 2 m cannot be judged with (invented).",
)


def _line(length: float) -> shapely.LineString:
    """Return a line of the given length that bends, in the plane of the route's frame."""
    t = np.linspace(0, length, 400)
    heading = 0.9 * np.sin(t / length * 7) + 0.4
    steps = np.diff(t)[:, None] * np.column_stack([np.cos(heading[1:]), np.sin(heading[1:])])
    xy = np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)]) + np.array([512000.0, 5260000.0])
    return shapely.LineString(xy.round(4))


def made(table: tables.Table, rows: int, **columns: object) -> pd.DataFrame:
    """Return a frame of `table` in which the columns that are not given hold nothing."""
    nothing = {"text": "", "real": np.nan, "integer": None, "boolean": None, "time": pd.NaT}
    frame = {c.name: pd.Series([nothing[c.kind]] * rows, dtype=object) for c in table.columns}
    frame |= {name: pd.Series(list(values), dtype=object) for name, values in columns.items()}  # type: ignore[call-overload]
    return tables.conform(pd.DataFrame(frame), table)


def _alignment(line: shapely.LineString) -> pd.DataFrame:
    return made(
        tables.ALIGNMENT,
        1,
        line=["main"],
        start_chainage_m=[0.0],
        end_chainage_m=[line.length],
        length_m=[line.length],
        geometry=[line],
    )


def _vertices(line: shapely.LineString) -> pd.DataFrame:
    xy = shapely.get_coordinates(line)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    columns = {"line": ["main"] * len(xy), "vertex": range(1, len(xy) + 1), "chainage_m": at}
    return made(tables.ALIGNMENT_VERTICES, len(xy), **columns, easting=xy[:, 0], northing=xy[:, 1])


def _marks(line: shapely.LineString, stationing: Stationing) -> pd.DataFrame:
    ends, breaks = [0.0, line.length], list(stationing.breaks_m)
    at = np.unique([*np.arange(0.0, line.length, 100.0), *ends, *breaks])
    rank = [3 if c in ends or c in breaks else 2 if c % 1000 == 0 else 1 for c in at]
    return made(
        tables.CHAINAGE_MARKS,
        len(at),
        line=["main"] * len(at),
        chainage_m=at,
        station=stationing.labels(at),
        rank=rank,
        geometry=[line.interpolate(c) for c in at],
    )


def _verdicts(n: int, rng: np.random.Generator, p: tuple[float, ...]) -> list[str]:
    names = [look.IN_WINDOW, look.OUT_OF_WINDOW, look.CANNOT_TELL, look.NOT_RECORDED]
    return [str(v) for v in rng.choice(names, n, p=p)]


def _joints(
    line: shapely.LineString, chainage: np.ndarray, stationing: Stationing, rng: np.random.Generator
) -> pd.DataFrame:
    """The last but one has no place; the last is a cut-out; the first six carry the nasty texts as operators."""
    n = len(chainage)
    points = [line.interpolate(c) for c in chainage]
    longitude, latitude = geographic(points)
    fusion, position = _verdicts(n, rng, (0.88, 0.04, 0.05, 0.03)), _verdicts(n, rng, (0.5, 0.03, 0.45, 0.02))
    fusion[2], fusion[3], fusion[5] = look.CANNOT_TELL, look.OUT_OF_WINDOW, look.NOT_RECORDED
    position[3] = look.IN_WINDOW
    offset, radius = rng.normal(0, 0.8, n), rng.uniform(0.6, 5, n)
    columns = {
        "joint_id": [f"J{i + 1:04d}" for i in range(n)],
        "joint": [f"{i + 1}" for i in range(n)],
        "kind": ["production"] * n,
        "in_line": [True] * n,
        "line": ["main"] * n,
        "chainage_m": list(chainage),
        "station": list(stationing.labels(chainage)),
        "offset_m": list(offset),
        "chainage_sd_m": list(radius / 2.6),
        "offset_sd_m": list(radius / 3.1),
        "radius95_m": list(radius),
        "placed_by": ["fix+tally"] * n,
        "leg_probability": [1.0] * n,
        "candidates_n": [1] * n,
        "fix_chainage_m": list(chainage + rng.normal(0, 2, n)),
        "fix_offset_m": list(offset * 2),
        "operator": [NASTY[i] if i < len(NASTY) else f"Operator {i % 4 + 1}" for i in range(n)],
        "machine": [f"M{i % 2 + 1}" for i in range(n)],
        "machine_run": [f"M{i % 2 + 1} / 1" for i in range(n)],
        "fused_local": [f"2026-03-{DAYS[i // 14]}T14:32:00+11:00" for i in range(n)],
        "time_recorded": ["2026-03-12 14:32:00"] * n,
        "started_at": [pd.Timestamp("2026-03-12T02:50:00Z")] * n,
        "fusion_verdict": fusion,
        "position_verdict": position,
        "recorded_n": [3] * n,
        "procedure_n": [8] * n,
        "reasons": [_reasons(f, p) for f, p in zip(fusion, position, strict=True)],
        "latitude": list(latitude),
        "longitude": list(longitude),
        "easting": [p.x for p in points],
        "northing": [p.y for p in points],
        "source_file": [f"records/crew_{'ab'[i % 2]}.csv" for i in range(n)],
        "source_row": [i + 2 for i in range(n)],
        "position_recorded": [f"{a:.5f} {b:.5f}" for a, b in zip(latitude, longitude, strict=True)],
        "outside_diameter_mm": [630.0] * n,
        "heater_temperature_c": [238.4 if f == look.OUT_OF_WINDOW else 221.5 for f in fusion],
        "drag_pressure_mpa": [0.517107] * n,
        "geometry": points,
    }
    for name in ("chainage_m", "offset_m", "radius95_m", "latitude", "longitude", "easting", "northing", "geometry"):
        columns[name][n - 2] = None
    columns["station"][n - 2], columns["placed_by"][n - 2], columns["position_verdict"][n - 2] = (
        "",
        "unplaced",
        look.NOT_RECORDED,
    )
    columns["in_line"][n - 1], columns["kind"][n - 1] = False, "trial"
    return made(tables.JOINTS, n, **columns)


def _reasons(fusion: str, position: str) -> str:
    says = {
        look.OUT_OF_WINDOW: "Heater temperature 238.4 °C is above 230 °C.",
        look.CANNOT_TELL: "The wall is not known, so the window of the soak time is not.",
        look.NOT_RECORDED: "Soak time was not recorded.",
    }
    where = "Offset 1.40 m ± 2.1 m against a window of 2 m." if position == look.CANNOT_TELL else ""
    return f"{says.get(fusion, '')} {where}".strip()


def geographic(points: list[shapely.Point]) -> tuple[np.ndarray, np.ndarray]:
    to = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    return to.transform([p.x for p in points], [p.y for p in points])


def _positions(joints: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    placed = joints[joints["geometry"].notna()]
    n = len(placed)
    east, north = placed["easting"] + rng.normal(0, 2, n), placed["northing"] + rng.normal(0, 2, n)
    return made(
        tables.POSITIONS,
        n,
        joint_id=placed["joint_id"],
        method=["fix"] * n,
        line=["main"] * n,
        station=placed["station"],
        offset_m=placed["fix_offset_m"],
        radius95_m=[4.0] * n,
        source=["records/crew_a.csv"] * n,
        easting=east,
        northing=north,
        geometry=[shapely.Point(e, m) for e, m in zip(east, north, strict=True)],
    )


def _gaps(line: shapely.LineString, joints: pd.DataFrame, stationing: Stationing) -> pd.DataFrame:
    placed = joints[joints["geometry"].notna() & joints["in_line"]]
    at, ids = placed["chainage_m"].to_numpy(), placed["joint_id"].to_numpy()
    wide = np.flatnonzero(np.diff(at) > 1.5 * STICK_M)
    missing = np.round(np.diff(at)[wide] / STICK_M).astype(int) - 1
    return made(
        tables.GAPS,
        len(wide),
        gap_id=[f"{ids[i]}--{ids[i + 1]}" for i in wide],
        line=["main"] * len(wide),
        from_chainage_m=at[wide],
        to_chainage_m=at[wide + 1],
        from_station=stationing.labels(at[wide]),
        to_station=stationing.labels(at[wide + 1]),
        length_m=np.diff(at)[wide],
        from_joint=ids[wide],
        to_joint=ids[wide + 1],
        missing_records=missing,
        missing_low=np.maximum(missing - 1, 1),
        missing_high=missing + 1,
        unplaced_here=[0] * len(wide),
        kind=["between joints"] * len(wide),
        evidence=["The neighbours stand farther apart than one stick of 12 m."] * len(wide),
        geometry=[shapely.ops.substring(line, at[i], at[i + 1]) for i in wide],
    )


def _checks(joints: pd.DataFrame) -> pd.DataFrame:
    """Three checks a joint: one recorded, one on the edge of its window, one not recorded."""
    n = len(joints)
    heater = joints["heater_temperature_c"].to_numpy()
    verdict = [look.OUT_OF_WINDOW if h > 230 else look.IN_WINDOW for h in heater]
    return made(
        tables.WINDOW_CHECKS,
        3 * n,
        joint_id=np.tile(joints["joint_id"], 3),
        check=["heater_temperature"] * n + ["bead_pressure"] * n + ["soak_time"] * n,
        value=[*heater, *[0.1500001] * n, *[np.nan] * n],
        low=[210.0] * n + [np.nan] * n + [600.0] * n,
        high=[230.0] * n + [0.15] * n + [np.nan] * n,
        unit=["°C"] * n + ["MPa"] * n + ["s"] * n,
        verdict=[*verdict, *[look.OUT_OF_WINDOW] * n, *[look.NOT_RECORDED] * n],
        required=[True] * n + [False] * n + [False] * n,
        source=["Invented procedure, table 1"] * (2 * n) + ["project limit"] * n,
        status=["read"] * (2 * n) + ["project"] * n,
        cause=[""] * (2 * n) + ["No soak time in this row."] * n,
    )


def _reach(line: shapely.LineString, table: tables.Table, low: float, high: float, **more: object) -> pd.DataFrame:
    labels = PLAIN.labels(np.array([low, high]))
    columns = {"line": ["main"], "from_chainage_m": [low], "to_chainage_m": [high], "length_m": [high - low]}
    columns |= {
        "from_station": [labels[0]],
        "to_station": [labels[1]],
        "geometry": [shapely.ops.substring(line, low, high)],
    }
    return made(table, 1, **columns, **{name: [value] for name, value in more.items()})


def _strings(line: shapely.LineString) -> pd.DataFrame:
    pulled = _reach(line, tables.STRINGS, 60, 180, string="S1", joints_n=11, placed_n=11, extent_from="joints")
    bore = _reach(line, tables.STRINGS, 500, 560, string="Bore <b>", method="bore", joints_n=0, placed_n=0)
    return pd.concat([pulled, bore], ignore_index=True)


def _sections(line: shapely.LineString) -> pd.DataFrame:
    return _reach(
        line, tables.TEST_SECTIONS, 0, 350, section="T1", tested_on="2026-03-19", result="held", reference="R-1"
    )


def _records() -> pd.DataFrame:
    return made(
        tables.RECORDS,
        1,
        source_file=["records/crew_a.csv"],
        source_row=[41],
        outcome=["set aside"],
        outstanding=[True],
        reason=["no joint number <b>at all</b>"],
    )


def _title() -> Title:
    return Title(
        name="Invented demonstration route <4>",
        revision="P01",
        as_of=datetime(2026, 3, 20, 17, 30, tzinfo=UTC),
        owner="",
        contractor="",
        contract="",
        crs="EPSG:7855, GDA2020 / MGA zone 55 (metre)",
        base_crs="GDA2020",
        length_unit=METRE,
        station_length="1000 m",
        length_kind="grid",
        procedure="Invented procedure, edition 1",
    )


def _counts(done: dict[str, pd.DataFrame], length: float) -> Counts:
    joints = done["joints"][done["joints"]["in_line"]]
    gaps = done["gaps"]
    bad = joints[["fusion_verdict", "position_verdict"]].isin([look.OUT_OF_WINDOW, look.NOT_RECORDED]).any(axis=1)
    return Counts(
        rows=len(joints) + 2,
        joints=len(joints),
        duplicates=0,
        superseded=0,
        trials=1,
        set_aside=1,
        unplaced=int(joints["geometry"].isna().sum()),
        fusion=joints["fusion_verdict"].value_counts().to_dict(),
        position=joints["position_verdict"].value_counts().to_dict(),
        gaps=len(gaps),
        missing_records=int(gaps["missing_records"].sum()),
        outstanding=int((bad | joints["geometry"].isna()).sum()) + len(gaps) + 1,
        length_m=length,
        covered_m=length - float(gaps["length_m"].sum()),
    )
