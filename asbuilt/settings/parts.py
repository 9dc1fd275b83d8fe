"""The kinds of value that stand in `route.toml`: quantities with their unit, zones, frames, paths within the folder."""

import codecs
import math
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, ValidationInfo, field_validator
from pydantic import Field as Key

from asbuilt import crs
from asbuilt.errors import FrameError
from asbuilt.fields import FIELDS, KINDS, Field
from asbuilt.quantities import UnitError, convert, plain_unit, quantity, unit
from asbuilt.settings.paths import as_path, is_inside


class Part(BaseModel):
    """A table of `route.toml`: frozen, and an unknown key is a mistake."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, arbitrary_types_allowed=True)


SERIAL = "serial"  # as a format: the number of a day, as spreadsheets count them
YesNo = Annotated[bool, Key(strict=True)]
_MOST = 1e9  # beyond this many metres a float no longer tells the vertices of a line apart


def _stated(text: str, to_unit: str) -> float:
    with np.errstate(over="ignore"):  # refused below
        found = quantity(text, to_unit)
    if not abs(found) <= _MOST:
        raise UnitError(f"{text!r} is more than {_MOST:g} {to_unit}")
    return found


def _quantity_in(to_unit: str, example: str) -> BeforeValidator:
    def read(value: Any, info: ValidationInfo) -> float:
        if not isinstance(value, str):
            raise ValueError(f'a number with its unit in quotes, such as "{example}"')
        try:
            return _stated(_in_the_foot_of_the_route(value, info.context), to_unit)
        except UnitError as error:
            raise ValueError(f'a number with its unit, such as "{example}"; {error}') from error

    return BeforeValidator(read)


def _in_the_foot_of_the_route(text: str, context: Mapping[str, Any] | None) -> str:
    """Feet mean the foot that the route names: the two kinds differ by 2 ppm, a foot in half a million."""
    is_survey = (context or {}).get("foot") == "survey"
    return re.sub(r"(?i)(?<![a-z] )(?<![a-z])(ft|feet|foot)\s*$", "us ft", text) if is_survey else text


def _positive(value: float) -> float:
    if not value > 0:
        raise ValueError("more than zero")
    return value


Metres = Annotated[float, _quantity_in("m", "12 m")]
PositiveMetres = Annotated[Metres, AfterValidator(_positive)]
PositiveMillimetres = Annotated[float, _quantity_in("mm", "630 mm"), AfterValidator(_positive)]


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return value


Finite = Annotated[float, AfterValidator(_finite)]


def _day(value: Any) -> datetime | date:
    if isinstance(value, date):  # a datetime is one, too
        return value
    raise ValueError("a date or a date with a time, without quotes, such as 2026-03-20")


Day = Annotated[Any, BeforeValidator(_day)]

# Names that some machines have beside the list: their meaning is the machine's own, or counts leap seconds.
_NO_ZONES = ("localtime", "posixrules", "Factory", "right/", "posix/")


def _zone(value: Any) -> ZoneInfo:
    if isinstance(value, str) and not value.startswith(_NO_ZONES):
        try:
            return ZoneInfo(value)
        except (ValueError, OSError):  # ZoneInfoNotFoundError is a KeyError with a key that may be a folder, too
            pass
        except KeyError:
            pass
    raise ValueError('a time zone of the IANA list, such as "Australia/Hobart" or "UTC"')


Zone = Annotated[ZoneInfo, BeforeValidator(_zone)]

_LONGEST_SHIFT = timedelta(days=10_958)  # 30 years: a clock that was never set starts some decades back
_SHIFT = re.compile(r"([+-]?)\s*(.*)")


def _duration(value: Any) -> timedelta:
    sign, rest = _SHIFT.fullmatch(value.strip()).groups() if isinstance(value, str) else ("", "")  # type: ignore[union-attr]
    try:
        shift = timedelta(seconds=_stated(rest, "s"))
    except UnitError as error:
        raise ValueError(f'a duration with its sign and unit, such as "+1 h"; {error}') from error
    if shift > _LONGEST_SHIFT:
        raise ValueError(f"at most {_LONGEST_SHIFT.days} days")
    return -shift if sign == "-" else shift


Duration = Annotated[timedelta, BeforeValidator(_duration)]


def _inside(value: Any) -> str:
    if not is_inside(value):
        raise ValueError("a path within the route folder, such as records/crew_a.csv or records/crew_*.csv")
    return as_path(value)


InsidePath = Annotated[str, BeforeValidator(_inside)]


def _crs(value: str) -> str:
    try:
        crs.frame(value, where="")
    except FrameError as error:
        raise ValueError('the name of a coordinate frame, such as "EPSG:7855"') from error
    return value


def _crs_or_none(value: str) -> str:
    return _crs(value) if value else value


def _heights_or_none(value: str) -> str:
    try:
        if value:
            crs.heights(value, where="")
    except FrameError as error:
        raise ValueError('the name of a frame of heights, such as "EPSG:5711"') from error
    return value


Crs = Annotated[str, AfterValidator(_crs)]
CrsIfAny = Annotated[str, AfterValidator(_crs_or_none)]
HeightsIfAny = Annotated[str, AfterValidator(_heights_or_none)]


def _encoding(value: str) -> str:
    try:
        codecs.lookup(value or "utf-8")
    except (LookupError, ValueError) as error:
        raise ValueError('the name of an encoding, such as "utf-8", "cp1252" or "latin-1"') from error
    return value


Encoding = Annotated[str, AfterValidator(_encoding)]


def _time_format(value: str) -> str:
    if value == SERIAL:
        return value
    probe = datetime(2026, 11, 23, 14, 5, 6, tzinfo=UTC)
    try:
        is_day = not value or datetime.strptime(probe.strftime(value), value).date() == probe.date()
    except ValueError:
        is_day = False
    if not is_day or "%Z" in value:  # the names of zones are not unique: a zone is said in timezone
        spent = {"%M:%S": "min:s", "%H:%M": "h:min", "%H:%M:%S": "h:min:s"}.get(value)
        more = f'; a duration has no format, but a unit: unit = "{spent}"' if spent else ""
        raise ValueError(f'a format with day, month and year and without %Z, such as "%d/%m/%Y %H:%M"{more}')
    return value


TimeFormat = Annotated[str, AfterValidator(_time_format)]


def _listed(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


OneOrMore = Annotated[tuple[str, ...], BeforeValidator(_listed)]


def _side(value: Any) -> str | float:
    if isinstance(value, str) or (isinstance(value, int | float) and not isinstance(value, bool)):
        return value
    raise ValueError('a number with its unit in quotes, such as "210 degC"')


Side = Annotated[Any, BeforeValidator(_side)]


class Limit(Part):
    """A project's own window for one quantity, in the unit of its check; one side may be open."""

    low: Side = None
    high: Side = None
    kind: Literal["gauge", "interfacial"] | None = None  # of a pressure

    def bounds(self, check: str) -> tuple[float | None, float | None]:
        """Return low and high in the stored unit of the quantity. Raises UnitError."""
        low, high = (_bound(side, check) for side in (self.low, self.high))
        if FIELDS[check].is_pressure != (self.kind is not None) and check != "drag_pressure":
            raise UnitError(
                'kind = "gauge" or kind = "interfacial" has to go with a pressure'
                if FIELDS[check].is_pressure
                else 'kind = "gauge" or "interfacial" goes with a pressure, and only with one'
            )
        if low is None and high is None:
            raise UnitError("neither low nor high is given")
        if not all(math.isfinite(side) for side in (low, high) if side is not None):
            raise UnitError("a limit is a finite number")
        if low is not None and high is not None and low > high:
            raise UnitError(f"low {self.low} is more than high {self.high}")
        return low, high


def _bound(side: str | float | None, check: str) -> float | None:
    if side is None:
        return None
    if not FIELDS[check].unit:
        return float(side)
    if not isinstance(side, str):
        raise UnitError(f'{side!r} has no unit; write the number and the unit it is in, in quotes, as "{side} ..."')
    return _stated(side, FIELDS[check].unit)


class ColumnSpec(Part):
    """Which of their columns fills a field of ours, and how it is written there."""

    column: Annotated[OneOrMore, Key(min_length=1)]
    format: TimeFormat = ""
    unit: str = ""
    kind: Literal["gauge", "interfacial"] | None = None
    words: dict[str, str] = Key(default_factory=dict)

    @field_validator("unit")
    @classmethod
    def _unit_is_known(cls, value: str) -> str:
        if value:
            unit(plain_unit(value))
        return value


def column_faults(name: str, spec: ColumnSpec, *, fields: Mapping[str, Field]) -> list[str]:
    """Return what is wrong with the column of one of `fields`, each as "field: what"."""
    if name not in fields:
        return []  # told by the loader, with the nearest known name
    field, faults = fields[name], []
    if field.is_pressure and spec.kind is None and name != "drag_pressure":  # drag is a gauge pressure by nature
        faults.append(f'{name}: say kind = "gauge" or kind = "interfacial"')
    if spec.kind and not field.is_pressure:
        faults.append(f"{name}: kind belongs to pressures")
    if spec.words and name != "kind":
        faults.append(f"{name}: words belong to the column kind")
    wrong = sorted(set(spec.words.values()) - set(KINDS))
    if wrong and name == "kind":
        faults.append(f"{name}: words may mean {', '.join(KINDS)}, found {', '.join(wrong)}")
    if spec.format and field.kind != "time":
        faults.append(f"{name}: format belongs to times")
    if len(spec.column) > 1 and field.kind in ("number", "plane"):
        faults.append(f"{name}: one column for a number")
    return faults + _unit_faults(field, spec)


def _unit_faults(field: Field, spec: ColumnSpec) -> list[str]:
    if not spec.unit:
        return []
    if field.kind != "number" or not field.unit:
        return [f"{field.name}: a unit belongs to a quantity that has one"]
    try:
        convert(np.zeros(1), plain_unit(spec.unit), field.unit)
    except UnitError as error:
        return [f"{field.name}: {error}"]
    return []
