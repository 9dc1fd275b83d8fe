"""The fields of a joint record: canonical name, kind, unit, and the headings the trade commonly writes.

A field's `stored` name is that of the column it fills; where a column of the same name is handed over, it stands
in `asbuilt.tables` too. Headings are compared without case, punctuation and unit (common practice, no source).
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Field:
    """One field: what kind of text it is read from, where it is stored, and its common headings."""

    name: str
    kind: str  # text, number, time, latitude, longitude or plane
    stored: str
    unit: str = ""  # of the stored number; empty for a plain number
    headings: tuple[str, ...] = ()
    is_pressure: bool = False


def _number(name: str, suffix: str, unit: str, *headings: str) -> Field:
    return Field(name, "number", f"{name}_{suffix}" if suffix else name, unit, headings, name.endswith("_pressure"))


def _text(name: str, *headings: str) -> Field:
    return Field(name, "text", name, "", headings)


FIELDS = {
    field.name: field
    for field in (
        _text("joint", "joint no", "joint number", "joint id", "weld no",
              "weld number", "weld id", "weld", "fusion no"),
        _text("kind", "joint type", "joint kind", "weld type", "type"),
        _text("replaces", "replaces joint", "replacement for", "remake of", "re made for"),
        Field("time", "time", "time", "", ("date time", "finished", "end time", "date and time", "completed",
                                           "timestamp")),
        Field("started", "time", "started", "", ("start time", "start", "begin")),
        Field("latitude", "latitude", "latitude", "", ("lat", "gps lat", "gps latitude")),
        Field("longitude", "longitude", "longitude", "",
              ("lon", "long", "lng", "gps lon", "gps long", "gps longitude")),
        Field("easting", "plane", "easting", "", ("east", "e", "x")),
        Field("northing", "plane", "northing", "", ("north", "n", "y")),
        _number("elevation", "m", "m", "elev", "level", "rl", "height", "altitude", "alt", "z", "ele"),
        _text("elevation_of", "level of"),
        _number("accuracy", "m", "m", "gps accuracy", "accuracy 95", "horizontal accuracy", "hdop", "h acc"),
        _text("fix", "fix type", "fix quality", "gps quality"),
        _text("line", "alignment", "line name"),
        _text("string", "string no", "string id"),
        _number("order", "", "", "sequence", "order in string"),
        _text("machine", "machine no", "machine id", "machine serial", "unit no"),
        _text("operator", "operator name", "operator id", "welder", "fuser", "fusion technician", "welder id"),
        _text("method", "fusion method", "joining method"),
        _text("procedure", "fusion procedure", "welding procedure", "standard"),
        _text("pipe_a", "pipe 1", "pipe serial a", "serial a", "pipe no a"),
        _text("pipe_b", "pipe 2", "pipe serial b", "serial b", "pipe no b"),
        _number("length_a", "m", "m", "length pipe a"),
        _number("length_b", "m", "m", "length pipe b"),
        _number("length_added", "m", "m", "pipe length added", "length added"),
        _number("outside_diameter", "mm", "mm", "od", "outside dia", "pipe od", "diameter"),
        _number("wall", "mm", "mm", "wall thickness", "wt"),
        _number("dr", "", "", "sdr", "dimension ratio"),
        _text("material", "pipe material", "resin"),
        _number("ambient_temperature", "c", "degC", "ambient", "ambient temp", "air temp", "air temperature"),
        _number("heater_temperature", "c", "degC", "heater", "heater temp", "heater plate", "plate", "plate temp",
                "plate temperature", "heater plate temperature"),
        _number("drag_pressure", "mpa", "MPa", "drag"),
        _number("bead_pressure", "mpa", "MPa", "bead up pressure", "bead up"),
        _number("soak_pressure", "mpa", "MPa", "heat soak pressure"),
        _number("fusion_pressure", "mpa", "MPa", "fuse pressure", "fusing pressure", "joining pressure", "fuse"),
        _number("second_pressure", "mpa", "MPa", "second fusion pressure", "second joining pressure", "pressure 2"),
        _number("piston_area", "mm2", "mm2", "cylinder area", "total piston area"),
        _number("initial_bead", "mm", "mm", "bead", "bead height", "melt bead", "bead up size"),
        _number("soak_time", "s", "s", "soak", "heat soak", "heat soak time", "heating time"),
        _number("removal_time", "s", "s", "heater removal", "heater removal time", "changeover", "changeover time",
                "open time", "heater out"),
        _number("ramp_time", "s", "s", "ramp", "pressure build up time", "build up time"),
        _number("cooling_time", "min", "min", "cooling", "cool time", "cool"),
        _number("cooling_out_time", "min", "min", "cooling out of the machine", "cooling out", "cooling outside"),
        _number("bead_width", "mm", "mm", "final bead width"),
        _number("misalignment", "mm", "mm", "hi lo", "high low"),
        _text("fitting_code", "fusion code", "fitting barcode", "fitting bar code", "barcode", "bar code"),
        # in volts; a plain number, as cells with a V behind it are not read
        Field("voltage", "number", "voltage_v", "", ("fusion voltage", "voltage v", "fusion voltage v", "volts")),
        _number("nominal_time", "s", "s", "nominal fusion time", "nominal welding time", "set time", "planned time"),
        _number("actual_time", "s", "s", "actual fusion time", "actual welding time", "fusion time", "welding time"),
        _number("nominal_cooling", "min", "min", "nominal cooling time", "set cooling time", "fitting cooling time"),
        _text("end_state", "end code", "end status", "fusion status", "cycle status", "end of cycle"),
        _text("visual", "visual inspection", "visual result"),
        _text("remarks", "remark", "comment", "comments", "notes", "note"),
        _text("photo", "photograph", "photo file"),
        _text("trace", "graph", "trace file"),
    )
}  # fmt: skip

KINDS = ("production", "tie-in", "trial", "fitting")

# The words crews write for each kind (common practice, no source); a source may map further ones.
KIND_WORDS = {
    "": "production", "production": "production", "prod": "production", "p": "production", "normal": "production",
    "line": "production", "butt": "production", "field": "production",
    "tie-in": "tie-in", "tie in": "tie-in", "tiein": "tie-in", "ti": "tie-in", "t": "tie-in",
    "trial": "trial", "test": "trial", "trial joint": "trial", "test joint": "trial",
    "fitting": "fitting", "elbow": "fitting", "bend": "fitting", "tee": "fitting",
    "flange": "fitting", "stub": "fitting",
    "saddle": "fitting", "socket": "fitting", "electrofusion": "production", "ef": "production",
}  # fmt: skip


# Words in the method of a joint, in lower case (common practice, no source): for butt fusion, for electrofusion, and
# for all that is no butt fusion.
BUTT = r"butt|\bbf\b|mirror|heated tool"
ELECTROFUSION = r"electro|\bef\b|coupler"
NOT_BUTT = rf"flange|mechanical|compression|saddle|tapping|socket|{ELECTROFUSION}"


def is_quantity(name: str) -> bool:
    """Whether the field is a number that a window may be about. The accuracy of a fix has a judge of its own.

    >>> is_quantity("soak_time"), is_quantity("accuracy"), is_quantity("remarks")
    (True, False, False)
    """
    return name in FIELDS and FIELDS[name].kind == "number" and name != "accuracy"


def stored_as(name: str) -> str:
    """Return the column that the field fills.

    >>> stored_as("soak_time")
    'soak_time_s'
    """
    return FIELDS[name].stored
