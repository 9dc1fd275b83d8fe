"""What is wrong on purpose: the list of faults, and the values that stand in the records because of it."""

import pandas as pd

WRONG_VALUES = {  # °C, min, s, MPa interfacial, mm
    "0052": ("heater_temperature", 208.0),
    "0079": ("cooling_time", 18.0),
    "B139": ("soak_time", 405.0),
    "B171": ("fusion_pressure", 0.212),
    "C-019": ("removal_time", 11.5),
    "C-034": ("initial_bead", 3.05),
}
LEFT_OUT = {
    "0066": ["soak_time"],
    "C-041": ["soak_time"],
    "B133": ["drag_pressure"],
    "B146": ["fix_e", "fix_n"],
}
WRITTEN_TWICE, AFTER = "0030", "0075"
CURVES = ("B170", "B172", "B174", "B176", "B178", "B180")  # joints of crew B with a curve
OTHER_CURVE = "B178"  # whose curve was made with a soak of 60 s less than its record states
LETTER_O, AT_ZERO, UNNUMBERED = "0071", "0097", "C-083"

FAULTS = (  # fault, joints, in words
    ("missing record", "0023", "no row; crew A's number is skipped"),
    ("missing record", "B127", "no row; crew B's number is skipped"),
    ("missing record", "C-104", "no row; it lies where the line comes back beside itself"),
    ("three missing records in a row", "B158 B159 B160", "no rows"),
    ("last two records missing", "C-001 C-002", "no rows; the last two joints before the end of the line"),
    ("row written twice", WRITTEN_TWICE, f"the same row stands again after the row of {AFTER}"),
    ("cut-out and replacement", "0088 0088R", "0088 was cut out; 0088R names it in the column Replaces"),
    ("trial joint", "TR-A TR-B TR-C", "made at the depot, 600 m from the line; not part of it"),
    ("heater too cold", "0052", "208 °C; the window is 215 to 235 °C"),
    ("soak too short", "B139", "405 s; the window begins at 447.6 s"),
    ("heater removal too long", "C-019", "11.5 s; the window ends at 7.73 s"),
    ("fusion pressure too high", "B171", "0.212 MPa interfacial; the window is 0.15 to 0.19 MPa"),
    ("cooling too short", "0079", "18 min; the window begins at 23.34 min"),
    ("initial bead too small", "C-034", "3.05 mm (0.120 in); the window begins at 4.23 mm"),
    ("no soak time", "0066 C-041", "the cell is empty"),
    ("no drag", "B133", "the cell is empty, so its gauge pressure cannot be converted"),
    ("letter O in the latitude", LETTER_O, "a letter stands where a zero should"),
    ("no position", "B146", "both cells are empty"),
    ("no joint number", UNNUMBERED, "the cell is empty; the joint was made and lies in the line"),
    ("fix at 0/0", AT_ZERO, "latitude and longitude are zero"),
    ("operator's time run out", "TI-3 TI-4", "made on 14 March by op 7, who was qualified until 12 March"),
    ("curve and record differ", OTHER_CURVE, "the curve shows a soak 60 s shorter than the record states"),
    ("laid beside the line", "0047", "really lies 3.5 m to the right; the window is 2 m"),
)
RECORD_IS_RIGHT = ("cut-out and replacement", "tie-in")  # listed, but nothing is wrong with the record itself


def missing() -> list[str]:
    """Joints without a record."""
    return " ".join(joints for fault, joints, _ in FAULTS if "missing" in fault).split()


def faults(made: pd.DataFrame) -> pd.DataFrame:
    """Every fault: those of FAULTS, and those whose joints follow from the order of the work."""
    more = [
        ("clock in another zone", made.clock_wrong, "one day of crew C; the recorded times are 3 h too early"),
        ("fused elsewhere, pulled in", made.in_string, "the fixes show the fixed fusing location, not the joints"),
        ("tie-in", made.kind == "tie-in", "no fault: the joints that close the strings"),
    ]
    rows = [*FAULTS, *((fault, " ".join(sorted(made.joint[which])), words) for fault, which, words in more)]
    return pd.DataFrame(rows, columns=["fault", "joints", "in_words"])
