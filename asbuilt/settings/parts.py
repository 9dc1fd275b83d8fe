"""The kinds of value that stand in `route.toml`: quantities with their unit, time zones, paths within the folder."""

import math
import re
from datetime import date, datetime, timedelta
from pathlib import PurePosixPath
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import pyproj
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pyproj.exceptions import CRSError

from asbuilt.quantities import UnitError, quantity


class Part(BaseModel):
    """A table of `route.toml`: frozen, and an unknown key is a mistake."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, arbitrary_types_allowed=True)


YesNo = Annotated[bool, Field(strict=True)]
_MOST = 1e9  # metres or millimetres: beyond this a float no longer tells the vertices of a line apart


def _quantity_in(to_unit: str, example: str) -> BeforeValidator:
    def read(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f'a number with its unit in quotes, such as "{example}"')
        try:
            found = quantity(value, to_unit)
        except UnitError as error:
            raise ValueError(f'{error}; allowed is a number with its unit, such as "{example}"') from error
        if not abs(found) <= _MOST:
            raise ValueError(f"at most {_MOST:g} {to_unit}")
        return found

    return BeforeValidator(read)


def _positive(value: float) -> float:
    if not value > 0:
        raise ValueError("more than zero")
    return value


Metres = Annotated[float, _quantity_in("m", "12 m")]
PositiveMetres = Annotated[Metres, AfterValidator(_positive)]
Millimetres = Annotated[float, _quantity_in("mm", "630 mm")]


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

_LONGEST_SHIFT = timedelta(days=36_525)  # a clock that was never set starts some decades back
_SHIFT = re.compile(r"([+-]?)\s*(.*)")


def _duration(value: Any) -> timedelta:
    sign, rest = _SHIFT.fullmatch(value.strip()).groups() if isinstance(value, str) else ("", "")  # type: ignore[union-attr]
    try:
        shift = timedelta(seconds=quantity(rest, "s"))
    except UnitError as error:
        raise ValueError('a duration with its sign and unit, such as "+1 h"') from error
    except OverflowError:
        shift = timedelta.max
    if shift > _LONGEST_SHIFT:
        raise ValueError(f"at most {_LONGEST_SHIFT.days} days")
    return -shift if sign == "-" else shift


Duration = Annotated[timedelta, BeforeValidator(_duration)]


def _inside(value: Any) -> str:
    text = value if isinstance(value, str) else ""
    path = PurePosixPath(text.replace("\\", "/"))
    if not text.strip() or not path.parts or path.is_absolute() or ".." in path.parts or re.search(r"[:\x00]", text):
        raise ValueError("a path within the route folder, such as records/crew_a.csv")
    if any("**" in part != "**" for part in path.parts):
        raise ValueError("a pattern in which ** stands alone between two slashes, such as records/**/*.csv")
    return str(path)


InsidePath = Annotated[str, BeforeValidator(_inside)]


def _crs(value: str) -> str:
    try:
        pyproj.CRS.from_user_input(value)
    except CRSError as error:
        raise ValueError('the name of a coordinate frame, such as "EPSG:7855"') from error
    return value


def _crs_or_none(value: str) -> str:
    return _crs(value) if value else value


Crs = Annotated[str, AfterValidator(_crs)]
CrsIfAny = Annotated[str, AfterValidator(_crs_or_none)]


def _encoding(value: str) -> str:
    try:
        return value if not value or isinstance(b"".decode(value), str) else ""
    except (LookupError, ValueError) as error:
        raise ValueError('the name of an encoding, such as "utf-8", "cp1252" or "latin-1"') from error


Encoding = Annotated[str, AfterValidator(_encoding)]


def _listed(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


OneOrMore = Annotated[tuple[str, ...], BeforeValidator(_listed)]
