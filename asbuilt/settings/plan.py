"""[plan]: which reach each crew was to have fused by which day, the days without work, and the working week."""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator
from pydantic import Field as Key

from asbuilt.fields import FIELDS, Field
from asbuilt.quantities import UnitError, quantity
from asbuilt.settings.parts import InsidePath
from asbuilt.settings.sources import TESTS, RecordSource, TallySource

# Headings as the trade commonly writes them (common practice, no source).
PLAN: Mapping[str, Field] = {
    "kind": Field("kind", "text", "kind", "", ("activity", "type", "what")),
    "start": Field("start", "time", "start", "", ("first day", "start date", "begin", "starts")),
    "date": Field(
        "date", "time", "date", "", ("day", "by", "last day", "finish", "finish date", "planned", "end date")
    ),
    "line": FIELDS["line"],
    "from": TESTS["from"],
    "to": TESTS["to"],
    "crew": Field("crew", "text", "crew", "", ("gang", "team", "crew name", "party")),
    "remarks": FIELDS["remarks"],
}
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_LONGEST_SHIFT_H = 24.0


def _week(value: Any) -> tuple[int, ...]:
    found = sorted({_DAYS.index(day) for day in value if day in _DAYS}) if isinstance(value, list | tuple) else []
    if not found or any(day not in _DAYS for day in value):
        raise ValueError(f"a list of days out of {', '.join(_DAYS)}, at least one")
    return tuple(found)


def _hours(value: Any) -> float:
    try:
        hours = quantity(value, "h") if isinstance(value, str) else 0.0
    except UnitError:
        hours = 0.0
    if not 0 < hours <= _LONGEST_SHIFT_H:
        raise ValueError('a time with its unit, such as "10 h", at most 24 h')
    return hours


class PlanSource(RecordSource):
    """[plan]: one row a planned reach, a planned tie-in, or a day without work.

    `working_days` are weekdays as 0 (Monday) to 6; Monday to Friday unless stated (common practice, no source).
    `shift` is how long a machine works on a day, in hours.
    """

    table = "plan"
    fields = PLAN
    named_by = "date"
    must_be_named = False
    idle = TallySource.idle
    files: tuple[InsidePath, ...] = Key(default=("plan.csv",), min_length=1)
    working_days: Annotated[tuple[int, ...], BeforeValidator(_week)] = (0, 1, 2, 3, 4)
    shift: Annotated[float | None, BeforeValidator(_hours)] = None
