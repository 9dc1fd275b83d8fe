"""The tables of `route.toml` that name files of rows: joint records, and the lists and shots that stand beside them."""

import re
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BeforeValidator, field_validator, model_validator
from pydantic import Field as Key

from asbuilt.fields import FIELDS, Field
from asbuilt.settings.parts import (
    ColumnSpec,
    CrsIfAny,
    Duration,
    Encoding,
    InsidePath,
    Metres,
    OneOrMore,
    Part,
    PositiveMetres,
    YesNo,
    Zone,
    column_faults,
)

# Headings as the trade commonly writes them (common practice, no source).
TALLY: Mapping[str, Field] = {
    "pipe": Field("pipe", "text", "pipe", "", (
        "pipe no", "pipe number", "pipe id", "pipe serial", "pipe serial no", "pipe serial number", "serial",
        "serial no", "serial number", "stick", "stick no", "stick number")),
    "length": Field("length", "number", "length_m", "m", ("pipe length", "stick length", "len", "measured length")),
    "outside_diameter": FIELDS["outside_diameter"],
    "wall": FIELDS["wall"],
    "lot": Field("lot", "text", "lot", "", ("lot no", "lot number", "batch", "batch no", "batch number")),
    "string": FIELDS["string"],
    "order": FIELDS["order"],
}  # fmt: skip
SURVEY: Mapping[str, Field] = {
    **{name: FIELDS[name] for name in ("joint", "line", "latitude", "longitude", "easting", "northing")},
    **{name: FIELDS[name] for name in ("elevation", "elevation_of", "fix")},
    "ground": Field("ground", "number", "ground_m", "m", (
        "ground level", "ground elevation", "ground rl", "gl", "surface", "surface level", "natural surface")),
    "sd": Field("sd", "number", "sd_m", "m", ("std dev", "standard deviation", "sigma", "horizontal sd")),
    "time": Field("time", "time", "time", "", (
        *FIELDS["time"].headings, "date", "surveyed", "survey date", "observed")),
    "surveyor": Field("surveyor", "text", "surveyor", "", ("surveyed by", "observer", "survey crew")),
}  # fmt: skip
_VALID_TO = ("valid until", "valid till", "expires", "expires on", "expiry", "expiry date", "expiration date")
PEOPLE: Mapping[str, Field] = {
    "operator": Field("operator", "text", "operator", "", (*FIELDS["operator"].headings, "name", "person")),
    "method": Field("method", "text", "method", "", (*FIELDS["method"].headings, "methods", "process")),
    "size_from": Field("size_from", "number", "size_from_mm", "mm", (
        "od from", "from od", "from size", "smallest od", "smallest size", "minimum od", "minimum size", "min od",
        "min size")),
    "size_to": Field("size_to", "number", "size_to_mm", "mm", (
        "od to", "to od", "to size", "largest od", "largest size", "maximum od", "maximum size", "max od", "max size")),
    "valid_from": Field("valid_from", "time", "valid_from", "", (
        "qualified", "qualified on", "date qualified", "qualification date", "last qualified", "issued", "issue date",
        "date of issue")),
    "valid_to": Field("valid_to", "time", "valid_to", "", (*_VALID_TO, "qualified until")),
}  # fmt: skip
MACHINES: Mapping[str, Field] = {
    "machine": Field("machine", "text", "machine", "", (*FIELDS["machine"].headings, "serial", "serial no")),
    "piston_area": FIELDS["piston_area"],
    "calibrated": Field("calibrated", "time", "calibrated", "", (
        "calibrated on", "calibration", "calibration date", "date calibrated", "last calibrated", "last calibration")),
    "valid_to": Field("valid_to", "time", "valid_to", "", (
        *_VALID_TO, "calibration due", "next calibration", "calibrated until", "due", "due date")),
}  # fmt: skip
_ENDS = ("{} chainage", "{} station", "{} ch", "{} sta", "chainage {}", "station {}")
TESTS: Mapping[str, Field] = {
    "section": Field("section", "text", "section", "", (
        "test section", "section no", "section number", "section id", "section name")),
    "line": FIELDS["line"],
    "from": Field("from", "number", "from_chainage_m", "m", (
        *(end.format("from") for end in _ENDS), *(end.format("start") for end in _ENDS), "start")),
    "to": Field("to", "number", "to_chainage_m", "m", (
        *(end.format("to") for end in _ENDS), *(end.format("end") for end in _ENDS), "end")),
    "date": Field("date", "time", "tested_on", "", (
        "tested", "tested on", "test date", "date tested", "date of test")),
    "result": Field("result", "text", "result", "", ("test result", "outcome", "status")),
    "reference": Field("reference", "text", "reference", "", (
        "ref", "test reference", "report", "report no", "test report", "certificate", "certificate no", "document")),
}  # fmt: skip


def _column(value: Any) -> Any:
    return {"column": value} if isinstance(value, str | list) else value


Columns = dict[str, Annotated[ColumnSpec, BeforeValidator(_column)]]


class Corrections(Part):
    """[records.corrections]: applied only because it stands there; the raw value is kept."""

    clock: Duration | None = None
    swap: YesNo = False
    sign: YesNo = False
    shift: tuple[Metres, Metres] | None = None  # to east, to north


class RecordSource(Part):
    """[[records]]: the files of one crew, with their own frame, clock, units and columns.

    The side files are tables of the same form; each says here its name, its fields, which field names a row and
    whether each row must be named.
    """

    table: ClassVar[str] = "records"
    fields: ClassVar[Mapping[str, Field]] = FIELDS
    named_by: ClassVar[str] = "joint"
    must_be_named: ClassVar[bool] = True
    idle: ClassVar[frozenset[str]] = frozenset()  # keys that mean nothing here

    files: tuple[InsidePath, ...] = Key(min_length=1)
    crew: str = ""
    crs: CrsIfAny = ""
    accuracy: Literal["sd", "68%", "95%", "rms", "cep", "hdop"] | None = None
    uere: PositiveMetres | None = None
    default_accuracy: PositiveMetres | None = None
    timezone: Zone | None = None
    time_is: Literal["end of cooling", "start"] = "end of cooling"
    sheet: OneOrMore | None = None
    layer: str = ""
    decimal: Literal[".", ","] | None = None
    encoding: Encoding = ""
    delimiter: Literal[",", ";", "\t"] | None = None
    heading_row: int | None = Key(default=None, ge=1, strict=True)
    columns: Columns = Key(default_factory=dict)
    corrections: Corrections = Corrections()

    @field_validator("columns")
    @classmethod
    def _fields_are_known(cls, columns: Columns) -> Columns:
        faults = [fault for name, spec in columns.items() for fault in column_faults(name, spec, fields=cls.fields)]
        if faults:
            raise ValueError("\n".join(faults))
        return columns

    @model_validator(mode="after")
    def _accuracy_has_a_meaning(self) -> Self:
        if (self.accuracy == "hdop") != (self.uere is not None):
            raise ValueError('uere goes with accuracy = "hdop", and only with it')
        if self.accuracy is None and (self.default_accuracy is not None or "accuracy" in self.columns):
            raise ValueError('say what accuracy means: accuracy = "sd", "68%", "95%", "rms", "cep" or "hdop"')
        return self

    @model_validator(mode="after")
    def _each_key_has_a_meaning(self) -> Self:
        idle = sorted(self.model_fields_set & self.idle)
        if idle:
            raise ValueError(f"without {', '.join(idle)}, which would change nothing in [{self.table}]")
        return self


class TallySource(RecordSource):
    """[tally]: the list of pipes. Its columns need no mapping where their headings are common ones."""

    table = "tally"
    fields = TALLY
    named_by = "pipe"
    must_be_named = False
    idle = frozenset({"crew", "crs", "accuracy", "uere", "default_accuracy", "timezone", "time_is", "corrections"})
    files: tuple[InsidePath, ...] = Key(default=("tally.csv",), min_length=1)


class SurveySource(RecordSource):
    """[survey]: as-laid shots. `accuracy` says what the column `sd` means; `crs` is the route's where none is said."""

    table = "survey"
    fields = SURVEY
    must_be_named = False
    idle = frozenset({"crew", "time_is"})
    files: tuple[InsidePath, ...] = Key(default=("survey.csv",), min_length=1)
    accuracy: Literal["sd", "68%", "95%", "rms", "cep", "hdop"] = "sd"


_MONTHS = re.compile(r"([1-9]\d{0,2}) (months?|years?)")


def _months(value: Any) -> int:
    found = _MONTHS.fullmatch(value.strip()) if isinstance(value, str) else None
    if not found:
        raise ValueError('a whole number of months or years in quotes, such as "24 months" or "1 year"')
    return int(found[1]) * (12 if found[2].startswith("year") else 1)


Months = Annotated[int, BeforeValidator(_months)]
_NO_PLACE = TallySource.idle  # of lists that know no place and no time of day


class _ListSource(RecordSource):
    """A list beside the records; `valid_for` is how long an entry holds where the list has no end for it."""

    must_be_named = False
    idle = _NO_PLACE
    valid_for: Months | None = None


class PeopleSource(_ListSource):
    """[people]: who may fuse what, and when. Sizes are outside diameters, as on a joint's record.

    `rule` computes from the day of qualification how long it holds.
    """

    table = "people"
    fields = PEOPLE
    named_by = "operator"
    files: tuple[InsidePath, ...] = Key(default=("people.csv",), min_length=1)
    rule: Literal["49 CFR 192.285"] | None = None

    @model_validator(mode="after")
    def _one_word_on_how_long(self) -> Self:
        if self.rule and self.valid_for:
            raise ValueError("rule or valid_for: each says how long a qualification holds")
        return self


class MachinesSource(_ListSource):
    """[machines]: each machine's piston area and calibration."""

    table = "machines"
    fields = MACHINES
    named_by = "machine"
    files: tuple[InsidePath, ...] = Key(default=("machines.csv",), min_length=1)


class TestsSource(RecordSource):
    """[tests]: where the line was tested, and with what result. `from` and `to` are chainages or station labels."""

    table = "tests"
    fields = TESTS
    named_by = "section"
    must_be_named = False
    idle = _NO_PLACE
    files: tuple[InsidePath, ...] = Key(default=("tests.csv",), min_length=1)
