"""[trace]: the curves of pressure over time that records name, how they are written, and how near they must come."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Annotated, Literal

from pydantic import AfterValidator
from pydantic import Field as Key

from asbuilt.fields import Field
from asbuilt.settings.parts import Duration, InsidePath
from asbuilt.settings.sources import RecordSource, TallySource

# Headings as the trade commonly writes them (common practice, no source). A clock in the column of times needs no unit.
TRACE: Mapping[str, Field] = {
    "time": Field("time", "number", "time_s", "s", (
        "t", "elapsed", "elapsed time", "seconds", "sec", "clock", "time of day", "date time", "date and time",
        "timestamp")),
    "pressure": Field("pressure", "number", "pressure_mpa", "MPa", (
        "p", "gauge", "gauge pressure", "hydraulic pressure", "gage pressure", "system pressure")),
    "temperature": Field("temperature", "number", "temperature_c", "degC", (
        "temp", "heater", "heater temp", "heater temperature", "plate", "plate temp", "plate temperature")),
}  # fmt: skip


def _not_negative(value: timedelta) -> timedelta:
    if value < timedelta(0):
        raise ValueError('zero or more, such as "5 s"')
    return value


Allowance = Annotated[Duration, AfterValidator(_not_negative)]


class TraceSource(RecordSource):
    """[trace]: delimited text, one file a joint, named by the record's `trace`. Its pressure is that of the gauge.

    A stated value may differ from its curve by what the sampling leaves open and by these allowances: they are the
    writers' judgement, and a project sets its own.
    """

    table = "trace"
    fields = TRACE
    named_by = "time"
    must_be_named = False
    idle = TallySource.idle | {"files", "sheet", "layer"}
    files: tuple[InsidePath, ...] = ()
    folder: InsidePath | Literal[""] = ""  # within the route folder; empty: the route folder itself
    time_within: Allowance = timedelta(seconds=5)  # of soak, heater removal and ramp
    cooling_within: Allowance = timedelta(minutes=1)
    pressure_within: float = Key(default=0.05, ge=0, lt=1)  # a share of the stated pressure
