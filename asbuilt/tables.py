"""The shape of every table that is handed over: the one place where a column name is spelt.

The GeoPackage's dictionary, the headings of the joint log, the tables in README.md and the fields of the map
are all made from the tuples below.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

DTYPES: Mapping[str, str] = {
    "text": "str",
    "real": "float64",
    "integer": "Int64",
    "boolean": "boolean",
    "time": "datetime64[us, UTC]",
}


@dataclass(frozen=True)
class Column:
    """One column: its name, what kind of value it holds, the unit, a heading for people, and what it means."""

    name: str
    kind: str  # a key of DTYPES
    title: str
    says: str
    unit: str = ""
    domain: str = ""  # a key of asbuilt.domains.DOMAINS: which values it may hold; empty: any

    @property
    def heading(self) -> str:
        """The heading a person reads, with the unit in it.

        >>> Column("chainage_m", "real", "Chainage", "distance along the line", "m").heading
        'Chainage (m)'
        """
        return f"{self.title} ({self.unit})" if self.unit else self.title


@dataclass(frozen=True)
class Table:
    """One layer or table of the hand-over. `geometry` is empty for a table without positions."""

    name: str
    says: str
    columns: tuple[Column, ...]
    geometry: str = ""  # "Point" or "LineString"

    @property
    def names(self) -> tuple[str, ...]:
        """The column names, in order, without the geometry."""
        return tuple(column.name for column in self.columns)


def _text(name: str, title: str, says: str, *, domain: str = "") -> Column:
    return Column(name, "text", title, says, domain=domain)


def _real(name: str, title: str, says: str, unit: str = "", *, domain: str = "") -> Column:
    return Column(name, "real", title, says, unit, domain)


def _count(name: str, title: str, says: str, *, domain: str = "not_negative") -> Column:
    return Column(name, "integer", title, says, domain=domain)


# The quantities of a fusion record, in the order of the work. Their names without the unit are the canonical
# names of `[records.columns]` and of the checks in a procedure.
FUSION_VALUES = (
    _real("outside_diameter_mm", "Outside diameter", "of the pipe, as recorded or from route.toml", "mm"),
    _real("wall_mm", "Wall", "stated in the record, else in route.toml, else outside diameter / DR", "mm"),
    _real("dr", "DR", "dimension ratio as recorded or from route.toml"),
    _real("ambient_temperature_c", "Ambient temperature", "as recorded", "°C"),
    _real("heater_temperature_c", "Heater temperature", "of the heater plate, as recorded", "°C"),
    _real("drag_pressure_mpa", "Drag pressure", "gauge pressure that moves the carriage", "MPa"),
    _real("bead_pressure_mpa", "Bead-up pressure", "as recorded", "MPa"),
    _real("soak_pressure_mpa", "Soak pressure", "as recorded", "MPa"),
    _real("fusion_pressure_mpa", "Fusion pressure", "as recorded", "MPa"),
    _real("second_pressure_mpa", "Second pressure", "lower one while cooling, as recorded", "MPa"),
    _real("piston_area_mm2", "Piston area", "total effective area of the machine", "mm²"),
    _real("initial_bead_mm", "Initial bead", "melt bead against the heater before soaking", "mm"),
    _real("soak_time_s", "Soak time", "heat soak", "s"),
    _real("removal_time_s", "Heater removal time", "heater out until the ends meet", "s"),
    _real("ramp_time_s", "Ramp time", "ends meet until full pressure", "s"),
    _real("cooling_time_min", "Cooling time", "under pressure in the machine", "min"),
    _real("cooling_out_time_min", "Cooling out", "out of the machine, before rough handling", "min"),
    _real("bead_width_mm", "Bead width", "finished bead", "mm"),
    _real("misalignment_mm", "Misalignment", "step between the two outside surfaces", "mm"),
)

# Beside each text of a decision: whether what it stands on is still outstanding.
CLOSED = Column("closed", "boolean", "Closed", "a current decision closes it; the verdict stays as it is")

# What was read from a curve; pressures as the curve has them.
TRACED = (
    _real("trace_soak_time_s", "Soak in curve", "heat soak, as found in the curve", "s"),
    _real("trace_removal_time_s", "Heater removal in curve", "as found in the curve", "s"),
    _real("trace_ramp_time_s", "Ramp in curve", "as found in the curve", "s"),
    _real("trace_cooling_time_min", "Cooling in curve", "under pressure, as found in the curve", "min"),
    _real("trace_bead_pressure_mpa", "Bead-up pressure in curve", "gauge, as found in the curve", "MPa"),
    _real("trace_fusion_pressure_mpa", "Fusion pressure in curve", "gauge, as found in the curve", "MPa"),
    _real("trace_heater_temperature_c", "Heater in curve", "as found in the curve", "°C"),
    _text("trace_cause", "Curve", "why there is no curve, or what cannot be told from it"),
)

JOINTS = Table(
    "joints",
    "One row for each fusion that has a record. The point stands on the alignment at chainage_m, or where the joint was"
    " measured (placed_by survey), offset_m off the alignment at chainage_m; a joint that cannot be placed has none."
    " Cut-out, re-made and trial joints stay, with in_line = false.",
    (
        _text("joint_id", "Joint id", "unique and stable: the number on the paper, else number/machine/date"),
        _text("joint", "Joint", "the number on the paper, as recorded"),
        _text("kind", "Kind", "production, tie-in, trial or fitting", domain="joint_kind"),
        Column("in_line", "boolean", "In line", "false for cut-out and trial joints: they are in no count"),
        _text("line", "Line", "name of the alignment the joint lies on"),
        _real("chainage_m", "Chainage", "distance along the line + start, before chainage equations", "m"),
        _text("station", "Station", "the chainage as a person reads it, chainage equations applied"),
        _real("offset_m", "Offset", "of fix or shot from the line, + right / - left looking up-chainage", "m"),
        _real("chainage_sd_m", "Chainage sd", "one standard deviation along the line", "m", domain="not_negative"),
        _real("offset_sd_m", "Offset sd", "one standard deviation across the line", "m", domain="not_negative"),
        _real(
            "radius95_m",
            "95 % radius",
            "the joint lies within it with 95 %, in plan, if leg and model hold",
            "m",
            domain="not_negative",
        ),
        _text("placed_by", "Placed by", "survey, fix, tally, fix+tally or unplaced", domain="placed_by"),
        _real(
            "leg_probability",
            "Leg probability",
            "that the joint lies on this leg, by its fix and the order of the work",
            domain="probability",
        ),
        _count("candidates_n", "Candidates", "places on the lines within reach of the fix"),
        _real(
            "margin_m",
            "Margin",
            "how much farther the second likeliest place is; -: the order of the work outweighs it",
            "m",
        ),
        _real("beyond_m", "Beyond end", "how far past the line's end: - before its start, + after its end", "m"),
        _real("fix_chainage_m", "Fix chainage", "perpendicular projection of the fix", "m"),
        _real("fix_offset_m", "Fix offset", "offset of the fix, + right / - left", "m"),
        _text("string", "String", "the string the joint belongs to, as recorded"),
        _text("machine_run", "Machine run", "machine and place in the order it worked"),
        Column("fused_at", "time", "Fused at (UTC)", "end of cooling unless the source says otherwise, in UTC"),
        _text("fused_local", "Fused at (local)", "the same time on the clock of the route, ISO 8601"),
        _text("operator", "Operator", "as recorded"),
        _text("machine", "Machine", "as recorded"),
        _text(
            "fusion_verdict",
            "Fusion verdict",
            "worst of the required checks and of any other that is out",
            domain="verdict",
        ),
        _text(
            "position_verdict", "Position verdict", "offset with its uncertainty against its window", domain="verdict"
        ),
        _count("recorded_n", "Recorded", "how many of the procedure's quantities were recorded"),
        _count("procedure_n", "In procedure", "how many quantities the procedure has a window for"),
        Column("number_open", "boolean", "Number open", "what it replaces, or whose its number is, is not clear"),
        _text("reasons", "Reasons", "what a reader has to know, in sentences"),
        _text("decision", "Decision", "of a named person; empty: none"),
        CLOSED,
        _real(
            "latitude",
            "Latitude",
            "of the point of this layer, not of the fix; in the base geographic CRS of the route's CRS",
            "°",
            domain="latitude",
        ),
        _real(
            "longitude",
            "Longitude",
            "of the point of this layer, not of the fix; in the base geographic CRS of the route's CRS",
            "°",
            domain="longitude",
        ),
        _real("easting", "Easting", "of the point of this layer, not of the fix; in the route's CRS and its unit"),
        _real("northing", "Northing", "of the point of this layer, not of the fix; in the route's CRS and its unit"),
        _real("elevation_m", "Elevation", "as recorded, never transformed", "m"),
        _text("source_file", "Source file", "path within the route folder"),
        _text("source_sheet", "Source sheet", "sheet or layer; empty where the file has one table"),
        _count("source_row", "Source row", "row as a spreadsheet numbers it, or number of the feature"),
        _text("time_recorded", "Time as recorded", "untouched text of the source"),
        _text("position_recorded", "Position as recorded", "untouched text of the source"),
        _text("procedure", "Procedure", "as recorded"),
        _text("method", "Method", "as recorded"),
        _text("pipe_a", "Pipe A", "one of the two pipes joined"),
        _text("pipe_b", "Pipe B", "the other"),
        _real("length_a_m", "Length of pipe A", "as recorded", "m"),
        _real("length_b_m", "Length of pipe B", "as recorded", "m"),
        _real("length_added_m", "Length added", "of the pipe added at this joint, as recorded", "m"),
        _real("order", "Order", "place in the string, as recorded"),
        _text("material", "Material", "as recorded or from route.toml"),
        _text("replaces", "Replaces", "number of the joint that this one replaces, as recorded"),
        Column("started_at", "time", "Started at (UTC)", "as recorded, in UTC"),
        _text("fix", "Fix quality", "as recorded"),
        _text("elevation_of", "Elevation of", "crown, invert or antenna, as recorded"),
        _text("visual", "Visual result", "as recorded; judged where [window.visual] has its words"),
        _text("photo", "Photo", "as recorded"),
        _text("trace", "Trace", "the curve that the record points to, as recorded"),
        *TRACED,
        _text("remarks", "Remarks", "as recorded"),
        *FUSION_VALUES,
        _text("pressure_kind", "Pressures are", "gauge or interfacial, as route.toml says", domain="pressure_kind"),
        _real("interfacial_pressure_mpa", "Interfacial pressure", "at the melt face; computed from gauge", "MPa"),
    ),
    geometry="Point",
)

POSITIONS = Table(
    "positions",
    "One row for each opinion of where a joint is.",
    (
        _text("joint_id", "Joint id", "the joint"),
        _text(
            "method", "Method", "fix, projection, adjusted, alternative leg, as-laid shot or as found", domain="opinion"
        ),
        _text("line", "Line", "the alignment it refers to"),
        _real("chainage_m", "Chainage", "of this opinion", "m"),
        _text("station", "Station", "of this opinion"),
        _real("offset_m", "Offset", "of the fix from this place on the line, + right / - left", "m"),
        _real("radius95_m", "95 % radius", "of this opinion, in plan", "m", domain="not_negative"),
        _real(
            "probability", "Probability", "among the places on the lines within reach of the fix", domain="probability"
        ),
        _text("source", "Source", "file and row"),
        Column("seen_at", "time", "When (UTC)", "time of the record; of a day alone its beginning"),
        _real("easting", "Easting", "in the route's CRS and its unit"),
        _real("northing", "Northing", "in the route's CRS and its unit"),
        _text("by", "By", "who measured, of shots and of what was found, as recorded"),
        _real("elevation_m", "Elevation", "of a shot or as found, as recorded, never transformed", "m"),
        _text("elevation_of", "Elevation of", "crown, invert or antenna, as recorded"),
        _real("ground_m", "Ground level", "over an as-laid shot, as recorded", "m"),
        _real("depth_m", "Depth", "from the ground down to the pipe as found, as recorded", "m"),
        _text("remarks", "Remarks", "of what was found, as recorded"),
    ),
    geometry="Point",
)

GAPS = Table(
    "gaps",
    "Stretches of alignment where joints must exist and no record does. Missing records, never missing joints.",
    (
        _text("gap_id", "Gap id", "from--to"),
        _text("line", "Line", "name of the alignment"),
        _real("from_chainage_m", "From chainage", "where the stretch begins", "m"),
        _real("to_chainage_m", "To chainage", "where it ends", "m"),
        _text("from_station", "From station", "as a person reads it"),
        _text("to_station", "To station", "as a person reads it"),
        _real("length_m", "Length", "along the line", "m", domain="not_negative"),
        _text("from_joint", "From joint", "joint_id of the last joint before; empty at the start of the line"),
        _text("to_joint", "To joint", "joint_id of the first joint after; empty at the end of the line"),
        _count("missing_records", "Missing records", "likeliest number, from the length of a stick"),
        _count("missing_low", "At least", "with the 95 % uncertainty of both neighbours"),
        _count("missing_high", "At most", "with the 95 % uncertainty of both neighbours"),
        _count("unplaced_here", "Unplaced here", "joints without a place that were made between the two"),
        _text(
            "kind",
            "Kind",
            "between joints, before the first joint, after the last joint, records not placed, not yet recorded",
            domain="gap_kind",
        ),
        _count("joints_within", "Joints within", "joints inside the bracket: which spacing it is no fix can tell"),
        _text("evidence", "Evidence", "why a record is thought missing, in a sentence"),
        _text("decision", "Decision", "of a named person; empty: none"),
        CLOSED,
    ),
    geometry="LineString",
)

WINDOW_CHECKS = Table(
    "window_checks",
    "One row for each window of each joint.",
    (
        _text("joint_id", "Joint id", "the joint"),
        _text("check", "Check", "the quantity judged"),
        _real("value", "Value", "what was recorded, or computed from it"),
        _real("low", "Low", "least accepted value, inclusive; empty: open"),
        _real("high", "High", "largest accepted value, inclusive; empty: open"),
        _text("unit", "Unit", "of value, low, high and margin"),
        _real("margin", "Margin", "how far inside its window the value lies; negative: outside"),
        _text(
            "verdict", "Verdict", "in window, out of window, cannot tell, not recorded or no window", domain="verdict"
        ),
        Column("required", "boolean", "Required", "whether the fusion verdict needs this check"),
        _text("source", "Source", "procedure, edition, and where the limit was read"),
        _text(
            "status",
            "Status of the limit",
            "project, read, second-hand, from memory, or the writers' judgement",
            domain="limit_status",
        ),
        _text("procedure", "Procedure", "by which it was judged, with its edition; empty where by a list or a word"),
        _text("cause", "Cause", "why the check cannot tell, what stands in the way, or what it rests on"),
    ),
)

RECORDS = Table(
    "records",
    "One row for each source row: nothing that was handed in is lost.",
    (
        _text("source_file", "Source file", "path within the route folder"),
        _text("sheet", "Sheet", "sheet or layer; empty where the file has one table"),
        _count("source_row", "Source row", "row as a spreadsheet numbers it, or number of the feature"),
        _text("outcome", "Outcome", "joint, duplicate, superseded, trial or set aside", domain="outcome"),
        _text("joint_id", "Joint id", "the joint it became or repeats; empty where set aside"),
        _text("reason", "Reason", "why, and what of the row could not be read"),
        Column("outstanding", "boolean", "Outstanding", "set aside, and may be a record: somebody has to look at it"),
        _text("decision", "Decision", "of a named person; empty: none"),
        CLOSED,
        _text("cells", "Cells", "the row as found, as a JSON object of heading and text"),
    ),
)

ALIGNMENT = Table(
    "alignment",
    "The design centrelines, as measured.",
    (
        _text("line", "Line", "name"),
        _real("start_chainage_m", "Start chainage", "of the first vertex", "m"),
        _real("end_chainage_m", "End chainage", "of the last vertex", "m"),
        _text("start_station", "Start station", "as a person reads it"),
        _text("end_station", "End station", "as a person reads it"),
        _real("length_m", "Length", "along the line, of the kind named beside it", "m", domain="not_negative"),
        _text("length_kind", "Kind of length", "grid, ground, geodesic or slope", domain="length_kind"),
        _count("vertices_n", "Vertices", "after repeated points were removed"),
        _text("source_file", "Source file", "path within the route folder"),
    ),
    geometry="LineString",
)

ALIGNMENT_VERTICES = Table(
    "alignment_vertices",
    "The vertices of the alignment, with the design level that a plane line cannot carry.",
    (
        _text("line", "Line", "name of the alignment"),
        _count("vertex", "Vertex", "number along the line"),
        _real("chainage_m", "Chainage", "before chainage equations", "m"),
        _real("easting", "Easting", "in the route's CRS and its unit"),
        _real("northing", "Northing", "in the route's CRS and its unit"),
        _real("elevation_m", "Design level", "as found in the design file, never transformed", "m"),
    ),
)

CHAINAGE_MARKS = Table(
    "chainage_marks",
    "Marks along the alignment for the eye.",
    (
        _text("line", "Line", "name of the alignment"),
        _real("chainage_m", "Chainage", "before chainage equations", "m"),
        _text("station", "Station", "as a person reads it"),
        _count(
            "rank",
            "Rank",
            "2: every 1000 m, 1: every 100 m; for us units the like in feet; 3: ends, equations",
            domain="mark_rank",
        ),
    ),
    geometry="Point",
)

PIPES = Table(
    "pipes",
    "The reach between two neighbouring joints on a line.",
    (
        _text("pipe_id", "Pipe id", "from--to"),
        _text("line", "Line", "name of the alignment"),
        _text("from_joint", "From joint", "joint_id, lower chainage"),
        _text("to_joint", "To joint", "joint_id, higher chainage"),
        _real("from_chainage_m", "From chainage", "of the lower joint", "m"),
        _real("to_chainage_m", "To chainage", "of the higher joint", "m"),
        _real(
            "length_m",
            "Length",
            "along the line, from the positions: not a measured pipe length",
            "m",
            domain="not_negative",
        ),
        Column("in_gap", "boolean", "In gap", "true where records are missing between the two"),
    ),
    geometry="LineString",
)

TIES = Table(
    "ties",
    "Joint to fixed feature, up to five of each placed joint in line, the nearest first. Computed from the place of the"
    " joint, with its uncertainty: not taped. Empty: no features.csv, or none within reach.",
    (
        _text("joint_id", "Joint id", "the joint"),
        _text("feature", "Feature", "name of the fixed feature"),
        _text("description", "Description", "of the feature, as recorded"),
        _real("bearing_deg", "Bearing", "grid bearing from feature to joint", "°", domain="bearing"),
        _real("true_bearing_deg", "True bearing", "from feature to joint, from true north", "°", domain="bearing"),
        _real(
            "distance_m",
            "Distance",
            "level, from feature to joint: on the ellipsoid, or by the ground factor of the line",
            "m",
            domain="not_negative",
        ),
        _real(
            "crossing_deg",
            "Crossing",
            "at which the best two ties of this joint cross, 0 to 90; below 30 they fix a place badly; empty: one tie",
            "°",
            domain="crossing",
        ),
        _real("easting", "Easting", "of the feature, in the route's CRS and its unit"),
        _real("northing", "Northing", "of the feature, in the route's CRS and its unit"),
    ),
    geometry="LineString",
)

STRINGS = Table(
    "strings",
    "One row for each string that joints name or route.toml declares: the reach that it lies in. A string that cannot"
    " be placed has no line.",
    (
        _text("string", "String", "name, as joints or route.toml have it"),
        _text("line", "Line", "name of the alignment it lies on; empty: not known"),
        _real("from_chainage_m", "From chainage", "where the reach begins", "m"),
        _real("to_chainage_m", "To chainage", "where it ends", "m"),
        _text("from_station", "From station", "as a person reads it"),
        _text("to_station", "To station", "as a person reads it"),
        _real(
            "length_m",
            "Length",
            "along the line, of the reach: not a measured length of pipe",
            "m",
            domain="not_negative",
        ),
        _text(
            "extent_from",
            "Extent from",
            "what says so: route.toml (from and to), tie-ins, or joints (the outermost placed ones)",
            domain="extent_source",
        ),
        _text(
            "method",
            "Method",
            "as route.toml states it: pulled in, strung beside trench, in trench or bore",
            domain="laying_method",
        ),
        _count("joints_n", "Joints", "in line that were recorded with this string"),
        _count("placed_n", "Placed", "of these, how many have a place"),
        _text("tie_in_back", "Tie-in back", "joint that closes the back end, as route.toml states it"),
        _text("tie_in_ahead", "Tie-in ahead", "joint that closes the ahead end, as route.toml states it"),
        _text("reasons", "Reasons", "what a reader has to know, in sentences"),
    ),
    geometry="LineString",
)

TEST_SECTIONS = Table(
    "test_sections",
    "Reaches that were tested, as recorded: the result is the record's own word, and nothing here judges it.",
    (
        _text("section", "Section", "name, as recorded"),
        _text("line", "Line", "name of the alignment"),
        _real("from_chainage_m", "From chainage", "where the section begins", "m"),
        _real("to_chainage_m", "To chainage", "where it ends", "m"),
        _text("from_station", "From station", "as a person reads it"),
        _text("to_station", "To station", "as a person reads it"),
        _real("length_m", "Length", "along the line", "m", domain="not_negative"),
        _text("tested_on", "Tested on", "day of the test, ISO 8601; empty: none is stated"),
        _text("result", "Result", "as recorded; empty: none is stated"),
        _text("reference", "Reference", "document, as recorded"),
        _text("source_file", "Source file", "path within the route folder"),
        _text("source_sheet", "Source sheet", "sheet or layer; empty where the file has one table"),
        _count("source_row", "Source row", "row as a spreadsheet numbers it, or number of the feature"),
    ),
    geometry="LineString",
)

FINDINGS = Table(
    "findings",
    "What a group of joints shares and somebody has to look at: said once, never applied by the tool itself.",
    (
        _text("finding_id", "Finding id", "kind, and a digest of its joints"),
        _text("kind", "Kind", "offset, clock, frame, decimals, bend and the like"),
        _count("joints_n", "Joints", "how many it concerns"),
        _text("statement", "Statement", "what was found, with figures"),
        _text("proposal", "Proposal", "line for route.toml that would put it right; empty: none"),
        _text("joints", "Joint ids", "of those concerned"),
        _text("decision", "Decision", "of a named person; empty: none"),
        CLOSED,
    ),
)

RUNS = Table(
    "runs",
    "Joints that were adjusted together, two or more: how their fixes scatter, and how their pipes lie.",
    (
        _text("line", "Line", "name of the alignment"),
        _text("from_joint", "From joint", "joint_id, lowest chainage"),
        _text("to_joint", "To joint", "joint_id, highest chainage"),
        _real("from_chainage_m", "From chainage", "of the lowest joint", "m"),
        _real("to_chainage_m", "To chainage", "of the highest joint", "m"),
        _count("joints_n", "Joints", "in the run"),
        _count("by_fix_n", "By fix", "joints whose own fix has a say"),
        _text("machine", "Machine", "that made most of them"),
        _real("fix_spread", "Spread of fixes", "over what they state, by the run of their neighbours"),
        _real("fix_correlation", "Correlation", "of the errors of neighbouring fixes"),
        _real("scale_per_mille", "Scale", "how much longer than its pipes the run lies, in thousandths"),
        _real("scale_sd_per_mille", "Scale sd", "one standard deviation, in thousandths"),
        _text("explained", "Explained", "what fusing can explain of it; temperatures are not known"),
    ),
)

COMPLETENESS = Table(
    "completeness",
    "How complete each line is: so much, of so much. What has to be there, the contract says.",
    (
        _text("line", "Line", "name of the alignment"),
        _text(
            "measure",
            "Measure",
            "joints recorded, length between recorded joints, length by the result of the last test as recorded, length"
            " in no test section, strings closed by tie-ins, pipe used",
        ),
        _real("value", "Value", "so much; empty: not known"),
        _real("of", "Of", "so much there is, or is expected"),
        _text("unit", "Unit", "of value and of: joints, strings or m"),
        _text("says", "What to know", "how the figures came about, and what they leave open"),
    ),
)

ACCURACY = Table(
    "accuracy",
    "How sure the places are, by method. Only fixes against as-laid shots are a test by a better source.",
    (
        _text("comparison", "Comparison", "radius of places, fixes about places, or fixes against as-laid shots"),
        _text("method", "Method", "how the joints were placed; fix for checkpoints"),
        _count("joints_n", "Joints", "how many it rests on"),
        _text("axes", "Axes", "what axis 1 and 2 are"),
        _real("mean_1_m", "Mean, axis 1", "of the differences", "m"),
        _real("mean_2_m", "Mean, axis 2", "of the differences", "m"),
        _real("sd_1_m", "Sd, axis 1", "standard deviation of the sample", "m"),
        _real("sd_2_m", "Sd, axis 2", "standard deviation of the sample", "m"),
        _real("rmse_1_m", "RMSE, axis 1", "root mean square of the differences", "m"),
        _real("rmse_2_m", "RMSE, axis 2", "root mean square of the differences", "m"),
        _real("rmse_r_m", "RMSE in plan", "of both axes together", "m"),
        _real("radius95_m", "95 % radius", "from both RMSE, by the rule named; empty: the rule gives none", "m"),
        _real("radius95_median_m", "Median 95 % radius", "of the joints of this method", "m"),
        _real("radius95_max_m", "Largest 95 % radius", "of the joints of this method", "m"),
        _text("rule", "Rule", "that the 95 % radius is by"),
        _text("says", "What to know", "what the figures are worth"),
    ),
)

DECISIONS = Table(
    "decisions",
    "What named persons decided, each about one joint, gap, source row or finding. A decision changes no verdict.",
    (
        _text("joint_id", "Joint id", "the joint, or empty"),
        _text("gap_id", "Gap id", "the gap, or empty"),
        _text("row_id", "Row id", "the source row that was set aside, file:row or file!sheet:row, or empty"),
        _text("finding_id", "Finding id", "the finding, or empty"),
        _text(
            "decision",
            "Decision",
            "accept as is, repair, cut out and re-make, position confirmed or more information; what asks for work or"
            " for more closes nothing",
            domain="decision",
        ),
        _text("name", "Name", "who decided"),
        _text("role", "Role", "as what"),
        _text("date", "Date", "day of the decision, ISO 8601"),
        _text("revision", "Revision", "of the record it was made on, as stated"),
        _text("reason", "Reason", "why"),
        _text("reference", "Reference", "document"),
        _text("basis", "Basis", "digest of the verdicts and values it was made on, as stated; empty: not stated"),
        _text(
            "state",
            "State",
            "current; stale: verdicts or values have changed; not tied: no basis; superseded: by a later decision;"
            " closes nothing: what is outstanding is another thing",
            domain="decision_state",
        ),
        _text("said", "Said", "of its state, in a sentence"),
        _text("source_file", "Source file", "path within the route folder"),
        _count("source_row", "Source row", "row as a spreadsheet numbers it, or number of the feature"),
    ),
)

BUILD_INFO = Table(
    "build_info",
    "Settings, versions, input checksums, transformations and their accuracy, statements and cautions.",
    (
        _text("topic", "Topic", "input, setting, frame, stationing, version, count, statement, procedure or caution"),
        _text("name", "Name", "what it is about"),
        _text("value", "Value", "what is said"),
    ),
)

ALL = (
    JOINTS,
    POSITIONS,
    GAPS,
    PIPES,
    STRINGS,
    TEST_SECTIONS,
    CHAINAGE_MARKS,
    ALIGNMENT,
    ALIGNMENT_VERTICES,
    TIES,
    WINDOW_CHECKS,
    RECORDS,
    FINDINGS,
    RUNS,
    COMPLETENESS,
    ACCURACY,
    DECISIONS,
    BUILD_INFO,
)


def conform(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Return `frame` with exactly the columns of `table`, in order and with their types, index reset.

    Text that is missing becomes an empty text, so that no reader meets two kinds of nothing. Geometry, where
    the table has one, is carried over as the last column `geometry`. Raises KeyError for a column that a room
    forgot: that is a fault of ours, not of the input.
    """
    missing = [name for name in table.names if name not in frame]
    if missing:
        raise KeyError(f"table {table.name}: a room did not give {missing}")
    columns = {c.name: _typed(frame[c.name], c.kind) for c in table.columns}
    if table.geometry:
        columns["geometry"] = frame["geometry"].array
    return pd.DataFrame(columns).reset_index(drop=True)


def _typed(values: pd.Series, kind: str) -> pd.Series:
    if kind == "text":
        return pd.Series(values.astype("object").where(values.notna(), ""), index=values.index).astype("str")
    return values.astype(DTYPES[kind])  # type: ignore[call-overload]


def empty(table: Table) -> pd.DataFrame:
    """Return a frame of `table` without rows."""
    return _without_rows(table).copy()


@cache  # most routes lack a side file or two, and sixty columns take their time
def _without_rows(table: Table) -> pd.DataFrame:
    columns = {name: np.array([], dtype=object) for name in table.names}
    return conform(pd.DataFrame(columns | ({"geometry": np.array([], dtype=object)} if table.geometry else {})), table)
