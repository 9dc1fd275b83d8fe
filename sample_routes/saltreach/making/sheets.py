"""How the three crews write their records down: three files that have little in common."""

from itertools import groupby
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import xlsxwriter
from making.curves import curves_for
from making.faults import AFTER, AT_ZERO, CURVES, LETTER_O, OTHER_CURVE, UNNUMBERED, WRITTEN_TWICE
from making.fusing import PISTON
from making.photos import PHOTOS

KINDS = ("production", "tie-in", "trial", "fitting")
BAR, PSI, INCH = 0.1, 0.00689475729, 25.4  # MPa, MPa, mm
TITLE_B = "Saltreach raw water main: invented demo data. Fusion log of crew B, EPSG:7855"
REMARKS = {
    "TR-A": "trial at depot",
    "0088": "cut out, bead uneven on one side",
    "0088R": "made again after cut-out",
    "C-010": "gusts – tent used",
    "C-055": "½ h wait for shade",
}


def words(kind: pd.Series, theirs: tuple[str, ...]) -> pd.Series:
    """The kind of joint in a crew's own words."""
    return kind.map(dict(zip(KINDS, theirs, strict=True)))


def degrees(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Latitude and longitude of the fixes in GDA2020."""
    points = gpd.points_from_xy(rows.fix_e, rows.fix_n, crs="EPSG:7855").to_crs("EPSG:7844")
    return points.y, points.x


def text(values: pd.Series | np.ndarray, digits: int, point: str = ".") -> list[str]:
    """Numbers with so many decimals; an empty text where there is none."""
    return ["" if np.isnan(v) else f"{v:.{digits}f}".replace(".", point) for v in values]


def dms(values: np.ndarray, letters: str) -> list[str]:
    """Degrees, minutes and seconds with four decimals, and the letter of the hemisphere (+ and -)."""
    units = np.rint(np.abs(values) * 36_000_000).astype(int)
    minutes, seconds = np.divmod(units, 600_000)
    cells = zip(minutes, seconds, np.where(values < 0, letters[1], letters[0]), strict=True)
    return [f"{m // 60}° {m % 60:02d}' {s / 10_000:07.4f}\" {letter}" for m, s, letter in cells]


def write_crew_a(rows: pd.DataFrame, path: Path) -> None:
    """Semicolons, decimal commas, UTF-8 with a byte order mark; interfacial pressures in bar."""
    latitude, longitude = (np.where(rows.joint == AT_ZERO, 0, v) for v in degrees(rows))
    table = pd.DataFrame(
        {
            "Joint No": rows.joint,
            "Kind": rows.kind,
            "Replaces": rows.replaces,
            "Machine": rows.machine,
            "Operator": "op 3",
            "Finished": rows.time.dt.strftime("%d.%m.%Y %H:%M"),
            "Latitude": text(latitude, 8, ","),
            "Longitude": text(longitude, 8, ","),
            "Accuracy 95 % (m)": text(rows.accuracy, 2, ","),
            "Ambient (°C)": text(rows.ambient_temperature, 0),
            "Heater plate (°C)": text(rows.heater_temperature, 0),
            "Initial bead (mm)": text(rows.initial_bead, 1, ","),
            "Soak (s)": text(rows.soak_time, 0),
            "Heater out (s)": text(rows.removal_time, 1, ","),
            "Ramp (s)": text(rows.ramp_time, 1, ","),
            "Fusion pressure (bar)": text(rows.fusion_pressure / BAR, 2, ","),
            "Cooling (min)": text(rows.cooling_time, 1, ","),
            "Pipe 1": rows.pipe_a,
            "Pipe 2": rows.pipe_b,
            "Remarks": rows.joint.map(REMARKS).fillna(""),
        }
    )
    letter_o = rows.joint == LETTER_O
    table.loc[letter_o, "Latitude"] = table.Latitude[letter_o].str.replace("0", "O", n=1)
    lines = with_surroundings(table.to_csv(sep=";", index=False, lineterminator="\n").splitlines())
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("utf-8-sig"))


def with_surroundings(lines: list[str]) -> list[str]:
    """Crew A's lines with three title rows, blank rows, a row that stands twice, and a total row."""
    heading, *rows = lines
    blank = ";" * heading.count(";")
    total = f"Total;{len(rows) + 1} rows{blank[1:]}"
    place = {row.split(";")[0]: i for i, row in enumerate(rows)}
    rows.insert(place[AFTER] + 1, rows[place[WRITTEN_TWICE]])
    for name, empty in (("0060", blank), ("0040", ""), ("0020", blank)):
        rows.insert(place[name] + 1, empty)
    title = ("Saltreach raw water main: invented demo data", "Fusion log of crew A", "Times local; positions GDA2020")
    return [*(t.replace(";", ",") + blank for t in title), heading, *rows, blank, total]


def columns_b(rows: pd.DataFrame) -> list[tuple[str, str, pd.Series]]:
    """Crew B's columns from left to right: group, heading, values."""
    return [
        ("Joint", "No.", rows.joint),
        ("Joint", "Type", words(rows.kind, ("P", "T", "X", "F"))),
        ("Plant", "Machine", rows.machine),
        ("Plant", "Operator", rows.kind.map(lambda kind: "op 7" if kind == "tie-in" else "op 5")),
        ("Finished", "", rows.time),
        ("Position", "East", rows.fix_e.round(3)),
        ("Position", "North", rows.fix_n.round(3)),
        ("Position", "95 % (m)", rows.accuracy),
        ("Temperature", "Air (°C)", rows.ambient_temperature.round()),
        ("Temperature", "Heater (°C)", rows.heater_temperature.round()),
        ("Bead (mm)", "", rows.initial_bead.round(1)),
        ("Time", "Soak (s)", rows.soak_time.round()),
        ("Time", "Removal (s)", rows.removal_time.round(1)),
        ("Time", "Ramp (s)", rows.ramp_time.round(1)),
        ("Time", "Cooling (min)", rows.cooling_time.round(1)),
        ("Pressure", "Fusion (bar gauge)", (rows.gauge_pressure / BAR).round(1)),
        ("Pressure", "Drag (bar)", (rows.drag_pressure / BAR).round(1)),
        ("Pressure", "Piston area (mm2)", pd.Series(PISTON["B"], rows.index)),
        ("Pipes", "First", rows.pipe_a),
        ("Pipes", "Second", rows.pipe_b),
        ("Curve file", "", rows.joint.map({joint: f"{joint}.csv" for joint in CURVES})),
        ("String", "", rows.in_string.map({True: "S1", False: None})),
    ]


def write_heading(sheet: xlsxwriter.worksheet.Worksheet, columns: list, bold: object) -> None:
    """A heading of two rows below the title: groups merged across, single columns merged down."""
    left = 0
    for group, cells in groupby(columns, key=lambda column: column[0]):
        under = [cell[1] for cell in cells]
        right = left + len(under) - 1
        sheet.merge_range(1, left, 1 if any(under) else 2, right, group, bold)
        if any(under):
            sheet.write_row(2, left, under, bold)
        left = right + 1


def write_crew_b(rows: pd.DataFrame, path: Path) -> None:
    """A workbook of two sheets, one for each half of the rows; true dates; gauge pressures in bar."""
    half = (len(rows) + 1) // 2
    with xlsxwriter.Workbook(path, {"default_date_format": "dd/mm/yyyy hh:mm"}) as book:
        book.set_properties({"title": "Invented demo data", "created": pd.Timestamp("2026-03-20").to_pydatetime()})
        bold = book.add_format({"bold": True, "align": "center", "valign": "vcenter"})
        for name, part in (("First half", rows[:half]), ("Second half", rows[half:])):
            sheet, columns = book.add_worksheet(name), columns_b(part)
            write_heading(sheet, columns, bold)
            for c, (_, _, values) in enumerate(columns):
                for r in np.flatnonzero(values.notna()):
                    sheet.write(r + 3, c, values.iloc[r])
            sheet.freeze_panes(3, 1)
            sheet.autofit()
            sheet.set_column("E:E", 16)  # wide enough for date and time
            sheet.write(0, 0, TITLE_B)  # last, so that its length does not widen the first column


def write_crew_c(rows: pd.DataFrame, path: Path) -> None:
    """Commas, Windows-1252, US units, degrees-minutes-seconds; no accuracy, no ramp time, no pipe serials."""
    latitude, longitude = degrees(rows)
    table = pd.DataFrame(
        {
            "Job": "Saltreach (invented)",
            "Joint": rows.joint.replace(UNNUMBERED, ""),
            "Sort": words(rows.kind, ("Line", "Closure", "Test piece", "Elbow")),
            "Machine": rows.machine,
            "Operator": "op 9",
            "Date": [f"{t.month}/{t.day}/{t.year}" for t in rows.time],
            "Time": [f"{(t.hour - 1) % 12 + 1}:{t:%M} {'AM' if t.hour < 12 else 'PM'}" for t in rows.time],
            "Lat": dms(latitude, "NS"),
            "Long": dms(longitude, "EW"),
            "Air °F": text(rows.ambient_temperature * 1.8 + 32, 0),
            "Heater °F": text(rows.heater_temperature * 1.8 + 32, 0),
            "Bead in": text(rows.initial_bead / INCH, 3),
            "Soak s": text(rows.soak_time, 0),
            "Open s": text(rows.removal_time, 1),
            "Gauge psi": text(rows.gauge_pressure / PSI, 0),
            "Drag psi": text(rows.drag_pressure / PSI, 0),
            "Piston in²": text(np.full(len(rows), PISTON["C"] / INCH**2), 2),
            "Cool min": text(rows.cooling_time, 1),
            "Remarks": rows.joint.map(REMARKS).fillna(""),
            "Photo": rows.joint.map({joint: f"{joint}.jpg" for joint in PHOTOS}).fillna(""),
        }
    )
    table.to_csv(path, index=False, encoding="cp1252", lineterminator="\r\n")


PEOPLE = """Operator;Method;Size from (mm);Size to (mm);Valid from;Valid to
op 3;butt fusion;315;800;2025-06-02;2027-06-01
op 5;butt fusion;315;800;2025-09-15;2027-09-14
op 7;butt fusion;315;800;2024-03-13;2026-03-12
op 9;butt fusion;315;800;2025-11-03;2027-11-02
"""
MACHINES = """Machine;Piston area (mm2);Calibrated;Valid to
M11;;2025-12-01;2026-11-30
M24;4120;2025-10-20;2026-10-19
M37;4052;2026-01-12;2027-01-11
"""
# Between tie-ins; the stations behind 1800 m are those of the chainage equation.
TESTS = """Section;From (m);To (m);Date;Result;Reference
TS-1;0+000.00;1+480.00;2026-03-10;passed;SR-PT-01
TS-2;1+480.00;2+865.00;2026-03-17;failed;SR-PT-02
TS-2;1+480.00;2+865.00;2026-03-19;passed;SR-PT-03
TS-3;2+865.00;4+417.90;;not yet tested;
"""


def write_lists(folder: Path) -> None:
    """Who is qualified for what and until when, which machine is calibrated, and which reaches were tested."""
    for name, text in (("people.csv", PEOPLE), ("machines.csv", MACHINES), ("tests.csv", TESTS)):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


def write_curves(made: pd.DataFrame, folder: Path) -> None:
    """One curve of pressure and plate over time for some joints of crew B."""
    folder.mkdir(exist_ok=True)
    told = made[made.joint.isin(CURVES)]
    told = told.assign(soak_time=told.soak_time - 60 * (told.joint == OTHER_CURVE))
    for name, text in curves_for(told).items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
