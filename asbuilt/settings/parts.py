"""The kinds of value that stand in `route.toml`: quantities with their unit, time zones, paths within the folder."""

import re
from datetime import timedelta
from pathlib import PurePosixPath
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict

from asbuilt.quantities import UnitError, quantity


class Part(BaseModel):
    """A table of `route.toml`: frozen, and an unknown key is a mistake."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, arbitrary_types_allowed=True)


def _quantity_in(to_unit: str, example: str) -> BeforeValidator:
    def read(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f'a number with its unit in quotes, such as "{example}"')
        try:
            return quantity(value, to_unit)
        except UnitError as error:
            raise ValueError(f'{error}; allowed is a number with its unit, such as "{example}"') from error

    return BeforeValidator(read)


def _positive(value: float) -> float:
    if not value > 0:
        raise ValueError("more than zero")
    return value


Metres = Annotated[float, _quantity_in("m", "12 m")]
PositiveMetres = Annotated[Metres, AfterValidator(_positive)]
Millimetres = Annotated[float, _quantity_in("mm", "630 mm")]


def _zone(value: Any) -> ZoneInfo:
    if isinstance(value, str):
        try:
            return ZoneInfo(value)
        except (ValueError, OSError):  # ZoneInfoNotFoundError is a KeyError with a key that may be a folder, too
            pass
        except KeyError:
            pass
    raise ValueError('a time zone of the IANA list, such as "Australia/Hobart" or "UTC"')


Zone = Annotated[ZoneInfo, BeforeValidator(_zone)]

_SHIFT = re.compile(r"([+-]?)\s*(.*)")


def _duration(value: Any) -> timedelta:
    sign, rest = _SHIFT.fullmatch(value.strip()).groups() if isinstance(value, str) else ("", "")  # type: ignore[union-attr]
    try:
        seconds = quantity(rest, "s")
    except UnitError as error:
        raise ValueError('a duration with its sign and unit, such as "+1 h"') from error
    return timedelta(seconds=-seconds if sign == "-" else seconds)


Duration = Annotated[timedelta, BeforeValidator(_duration)]


def _inside(value: Any) -> str:
    text = value if isinstance(value, str) else ""
    path = PurePosixPath(text.replace("\\", "/"))
    if not text or path.is_absolute() or ".." in path.parts or ":" in text:
        raise ValueError("a path within the route folder, such as records/crew_a.csv")
    return str(path)


InsidePath = Annotated[str, BeforeValidator(_inside)]
